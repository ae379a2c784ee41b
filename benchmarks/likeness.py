"""How far the modelled piano is from a recording: the same figures of the real notes and of the model.

::

    python -m benchmarks.likeness [--plain] [--seeds 2] [--keys 4 28 49]

Every figure is read off one channel by the same code, real channels apart and then averaged; time 0 is where the
level first comes within 30 dB of its maximum. The partials are those of a stiff string fitted to 1.2 s of the note
(least squares of (f_n / n)² on n²), so real and modelled notes are treated alike and no truth is used.

between_early_db, between_late_db
    power farther than d from every partial over the power nearer than d, from 30 Hz to 10 kHz, d = 4.2 / T + 0.4 %
    of the frequency: in the first 120 ms, and from 0.4 to 0.8 s; T is that length, the window a four-term
    Blackman-Harris one (side lobes -92 dB). Missing where partials lie closer than 2.4 d; the late one also
    above key 75, where the note is gone by then and the recording's own noise is left.
below_db
    power from 20 Hz to 0.75 f1 over that nearer than d to a partial, first 120 ms; missing under 150 Hz.
rise_ms
    from 20 dB to 2 dB under the loudest moment of the first 0.4 s; power of the analytic signal in a 4 ms window.
early_db_per_s, middle_db_per_s, late_db_per_s
    lines through the whole sound's level (30 ms window) from its maximum on: 0-0.2 s, 0.2-0.8 s, 0.8-2 s, as far
    as it lies less than 55 dB under the maximum and 6 dB over the file's own noise (its quietest half second before
    the last 1.5 s); missing where that is less than half of the span, the last also above key 75.
wander_1_db, wander_2_db
    rms distance of partial 1's (2's) envelope in dB from the best sum of two exponentials, from 0.1 s to 3 s or
    to 40 dB under its maximum; the partial is cut out by a Hann window of six periods, 30 to 200 ms.

Goals: levels within 6 dB, decays within 30 %, wander of partial 1 and rise within a factor of 2.
"""

from __future__ import annotations

import argparse
import io

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import ndimage, optimize, signal

from pianolab.io import read_sound
from pianolab.io.real_notes import real_notes
from pianolab.keyboard import REGISTERS, register_of
from pianolab.sound_model import PianoModel, render_note
from pianolab.sound_model.strings import inharmonicity_line
from pianolab.units import key_to_hz, power_to_db

FloatArray = NDArray[np.float64]
SECONDS = 4.0
LAST_LATE_KEY = 75
FIGURES = {
    "between_early_db": 6.0,
    "between_late_db": 6.0,
    "below_db": 6.0,
    "rise_ms": 2.0,
    "early_db_per_s": 1.3,
    "middle_db_per_s": 1.3,
    "late_db_per_s": 1.3,
    "wander_1_db": 2.0,
    "wander_2_db": np.nan,
}
"""Each figure with its goal: a distance in dB for levels, a ratio for the rest, NaN for none."""


def measure(sound: NDArray[np.floating], *, rate_hz: int, key: int, noise: float = 0.0) -> dict[str, float]:
    """The figures of one note, one channel from before its attack on, `FIGURES` by name; ``noise`` is a power."""
    whole = np.asarray(sound, dtype=float)
    whole = whole[_begin(whole, rate_hz) :]
    f1_hz, b = fit_series(whole, rate_hz=rate_hz, key=key)
    between, below = _shares(whole, rate_hz, f1_hz, b, from_s=0.0, to_s=0.12)
    late, _ = _shares(whole, rate_hz, f1_hz, b, from_s=0.4, to_s=0.8)
    slopes = _decays(whole, rate_hz, noise)
    if key > LAST_LATE_KEY:
        late, slopes = float("nan"), (*slopes[:2], float("nan"))
    wanders = [_wander(whole, rate_hz, float(_partials(f1_hz, b, n)), f1_hz) for n in (1, 2)]
    values = (between, late, below, _rise_ms(whole, rate_hz), *slopes, *wanders)
    return dict(zip(FIGURES, values, strict=True))


def _partials(f1_hz: float, b: float, numbers: object) -> FloatArray:
    n = np.asarray(numbers, dtype=float)
    return np.asarray(f1_hz * n * np.sqrt((1.0 + b * n**2) / (1.0 + b)))


def _power(sound: FloatArray, rate_hz: int, window_s: float) -> FloatArray:
    """Power of the analytic signal in a short Hann window, same length."""
    window = np.hanning(max(3, round(window_s * rate_hz)))
    return np.asarray(signal.fftconvolve(np.abs(signal.hilbert(sound)) ** 2, window / window.sum(), "same"))


def _begin(sound: FloatArray, rate_hz: int) -> int:
    power = _power(sound[: 2 * rate_hz], rate_hz, 0.004)
    return int(np.argmax(power > 1e-3 * power.max()))


