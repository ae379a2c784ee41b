"""Trial of the independent analysis on plain sums of decaying stiff partials whose truth is calculated.

``python -m benchmarks.independent_trial`` prints errors and how often the stated uncertainty holds the truth.
"""

from __future__ import annotations

import argparse
import time
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import signal

from benchmarks.independent import analyse, excludes
from benchmarks.takes import Press, Take

Floats = NDArray[np.float64]

RATE_HZ = 32_000
REGISTERS = ((1, 20), (21, 40), (41, 60), (61, 76), (77, 88))


@dataclass(frozen=True)
class Note:
    """One synthetic note: its sound (frames, channels), and what is true of it."""

    sound: Floats
    mean_cents: float
    """Partial 1 of the mean of the strings, from equal temperament."""
    centroid_cents: float
    """Energy centroid of partial 1 over the hold, from the noise-free partial by numeric integration."""
    b: float
    unison_cents: float
    strings: int


def usual(key: int) -> tuple[float, float]:
    """B and the time for 60 dB of partial 1 in s, rough, of the trial's piano (from memory of grands)."""
    b = 1.5e-4 * np.exp(0.092 * max(key - 22, 0)) + 2e-4 * np.exp(-(key - 1) / 6)
    return float(b), float(16 * 2 ** (-(key - 1) / 19))


def make_note(key: int, rng: np.random.Generator, *, hold_s: float, tail_s: float, channels: int = 1) -> Note:
    """Strings with their own level, phase and decay in every partial; two stages; a damper after ``hold_s``."""
    b, t60_s = usual(key)
    b *= float(np.exp(rng.normal(0, 0.3)))
    strings = 1 if key < 10 else 2 if key < 22 else 3
    wide = float(rng.choice([0.2, 0.6, 1.5, 3.0, 8.0])) if strings > 1 else 0.0
    off = np.array([0.0, wide, wide * rng.uniform(0, 1)])[:strings]
    cents = rng.normal(0, 8) + off - off.mean()
    f0 = 440 * 2 ** ((key - 49) / 12) * 2 ** (cents / 1200)
    t = np.arange(int((hold_s + tail_s) * RATE_HZ)) / RATE_HZ
    damped = np.exp(-6.9 * np.clip(t - hold_s, 0, None) / 0.3) * np.minimum(1, t / 0.004)
    sound = np.zeros((len(t), channels))
    for n in range(1, 41):
        hz = n * f0 * np.sqrt(1 + b * n**2)
        if hz.max() > 0.45 * RATE_HZ:
            break
        level = 10 ** (rng.normal(-0.15 * n * (1 + key / 30), 4) / 20) * _bass_weak(n, key, rng)
        rate = 6.9 / t60_s * (1 + 0.12 * (n - 1)) * rng.uniform(0.8, 1.3)
        part = np.zeros(len(t), complex)
        for hertz in hz:
            late = rng.uniform(0.02, 0.2)
            turn = 2j * np.pi * hertz
            early = ringing(turn - 2.2 * rate * rng.uniform(0.8, 1.25), len(t))
            both = (1 - late) * early + late * ringing(turn - 0.5 * rate, len(t))
            part += rng.uniform(0.6, 1.2) * np.exp(1j * rng.normal(0, 0.4)) * both
        part *= level * np.exp(1j * rng.uniform(0, 2 * np.pi))
        if n == 1:
            first = _centroid(part[: int(hold_s * RATE_HZ)], float(hz.mean()))
        sound += np.real(part)[:, None] * (rng.uniform(0.5, 1, channels) * rng.choice([-1, 1], channels))
    base = 440 * 2 ** ((key - 49) / 12)
    mean = 1200 * np.log2(f0.mean() * np.sqrt(1 + b) / base)
    return Note(sound * damped[:, None], mean, 1200 * np.log2(first / base), b, wide, strings)


