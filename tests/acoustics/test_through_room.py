"""What a room does to decays and releases, and how it is taken out: on falls written down by hand and on a modelled room."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import brentq

from pianolab.acoustics.envelope.damper import Fall, find_releases
from pianolab.acoustics.envelope.decay import NoteDecay, note_decay
from pianolab.acoustics.envelope.levels import NoteLevel
from pianolab.acoustics.envelope.reverberation import (
    DAMPERS,
    judge_room,
    level_sd_db,
    proven_t60,
    room_hides_s,
    room_t60,
)
from tests.acoustics.test_modelled_scale import heard

T60_S = 0.4
NO_ROOM = float("nan")


def heard_in_room(
    *, fast_db_per_s: float = 24.0, slow_db: float = -10.0, t60_s: float, held_s: float = 4.0
) -> NoteDecay:
    """A note of key 40 with two falls (6 dB/s the slow one), and what is told of it."""
    t = np.arange(0.0, 6.0, 0.005)
    power = 10.0 ** (-0.1 * fast_db_per_s * t) + 10.0 ** (0.1 * slow_db - 0.6 * t)
    return note_decay(
        NoteLevel(t, power, 1e-9),
        usable_s=held_s,
        level_sd_db=float(level_sd_db(np.array([40]), t60_s=t60_s)[0]),
        room_s=room_hides_s(t60_s),
    )


def time_to_20_db(slow_db: float = -10.0) -> float:
    """When that note's power is a hundredth of what it was, by scipy's root finder."""
    slow = 10.0 ** (0.1 * slow_db)

    def left(t: float) -> float:
        return (10.0 ** (-2.4 * t) + slow * 10.0 ** (-0.6 * t)) / (1.0 + slow) - 0.01

    return float(brentq(left, 0.0, 20.0))


class TestInARoom:
    def test_the_time_is_that_of_the_sound_room_or_not(self) -> None:
        for t60_s in (NO_ROOM, T60_S):
            assert heard_in_room(t60_s=t60_s).decay_20_s == pytest.approx(time_to_20_db(), abs=0.005)

    @pytest.mark.parametrize("gain_db", [-2.0, 2.0])
    def test_what_a_room_does_to_the_slow_part_is_within_what_is_stated(self, gain_db: float) -> None:
        """2 dB is less than the standard deviation of 2 independent lines' gains in a diffuse room (common practice)."""
        told = heard_in_room(slow_db=-10.0 + gain_db, t60_s=T60_S)
        assert abs(told.decay_20_s - time_to_20_db()) < 2.0 * told.sd_s
        dry = heard_in_room(slow_db=-10.0 + gain_db, t60_s=NO_ROOM)
        assert abs(dry.decay_20_s - time_to_20_db()) > 2.0 * dry.sd_s, (
            "no room believed: the room would be missed"
        )

    def test_longer_rooms_leave_more_in_doubt(self) -> None:
        sds = [heard_in_room(t60_s=t).sd_s for t in (NO_ROOM, 0.4, 1.2)]
        assert sds == sorted(sds)
        assert sds[1] > 3.0 * sds[0]

    def test_a_fall_as_quick_as_the_room_is_an_upper_bound(self) -> None:
        quick = {"fast_db_per_s": 160.0, "slow_db": -60.0}
        told = heard_in_room(t60_s=T60_S, **quick)
        assert told.bound == "<"
        assert told.decay_20_s > 20.0 / 160.0
        assert np.isnan(told.sd_s)
        assert heard_in_room(t60_s=NO_ROOM, **quick).bound == "="

    def test_a_note_let_go_just_before_gives_no_more_than_the_room_allows(self) -> None:
        """At the release it has fallen 19 dB: without the room it may have been a little sooner at 20."""
        held_s = 0.95 * time_to_20_db()
        dry, roomy = (heard_in_room(t60_s=t, held_s=held_s) for t in (NO_ROOM, T60_S))
        assert (dry.bound, roomy.bound) == (">", ">")
        assert roomy.decay_20_s < dry.decay_20_s <= held_s

    def test_a_beat_that_may_pass_20_db_again_makes_the_time_unsure(self) -> None:
        t = np.arange(0.0, 4.0, 0.005)

        def told(crest_db: float) -> NoteDecay:
            power = 10.0 ** (-2.0 * t) + 10.0 ** (0.1 * crest_db) * np.exp(-0.5 * ((t - 2.0) / 0.1) ** 2)
            return note_decay(NoteLevel(t, power, 1e-9), usable_s=4.0)

        near, far = told(-20.1), told(-26.0)
        assert near.decay_20_s == pytest.approx(far.decay_20_s, abs=0.02)
        assert near.sd_s > 0.4
        assert far.sd_s < 0.02

    def test_a_level_rising_to_20_db_at_the_release_is_a_bound(self) -> None:
        t = np.arange(0.0, 4.0, 0.005)
        power = 10.0 ** (-2.0 * t) + 0.012 * np.exp(-0.5 * ((t - 2.2) / 0.2) ** 2)
        level = NoteLevel(t, power, 1e-9)
        assert note_decay(level, usable_s=2.0).bound == ">"
        assert note_decay(level, usable_s=1.5).bound == "="
        assert note_decay(level, usable_s=3.5).bound == "="


class TestProof:
    def test_a_time_that_dampers_may_give_proves_no_room(self) -> None:
        t60_s, why = proven_t60(0.28, DAMPERS)
        assert np.isnan(t60_s)
        assert "0.28 s" in why
        assert proven_t60(0.45, "") == (0.45, "")


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

    @pytest.mark.slow
    def test_times_to_fall_are_those_of_the_dry_notes(self) -> None:
        survey, truth = heard(faulty=False)
        table = survey.table.set_index("key")
        told = (table["decay_20_bound"] == "=") & truth["decay_20_s"].notna() & truth["decay_20_within_hold"]
        error = (table["decay_20_s"] - truth["decay_20_s"])[told]
        off = (error / table["decay_20_s_sd"]).abs().dropna()
        assert told.sum() > 45
        assert (error / truth["decay_20_s"]).abs().median() <= 0.12
        assert 0.55 <= (off < 1).mean() <= 0.85
        assert (off < 2).mean() >= 0.85
        assert (5.0 * off < 1).mean() < 0.55, "a fifth of the uncertainty would be too little"
        assert (off / 5.0 < 1).mean() > 0.85, "five times as much too much"

    @pytest.mark.slow
    def test_reverberation_time_and_releases(self) -> None:
        survey, truth = heard(faulty=False)
        assert survey.summary.t60_s == pytest.approx(0.4, abs=0.04)
        late = survey.table.set_index("key")["hold_s"] - (truth["release_s"] - truth["onset_s"])
        assert abs(late.median()) < 0.03
        assert late.abs().quantile(0.9) < 0.12
