"""How fast a damper stops a note, on falls whose time is known by hand."""

import numpy as np
import pytest

from pianolab.acoustics.envelope.damper import fall_after
from pianolab.acoustics.envelope.levels import NoteLevel

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
