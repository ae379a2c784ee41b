"""What a room does to decays and releases, and how it is taken out: on falls written down by hand and on a modelled room."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import brentq

from pianolab.acoustics.damper import Fall, find_releases
from pianolab.acoustics.decay import NoteDecay
from pianolab.acoustics.levels import NoteLevel
from pianolab.acoustics.modes import Modes
from pianolab.acoustics.reverberation import judge_room, room_t60
from pianolab.acoustics.through_room import SeenDecays, without_room
from tests.acoustics.test_modelled_scale import heard

PER_DB = np.log(10.0) / 20.0
FAST_DB_PER_S, SLOW_DB_PER_S, LOUDER_DB = 24.0, 6.0, 9.0
T60_S = 0.4


def modes(notes: int, *, slow_gain_db: float = 0.0) -> Modes:
    """Two partials of power 1 and 0.1 at the blow, one mode each; the room makes the slow one louder."""
    shape = (notes, 2, 4)
    decay, f_hz, amplitude = (np.full(shape, np.nan) for _ in range(3))
    decay[..., 0] = np.array([FAST_DB_PER_S, SLOW_DB_PER_S]) * PER_DB
    f_hz[..., 0] = np.array([440.0, 880.0])
    amplitude[..., 0] = np.array([1.0, np.sqrt(0.1) * 10.0 ** (slow_gain_db / 20.0)])
    amplitude = np.nan_to_num(amplitude)
    one = np.ones(shape[:2])
    return Modes(
        f_hz=f_hz, decay_per_s=decay, amplitude=amplitude[:, :, None].astype(complex), energy=amplitude**2,
        centroid_hz=one, centroid_energy=one, mean_decay_per_s=one, fit_db=40.0 * one,
    )  # fmt: skip


def time_to_20_db(slow_gain_db: float = 0.0) -> float:
    """When the sum of both powers is a hundredth of what it was, by scipy's root finder."""
    slow = 0.1 * 10.0 ** (slow_gain_db / 10.0)

    def left(t: float) -> float:
        now = 10.0 ** (-0.1 * FAST_DB_PER_S * t) + slow * 10.0 ** (-0.1 * SLOW_DB_PER_S * t)
        return now / (1.0 + slow) - 0.01

    return float(brentq(left, 0.0, 20.0))


def seen(
    *,
    by_level: float,
    slow_gain_db: float = 0.0,
    told_gain_db: float = 0.0,
    held_s: float = 4.0,
    bound: str = "=",
) -> SeenDecays:
    notes = 8
    decays = [NoteDecay(by_level, bound, 20.0, s_per_db=0.05)] * notes
    room_db = np.zeros((notes, 2))
    room_db[:, 1] = told_gain_db
    return without_room(
        decays, modes(notes, slow_gain_db=slow_gain_db), weight=np.ones((notes, 2)), room_db=room_db,
        held_s=np.full(notes, held_s), t60_s=T60_S,
    )  # fmt: skip


class TestWithoutRoom:
    def test_the_gain_of_the_room_is_taken_out(self) -> None:
        found = seen(by_level=1.0, slow_gain_db=LOUDER_DB, told_gain_db=LOUDER_DB)
        assert found.room_heard
        assert found.decays[0].decay_20_s == pytest.approx(time_to_20_db(), rel=0.005)

    def test_left_in_it_would_be_far_off(self) -> None:
        found = seen(by_level=1.0, slow_gain_db=LOUDER_DB)
        assert found.decays[0].decay_20_s == pytest.approx(time_to_20_db(LOUDER_DB), rel=0.005)
        assert found.decays[0].decay_20_s > 1.3 * time_to_20_db()

    def test_where_level_and_modes_agree_there_is_no_room_and_the_level_stands(self) -> None:
        level = time_to_20_db() * 1.004
        found = seen(by_level=level)
        assert not found.room_heard
        assert found.decays[0].decay_20_s == level
        assert seen(by_level=1.1 * level).room_heard

    def test_a_note_whose_strings_outlast_the_hold_gives_a_lower_bound(self) -> None:
        held_s = 0.95 * time_to_20_db()
        found = seen(by_level=0.9 * held_s, held_s=held_s).decays[0]
        assert found.bound == ">"
        assert 0.9 * held_s < found.decay_20_s <= held_s

    def test_a_note_as_short_as_the_room_keeps_the_time_of_its_level(self) -> None:
        brief = 0.5 * T60_S
        decays = [NoteDecay(brief, "=", 20.0, s_per_db=0.01)]
        found = without_room(
            decays, modes(1), weight=np.ones((1, 2)), room_db=np.zeros((1, 2)), held_s=np.array([4.0]), t60_s=T60_S
        )  # fmt: skip
        assert found.room_heard, "one note alone is judged by the reverberation time"
        assert found.decays[0].decay_20_s == brief

    def test_a_partial_whose_modes_are_all_too_fast_counts_for_nothing(self) -> None:
        quick = modes(8)
        quick.decay_per_s[:, 1] *= 1e3
        quick.amplitude[:, 1] = 1e30
        found = without_room(
            [NoteDecay(1.0, "=", 20.0, s_per_db=0.05)] * 8, quick, weight=np.ones((8, 2)), room_db=np.zeros((8, 2)),
            held_s=np.full(8, 4.0), t60_s=T60_S,
        )  # fmt: skip
        assert found.decays[0].decay_20_s == pytest.approx(20.0 / FAST_DB_PER_S, rel=0.01)

    def test_where_both_readings_differ_the_time_is_less_sure(self) -> None:
        near, far = seen(by_level=1.1 * time_to_20_db()), seen(by_level=1.6 * time_to_20_db())
        assert far.decays[0].sd_s > near.decays[0].sd_s > 0


