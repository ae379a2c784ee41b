"""When something begins, on sounds whose beginnings are known."""

import numpy as np
import pytest

from pianolab.acoustics.keys import onsets
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


def flooded(seed: int) -> tuple[np.ndarray, np.ndarray]:
    """Thirty blows in noise of equal power per octave, 5 dB under them, and when they begin."""
    at_s = np.arange(30) * 1.5 + 0.5
    sound = blows(*at_s)[0].astype(float)
    rng = np.random.default_rng(seed)
    spectrum = np.fft.rfft(rng.normal(size=len(sound)))
    spectrum /= np.sqrt(np.maximum(np.fft.rfftfreq(len(sound), 1 / RATE_HZ), 20.0))
    noise = np.fft.irfft(spectrum, len(sound))
    noise *= 10 ** (-5 / 20) * np.sqrt(np.mean(sound**2) / np.mean(noise**2))
    return (sound + noise)[None].astype(np.float32), at_s


def found_in_flood(seed: int) -> tuple[int, int]:
    """How many blows are among the candidates, and how many candidates there are."""
    sound, at_s = flooded(seed)
    times_s = find_onsets(sound, rate_hz=RATE_HZ).times_s
    return sum(bool(np.any(np.abs(times_s - t) < 0.08)) for t in at_s), len(times_s)


@pytest.mark.parametrize("seed", [1, 2])
def test_in_a_flood_of_noise_blows_stay_and_what_noise_does_all_the_time_goes(seed: int) -> None:
    blows_found, candidates = found_in_flood(seed)
    assert blows_found >= 29
    assert candidates < 2 * 30


def test_where_the_noise_of_few_bins_counts_as_a_rise_the_flood_comes_in(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(onsets, "_noise_over_quiet", lambda count, **_: np.full(count, 0.2))
    monkeypatch.setattr(onsets, "_least_rise", lambda rises, typical, share: share * typical)  # noqa: ARG005
    assert found_in_flood(1)[1] > 3 * 30


def scale_in_noise(*, snr_db: float, every_s: float = 2.0) -> tuple[np.ndarray, np.ndarray]:
    """Ten notes of the middle that last, ten short ones of the top that are one line each, in white noise; their times.

    Over the louder notes' peak the noise lies ``snr_db`` lower; the short ones fall 20 dB in 0.16 s.
    """
    rng = np.random.default_rng(3)
    at_s = 1.0 + every_s * np.arange(20)
    time_s = np.arange(round((at_s[-1] + every_s) * RATE_HZ)) / RATE_HZ
    sound = 10 ** (-snr_db / 20) * rng.normal(size=time_s.size)
    for i, t in enumerate(at_s):
        after = np.maximum(time_s - t, 0.0)
        if i < 10:
            for n in range(1, 9):
                sound += (after > 0) * np.exp(-3.0 * after) * np.sin(2 * np.pi * 262.0 * n * after) / n
        else:
            sound += 0.4 * (after > 0) * np.exp(-14.4 * after) * np.sin(2 * np.pi * (3000 + 100 * i) * after)
    return (0.1 * sound[None]).astype(np.float32), at_s


def found_and_more(at_s: np.ndarray, times_s: np.ndarray) -> tuple[int, int]:
    """How many blows have a candidate, and how many candidates no blow."""
    near = np.abs(at_s[:, None] - times_s[None]) < 0.1
    return int(near.any(axis=1).sum()), int((~near.any(axis=0)).sum())


def test_a_short_high_note_in_noise_is_a_candidate(monkeypatch: pytest.MonkeyPatch) -> None:
    sound, at_s = scale_in_noise(snr_db=20.0)
    assert found_and_more(at_s, find_onsets(sound, rate_hz=RATE_HZ).times_s)[0] == 20
    # The twin: the sum over all bands loses what one of them shows.
    monkeypatch.setitem(limits()["segment"], "narrow_clear", 1e9)
    assert found_and_more(at_s, find_onsets(sound, rate_hz=RATE_HZ).times_s)[0] < 18
