"""Keys struck twice: agreement changes next to nothing, disagreement widens, and little evidence moves little."""

from dataclasses import dataclass, replace
from functools import cache
from itertools import pairwise
from types import SimpleNamespace

import numpy as np
import pytest
from scipy import stats
from scipy.integrate import quad
from scipy.signal import resample_poly

from pianolab.acoustics import Survey, listen
from pianolab.acoustics.keys.keypath import NO_NOTE, KeyPath
from pianolab.acoustics.keys.onsets import Onsets
from pianolab.acoustics.keys.sequence import Sequence
from pianolab.acoustics.keys.strikes import Strikes
from pianolab.acoustics.limits import limits
from pianolab.acoustics.repeated import (
    FREE,
    ONE_SD,
    WORDS,
    StruckTwice,
    _at_once,
    repeats_in,
    scale_of,
    struck_twice,
    with_values,
)
from pianolab.sound_model import ModelledScale, PianoModel, render_scale
from pianolab.units import key_to_hz

RATE_HZ = 22050
KEYS = (41, 44, 47, 50, 53, 56, 59)
MOVED_CENTS = 3.0


def strike(
    key: int, *, level_db: float = -20.0, take: int | None = None, **values: tuple[float, float]
) -> dict:
    own = {"key": key, "values": {name: list(v) for name, v in values.items()} | {"level_db": level_db}}
    return own if take is None else own | {"take": take}


def pairs(column: str, apart: list[float], *, louder_db: float = 0.0) -> list[dict]:
    """Pairs whose values lie so many stated uncertainties (of a difference) apart."""
    return [
        strike(key, level_db=level, **{column: (value, 0.5)})
        for key, a in enumerate(apart)
        for value, level in ((10.0, -20.0), (10.0 + a * np.sqrt(0.5), -20.0 + louder_db))
    ]


# -- the scale of what lies apart ------------------------------------------------------------------------------------


def test_one_sd_is_where_students_distribution_holds_as_much_as_a_normal_one() -> None:
    """Against scipy's Student distribution."""
    assert abs(ONE_SD - stats.t.ppf(stats.norm.cdf(1.0), FREE)) < 1e-4
    assert abs(ONE_SD - stats.t.ppf(stats.norm.cdf(1.0), FREE + 1)) > 1e-3


def test_the_mean_square_of_the_posterior_is_that_of_an_integral() -> None:
    """Against scipy's densities and quadrature, over the logarithm of the scale."""
    apart, usual, spread = np.array([0.3, -0.9, 1.4, 0.2, -0.6, 2.5]), 0.2, 1.0

    def moment(power: float) -> float:
        def density(log_scale: float) -> float:
            prior = stats.norm.pdf(log_scale, np.log(usual), spread)
            likelihood = np.prod(stats.t.pdf(apart, FREE, scale=np.exp(log_scale) / ONE_SD))
            return float(prior * likelihood * np.exp(power * log_scale))

        return quad(density, np.log(usual) - 5 * spread, np.log(usual) + 5 * spread, limit=200)[0]

    found = scale_of(apart, usual=usual, spread=spread)
    assert found == pytest.approx(np.sqrt(moment(2.0) / moment(0.0)), rel=1e-3)
    assert abs(found / (moment(1.0) / moment(0.0)) - 1.0) > 0.01


def test_many_pairs_outweigh_the_prior() -> None:
    """Against scipy's maximum likelihood for the same distribution."""
    apart = stats.t.rvs(FREE, scale=1.7, size=400, random_state=1)
    _, _, scale = stats.t.fit(apart, f0=FREE, floc=0.0)
    assert scale_of(apart, usual=0.2, spread=1.0) == pytest.approx(scale * ONE_SD, rel=0.05)
    _, _, of_six = stats.t.fit(apart[:6], f0=FREE, floc=0.0)
    assert 0.2 < scale_of(apart[:6], usual=0.2, spread=1.0) < 0.9 * of_six * ONE_SD