def fit_series(sound: FloatArray, *, rate_hz: int, key: int) -> tuple[float, float]:
    """First partial in Hz and B of one note: the best place on a grid, then peaks followed upwards."""
    part = sound[round(0.03 * rate_hz) : round(1.23 * rate_hz)]
    size = 1 << 19
    level = np.abs(np.fft.rfft(part * np.hanning(part.size), size))
    step = rate_hz / size
    f1_hz, b = _on_grid(level, step, key)
    found: list[tuple[int, float, float]] = []
    for n in range(1, 41):
        expected = float(_partials(f1_hz, b, n))
        if expected > min(9000.0, 0.4 * rate_hz):
            break
        width = min(0.3 * f1_hz, 0.006 * expected + 1.0)
        low, high = round((expected - width) / step), round((expected + width) / step)
        top = low + int(np.argmax(level[low:high]))
        around = level[low - (high - low) : high + (high - low)]
        if level[top] > 5.0 * np.median(around) and low < top < high - 1:
            found.append((n, top * step, float(level[top])))
        if len(found) >= 5:
            f1_hz, b = _line(found)
    return f1_hz, b


def _on_grid(level: FloatArray, step: float, key: int) -> tuple[float, float]:
    """The f1 (within 75 cents) and B (0.3 to 3 times usual) whose first partials are strongest in dB."""
    usual_hz, usual_b = float(key_to_hz(key)), float(inharmonicity_line(key))
    count = int(np.clip(8000.0 / usual_hz, 1, 16))
    f1_hz = usual_hz * 2.0 ** (np.arange(-75.0, 75.1, 1.5) / 1200.0)
    b = usual_b * np.geomspace(0.3, 3.0, 31 if count > 2 else 1)
    n = np.arange(1.0, count + 1.0)
    lines = f1_hz[:, None, None] * n * np.sqrt((1.0 + b[:, None] * n**2) / (1.0 + b[:, None]))
    near = ndimage.maximum_filter1d(level, max(3, round(0.8 / step)))
    score = power_to_db(near[np.round(lines / step).astype(int)] ** 2).sum(axis=2)
    i, j = np.unravel_index(int(np.argmax(score)), score.shape)
    return float(f1_hz[i]), float(b[j] if count > 2 else usual_b)


def _line(found: list[tuple[int, float, float]]) -> tuple[float, float]:
    n, f_hz, level = (np.array(column, dtype=float) for column in zip(*found, strict=True))
    weight = np.sqrt(np.minimum(level, np.median(level)))
    for _ in range(3):
        slope, square = np.polyfit(n**2, (f_hz / n) ** 2, 1, w=weight)
        off = np.abs(f_hz / n / np.sqrt(np.maximum(square + slope * n**2, 1.0)) - 1.0)
        weight = weight * (off < max(1e-3, 3.0 * float(np.median(off))))
    b = max(0.0, slope / square)
    return float(np.sqrt(square * (1.0 + b))), float(b)


def _shares(
    sound: FloatArray, rate_hz: int, f1_hz: float, b: float, *, from_s: float, to_s: float
) -> tuple[float, float]:
    """Sound between the partials, and below the first, over the sound at the partials, in dB."""
    length_s = to_s - from_s
    part = sound[round(from_s * rate_hz) : round(to_s * rate_hz)]
    power = np.abs(np.fft.rfft(part * signal.windows.blackmanharris(part.size), 1 << 16)) ** 2
    f_hz = np.fft.rfftfreq(1 << 16, 1.0 / rate_hz)
    lines = _partials(f1_hz, b, np.arange(1, 400))
    nearest = lines[np.clip(np.searchsorted(0.5 * (lines[1:] + lines[:-1]), f_hz), 0, lines.size - 1)]
    reach = 4.2 / length_s + 0.004 * f_hz
    at = (np.abs(f_hz - nearest) < reach) & (f_hz < 10000.0)
    beside = ~at & (f_hz > 30.0) & (f_hz < 10000.0)
    between = power_to_db(power[beside].sum() / power[at].sum()) if f1_hz > 2.4 * 4.2 / length_s else np.nan
    low = (f_hz > 20.0) & (f_hz < 0.75 * f1_hz)
    below = power_to_db(power[low].sum() / power[at].sum()) if f1_hz > 150.0 else np.nan
    return float(between), float(below)


def _rise_ms(sound: FloatArray, rate_hz: int) -> float:
    lead = np.concatenate([np.zeros(round(0.02 * rate_hz)), sound[: round(0.4 * rate_hz)]])
    power = _power(lead, rate_hz, 0.004)
    loud = int(np.argmax(power > 10.0**-0.2 * power.max()))
    soft = int(np.flatnonzero(power[:loud] < 1e-2 * power.max())[-1])
    return 1e3 * (loud - soft) / rate_hz


def quietest(sound: NDArray[np.floating], rate_hz: int) -> float:
    """Power of a recording's quietest half second, its faded end left out."""
    half = round(0.5 * rate_hz)
    whole = np.asarray(sound, dtype=float)[: -3 * half]
    return float(min(np.mean(whole[i : i + half] ** 2) for i in range(0, len(whole) - half + 1, half)))