STEP_S = 0.005


def released(
    hold_s: float, *, damper_db_per_s: float, t60_s: float, seconds: float, knock_s: float | None = None
) -> NoteLevel:
    """A level that holds, then falls as its damper lets it, half of it smoothed by a room; perhaps a knock later."""
    t = np.arange(0.0, seconds, STEP_S)
    after = np.maximum(t - hold_s, 0.0)
    damper, room = 0.1 * np.log(10.0) * damper_db_per_s, 6.0 * np.log(10.0) / t60_s
    dry = 10.0 ** (-0.3 * t) * np.exp(-damper * after)
    kernel = np.exp(-room * t)
    power = 0.5 * dry + 0.5 * np.convolve(dry, kernel / kernel.sum())[: len(t)]
    # Long before, the room had filled: without this the convolution would begin in silence.
    power[t < 1.0] = dry[t < 1.0]
    if knock_s is not None:
        power += np.where(t >= knock_s, 0.3 * 10.0 ** (-30.0 * (t - knock_s)), 0.0)
    return NoteLevel(t, power, 1e-7, power, 1e-7)


class TestRelease:
    INTERVALS = np.full(12, 2.5)

    def levels(self, **more: float) -> list[NoteLevel]:
        holds = 2.0 + np.linspace(-0.05, 0.05, 12)
        return [released(h, damper_db_per_s=150.0, t60_s=T60_S, seconds=2.5, **more) for h in holds]

    def test_the_moment_is_where_the_fall_begins_not_where_it_is_steepest(self) -> None:
        found = find_releases(self.levels(), key=np.arange(30, 42), interval_s=self.INTERVALS)
        error = found.hold_s - (2.0 + np.linspace(-0.05, 0.05, 12))
        assert np.abs(error).max() < 0.04
        assert np.abs(error + 0.1).max() > 0.04, "a tenth of a second late would show"

    def test_the_knock_of_a_key_that_stays_silent_is_no_release(self) -> None:
        levels, intervals = self.levels(), self.INTERVALS.copy()
        levels[6] = released(2.0, damper_db_per_s=60.0, t60_s=T60_S, seconds=5.0, knock_s=2.5)
        intervals[6] = 5.0
        found = find_releases(levels, key=np.arange(30, 42), interval_s=intervals)
        assert found.hold_s[6] == pytest.approx(2.0, abs=0.06)

    def test_dampers_end_where_most_notes_go_on_sounding(self) -> None:
        keys = np.arange(60, 76)
        levels = [
            released(2.0, damper_db_per_s=150.0 if k <= 66 or k == 73 else 0.0, t60_s=T60_S, seconds=2.5)
            for k in keys
        ]
        found = find_releases(levels, key=keys, interval_s=np.full(len(keys), 2.5))
        assert found.last_damped_key == 66, "one quick note above does not make nine keys' dampers fail"


class TestReverberation:
    def test_falls_of_the_middle_octaves_tell_it(self) -> None:
        keys = np.arange(30, 50)
        levels = [released(2.0, damper_db_per_s=600.0, t60_s=0.6, seconds=2.9) for _ in keys]
        release = find_releases(levels, key=keys, interval_s=np.full(20, 2.9))
        t60_s, why = room_t60(levels, release, keys, interval_s=np.full(20, 2.9))
        assert why == ""
        assert t60_s == pytest.approx(0.6, rel=0.05)
        assert t60_s != pytest.approx(0.5, rel=0.05)

    @pytest.mark.parametrize("damper_s", [0.25, 0.4, 0.8])
    def test_a_damper_slower_than_the_room_is_seen_through_it(self, damper_s: float) -> None:
        level = released(2.0, damper_db_per_s=20.0 / damper_s, t60_s=T60_S, seconds=5.0)
        db = level.level_db + 3.0 * level.time_s  # what the strings lose by themselves
        start = db[np.searchsorted(level.time_s, 1.95)]
        heard_s = float(level.time_s[np.flatnonzero(db >= start - 20.0)[-1]] - 2.0)
        fall = judge_room(Fall(heard_s, "=", 100.0), t60_s=T60_S)
        assert fall.release_20_s == pytest.approx(damper_s, rel=0.05)
        if damper_s < 0.3:
            assert heard_s != pytest.approx(damper_s, rel=0.05), (
                "what is heard is longer than the damper alone"
            )


class TestModelledRoom:
    """Truth of the modelled piano: each note's dry level; the room's own figure."""

    def test_times_to_fall_are_those_of_the_dry_notes(self) -> None:
        survey, truth = heard(faulty=False)
        table = survey.table.set_index("key")
        told = (table["decay_20_bound"] == "=") & truth["decay_20_s"].notna() & truth["decay_20_within_hold"]
        error = (table["decay_20_s"] / truth["decay_20_s"] - 1)[told]
        assert told.sum() > 45
        assert error.abs().median() <= 0.05
        assert (error + 0.1).abs().median() > 0.05, "times ten per cent off would show"

    def test_reverberation_time_and_releases(self) -> None:
        survey, truth = heard(faulty=False)
        assert survey.summary.t60_s == pytest.approx(0.4, abs=0.04)
        late = survey.table.set_index("key")["hold_s"] - (truth["release_s"] - truth["onset_s"])
        assert abs(late.median()) < 0.03
        assert late.abs().quantile(0.9) < 0.12
