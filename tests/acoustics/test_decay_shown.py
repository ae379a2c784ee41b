"""No time to fall 20 dB contradicts the sound: real notes against their own envelope, and the same take twice over.

The reference is arithmetic on the samples alone (numpy): power in 30 ms, no library code. The shipped notes are a grand
piano's, CC BY 3.0, see datasets/real_notes/CARD.md. Their dampers are not recorded: the hold ends in a fade.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import pandas as pd
import pytest
import soxr

from pianolab.acoustics import listen
from pianolab.acoustics.envelope.decay import note_decay
from pianolab.acoustics.envelope.levels import NoteLevel
from pianolab.io import real_notes, string_together

KEYS = tuple(sorted(real_notes()))
CHANNELS = {"left": [0], "right": [1], "both": [0, 1]}
HOLD_S = 3.0


@cache
def take(channels: str, hold_s: float = HOLD_S) -> tuple[np.ndarray, int, tuple[float, ...]]:
    sound, onsets_s = string_together(hold_s=hold_s, gap_s=0.5, lead_s=0.5)
    return sound.samples[:, CHANNELS[channels]], sound.rate_hz, tuple(onsets_s)


@cache
def surveyed(channels: str, hold_s: float = HOLD_S) -> pd.DataFrame:
    samples, rate_hz, onsets_s = take(channels, hold_s)
    table = listen(samples, rate_hz=rate_hz).table.set_index("key")
    right = [k for k, o in zip(KEYS, onsets_s, strict=True) if abs(table["onset_s"][k] - o) < 0.15]
    assert len(right) >= len(KEYS) - 2, "a note that was given another key can't be compared"
    return table.loc[right]


def without_rumble(samples: np.ndarray, rate_hz: int) -> np.ndarray:
    """Without what lies under the lowest string of a piano, 27.5 Hz: steps and doors are no note."""
    spectrum = np.fft.rfft(samples.astype(float), axis=0)
    spectrum[np.fft.rfftfreq(len(samples), 1.0 / rate_hz) < 25.0] = 0.0
    return np.fft.irfft(spectrum, len(samples), axis=0)


def envelope_db(note: np.ndarray, rate_hz: int) -> np.ndarray:
    """Level of the note in windows of 30 ms every 5 ms, dB."""
    size, hop = round(0.030 * rate_hz), round(0.005 * rate_hz)
    summed = np.concatenate([[0.0], np.cumsum(np.sum(note.astype(float) ** 2, axis=1))])
    starts = np.arange(0, len(note) - size + 1, hop)
    return 10.0 * np.log10(np.maximum(summed[starts + size] - summed[starts], 1e-20))


@cache
def by_envelope(channels: str, hold_s: float = HOLD_S) -> pd.DataFrame:
    """Per key: when the level is at its highest, and when it last was 19, 20, and 21 dB lower; NaN where it wasn't."""
    samples, rate_hz, onsets_s = take(channels, hold_s)
    samples = without_rumble(samples, rate_hz)
    rows = {}
    for key, onset_s in zip(KEYS, onsets_s, strict=True):
        db = envelope_db(samples[round(onset_s * rate_hz) : round((onset_s + hold_s) * rate_hz)], rate_hz)
        top = int(np.argmax(db[:120]))
        last = [int(np.flatnonzero(db >= db[top] - fall)[-1]) for fall in (19.0, 20.0, 21.0)]
        rows[key] = [0.005 * (i + 0.5 - top) if i < len(db) - 3 else np.nan for i in last]
    return pd.DataFrame.from_dict(rows, orient="index", columns=["at_19", "at_20", "at_21"])


