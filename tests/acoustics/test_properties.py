"""What must not matter does not matter: loudness, channel order, silence around, the rate."""

from functools import cache

import numpy as np
import pandas as pd
import pytest
import soxr

from pianolab.acoustics import Survey, listen
from pianolab.sound_model import PianoModel, render_scale, room

FIRST, LAST = 34, 66


@cache
def stereo() -> tuple[np.ndarray, int]:
    made = render_scale(
        PianoModel(seed=12),
        first_key=FIRST,
        last_key=LAST,
        room=room("home").stereo(),
        snr_db=42.0,
        seed=12,  # type: ignore[union-attr]
    )
    return made.samples, made.rate_hz


@cache
def plain() -> Survey:
    samples, rate_hz = stereo()
    return listen(samples, rate_hz=rate_hz, first_key=FIRST, last_key=LAST)


def again(samples: np.ndarray, rate_hz: int) -> pd.DataFrame:
    return listen(samples, rate_hz=rate_hz, first_key=FIRST, last_key=LAST).table


@pytest.mark.slow
def test_the_same_recording_gives_the_same_table() -> None:
    samples, rate_hz = stereo()
    pd.testing.assert_frame_equal(again(samples, rate_hz), plain().table)


@pytest.mark.slow
def test_a_quieter_copy_has_the_same_measures() -> None:
    samples, rate_hz = stereo()
    quiet = again(0.25 * samples, rate_hz)
    for column, within in (
        ("cents", 1e-3),
        ("unison_cents", 1e-2),
        ("decay_20_s", 1e-3),
        ("brightness_db", 1e-2),
    ):
        assert np.nanmax(np.abs(quiet[column] - plain().table[column])) < within, column
    assert list(quiet["faults"]) == list(plain().table["faults"])
    assert np.nanmedian(quiet["level_db"] - plain().table["level_db"]) == pytest.approx(-12.04, abs=0.05)


@pytest.mark.slow
def test_channel_order_does_not_matter() -> None:
    samples, rate_hz = stereo()
    turned = again(samples[:, ::-1], rate_hz)
    assert np.nanmax(np.abs(turned["cents"] - plain().table["cents"])) < 1e-3


@pytest.mark.slow
def test_a_channel_in_opposite_phase_is_no_loss() -> None:
    """Mixed to mono this recording would be nearly silent; measured channel by channel nothing changes."""
    samples, rate_hz = stereo()
    one = np.stack([samples[:, 0], -samples[:, 0]], axis=1)
    assert np.max(np.abs(one.sum(axis=1))) == 0.0
    table = again(one, rate_hz)
    mono = again(samples[:, 0], rate_hz)
    assert list(table["status"]) == list(mono["status"])
    assert np.nanmax(np.abs(table["cents"] - mono["cents"])) < 0.05


@pytest.mark.slow
def test_silence_around_does_not_matter() -> None:
    samples, rate_hz = stereo()
    pad = np.zeros((rate_hz, 2), dtype=np.float32)
    padded = again(np.concatenate([pad, samples, pad]), rate_hz)
    assert np.nanmax(np.abs(padded["cents"] - plain().table["cents"])) < 0.05
    assert np.nanmedian(padded["onset_s"] - plain().table["onset_s"]) == pytest.approx(1.0, abs=0.01)


@pytest.mark.slow
@pytest.mark.parametrize("rate_hz", [48000, 96000])
def test_the_rate_does_not_matter(rate_hz: int) -> None:
    samples, own_hz = stereo()
    other = again(soxr.resample(samples, own_hz, rate_hz, quality="VHQ"), rate_hz)
    cents = np.abs(other["cents"] - plain().table["cents"])
    assert np.nanmedian(cents) < 0.05
    assert np.nanmax(cents) < 0.5
    ratio = other["decay_20_s"] / plain().table["decay_20_s"]
    assert np.nanmedian(np.abs(ratio - 1.0)) < 0.02


@pytest.mark.slow
def test_a_survey_survives_being_stored() -> None:
    back = Survey.from_json(plain().to_json())
    pd.testing.assert_frame_equal(back.table, plain().table)
    assert back.summary == plain().summary
