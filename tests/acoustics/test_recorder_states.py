"""What is not the piano is not its fault: each state of the take is heard, said and forbids; its twin shows none.

The states are made here from one modelled scale: by moving its samples, shutting it, or laying sound over it.
"""

from functools import cache
from types import SimpleNamespace

import numpy as np
import pytest
from scipy import ndimage, signal

from pianolab.acoustics import Recorded, Survey, listen
from pianolab.acoustics.judging.tuning_need import slipped_strings
from pianolab.acoustics.recorder import elsewhere
from pianolab.acoustics.recorder.elsewhere import begins_with_blow
from pianolab.acoustics.recorder.gate import find_gate
from pianolab.acoustics.recorder.recorder_states import top_string_perhaps
from pianolab.acoustics.recorder.wander import hear_wander
from pianolab.sound_model import (
    KeyFault,
    ModelledScale,
    PianoModel,
    RecordingRoom,
    render_note,
    render_scale,
    room,
)

FIRST, LAST = 40, 56
KEYS = {"first_key": FIRST, "last_key": LAST}


@cache
def played(*faults: KeyFault) -> ModelledScale:
    return render_scale(
        PianoModel(seed=71, faults=faults), room=room("dry"), hold_s=1.5, seed=71, snr_db=50.0, **KEYS
    )


@cache
def plainly() -> Survey:
    return heard(played().samples)


def heard(samples: np.ndarray) -> Survey:
    return listen(samples.astype(np.float32), rate_hz=played().rate_hz, **KEYS)


def swaying(samples: np.ndarray, rate_hz: int, *, share: float, turns_per_s: float = 0.8) -> np.ndarray:
    """Speed that sways by ``share`` at most."""
    t = np.arange(len(samples)) / rate_hz
    place = np.arange(len(samples)) + share * rate_hz / (2 * np.pi * turns_per_s) * np.sin(
        2 * np.pi * turns_per_s * t
    )
    return ndimage.map_coordinates(signal.resample_poly(samples, 2, 1), [2 * place], order=5, mode="nearest")