@pytest.mark.slow
@pytest.mark.parametrize("hold_s", [2.0, HOLD_S, 5.0])
@pytest.mark.parametrize("channels", CHANNELS)
def test_no_time_contradicts_the_envelope(channels: str, hold_s: float) -> None:
    table, seen = surveyed(channels, hold_s), by_envelope(channels, hold_s)
    told = table["decay_20_bound"] == "="
    seen = seen.loc[table.index]
    assert not (told & seen["at_21"].isna() & seen["at_20"].isna()).any(), "told though it never fell so far"
    falls = seen["at_21"].notna()
    assert told[falls].mean() >= 0.8
    error = (table["decay_20_s"] / seen["at_20"] - 1.0)[told & falls].abs()
    assert error.median() <= 0.03
    assert error.quantile(0.9) <= 0.12
    longer = table["decay_20_bound"] == ">"
    assert (table["decay_20_s"] <= seen["at_21"].fillna(np.inf) + 0.01)[longer].all()


@pytest.mark.slow
def test_a_time_read_from_anything_else_would_contradict_it() -> None:
    """Its twin: the time of the note played before."""
    table, seen = surveyed("left"), by_envelope("left")
    seen = seen.loc[table.index]
    error = (table["decay_20_s"].shift(1) / seen["at_20"] - 1.0)[table["decay_20_bound"] == "="].abs()
    assert error.median() > 0.03
    assert error.quantile(0.9) > 0.12


@pytest.mark.slow
@pytest.mark.parametrize("channels", CHANNELS)
def test_no_healthy_note_is_short(channels: str) -> None:
    for hold_s in (2.0, HOLD_S, 5.0):
        table = surveyed(channels, hold_s)
        assert list(table.index[table["faults"].str.contains("short_sustain")]) == []


def changed(how: str) -> tuple[np.ndarray, int]:
    samples, rate_hz, _ = take("left")
    if how == "6 dB louder":
        return np.float32(2.0) * samples, rate_hz
    if how == "noise 45 dB down":
        rng = np.random.default_rng(3)
        loud = float(np.sqrt(np.mean(samples[samples != 0] ** 2)))
        return samples + np.float32(10.0 ** (-45 / 20) * loud) * rng.standard_normal(samples.shape).astype(
            np.float32
        ), rate_hz
    return soxr.resample(samples, rate_hz, rate_hz * 2.0 ** (1 / 12), quality="VHQ").astype(
        np.float32
    ), rate_hz


@pytest.mark.slow
@pytest.mark.parametrize("how", ["6 dB louder", "noise 45 dB down", "a semitone flat"])
def test_the_same_take_gives_the_same_times_within_their_sd(how: str) -> None:
    samples, rate_hz = changed(how)
    slower = 2.0 ** (1 / 12) if how == "a semitone flat" else 1.0
    again = listen(samples, rate_hz=rate_hz, a4_hz=440.0 / slower).table.set_index("key")
    table = surveyed("left")
    both = table.index[
        (table["decay_20_bound"] == "=") & (again["decay_20_bound"].reindex(table.index) == "=")
    ]
    assert len(both) >= 16
    apart = again.loc[both, "decay_20_s"] / slower - table.loc[both, "decay_20_s"]
    sds = apart / np.hypot(table.loc[both, "decay_20_s_sd"], again.loc[both, "decay_20_s_sd"] / slower)
    assert (sds.abs() < 2.0).mean() >= 0.9
    assert (apart.abs() / table.loc[both, "decay_20_s"]).median() < 0.01
    wrong = apart + 0.1 * table.loc[both, "decay_20_s"]
    assert (wrong.abs() / table.loc[both, "decay_20_s_sd"] < 2.0).mean() < 0.9, "ten per cent off would show"


@pytest.mark.parametrize("moments", range(1, 14))
def test_a_note_let_go_at_once_in_noise_has_a_bound_within_what_was_heard(moments: int) -> None:
    """However few moments are left after the loudest one, no time is told beyond them."""
    t = np.arange(-0.03, 1.0, 0.005)
    top = int(np.searchsorted(t, 0.05))
    power = np.where(t <= t[top], 10.0 ** (40.0 * (t - t[top])), 10.0 ** (-0.5 * (t - t[top])))
    told = note_decay(NoteLevel(t, power, 0.2), usable_s=float(t[top + moments - 1]) + 0.001)
    assert told.bound == ">"
    assert 0.0 <= told.decay_20_s <= (moments - 1) * 0.005 + 1e-9
