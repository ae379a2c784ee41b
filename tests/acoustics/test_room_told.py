"""Is it a room or a slow damper? Falls written down by hand, in the octaves about 500 to 1000 Hz and about 2000 Hz."""

from __future__ import annotations

import numpy as np
import pytest

from pianolab.acoustics.envelope.damper import Release
from pianolab.acoustics.envelope.levels import NoteLevel
from pianolab.acoustics.envelope.reverberation import DAMPERS, EITHER, TOO_FEW, believed_t60_s, room_t60

HOLD_S, END_S, COUNT = 2.0, 3.0, 12
KEYS = np.arange(34, 34 + COUNT)


def told(*, middle_s: float, high_s: float | None, noise_db: float = -70.0) -> tuple[float, str]:
    """What is told where every fall after the key is let go is one straight line, of 60 dB in so many s in each band."""
    t = np.arange(-0.1, END_S, 0.005)
    noise = 10.0 ** (0.1 * noise_db)

    def fall(t60_s: float) -> np.ndarray:
        return 10.0 ** (-6.0 * np.maximum(t - HOLD_S, 0.0) / t60_s)

    high = np.zeros(0) if high_s is None else fall(high_s)
    levels = [NoteLevel(t, fall(middle_s), noise, fall(middle_s), noise, high, noise) for _ in KEYS]
    hold = np.full(COUNT, HOLD_S)
    return room_t60(levels, Release(hold, hold, None), KEYS, interval_s=np.full(COUNT, END_S))


@pytest.mark.parametrize("t60_s", [0.35, 0.5, 1.0])
def test_what_rings_as_long_an_octave_higher_is_a_room(t60_s: float) -> None:
    heard_s, why = told(middle_s=t60_s, high_s=0.95 * t60_s)
    assert why == ""
    assert heard_s == pytest.approx(t60_s, rel=0.05)


@pytest.mark.parametrize(("high_s", "reason"), [(0.15, DAMPERS), (0.28, EITHER)])
def test_what_stops_much_sooner_there_are_dampers(high_s: float, reason: str) -> None:
    """The twin: the same falls in the middle, half a second long, prove no room."""
    heard_s, why = told(middle_s=0.5, high_s=high_s)
    assert why == reason
    assert heard_s == pytest.approx(high_s, rel=0.05), "a room rings no longer than its quickest octave"
    assert np.isnan(believed_t60_s(heard_s, why)) == (reason == DAMPERS)


def test_without_the_high_octave_the_middle_ones_decide() -> None:
    assert told(middle_s=0.5, high_s=None)[1] == ""
    assert told(middle_s=0.2, high_s=None)[1] == DAMPERS


def test_falls_that_noise_cuts_short_still_say_whether_there_is_a_room() -> None:
    """Noise 13 dB under the notes: too little for a time, but 0.6 s are not a damper's and 0.1 s no room's."""
    slow_s, why = told(middle_s=0.6, high_s=None, noise_db=-13.0)
    assert why == TOO_FEW
    assert believed_t60_s(slow_s, why) == pytest.approx(0.6, rel=0.2)
    quick_s, why = told(middle_s=0.1, high_s=None, noise_db=-13.0)
    assert why == DAMPERS
    assert np.isnan(believed_t60_s(quick_s, why))
