"""When something begins, on sounds whose beginnings are known."""

import numpy as np
import pytest

from pianolab.acoustics.keys.onsets import find_onsets
from pianolab.acoustics.limits import limits

RATE_HZ = 22050


def blows(*at_s: float) -> np.ndarray:
    """A few partials that begin at once and die away, over faint noise."""
    time_s = np.arange(round((max(at_s) + 1.0) * RATE_HZ)) / RATE_HZ
    sound = 1e-5 * np.random.default_rng(1).normal(size=time_s.size)
    for t in at_s:
        after = np.maximum(time_s - t, 0.0)
        for n in range(1, 9):
            sound += (after > 0) * np.exp(-4.0 * after) * np.sin(2 * np.pi * 262.0 * n * after) / n
    return (0.1 * sound[None]).astype(np.float32)


@pytest.mark.parametrize("shift_s", [0.0, 0.0037, 0.0081])
def test_a_blow_is_placed_before_it_begins_and_by_no_more_than_half_a_window_and_a_step(
    shift_s: float,
) -> None:
    """What is cut and measured from there holds the whole blow, and little of what was before."""
    truth = np.array([0.5, 1.3, 2.1, 2.9]) + shift_s
    onsets = find_onsets(blows(*truth), rate_hz=RATE_HZ)
    early_s = np.array([t - onsets.times_s[np.argmin(np.abs(onsets.times_s - t))] for t in truth])
    assert np.all(early_s >= 0.0)
    assert np.all(early_s < 0.5 * limits()["segment"]["window_s"] + onsets.hop_s)