def test_one_blow_misread_does_not_decide() -> None:
    usual = limits()["repeats"]["usual"]["cents"]
    calm = [0.1, -0.2, 0.15, 0.05, -0.1, 0.2, 0.1, -0.15]
    assert repeats_in(pairs("cents", [*calm, 40.0])).factor("cents") < 1.1
    assert np.std([*calm, 40.0]) > 50 * usual


# -- from pairs to factors -------------------------------------------------------------------------------------------


def test_disagreement_widens_as_far_as_it_goes() -> None:
    """The variance of a sum: what is common stays, what each blow adds is as large as the pairs show."""
    rng = np.random.default_rng(2)
    usual = limits()["repeats"]["usual"]["cents"]
    widened = repeats_in(pairs("cents", list(3.0 * rng.standard_normal(40))))
    assert widened.factor("cents") == pytest.approx(np.sqrt(1.0 - usual**2 + 3.0**2), rel=0.2)
    assert "the uncertainty was widened: pitch" in widened.headline()
    close = repeats_in(pairs("cents", list(usual * rng.standard_normal(40))))
    assert close.factor("cents") == pytest.approx(1.0, abs=0.02)
    assert close.sentences() == ("40 keys struck twice agree within what is stated",)


def test_agreement_can_not_take_off_what_both_blows_share() -> None:
    for column in WORDS:
        usual = limits()["repeats"]["usual"][column]
        exact = repeats_in(pairs(column, [0.0] * 30)).factor(column)
        assert exact >= (1.0 if column == "brightness_db" else np.sqrt(1.0 - usual**2))
        assert exact <= 1.0


def test_few_pairs_say_nothing_and_more_say_more() -> None:
    factors = [repeats_in(pairs("cents", [2.0, -2.0] * n)).factor("cents") for n in (2, 3, 6, 20)]
    assert factors[0] == 1.0
    assert factors == sorted(factors)
    assert factors[1] < 0.95 * factors[3]
    few = repeats_in(pairs("cents", [2.0] * 5))
    assert few.sentences() == ()
    assert few.headline().startswith("5 keys struck twice: too few")
    assert repeats_in([]).headline().startswith("no keys struck twice: too few")
    assert (few.columns[0].pairs, few.columns[0].apart) == (5, None)


def test_a_soft_and_a_loud_blow_say_nothing_of_colour_and_length() -> None:
    for column in WORDS:
        factor = repeats_in(pairs(column, [3.0] * 12, louder_db=12.0)).factor(column)
        assert factor == 1.0 if column in ("decay_20_s", "brightness_db") else factor > 2.0
        assert repeats_in(pairs(column, [3.0] * 12, louder_db=1.0)).factor(column) > 2.0


def test_strikes_of_different_takes_are_no_pair() -> None:
    apart = [strike(k, take=t, cents=(5.0 * t, 0.1)) for k in range(8) for t in (1, 2)]
    assert repeats_in(apart).keys == ()
    together = [strike(k, take=1, cents=(5.0 * t, 0.1)) for k in range(8) for t in (1, 2)]
    assert len(repeats_in(together).keys) == 8


def test_of_three_blows_the_first_two_are_a_pair() -> None:
    two = pairs("cents", [0.5, -0.3, 0.2, 0.4, -0.1, 0.3])
    third = [strike(key, cents=(900.0, 0.5)) for key in range(6)]
    assert repeats_in([*two, *third]) == repeats_in(two)


# -- which blows are measured twice ----------------------------------------------------------------------------------


