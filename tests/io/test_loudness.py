"""How loud a clip is: A-weighted over its first moments, and K-weighted at its loudest moment."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import lfilter

from pianolab.io import clip_bytes, momentary_lufs, read_sound, write_sound
from pianolab.io.loudness import K_STAGES, k_filter


def tone(f_hz: float, *, rate_hz: int = 48000, seconds: float = 1.0, amplitude: float = 1.0) -> np.ndarray:
    return amplitude * np.sin(2 * np.pi * f_hz * np.arange(round(seconds * rate_hz)) / rate_hz)


@pytest.mark.parametrize("rate_hz", [16000, 22050, 32000, 44100, 48000, 96000])
def test_a_tone_at_full_scale_reads_as_the_recommendation_says(rate_hz: int) -> None:
    """bs1770: 997 Hz at 0 dB full scale in one channel reads -3.01 LKFS."""
    assert momentary_lufs(tone(997.0, rate_hz=rate_hz), rate_hz=rate_hz) == pytest.approx(-3.01, abs=0.03)


def test_the_figure_of_the_recommendation_has_teeth() -> None:
    flat = 10.0 * np.log10(np.mean(tone(997.0) ** 2)) - 0.691
    assert flat != pytest.approx(-3.01, abs=0.3), "without the weighting the reading is another one"


def test_other_rates_weigh_as_the_printed_coefficients_do() -> None:
    """Up to 4 kHz within 0.15 dB; a high-pass or shelf at the wrong place would be off by several."""
    for f_hz in (30.0, 60.0, 200.0, 1000.0, 2000.0, 4000.0):
        printed = tone(f_hz, seconds=3.0)
        for b, a in K_STAGES:
            printed = lfilter(b, a, printed)
        wanted = 10.0 * np.log10(np.mean(printed[-48000:] ** 2)) - 0.691
        assert momentary_lufs(
            tone(f_hz, rate_hz=32000, seconds=3.0)[-64000:], rate_hz=32000
        ) == pytest.approx(wanted, abs=0.15)
    assert not np.allclose(k_filter(32000), k_filter(48000), atol=0.01)


def test_two_channels_are_three_decibels_more_and_the_loudest_moment_counts() -> None:
    mono = tone(997.0, amplitude=0.1)
    assert momentary_lufs(mono, rate_hz=48000) == pytest.approx(-23.01, abs=0.03)
    stereo = np.stack([mono, mono], axis=1)
    assert momentary_lufs(stereo, rate_hz=48000) == pytest.approx(-20.0, abs=0.03)
    louder = np.concatenate([0.1 * mono, mono, 0.1 * mono])
    assert momentary_lufs(louder, rate_hz=48000) == pytest.approx(-23.01, abs=0.05)
    short = momentary_lufs(mono[:4800], rate_hz=48000)
    assert short == pytest.approx(-23.01 - 10 * np.log10(4), abs=0.2)
    assert momentary_lufs(np.zeros(100), rate_hz=48000) < -100


@pytest.mark.parametrize("format", ["mp3", "wav"])
def test_constant_clips_take_the_same_bytes_whatever_they_sound_like(format: str, tmp_path) -> None:
    rng = np.random.default_rng(1)
    loud = 0.2 * rng.standard_normal(64000)
    gone = loud * np.exp(-np.arange(64000) / 2000.0)
    sizes = [len(clip_bytes(x, rate_hz=32000, format=format, constant=True).data) for x in (loud, gone)]
    assert sizes[0] == sizes[1]
    for n, x in enumerate((loud, gone)):
        write_sound(tmp_path / f"{n}.{format}", x, rate_hz=32000, constant=True)
    assert len({p.stat().st_size for p in tmp_path.iterdir()}) == 1
    assert read_sound(tmp_path / f"0.{format}").seconds == pytest.approx(2.0, abs=0.06)


def test_without_it_the_size_tells() -> None:
    rng = np.random.default_rng(1)
    loud = 0.2 * rng.standard_normal(64000)
    gone = loud * np.exp(-np.arange(64000) / 2000.0)
    sizes = [len(clip_bytes(x, rate_hz=32000, format="mp3").data) for x in (loud, gone)]
    assert sizes[0] > 1.1 * sizes[1]


def test_a_format_that_takes_what_it_needs() -> None:
    with pytest.raises(ValueError, match="clip: got OGG of constant size, need MP3 or WAV"):
        clip_bytes(np.zeros(100), rate_hz=32000, format="ogg", constant=True)