def gated(samples: np.ndarray, rate_hz: int, *, under_db: float, close_s: float = 0.05) -> np.ndarray:
    """Shut within ``close_s`` where the level lies ``under_db`` below the loudest."""
    power = ndimage.uniform_filter1d(samples.astype(float) ** 2, rate_hz // 100)
    is_open = power > power.max() * 10 ** (-under_db / 10)
    last = np.maximum.accumulate(np.where(is_open, np.arange(len(samples)), -(10**9)))
    return samples * np.clip(1 - (np.arange(len(samples)) - last) / rate_hz / close_s, 0, 1)


def wander_of(samples: np.ndarray) -> object:
    scale = played()
    truth = scale.truth
    f1_hz = truth["f1_hz"].to_numpy()
    n = np.arange(1, 7)
    b = truth["inharmonicity"].to_numpy()[:, None]
    partial_hz = f1_hz[:, None] * n * np.sqrt((1 + b * n**2) / (1 + b))
    return hear_wander(
        samples[None].astype(np.float32),
        rate_hz=scale.rate_hz,
        onset_s=truth["onset_s"].to_numpy(),
        hold_s=(truth["release_s"] - truth["onset_s"]).to_numpy(),
        partial_hz=partial_hz,
    )


@pytest.mark.parametrize("share", [0.001, 0.003, 0.01])
def test_a_speed_that_sways_is_measured(share: float) -> None:
    """The root mean square of a sine is its peak over the root of 2; within a note less of it is seen."""
    scale = played()
    wander = wander_of(swaying(scale.samples, scale.rate_hz, share=share))
    peak_cents = 1200 * np.log2(1 + share)
    assert wander.heard
    assert 0.4 < wander.together_cents / (peak_cents / np.sqrt(2)) < 1.2


def test_a_steady_speed_wrong_or_right_is_no_wander() -> None:
    scale = played()
    assert not wander_of(scale.samples).heard
    assert not wander_of(swaying(scale.samples, scale.rate_hz, share=0.0001)).heard


@pytest.mark.slow
def test_what_a_wander_forbids() -> None:
    scale = played()
    survey = heard(swaying(scale.samples, scale.rate_hz, share=0.003))
    assert "speed wander" in survey.summary.impairments
    table = survey.table
    assert table["cents"].isna().all()
    assert table["unison_cents"].isna().all()
    assert table["not_judged"].str.contains("unison=speed wander").all()
    assert not table["faults"].str.contains("unison|off_pitch").any()
    assert table["decay_20_s"].notna().any(), "times are not what a wander spoils"
    assert "speed wander" not in plainly().summary.impairments
    assert plainly().table["cents"].notna().all()


@pytest.mark.parametrize(("under_db", "close_s"), [(25.0, 0.02), (30.0, 0.05), (35.0, 0.05)])
def test_a_gate_is_found_at_its_level(under_db: float, close_s: float) -> None:
    scale = played()
    power = ndimage.uniform_filter1d(scale.samples.astype(float) ** 2, scale.rate_hz // 100)
    gate = find_gate(
        gated(scale.samples, scale.rate_hz, under_db=under_db, close_s=close_s)[None].astype(np.float32),
        rate_hz=scale.rate_hz,
        notes=LAST - FIRST + 1,
    )
    assert gate is not None
    assert gate.level_db == pytest.approx(10 * np.log10(power.max()) - under_db, abs=3.0)


def test_dampers_and_noise_are_no_gate() -> None:
    scale = played()
    notes = LAST - FIRST + 1
    assert find_gate(scale.samples[None], rate_hz=scale.rate_hz, notes=notes) is None
    faded = scale.samples.copy()
    for release_s, onset_s in zip(scale.truth["release_s"], scale.truth["onset_s"].iloc[1:], strict=False):
        # Cut by hand 60 ms after the release: the notes end at levels of their own.
        faded[int((release_s + 0.06) * scale.rate_hz) : int(onset_s * scale.rate_hz)] = 0.0
    assert find_gate(faded[None], rate_hz=scale.rate_hz, notes=notes) is None


@pytest.mark.slow
def test_what_a_gate_forbids() -> None:
    scale = played()
    survey = heard(gated(scale.samples, scale.rate_hz, under_db=30.0))
    assert "noise gate" in survey.summary.impairments
    assert survey.table["not_judged"].str.contains("damper=noise gate").all()
    assert survey.table["release_20_s"].isna().all()
    assert not survey.table["faults"].str.contains("short_sustain|damper|buzz").any()
    assert "noise gate" not in plainly().summary.impairments
    assert not plainly().table["not_judged"].str.contains("noise gate").any()


def hiss_at(at_s: list[float], length_s: float, *, level: float) -> np.ndarray:
    """The scale with a hiss of 1.5 to 6 kHz at some times."""
    scale = played()
    rng = np.random.default_rng(5)
    out = scale.samples.astype(float).copy()
    sos = signal.butter(2, [1500.0, 6000.0], "bandpass", fs=scale.rate_hz, output="sos")
    for begin_s in at_s:
        size = round(length_s * scale.rate_hz)
        sound = signal.sosfilt(sos, rng.standard_normal(size)) * np.hanning(size)
        begin = round(begin_s * scale.rate_hz)
        out[begin : begin + size] += level * sound
    return out


def test_a_hiss_that_does_not_begin_with_the_blow_is_no_buzz_of_the_key() -> None:
    scale = played()
    onset_s = scale.truth.set_index("key")["onset_s"]
    survey = heard(hiss_at([onset_s[45] + 0.25, onset_s[50] + 0.25], 0.7, level=0.02))
    table = survey.table.set_index("key")
    assert "sounds from elsewhere" in survey.summary.impairments
    for key in (45, 50):
        assert "buzz" not in table.loc[key, "faults"]
        assert "buzz=sounds from elsewhere" in table.loc[key, "not_judged"]
    assert "sounds from elsewhere" not in plainly().summary.impairments


@pytest.mark.slow
def test_a_buzz_of_the_key_stays_one() -> None:
    survey = heard(played(KeyFault(kind="buzz", key=48, amount=-30.0)).samples)
    table = survey.table.set_index("key")
    assert "buzz" in table.loc[48, "faults"]
    assert "sounds from elsewhere" not in survey.summary.impairments


def test_begins_with_the_blow() -> None:
    fading = -40.0 - 3.0 * np.arange(8.0)
    assert begins_with_blow(-75.0, fading)
    assert not begins_with_blow(-41.0, fading), "it was there before"
    later = fading.copy()
    later[4] = -38.0
    assert not begins_with_blow(-75.0, later), "it came again"


def test_voicing_is_never_a_fault_and_says_why() -> None:
    table = plainly().table
    assert not table["faults"].str.contains("voicing").any()
    assert table["not_judged"].str.contains("voicing=").all()
    assert table["brightness_dev"].notna().any()


@pytest.mark.slow
def test_a_take_too_soft_says_so() -> None:
    scale = played()
    rng = np.random.default_rng(3)
    noise = 10 ** (-70 / 20) * rng.standard_normal(len(scale.samples))
    quiet = scale.samples * (10 ** (-40 / 20) / np.abs(scale.samples).max())
    assert "too soft" in heard(quiet + noise).summary.impairments
    assert "too soft" not in heard(10 * quiet + noise).summary.impairments


def all_at(table: object, word: str, keys: range) -> bool:
    """Whether the word stands in ``not_judged`` of all these keys."""
    rows = table[table["key"].isin(keys)]["not_judged"]
    return bool(rows.str.contains(word, regex=False).all())


@cache
def undamped_scale(last_damped: int, *faults: KeyFault) -> Survey:
    """The scale on an instrument whose dampers end where they are told to; none at work is a pedal held down."""
    piano = PianoModel(seed=71, last_damped_key=last_damped, faults=faults)
    scale = render_scale(piano, room=room("dry"), hold_s=1.2, gap_s=0.5, seed=71, snr_db=50.0, **KEYS)
    return heard(scale.samples)


@pytest.mark.slow
def test_a_pedal_held_is_no_fault_of_the_dampers() -> None:
    survey = undamped_scale(FIRST - 1)
    assert "pedal held or keys played into one another" in survey.summary.impairments
    assert survey.summary.t60_s is None
    assert survey.summary.t60_reason == "pedal held or keys played into one another"
    assert not survey.table["faults"].str.contains("damper").any()
    assert all_at(survey.table, "damper=", range(FIRST, LAST + 1))
    assert "pedal held or keys played into one another" not in undamped_scale(LAST).summary.impairments


@pytest.mark.slow
def test_two_dampers_that_fail_are_two_faults_and_no_pedal() -> None:
    failing = (KeyFault(kind="damper", key=46, amount=0.6), KeyFault(kind="damper", key=51, amount=0.6))
    survey = undamped_scale(LAST, *failing)
    assert "pedal held or keys played into one another" not in survey.summary.impairments
    assert list(survey.table.loc[survey.table["faults"].str.contains("damper"), "key"]) == [46, 51]


@cache
def in_a_hall(last_damped: int) -> Survey:
    """The scale in a hall so long that most notes are not heard let go before the next."""
    piano = PianoModel(seed=71, last_damped_key=last_damped)
    hall = RecordingRoom(t60_s=3.0, drr_db=-10.0)
    scale = render_scale(piano, room=hall, hold_s=1.5, gap_s=0.5, seed=71, snr_db=50.0, **KEYS)
    return heard(scale.samples)


@pytest.mark.slow
def test_a_hall_is_no_pedal() -> None:
    """In the hall no note is down by much before the next; with all dampers off it is a pedal in the same hall."""
    damped, pedalled = in_a_hall(LAST), in_a_hall(FIRST - 1)
    assert "a long room or slow dampers" in damped.summary.impairments
    assert "pedal held or keys played into one another" not in damped.summary.impairments
    assert damped.summary.t60_s is None
    assert not damped.table["faults"].str.contains("damper").any()
    assert "pedal held or keys played into one another" in pedalled.summary.impairments


@cache
def overlapping(held_s: float) -> Survey:
    """Each key struck a second after the one before and held so long: more than a second is legato."""
    rate_hz, step_s = played().rate_hz, 1.0
    out = 1e-5 * np.random.default_rng(8).standard_normal(round((LAST - FIRST + 3) * step_s * rate_hz))
    for i, key in enumerate(range(FIRST, LAST + 1)):
        note = render_note(PianoModel(seed=71), key, seconds=held_s + 0.5, hold_s=held_s, rate_hz=rate_hz)
        at = round((0.5 + i * step_s) * rate_hz)
        piece = np.asarray(note, dtype=float).reshape(-1)[: len(out) - at]
        out[at : at + len(piece)] += piece
    return heard(0.5 * out / np.abs(out).max())


@pytest.mark.slow
def test_keys_played_into_one_another_are_no_fault_of_the_dampers() -> None:
    legato, detached = overlapping(1.3), overlapping(0.7)
    assert "pedal held or keys played into one another" in legato.summary.impairments
    assert not legato.table["faults"].str.contains("damper").any()
    assert legato.table["release_20_s"].isna().sum() > 12
    assert "pedal held or keys played into one another" not in detached.summary.impairments
    assert detached.table["release_20_s"].notna().sum() > 12


@cache
def buzzing(lossy: bool, *keys: int, amount: float = -30.0) -> Survey:
    """Some keys that buzz, in a file that was stored with loss or without."""
    scale = played(*(KeyFault(kind="buzz", key=k, amount=amount) for k in keys))
    return listen(
        scale.samples.astype(np.float32), rate_hz=scale.rate_hz, recorded=Recorded(lossy=lossy), **KEYS
    )


@pytest.mark.slow
def test_many_keys_that_seem_to_buzz_in_a_coded_sound_are_the_codecs() -> None:
    keys = (42, 46, 50, 54)
    coded, plain = buzzing(True, *keys), buzzing(False, *keys)
    assert "codec noise" in coded.summary.impairments
    assert not coded.table["faults"].str.contains("buzz").any()
    assert "codec noise" not in plain.summary.impairments
    found = plain.table["faults"].str.contains("buzz")
    assert found.sum() >= 3
    assert all_at(coded.table, "buzz=codec noise", list(plain.table.loc[found, "key"]))


@pytest.mark.slow
def test_one_key_that_buzzes_far_more_than_a_codec_would_stays_one_in_a_coded_sound() -> None:
    table = buzzing(True, 48, amount=-15.0).table
    assert list(table.loc[table["faults"].str.contains("buzz"), "key"]) == [48]
    faint = buzzing(True, 48, amount=-42.0).table.set_index("key")
    assert "buzz" not in faint.loc[48, "faults"]
    assert "buzz=codec noise" in faint.loc[48, "not_judged"]
    assert "buzz" in buzzing(False, 48, amount=-42.0).table.set_index("key").loc[48, "faults"]


def test_at_the_top_no_string_is_said_to_be_off() -> None:
    """The same width is a fault where many partials show it."""
    key = np.arange(50, 89)
    width = np.where((key == 60) | (key == 80), 15.0, 0.6)
    m = SimpleNamespace(
        strikes=SimpleNamespace(key=key),
        unison=SimpleNamespace(spread_cents=width, spread_sd=np.full(39, 0.2)),
        partial_weight=np.ones((39, 8)),
    )
    assert list(key[slipped_strings(width, np.full(39, 0.2), key)]) == [60, 80]
    assert list(key[top_string_perhaps(m)]) == [80]


@pytest.mark.slow
def test_a_sound_in_the_pause_is_no_failing_damper() -> None:
    """A hiss begins as key 47 is let go; the same at a key whose damper fails leaves the fault (its twin has no hiss)."""
    release_s = played().truth.set_index("key")["release_s"][47]
    survey = heard(hiss_at([release_s - 0.02], 0.5, level=0.1))
    table = survey.table.set_index("key")
    assert "damper" not in table.loc[47, "faults"]
    assert "damper=" in table.loc[47, "not_judged"]
    twin = heard(played(KeyFault(kind="damper", key=47, amount=0.6)).samples).table.set_index("key")
    assert "damper" in twin.loc[47, "faults"]


def released(
    per_s_after: list[float], *, t60_s: float, likely_s: float = 0.5
) -> tuple[np.ndarray, SimpleNamespace]:
    """A note of 300 Hz let go after a second, each partial falling at a rate of its own (amplitude, 1/s) from then on."""
    rate_hz = 16000
    t = np.arange(2 * rate_hz) / rate_hz
    fall = [np.exp(-a * np.maximum(t - 1.0, 0.0)) for a in per_s_after]
    sound = sum(0.1 * f * np.sin(2 * np.pi * 300.0 * (n + 1) * t) for n, f in enumerate(fall))
    m = SimpleNamespace(
        strikes=SimpleNamespace(onset_s=np.zeros(1), next_s=np.array([1.5]), f1_hz=np.array([300.0])),
        release=SimpleNamespace(assumed_s=np.ones(1)),
        f1_hz=np.array([300.0]),
        inharmonicity=np.array([1e-6]),
        falls=[SimpleNamespace(likely_s=likely_s)],
        t60_s=t60_s,
        t60_reason="",
        t60_sd_s=float("nan"),
    )
    return np.asarray(sound, np.float32)[None], m


@pytest.mark.parametrize(
    ("per_s_after", "t60_s", "of_the_room"),
    [
        ([4.0, 30.0, 30.0, 30.0], 0.5, True),  # one line goes on
        ([4.0, 5.0, 4.0, 6.0], 0.5, False),  # all of them do: it is the damper
        ([4.0, 30.0, 30.0, 30.0], np.nan, False),  # without a room a line is the string's
        ([14.0, 15.0, 14.0, 16.0], 0.5, False),  # a weak damper takes all of them down alike
    ],
)
def test_one_line_that_rings_on_is_the_rooms_and_all_of_them_the_strings(
    per_s_after: list[float], t60_s: float, of_the_room: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(elsewhere, "slow_dampers", lambda _: (np.array([True]), [""]))
    sound, m = released(per_s_after, t60_s=t60_s)
    assert bool(elsewhere.lines_of_the_room(sound, m, rate_hz=16000)[0]) == of_the_room


@pytest.mark.parametrize(("likely_s", "of_the_room"), [(1.4, True), (2.0, False)])
def test_in_a_long_room_only_what_is_far_slower_than_it_is_a_damper(
    likely_s: float, of_the_room: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A room of 1.5 s takes half a second for 20 dB; by what is left of a pause three times that can't be told from it."""
    monkeypatch.setattr(elsewhere, "slow_dampers", lambda _: (np.array([True]), [""]))
    sound, m = released([2.0, 2.0, 2.0], t60_s=1.5, likely_s=likely_s)
    assert bool(elsewhere.lines_of_the_room(sound, m, rate_hz=16000)[0]) == of_the_room


def ends(last_damped: int, *faults: KeyFault) -> Survey:
    piano = PianoModel(seed=73, last_damped_key=last_damped, faults=faults)
    keys = {"first_key": 52, "last_key": 72}
    scale = render_scale(piano, room=room("dry"), hold_s=1.0, gap_s=0.5, seed=73, snr_db=50.0, **keys)
    return listen(scale.samples, rate_hz=scale.rate_hz, **keys)


@pytest.mark.slow
@pytest.mark.parametrize("last", [61, 63, 66, 69])
def test_above_the_last_damper_that_is_heard_no_key_has_a_slow_one(last: int) -> None:
    table = ends(last).table
    assert not table["faults"].str.contains("damper").any()
    assert table.loc[table["key"] <= last, "release_20_s"].notna().mean() > 0.7


@pytest.mark.slow
def test_a_damper_that_fails_under_sound_ones_is_a_fault_and_not_the_end_of_the_dampers() -> None:
    table = ends(69, KeyFault(kind="damper", key=66, amount=0.6)).table
    assert list(table.loc[table["faults"].str.contains("damper"), "key"]) == [66]


def struck_twice_after(again_s: float) -> Survey:
    """Key 50 struck again while it is still held."""
    scale = played()
    onset = round(scale.truth.set_index("key")["onset_s"][50] * scale.rate_hz)
    release = round(scale.truth.set_index("key")["release_s"][50] * scale.rate_hz)
    note = scale.samples[onset - 200 : release].astype(float)
    again = round(again_s * scale.rate_hz)
    out = scale.samples.astype(float).copy()
    out[onset - 200 + again : release] += note[: release - onset + 200 - again]
    return heard(out)


def test_a_key_struck_again_unheard_shows_no_value_of_one_blow() -> None:
    table = struck_twice_after(0.45).table.set_index("key")
    assert table.loc[50, "strikes"] == 1.0
    assert "unison=struck again while it sounded" in table.loc[50, "not_judged"]
    assert np.isnan(table.loc[50, "decay_20_s"])
    assert not table.drop(index=50)["not_judged"].str.contains("struck again").any()


def test_a_key_struck_again_a_little_later_is_heard_twice() -> None:
    table = struck_twice_after(0.6).table.set_index("key")
    assert table.loc[50, "strikes"] == 2.0
    assert table.loc[50, "decay_20_bound"] != "="