def chosen(
    *,
    score: float = 20.0,
    off_cents: float = 0.0,
    second_s: float = 2.0,
    count: int = 1,
    apart: bool = False,
    margin: float = 9.0,
) -> list[int]:
    """Keys measured twice where each of ``count`` is struck at once again, so clear, so far off, so long; ``apart``: with
    another key between, and told apart from others by so much ``margin``."""
    key = np.repeat(np.arange(30, 30 + count), 2)
    steps = np.tile([2.5, second_s], count)
    if apart:
        key, steps = np.array([30, 31, 30]), np.array([2.5, 2.5, second_s])
    second = np.concatenate([[False], [k in key[:i] for i, k in enumerate(key) if i]])
    times_s = np.concatenate([[0.0], np.cumsum(steps)[:-1]])
    f1_hz = 220.0 * np.where(second, 2.0 ** (off_cents / 1200.0), 1.0)
    path = KeyPath(
        keys=key,
        f1_hz=f1_hz,
        b_factor=np.ones(len(key)),
        score=np.where(second, score, 20.0),
        margin=np.full(len(key), margin),
        offset_cents=0.0,
        other_shift=0,
    )
    ones = np.ones(len(key))
    onsets = Onsets(times_s=times_s, rise=ones, strength=ones, level_db=ones, hop_s=0.01)
    own = {int(k): key.tolist().index(int(k)) for k in key}
    at = np.array(list(own.values()))
    strikes = Strikes(key[at], times_s[at], times_s[at] + 2.5, f1_hz[at], np.ones(len(at)))
    sequence = Sequence(own, dict.fromkeys(own, 2), {})
    twice = struck_twice(strikes, path, onsets, sequence, end_s=float(steps.sum()))
    assert (np.diff(twice.strikes.key) >= 0).all()
    assert twice.strikes.key[twice.first].tolist() == strikes.key.tolist()
    assert twice.only_first(twice.strikes).onset_s.tolist() == strikes.onset_s.tolist()
    return [int(k) for k in twice.strikes.key[twice.second]]


def test_only_a_clear_second_blow_of_the_same_pitch_counts() -> None:
    assert chosen() == [30]
    assert chosen(score=5.0) == []
    assert chosen(off_cents=90.0) == []
    assert chosen(second_s=0.8) == []


def test_a_doubtful_blow_later_on_may_be_another_key() -> None:
    """The same key again after other notes: counted where its key is told, not where it is a guess."""
    keys = np.array([30, NO_NOTE, 30, 31, 30, 32])
    assert _at_once(keys, 0).tolist() == [True, False, True, False, False, False]
    assert _at_once(keys, 4).tolist() == [False, False, False, False, True, False]
    assert chosen(apart=True, margin=3.0) == []
    assert chosen(apart=True, margin=30.0) == [30]
    assert chosen(margin=3.0) == [30]


def test_many_repeated_keys_are_thinned_evenly() -> None:
    most = limits()["repeats"]["most_keys"]
    some = chosen(count=40)
    assert (len(some), some[0], some[-1]) == (most, 30, 69)
    assert max(np.diff(some)) <= 4


@dataclass(frozen=True)
class Measured:
    """So much of `NoteMeasures` as the comparison of two blows reads."""

    strikes: Strikes
    decays: list[SimpleNamespace]
    unison: SimpleNamespace
    f1_hz: np.ndarray
    f1_sd_cents: np.ndarray
    inharmonicity: np.ndarray
    b_sd: np.ndarray
    share_db: np.ndarray
    level_db: np.ndarray
    tilt: np.ndarray
    tilt_sd: np.ndarray


def test_only_times_that_were_measured_are_held_against_each_other() -> None:
    """A bound says nothing of how far two blows lie apart."""
    key, ones = np.array([40, 40, 41, 41]), np.ones(4)
    strikes = Strikes(key, np.arange(4.0), np.arange(1.0, 5.0), np.asarray(key_to_hz(key)), ones)
    measured = Measured(
        strikes=strikes,
        decays=[SimpleNamespace(decay_20_s=2.0 + n, bound=b, sd_s=0.1) for n, b in enumerate("==<>")],
        unison=SimpleNamespace(spread_cents=ones, spread_sd=0.1 * ones),
        f1_hz=strikes.f1_hz,
        **dict.fromkeys(("f1_sd_cents", "inharmonicity", "b_sd", "level_db", "tilt", "tilt_sd"), 0.1 * ones),
        share_db=-20.0 * ones,
    )
    twice = StruckTwice(strikes, np.array([0, 2]), np.array([1, 3]), np.arange(4))
    found = with_values(tuple({"key": int(k)} for k in key), twice, measured, clipped=ones < 0, a4_hz=440.0)  # type: ignore[arg-type]
    assert [s["values"].get("decay_20_s") for s in found] == [[2.0, 0.1], [3.0, 0.1], None, None]
    assert all(s["values"]["cents"] == pytest.approx([0.0, 0.1], abs=1e-6) for s in found)