def ringing(pole: complex, frames: int) -> NDArray[np.complex128]:
    """exp(pole t), as an outer product of a coarse and a fine row, which costs few exponentials."""
    fine = np.exp(pole * np.arange(512) / RATE_HZ)
    coarse = np.exp(pole * 512 * np.arange(frames // 512 + 1) / RATE_HZ)
    return np.outer(coarse, fine).ravel()[:frames]


def _bass_weak(n: int, key: int, rng: np.random.Generator) -> float:
    """Partial 1 of the bass is weak, and now and then missing."""
    if n > 1 or key > 28:
        return 1.0
    return float(rng.choice([0.0005, 0.03, 0.2]))


def _centroid(part: NDArray[np.complex128], near_hz: float) -> float:
    """Energy-weighted mean of the instantaneous frequency: the same as the centroid of the energy spectrum."""
    turn = np.angle(part[1:] * np.conj(part[:-1]) * np.exp(-2j * np.pi * near_hz / RATE_HZ))
    energy = np.abs(part[1:] * part[:-1])
    return float(near_hz + np.sum(turn * energy) / np.sum(energy) * RATE_HZ / (2 * np.pi))


def fall_20(sound: Floats, hold_s: float) -> float:
    """Time from the loudest 30 ms to the last of -20 dB within the hold, from the noise-free sum; NaN if it stays."""
    width = int(0.03 * RATE_HZ)
    total = np.concatenate([[0.0], np.cumsum(np.sum(sound**2, axis=1))])
    power = total[width:] - total[:-width]
    power = power[: int(hold_s * RATE_HZ) - width]
    top = int(np.argmax(power))
    above = np.flatnonzero(power >= 0.01 * power[top])[-1]
    return np.nan if above >= len(power) - 2 else (above - top) / RATE_HZ


def make_take(
    keys: tuple[int, ...],
    seed: int,
    *,
    snr_db: float = 40.0,
    hold_s: float = 2.0,
    gap_s: float = 0.5,
    channels: int = 1,
    t60_s: float | None = None,
) -> Take:
    """Keys in turn with white noise ``snr_db`` under the notes' median peak; truth as calculated."""
    rng = np.random.default_rng(seed)
    lead = 0.5
    notes = [make_note(key, rng, hold_s=hold_s, tail_s=1.0, channels=channels) for key in keys]
    length = int((lead + len(keys) * (hold_s + gap_s) + 1.5) * RATE_HZ)
    samples = np.zeros((length, channels))
    presses, truth, loud = [], [], []
    for i, (key, note) in enumerate(zip(keys, notes, strict=True)):
        onset = lead + i * (hold_s + gap_s)
        gain = 10 ** (rng.normal(0, 2) / 20) / np.sqrt(np.mean(note.sound[: RATE_HZ // 10] ** 2) + 1e-30)
        start = round(onset * RATE_HZ)
        samples[start : start + len(note.sound)] += gain * note.sound
        presses.append(Press(key=key, onset_s=onset, release_s=onset + hold_s))
        loud.append(gain**2 * np.mean(note.sound[: RATE_HZ // 10] ** 2))
        truth.append(
            {
                "key": key,
                "cents": note.mean_cents,
                "centroid_cents": note.centroid_cents,
                "inharmonicity": note.b,
                "unison_cents": note.unison_cents,
                "strings": note.strings,
                "decay_20_s": fall_20(note.sound, hold_s),
            }
        )
    if t60_s:
        samples = in_room(samples, t60_s, rng)
    samples += rng.normal(size=samples.shape) * np.sqrt(np.median(loud)) * 10 ** (-snr_db / 20)
    return Take(
        family="sums",
        case=f"{snr_db:g} dB",
        name=str(seed),
        samples=(0.1 * samples).astype(np.float32),
        rate_hz=RATE_HZ,
        presses=tuple(presses),
        truth=pd.DataFrame(truth),
        first_key=min(keys),
        last_key=max(keys),
        t60_s=t60_s,
    )


def in_room(samples: Floats, t60_s: float, rng: np.random.Generator) -> Floats:
    """Each channel with its own tail of white noise that falls 60 dB in ``t60_s``, as strong as the direct sound."""
    t = np.arange(int(t60_s * RATE_HZ)) / RATE_HZ
    tail = rng.normal(size=(len(t), samples.shape[1])) * np.exp(-6.9 * t / t60_s)[:, None]
    tail /= np.sqrt(np.sum(tail**2, axis=0))
    tail[0] += 1.0
    return signal.fftconvolve(samples, tail, axes=0)[: len(samples)]


def tried(take: Take) -> pd.DataFrame:
    """Analysis beside truth (its columns with ``_true``), with errors."""
    rows = analyse(take).merge(take.truth, on="key", suffixes=("", "_true"), how="right")
    series = rows["key"] <= 60
    rows["cents_error"] = rows["cents"] - np.where(series, rows["cents_true"], rows["centroid_cents"])
    rows["decay_error"] = rows["decay_20_s"] / rows["decay_20_s_true"] - 1
    return rows


def table(rows: pd.DataFrame) -> pd.DataFrame:
    """Median and 90 % errors and how often the stated uncertainty holds, per register and in all."""
    return pd.DataFrame(
        {
            f"{low}-{high}": _figures(rows[rows["key"].between(low, high)])
            for low, high in (*REGISTERS, (1, 88))
        }
    ).T


def _figures(rows: pd.DataFrame) -> dict[str, float]:
    cents = rows["cents_error"].abs().dropna()
    b_error = (rows["inharmonicity"] / rows["inharmonicity_true"] - 1).abs().dropna()
    b_miss = (rows["inharmonicity"] - rows["inharmonicity_true"]).abs() / rows["inharmonicity_se"]
    both = rows[(rows["decay_kind"] == "=") & rows["decay_20_s_true"].notna()]
    fall = both["decay_error"].abs()
    inside = (both["decay_low_s"] <= both["decay_20_s_true"]) & (
        both["decay_20_s_true"] <= both["decay_high_s"]
    )
    bound = rows[rows["decay_kind"] == ">"]
    bound_true = ~(bound["decay_20_s_true"] < bound["decay_low_s"] - 0.005)
    unison = rows.dropna(subset=["unison_high_cents"])
    wide = unison["unison_cents"]
    held = (wide >= unison["unison_low_cents"]) & (wide <= unison["unison_high_cents"])
    return {
        "keys": len(rows),
        "cents_n": len(cents),
        "cents_50": cents.median(),
        "cents_90": cents.quantile(0.9),
        "in_2se": (cents <= 2 * rows.loc[cents.index, "cents_se"]).mean(),
        "se_50": rows["cents_se"].median(),
        "B%_50": 100 * b_error.median(),
        "B%_90": 100 * b_error.quantile(0.9),
        "B_2se": (b_miss.dropna() <= 2).mean(),
        "fall_n": len(both),
        "fall%_50": 100 * fall.median(),
        "fall%_90": 100 * fall.quantile(0.9),
        "fall_in": inside.mean(),
        ">_n": len(bound),
        ">_true": bound_true.mean(),
        "uni_n": len(unison),
        "uni_in": held.mean(),
        "uni_wide": (unison["unison_high_cents"] - unison["unison_low_cents"]).median(),
    }


TWINS = {
    "cents": lambda value: value + 3.0,
    "inharmonicity": lambda value: 1.4 * value,
    "unison_cents": lambda value: value + 10.0,
    "decay_20_s": lambda value: 2.0 * value,
}
"""How a wrong value is made of a true one."""


def ruled_out(rows: pd.DataFrame) -> pd.DataFrame:
    """Share of true values that `excludes` rules out (should be none) and of wrong ones (`TWINS`), per column."""
    shares = {}
    for column, twin in TWINS.items():
        true = "unison_cents" if column == "unison_cents" else f"{column}_true"
        known = rows[rows[true].notna()]
        values = [(row, float(row[true])) for _, row in known.iterrows()]
        shares[column] = {
            "n": len(values),
            "true": np.mean([excludes(row, column, value, 0.0) for row, value in values]),
            "wrong": np.mean([excludes(row, column, twin(value), 0.0) for row, value in values]),
        }
    return pd.DataFrame(shares).T


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seeds", type=int, default=2)
    parser.add_argument("--first", type=int, default=0, help="first seed")
    parser.add_argument("--step", type=int, default=2, help="every how manieth key")
    parser.add_argument("--snr", type=float, nargs="*", default=[20.0, 35.0, 50.0])
    parser.add_argument(
        "--room", type=float, help="T60 in s of a room to add; decay's truth stays the dry one"
    )
    asked = parser.parse_args()
    keys = tuple(range(1, 89, asked.step))
    pd.set_option("display.width", 250, "display.max_columns", 30, "display.precision", 2)
    for snr_db in asked.snr:
        takes = [
            make_take(
                keys,
                seed,
                snr_db=snr_db,
                channels=1 + seed % 2,
                gap_s=(0.5, 0.25)[seed % 2],
                t60_s=asked.room,
            )
            for seed in range(asked.first, asked.first + asked.seeds)
        ]
        begin = time.process_time()
        rows = pd.concat([tried(take) for take in takes], ignore_index=True)
        spent = (time.process_time() - begin) / asked.seeds / len(keys) * 88
        print(f"\n{snr_db:g} dB over white noise, {spent:.1f} s of one core for 88 keys")
        print(table(rows).to_string())
        print(f"\nruled out:\n{ruled_out(rows).to_string()}")


if __name__ == "__main__":
    main()
