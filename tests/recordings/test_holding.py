"""Two visits: what the weather did to all keys is told from what a pin did to one."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from benchmarks.two_visits import TwoVisits, two_visits
from pianolab.acoustics import Survey, listen
from pianolab.errors import BadInput
from pianolab.recordings import holds_tuning
from pianolab.recordings.drift import find_drift
from pianolab.recordings.holding import Holding, KeyHolding
from pianolab.recordings.pairing import _scatter_sd
from pianolab.recordings.slips import explain_key
from pianolab.sound_model import PianoModel, render_scale, room

KEYS = (34, 56)


@cache
def visits() -> tuple[TwoVisits, Survey, Survey]:
    made = two_visits(618, maker="model", keys=KEYS)
    heard = [
        listen(x, rate_hz=made.rate_hz, first_key=KEYS[0], last_key=KEYS[1])
        for x in (made.first, made.second)
    ]
    return made, heard[0], heard[1]


def changed(survey: Survey, *, cents: dict[int, float], unison: dict[int, float] | None = None) -> Survey:
    """The survey with some keys moved, exactly."""
    by = survey.table["key"].map(lambda k: cents.get(k, 0.0))
    more = survey.table["key"].map(lambda k: (unison or {}).get(k, 0.0))
    table = survey.table.assign(
        f1_hz=survey.table["f1_hz"] * 2.0 ** (by / 1200.0), unison_cents=survey.table["unison_cents"] + more
    )
    partials = tuple(
        replace(p, f_hz=tuple(f and f * 2.0 ** (cents.get(p.key, 0.0) / 1200.0) for f in p.f_hz))
        for p in survey.partials
    )
    return replace(survey, table=table, partials=partials)


@pytest.mark.slow
def test_one_cent_of_one_string_is_found_and_hardly_anything_else() -> None:
    made, first, second = visits()
    found = {k.key: k.moved for k in holds_tuning(first, second, days=9).listed}
    assert set(made.one) <= set(found)
    assert {found[k] for k in made.one} == {"one string"}
    assert len(set(found) - set(made.one)) <= 1


@pytest.mark.slow
def test_without_taking_the_weather_out_the_same_recordings_mislead() -> None:
    made, first, second = visits()
    change = dict(zip(first.table["key"], second.table["cents"] - first.table["cents"], strict=True))
    listed = {k for k, c in change.items() if abs(c) > 0.2}
    assert len(listed - set(made.one)) > 5


@pytest.mark.slow
def test_the_drift_that_is_reported_is_the_weather() -> None:
    made, first, second = visits()
    told = holds_tuning(first, second)
    off = [k.drift_cents - made.weather_cents[k.key] for k in told.keys if k.drift_cents is not None]
    assert np.max(np.abs(off)) < 0.2
    assert np.ptp([made.weather_cents[k.key] for k in told.keys]) > 0.3


def test_a_recording_against_itself() -> None:
    _made, first, _second = visits()
    told = holds_tuning(first, first)
    assert told.listed == ()
    assert {k.change_cents for k in told.keys} == {k.own_cents for k in told.keys} == {0.0}


def test_all_strings_are_told_from_one() -> None:
    _made, first, _second = visits()
    told = holds_tuning(first, changed(first, cents={45: -1.5}))
    assert [(k.key, k.moved) for k in told.listed] == [(45, "all strings")]
    wider = holds_tuning(first, changed(first, cents={45: -0.5}, unison={45: 1.2}))
    assert [(k.key, k.moved) for k in wider.listed] == [(45, "one string")]


def test_a_shifted_reading_and_another_a4_change_nothing() -> None:
    _made, first, second = visits()
    moved = replace(
        second,
        table=second.table.assign(key=second.table["key"] + 1, cents=second.table["cents"] - 7.85),
        partials=tuple(replace(p, key=p.key + 1) for p in second.partials),
    )
    told = holds_tuning(first, moved)
    assert {k.key for k in told.listed} == {k.key for k in holds_tuning(first, second).listed}
    assert "key too high" in told.notes[0]


def test_a_piano_tuned_in_between_says_so() -> None:
    _made, first, _second = visits()
    rng = np.random.default_rng(4)
    keys = list(first.table["key"])
    tuned = changed(
        first,
        cents={k: float(c) for k, c in zip(keys, rng.normal(0, 1.2, len(keys)), strict=True)},
        unison={k: float(c) for k, c in zip(keys, rng.uniform(0.5, 2, len(keys)), strict=True)},
    )
    told = holds_tuning(first, tuned)
    assert told.state == "tuned in between"
    assert told.listed == ()


@pytest.mark.slow
def test_other_strings_are_another_piano() -> None:
    _made, first, _second = visits()
    made = render_scale(
        PianoModel(seed=619), first_key=KEYS[0], last_key=KEYS[1], room=room("home"), snr_db=45.0
    )
    other = listen(made.samples, rate_hz=made.rate_hz, first_key=KEYS[0], last_key=KEYS[1])
    told = holds_tuning(first, other)
    assert (told.state, told.listed) == ("another piano", ())
    assert holds_tuning(first, first).state == "compared"


def test_keys_that_can_not_be_compared_say_why() -> None:
    _made, first, second = visits()
    table = second.table.copy()
    table.loc[table["key"] == 40, ["status", "f1_hz"]] = ["silent", np.nan]
    told = holds_tuning(first, replace(second, table=table, partials=()))
    row = next(k for k in told.keys if k.key == 40)
    assert row.chance is None
    assert row.why == "silent in the second recording"


def test_bad_input_is_one_line() -> None:
    _made, first, second = visits()
    with pytest.raises(BadInput, match="more than 0"):
        holds_tuning(first, second, days=0)
    few = replace(second, table=second.table.head(3), partials=())
    with pytest.raises(BadInput, match="3 keys measured in both"):
        holds_tuning(first, few)


def test_a_key_can_not_hide_in_its_own_drift_and_a_step_is_found() -> None:
    keys = np.arange(20, 50)
    line = 0.05 * keys + np.where(keys <= 28, -1.5, 0.0)
    sd, weight = np.full(len(keys), 0.05), np.ones(len(keys))
    drift = find_drift(line, sd, weight=weight, first_key=20)
    assert drift.step_key == 28
    wild = np.where(keys == 40, line + 2.0, line)
    weight[keys == 40] = 1e-6
    other = find_drift(wild, sd, weight=weight, first_key=20)
    assert other.others[20] == pytest.approx(line[20], abs=0.1)


def test_the_variance_of_the_strings_after_a_slip() -> None:
    """The arithmetic of `slips`, against plain variances: the right slip explains best."""
    before = np.array([0.0, 0.3, 0.7])
    for slip in (-3.0, -1.5, 2.5):
        after = before + np.array([slip, 0.0, 0.0])
        wide = [float(2.3 * np.std(v)) for v in (before, after)]
        told = explain_key(
            slip / 3, 0.03, unison_before=wide[0], unison_after=wide[1], unison_sd=0.05, strings=3
        )
        assert np.argmax(told.log_likelihood) == 1
        assert told.slip_cents[1] == pytest.approx(slip, rel=0.12)


def test_a_string_that_moved_by_a_cent_is_no_loose_pin() -> None:
    near, far = (
        KeyHolding(key=40, note="C4", strings=3, chance=0.9, moved="one string", slip_cents=cents)
        for cents in (-1.0, -8.0)
    )
    both = Holding(
        keys=(near, far),
        state="compared",
        days=9,
        drift_cents=None,
        drift_lowest_cents=None,
        drift_highest_cents=None,
        step_key=None,
        repeat_cents=None,
        least_found_cents=None,
    )
    remarks = [str(row[-1]) for row in both.rows()]
    assert remarks[0] == "one string moved about 1.0 cents flat"
    assert "pin" in remarks[1]
    assert both.moved_far == (far,)


def test_three_keys_make_no_step() -> None:
    """A step between two parts of the strings is told where at least four keys speak on either side of it."""
    keys = np.arange(20, 50)
    sd, weight = np.full(len(keys), 0.05), np.ones(len(keys))
    for known_below in (4, 3, 2, 1):
        line = np.where(keys <= 28, -1.5, 0.0)
        line[(keys <= 28) & (keys <= 28 - known_below)] = np.nan
        found = find_drift(line, sd, weight=weight, first_key=20).step_key
        assert found == (28 if known_below > 3 else None)


def test_more_partials_make_a_keys_change_surer() -> None:
    """By the square root of their number, as of any values that scatter alike."""
    sds = [_scatter_sd(40, dict.fromkeys(range(36, 45), (0.0, 0.2, count))) for count in (4.0, 16.0)]
    assert sds[0] / sds[1] == pytest.approx(2.0)
