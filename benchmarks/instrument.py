"""A made-up instrument: string scaling, hammers, dampers, soundboard, each varied by a seed.

Plain strings halve their length over a little more than an octave; wound bass strings follow the length of
the case. B = pi**3 E d**4 / (64 T L**2) [fletcher1964], d the core of wound strings, raised a third for their bare ends.
All sizes are plausible choices of our own, not a measured instrument.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

YOUNG_PA, STEEL_KG_PER_M3 = 2.0e11, 7850.0
Floats = NDArray[np.float64]
SPACING_HZ = 18.0


@dataclass(frozen=True, kw_only=True)
class KeyDesign:
    """What one key's strings, hammer and damper are made like (before tuning)."""

    key: int
    strings: int
    length_m: float
    inharmonicity: float
    kg_per_m: float
    loss_per_s: float
    loss_per_hz2: float
    strike: float
    hammer_kg: float
    felt: float
    felt_power: float
    hammer_m_per_s: float
    bridge_kg_per_s: float
    damped: bool
    damper_per_s: float


@dataclass(frozen=True, kw_only=True)
class Board:
    """Soundboard modes: frequencies, loss factors, masses, wave numbers along the bridge, radiation."""

    f_hz: Floats
    loss_factor: Floats
    mass_kg: Floats
    waves: Floats
    phase: Floats
    radiation: Floats

    def at_key(self, key: int, bridge_kg_per_s: float) -> Floats:
        """Motion of the bridge at a key per unit of each mode, scaled to the wanted mean resistance."""
        shape = np.sqrt(2.0) * np.cos(2 * np.pi * self.waves * key / 88 + self.phase)
        floor = 0.5 * np.sign(shape) + 0.62 * shape
        return floor * np.sqrt(2500.0 / bridge_kg_per_s)


def make_board(rng: np.random.Generator) -> Board:
    """About a hundred narrow modes up to 2.6 kHz and a few broad ones above."""
    f = [rng.uniform(62, 80)]
    while f[-1] < 2600:
        f.append(f[-1] + max(4.0, rng.gamma(4.0, 1.0 / 4.0) * SPACING_HZ))
    narrow, low = len(f), np.array(f)
    gaps = np.append(np.diff(low), SPACING_HZ)
    high = 2900.0 * 1.23 ** np.arange(10)
    high_gaps = high * 0.21
    f_hz = np.concatenate([low, high * rng.uniform(0.97, 1.03, 10)])
    gaps = np.concatenate([np.full(narrow, np.mean(gaps)), high_gaps])
    resistance = 2500.0 * np.where(np.arange(f_hz.size) < narrow, 1.0, 1.3)
    loss = np.concatenate([rng.uniform(0.06, 0.10, narrow) * (200 / low) ** 0.15, np.full(10, 0.35)])
    tilt = f_hz / (f_hz + 180.0) / (1 + (f_hz / 5200.0) ** 2) ** 0.5
    return Board(
        f_hz=f_hz,
        loss_factor=loss,
        mass_kg=resistance / (4 * gaps),
        waves=rng.uniform(0.3, 1.0, f_hz.size) * np.sqrt(f_hz / 60.0) * 0.8,
        phase=rng.uniform(0, 2 * np.pi, f_hz.size),
        radiation=rng.normal(0, 1, (2, f_hz.size)) * tilt + 0.8 * rng.choice([-1, 1], f_hz.size) * tilt,
    )