def _decays(sound: FloatArray, rate_hz: int, noise: float) -> tuple[float, float, float]:
    hop = round(0.01 * rate_hz)
    power = np.convolve(sound**2, np.ones(3 * hop) / (3 * hop), "valid")[::hop]
    level_db = power_to_db(power, floor=1e-20)
    top = int(np.argmax(level_db[: round(0.4 / 0.01)]))
    level_db = level_db[top:]

    def slope(from_s: float, to_s: float) -> float:
        span = np.arange(round(from_s / 0.01), round(to_s / 0.01) + 1)
        seen = span[span < level_db.size]
        seen = seen[level_db[seen] > max(level_db[0] - 55.0, float(power_to_db(4.0 * noise)))]
        if seen.size < 0.5 * span.size:
            return float("nan")
        return float(-np.polyfit(0.01 * seen, level_db[seen], 1)[0])

    return slope(0.0, 0.2), slope(0.2, 0.8), slope(0.8, 2.0)


def _wander(sound: FloatArray, rate_hz: int, f_hz: float, f1_hz: float) -> float:
    """Rms distance of one partial's level from a double exponential, dB."""
    window = np.hanning(round(float(np.clip(6.0 / f1_hz, 0.03, 0.2)) * rate_hz))
    part = sound[: round(3.1 * rate_hz)]
    turned = part * np.exp(-2j * np.pi * f_hz * np.arange(part.size) / rate_hz)
    hop = round(0.01 * rate_hz)
    envelope = np.abs(signal.fftconvolve(turned, window / window.sum(), "same"))[::hop]
    level_db = power_to_db(envelope**2, floor=1e-20)[10:-10]
    low = np.flatnonzero(level_db < level_db.max() - 40.0)
    level_db = level_db[: low[0] if low.size else level_db.size]
    if level_db.size < 20:
        return float("nan")
    t = 0.01 * np.arange(level_db.size)
    slope = max(1.0, float(-np.polyfit(t, level_db, 1)[0]))

    def off(p: FloatArray) -> FloatArray:
        return np.asarray(
            power_to_db(10.0 ** ((p[0] - p[1] * t) / 10.0) + 10.0 ** ((p[2] - p[3] * t) / 10.0)) - level_db
        )

    start = float(level_db[:5].mean())
    guesses = ((start, 2.0 * slope, start - 10.0, 0.5 * slope), (start, slope, start - 25.0, 0.2 * slope))
    fits = [optimize.least_squares(off, g, loss="soft_l1", max_nfev=60) for g in guesses]
    return float(min(np.sqrt(np.mean(off(f.x) ** 2)) for f in fits))


def real_figures(keys: list[int]) -> pd.DataFrame:
    """The figures of the shipped real notes, mean of the two channels, a row per key."""
    rows, notes = {}, real_notes()
    for key in keys:
        room = io.BytesIO(notes[key].read_bytes())
        room.name = notes[key].name
        sound = read_sound(room)
        both = [
            measure(
                channel[: round(SECONDS * sound.rate_hz)],
                rate_hz=sound.rate_hz,
                key=key,
                noise=quietest(channel, sound.rate_hz),
            )
            for channel in sound.samples.T
        ]
        rows[key] = pd.DataFrame(both).mean()
    return pd.DataFrame(rows).T


def model_figures(keys: list[int], *, plain: bool = False, seeds: int = 1) -> pd.DataFrame:
    """The figures of modelled grands, a row per key and seed."""
    rows = []
    for seed in range(1, seeds + 1):
        make = PianoModel.plain if plain else PianoModel
        model = make(seed=seed, kind="grand")
        for key in keys:
            note = render_note(model, key, seconds=SECONDS, seed=seed)
            rows.append({"key": key, **measure(note, rate_hz=44100, key=key)})
    return pd.DataFrame(rows).set_index("key")


def compared(real: pd.DataFrame, model: pd.DataFrame) -> pd.DataFrame:
    """Medians by register and over all, real beside model, and whether the goal is met."""
    rows = []
    places = [*(r.name for r in REGISTERS), "all"]
    for figure, goal in FIGURES.items():
        for place in places:
            medians = [
                frame[figure][[place in ("all", register_of(int(k))) for k in frame.index]].median()
                for frame in (real, model)
            ]
            off = medians[1] - medians[0] if goal == 6.0 else medians[1] / medians[0]
            near = abs(off) <= goal if goal == 6.0 else 1.0 / goal <= off <= goal
            said = "" if np.isnan(goal) or np.isnan(off) else "yes" if near else "NO"
            rows.append((figure, place, *medians, off, "dB" if goal == 6.0 else "times", said))
    return pd.DataFrame(rows, columns=["figure", "register", "real", "model", "off", "unit", "goal met"])


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description="The modelled piano beside real notes.")
    parser.add_argument("--keys", type=int, nargs="*", default=list(real_notes()))
    parser.add_argument("--seeds", type=int, default=1)
    parser.add_argument("--plain", action="store_true")
    asked = parser.parse_args()
    table = compared(
        real_figures(asked.keys), model_figures(asked.keys, plain=asked.plain, seeds=asked.seeds)
    )
    print(table.to_string(index=False, float_format=lambda x: f"{x:.2f}", na_rep=""))


if __name__ == "__main__":
    main()
