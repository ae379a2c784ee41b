"""How fast a note falls, let go and held, on falls whose time is known by hand."""

import numpy as np
import pytest

from pianolab.acoustics.envelope.damper import fall_after
from pianolab.acoustics.envelope.decay import _fall_db_per_s
from pianolab.acoustics.envelope.levels import NoteLevel
from pianolab.acoustics.envelope.sustain import _tail_is_its_own
from pianolab.acoustics.strings.modes import Modes

HOP_S = 0.03


def level(slope_db_per_s: float, *, release_s: float, noise_db: float = -70.0) -> NoteLevel:
    """Steady until it is let go, then a straight fall."""
    time_s = np.arange(0.0, release_s + 2.0, HOP_S)
    db = -slope_db_per_s * np.maximum(time_s - release_s, 0.0)
    return NoteLevel(time_s=time_s, power=10.0 ** (db / 10.0), noise=10.0 ** (noise_db / 10.0))


@pytest.mark.parametrize("release_s", [0.5, 3.0])
@pytest.mark.parametrize("slope_db_per_s", [35.0, 90.0, 310.0])
def test_a_straight_fall_takes_twenty_db_over_its_slope_whenever_it_begins(
    slope_db_per_s: float, release_s: float
) -> None:
    fall = fall_after(level(slope_db_per_s, release_s=release_s), release_s=release_s, stop_s=release_s + 2.0)
    assert fall.bound == "="
    assert fall.release_20_s == pytest.approx(20.0 / slope_db_per_s, abs=0.2 * HOP_S)


def test_where_the_next_key_comes_first_it_takes_at_least_so_long() -> None:
    fall = fall_after(level(10.0, release_s=1.0), release_s=1.0, stop_s=1.6)
    assert fall.bound == ">"
    assert 0.5 < fall.release_20_s <= 0.6


def test_where_noise_covers_the_fall_its_time_is_unknown() -> None:
    fall = fall_after(level(90.0, release_s=1.0, noise_db=-10.0), release_s=1.0, stop_s=3.0)
    assert np.isnan(fall.release_20_s)
    assert "noise" in fall.why


@pytest.mark.parametrize(
    ("before", "tail", "own"), [(0.0, 1e-3, True), (1e-3, 1e-3, False), (1e-6, 1e-3, True)]
)
def test_a_tail_that_was_there_before_the_blow_is_not_the_notes(
    before: float, tail: float, own: bool
) -> None:
    time_s = np.arange(-0.6, 3.0, HOP_S)
    power = np.where(time_s < 0.0, before, tail + np.exp(-4.0 * np.maximum(time_s, 0.0)))
    assert _tail_is_its_own(NoteLevel(time_s=time_s, power=power, noise=1e-9)) is own


@pytest.mark.parametrize("decay_per_s", [0.3, 2.0])
def test_one_mode_falls_as_its_amplitude_does(decay_per_s: float) -> None:
    """An amplitude exp(-a t) falls by 20 a / ln 10 dB a second, by definition of the decibel."""
    one = np.full((1, 1, 1), decay_per_s)
    flat = np.ones((1, 1))
    modes = Modes(
        f_hz=100.0 * one,
        decay_per_s=one,
        amplitude=np.ones((1, 1, 1, 1), complex),
        energy=np.ones((1, 1, 1)),
        centroid_hz=100.0 * flat,
        centroid_energy=flat,
        mean_decay_per_s=decay_per_s * flat,
        fit_db=flat,
    )
    fall = _fall_db_per_s(modes, flat, np.array([2.0]), begin=0.1, end=0.9)
    assert fall == pytest.approx(20.0 * decay_per_s / np.log(10.0))