def make_keys(
    rng: np.random.Generator, *, breaks: tuple[int, int, int] | None = None
) -> dict[int, KeyDesign]:
    """Designs of keys 1 to 88; the case length, breaks, loss and felt depend on the generator's state.

    ``breaks`` sets the last keys with one string, with wound strings and with a damper instead.
    """
    keys = np.arange(1, 89)
    case_m, slope = rng.uniform(1.12, 1.75), rng.uniform(0.885, 0.92)
    last_single, last_wound = int(rng.integers(8, 13)), int(rng.integers(25, 30))
    last_damped, resistance, soft = int(rng.integers(66, 71)), rng.uniform(0.85, 1.2), rng.uniform(1.0, 1.9)
    if breaks is not None:
        last_single, last_wound, last_damped = breaks
    wound = keys <= last_wound
    f = 440.0 * 2 ** ((keys - 49) / 12)
    plain_m = 0.053 * 2 ** ((88 - keys) / 12 * slope)
    at_break = min(float(plain_m[last_wound]), case_m)
    length = np.where(wound, at_break * 0.96 + (case_m - at_break * 0.9) * (last_wound - keys) / 27, plain_m)
    wire = np.interp(keys, [26, 50, 75, 88], [1.06e-3, 0.98e-3, 0.87e-3, 0.80e-3])
    core = np.interp(keys, [1, 12, 29], [1.48e-3, 1.15e-3, 0.90e-3])
    tension_wound = np.interp(keys, [1, 12, 29], [1050.0, 850.0, 720.0])
    mu = np.where(wound, tension_wound / (4 * length**2 * f**2), STEEL_KG_PER_M3 * np.pi * wire**2 / 4)
    tension = 4 * length**2 * f**2 * mu
    d = np.where(wound, core, wire)
    stiff = np.pi**3 * YOUNG_PA * d**4 / (64 * tension * length**2) * np.where(wound, 1.33, 1.0)
    out = {}
    for i, key in enumerate(keys.tolist()):
        up = (key - 16) / 60
        out[key] = KeyDesign(
            key=key,
            strings=1 if key <= last_single else 2 if key <= last_wound else 3,
            length_m=float(length[i]),
            inharmonicity=float(stiff[i]),
            kg_per_m=float(mu[i]),
            loss_per_s=0.07 + 0.18 * float(wound[i]) + 0.15 * key / 88,
            loss_per_hz2=float(np.interp(key, [1, 25, 40, 64, 88], [4e-7, 3e-7, 2e-7, 1.5e-7, 0.9e-7])),
            strike=float(np.interp(key, [1, 50, 70, 88], [0.122, 0.122, 0.095, 0.06])),
            hammer_kg=float(np.interp(key, [1, 88], [9.5e-3, 4.0e-3])),
            felt=soft * 10 ** (8.75 + 3.2 * up) * float(np.exp(rng.normal(0, 0.08))),
            felt_power=2.3 + 0.7 * up,
            hammer_m_per_s=1.9 * float(np.exp(rng.normal(0, 0.05))),
            bridge_kg_per_s=resistance
            * float(np.interp(key, [1, 18, 30, 52, 76, 88], [4600, 4600, 3700, 4300, 6300, 6300])),
            damped=key <= last_damped,
            damper_per_s=float(np.interp(key, [1, 28, 40, 60, 70], [4.0, 8.0, 14.0, 22.0, 26.0])),
        )
    return out


def stretch_cents(designs: dict[int, KeyDesign]) -> Floats:
    """A tuning curve for keys 1 to 88, 0 at key 49: octaves 4:2 in the treble, nearer 6:3 in the bass, smoothed."""
    b = np.array([designs[k].inharmonicity for k in range(1, 89)])
    smooth = np.exp(
        np.convolve(np.pad(np.log(b), 6, mode="edge"), np.hanning(15)[1:-1] / np.hanning(15).sum(), "valid")
    )
    per_key = []
    for key in range(1, 89):
        low, high = smooth[max(key - 7, 0)], smooth[min(key + 5, 87)]
        r = 3.0 if key < 35 else 2.0
        wide = 600 * np.log2((1 + (2 * r) ** 2 * low) / (1 + r**2 * high) * (1 + high) / (1 + low))
        per_key.append(wide / 12)
    curve = np.cumsum(per_key)
    return curve - curve[48]