# -- in sound --------------------------------------------------------------------------------------------------------


@cache
def scale(seed: int) -> ModelledScale:
    """Two octaves of the modelled piano, seven keys struck twice."""
    return render_scale(
        PianoModel(seed=seed),
        first_key=40,
        last_key=62,
        repeated=KEYS,
        hold_s=1.4,
        gap_s=0.4,
        snr_db=45.0,
        rate_hz=RATE_HZ,
        seed=seed,
    )


@cache
def heard(seed: int, moved_cents: float) -> Survey:
    """The same where every blow, first and second, comes out so far off by chance: a recorder whose speed jumps."""
    sound, rng = scale(seed), np.random.default_rng(seed)
    cuts = [0, *(round((s.onset_s - 0.1) * RATE_HZ) for s in sound.strikes), len(sound.samples)]
    parts = [np.asarray(sound.samples[a:b], float) for a, b in pairwise(cuts)]
    moved = [_faster(p, moved_cents * rng.standard_normal()) for p in parts] if moved_cents else parts
    return listen(np.concatenate(moved), rate_hz=RATE_HZ, first_key=40, last_key=62)


def _faster(part: np.ndarray, cents: float) -> np.ndarray:
    return resample_poly(part, 20000, round(20000 * 2.0 ** (cents / 1200.0)), window=("kaiser", 8.0))


def covered(moved_cents: float, *, undone: bool = False) -> float:
    """Share of the keys of two such scales whose true pitch lies within one stated uncertainty."""
    within = []
    for seed in (3, 4):
        survey = heard(seed, moved_cents)
        table = survey.table.set_index("key")
        truth = scale(seed).truth.set_index("key")["cents"]
        sd = table["cents_sd"] / (repeats_in(survey.strikes).factor("cents") if undone else 1.0)
        within += ((table["cents"] - truth).abs() <= sd).tolist()
    return float(np.mean(within))


@pytest.mark.slow
def test_a_sound_whose_repeats_agree_is_left_as_it_is() -> None:
    survey = heard(3, 0.0)
    repeats = repeats_in(survey.strikes)
    assert repeats.keys == KEYS
    assert all(
        repeats.factor(c) == pytest.approx(1.0, abs=0.05) for c in ("cents", "inharmonicity", "unison_cents")
    )
    assert not any("widened: pitch" in w for w in survey.summary.warnings)
    assert any("keys struck twice" in w for w in survey.summary.warnings)
    assert survey.table["strikes"].tolist() == [2.0 if k in KEYS else 1.0 for k in range(40, 63)]


@pytest.mark.slow
def test_a_sound_whose_repeats_differ_is_true_within_what_is_then_stated() -> None:
    """True pitch: what the model was made with. The twin takes the widening away again."""
    for seed in (3, 4):
        assert repeats_in(heard(seed, MOVED_CENTS).strikes).factor("cents") > 2.0
        assert any("uncertainty was widened: pitch" in w for w in heard(seed, MOVED_CENTS).summary.warnings)
    assert covered(MOVED_CENTS) >= 0.6
    assert covered(MOVED_CENTS, undone=True) < 0.3


@pytest.mark.slow
def test_the_record_comes_back_from_json() -> None:
    survey = heard(3, 0.0)
    assert repeats_in(Survey.from_json(survey.to_json()).strikes) == repeats_in(survey.strikes)
    without = tuple({k: v for k, v in s.items() if k != "values"} for s in survey.strikes)
    assert repeats_in(replace(survey, strikes=without).strikes).keys == ()
