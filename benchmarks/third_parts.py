"""What a piano of the third generator is made of: everything drawn by a seed, within one piano and along its keys.

Nothing here comes from physics solved in time or from modes of coupled strings: each partial of each string is
given its frequency, its two decays and its amplitude outright, from laws a listener would name (how steeply the
partials fall, where the hammer strikes, where the case resonates, how little of the lowest bass gets out).
Ranges are common practice widened on purpose; `Design.wide` tells the half of the seeds that go to the ends.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]
RATE_HZ = 44100
KINDS = ("silent", "off_pitch", "short_sustain", "damper", "buzz", "voicing")


@dataclass(frozen=True, kw_only=True, eq=False)
class Design:
    """One piano. Rates are amplitude decays per s, levels dB, lengths of noise s, all for a medium blow."""

    seed: int
    wide: bool
    upright: bool
    channels: int
    keys: tuple[int, ...]
    last_single: int
    last_wound: int
    last_damped: int
    stiffness: float
    jump: float
    stretch_cents: tuple[float, float]
    offset_cents: float
    key_sd_cents: float
    unison_cents: float
    wander_cents: float
    most_partials: int
    band_hz: float
    steepness: float
    softness_hz: float
    strike: tuple[float, float]
    notch: float
    uneven_db: float
    resonance_hz: Floats
    resonance_octaves: Floats
    resonance_db: Floats
    cut_hz: float
    cut_order: float
    lost_below_hz: float
    sustain: float
    decay_slope: float
    decay_scatter: float
    late_share_db: float
    late_ratio: float
    rise_s: tuple[float, float]
    treble_db: float
    level_sd_db: float
    blow_tilt: float
    knock_db: float
    knock_hz: tuple[float, float]
    knock_s: float
    thump_db: float
    thump_at_s: float
    return_db: float
    damper_per_s: tuple[float, float]
    damper_slope: float
    damper_ramp_s: float
    sympathy_db: float
    strays: int
    faults: dict[int, tuple[str, float]] = field(default_factory=dict)

    def stream(self, key: int, purpose: int, blow: int = 0) -> np.random.Generator:
        """Random numbers of one key for one purpose, other ones for every blow."""
        return np.random.default_rng([3, self.seed, key, purpose, abs(blow), int(blow < 0)])

    def fault(self, key: int, kind: str) -> float | None:
        """How much of this fault the key has, None for none."""
        name, amount = self.faults.get(key, ("", 0.0))
        return amount if name == kind else None

    def count(self, key: int) -> int:
        """Strings of a key."""
        return 1 if key <= self.last_single else 2 if key <= self.last_wound else 3

    def damped(self, key: int) -> bool:
        """Whether the key has a damper."""
        return key <= self.last_damped


def draw_design(seed: int, *, healthy: bool = True) -> Design:
    """Everything about one piano; odd seeds go to the ends of the ranges, even ones stay nearer the usual."""
    rng, wide = np.random.default_rng([3, seed]), bool(seed % 2)

    def uni(far: tuple[float, float], near: tuple[float, float]) -> float:
        return float(rng.uniform(*(far if wide else near)))

    def log(far: tuple[float, float], near: tuple[float, float]) -> float:
        low, high = far if wide else near
        return float(np.exp(rng.uniform(np.log(low), np.log(high))))

    upright = bool(rng.random() < 0.5)
    last_wound = int(rng.integers(20, 34)) if wide else int(rng.integers(25, 31))
    bumps = int(rng.integers(10, 30))
    few = rng.random() < 0.35
    design = Design(
        seed=seed,
        wide=wide,
        upright=upright,
        channels=2 if seed % 4 == 3 else 1,
        keys=tuple(range(1, 86 if rng.random() < 0.12 else 89)),
        last_single=int(rng.integers(6, 14)),
        last_wound=last_wound,
        last_damped=int(rng.integers(62, 74)) if wide else int(rng.integers(66, 71)),
        stiffness=log((0.3, 3.0), (0.6, 1.7)),
        jump=log((0.4, 3.0), (0.8, 1.8)),
        stretch_cents=(uni((2, 45), (5, 20)), uni((3, 50), (10, 32))),
        offset_cents=uni((-100, 100), (-20, 20)),
        key_sd_cents=log((0.3, 30), (0.3, 2.5)),
        unison_cents=log((0.2, 8), (0.2, 1.5)),
        wander_cents=log((0.05, 0.7), (0.05, 0.3)),
        most_partials=int(rng.integers(14, 24)) if few else int(rng.integers(30, 90)),
        band_hz=float(rng.uniform(4800, 8200) if few else rng.uniform(9000, 19000)),
        steepness=uni((0.3, 2.2), (0.6, 1.6)),
        softness_hz=log((600, 12000), (1500, 6000)),
        strike=(1 / uni((7, 10), (7, 9)), 1 / uni((9, 20), (11, 18))),
        notch=uni((0.02, 0.3), (0.05, 0.3)),
        uneven_db=uni((1, 5), (1, 3)),
        resonance_hz=np.exp(rng.uniform(np.log(50), np.log(6000), bumps)),
        resonance_octaves=rng.uniform(0.03, 0.4, bumps),
        resonance_db=rng.uniform(-12, 12, bumps) * (1.0 if wide else 0.6),
        cut_hz=uni((60, 200), (60, 140)),
        cut_order=uni((1, 4), (1, 3)),
        lost_below_hz=float(rng.choice([0.0, 40.0, 90.0])) if wide else 0.0,
        sustain=log((0.33, 3.0), (0.7, 1.4)) * (0.85 if upright else 1.1),
        decay_slope=uni((0.1, 1.2), (0.3, 0.8)),
        decay_scatter=uni((0.05, 0.5), (0.1, 0.3)),
        late_share_db=uni((-28, -5), (-22, -9)),
        late_ratio=log((0.1, 0.7), (0.15, 0.4)),
        rise_s=(uni((0.003, 0.015), (0.003, 0.01)), uni((0.001, 0.004), (0.001, 0.003))),
        treble_db=uni((-16, 2), (-10, -2)),
        level_sd_db=uni((0.3, 2.5), (0.3, 1.2)),
        blow_tilt=uni((0.004, 0.04), (0.01, 0.03)),
        knock_db=uni((-42, -12), (-36, -20)),
        knock_hz=(log((80, 300), (80, 200)), log((700, 4000), (900, 2500))),
        knock_s=log((0.008, 0.06), (0.01, 0.035)),
        thump_db=uni((-48, -20), (-44, -28)),
        thump_at_s=float(rng.uniform(0.004, 0.03)),
        return_db=uni((-62, -34), (-58, -42)),
        damper_per_s=(log((5, 25), (8, 16)), log((12, 90), (25, 60))),
        damper_slope=uni((-0.3, 0.8), (0, 0.5)),
        damper_ramp_s=float(rng.uniform(0.01, 0.04)),
        sympathy_db=uni((-80, -46), (-74, -56)),
        strays=int(rng.integers(0, 4)) if wide else int(rng.integers(0, 2)),
    )
    if not healthy:
        design.faults.update(_seeded(design, np.random.default_rng([3, seed, 1])))
    return design


def _seeded(design: Design, rng: np.random.Generator) -> dict[int, tuple[str, float]]:
    """Two keys of each fault, never neighbours, where that fault can be heard."""
    places = {
        "silent": (3, 83),
        "off_pitch": (design.last_single + 1, 80),
        "short_sustain": (20, 72),
        "damper": (8, design.last_damped - 4),
        "buzz": (6, 72),
        "voicing": (28, 64),
    }
    amount = {
        "silent": lambda: 1.0,
        "off_pitch": lambda: float(rng.uniform(6, 15) * rng.choice([-1, 1])),
        "short_sustain": lambda: float(rng.uniform(0.35, 0.5)),
        "damper": lambda: float(rng.uniform(0.02, 0.1)),
        "buzz": lambda: float(rng.uniform(-40, -26)),
        "voicing": lambda: float(10.0 * rng.choice([-1, 1])),
    }
    out: dict[int, tuple[str, float]] = {}
    for kind in KINDS * 2:
        low, high = places[kind]
        free = [k for k in range(low, high + 1) if not out.keys() & {k - 1, k, k + 1}]
        out[int(rng.choice(free))] = (kind, amount[kind]())
    return out


def inharmonicity(design: Design, key: int) -> float:
    """B of a key: falling through the wound strings, rising through the plain ones, with a jump between."""
    plain = np.log(6.5e-4) + (key - 49) * np.log(2) / 8.8
    if key <= design.last_wound:
        low = np.log(6.5e-4) + (design.last_wound - 48) * np.log(2) / 8.8 - np.log(design.jump)
        plain = low + (design.last_wound - key) * (0.045 if design.upright else 0.03)
    scatter = 0.04 * design.stream(key, 1).standard_normal()
    return float(design.stiffness * np.exp(plain + scatter))


def strings_hz(design: Design, key: int) -> Floats:
    """Partial 1 of each string, Hz, shape (strings,)."""
    rng = design.stream(key, 2)
    along = (key - 49) / (39 if key > 49 else 48)
    low, high = design.stretch_cents
    cents = design.offset_cents + (high if key > 49 else low) * along * np.abs(along) ** 1.5
    cents += design.key_sd_cents * rng.standard_normal()
    width = min(design.unison_cents * np.exp(0.5 * rng.standard_normal()), 15.0)
    place = rng.permutation(np.array([0.0, 1.0, rng.uniform(0, 1)])[: design.count(key)])
    each = (place - place.mean()) * (width if place.size > 1 else 0.0)
    each[rng.integers(place.size)] += design.fault(key, "off_pitch") or 0.0
    return np.asarray(440.0 * 2 ** ((key - 49) / 12 + (cents + each) / 1200))


def board_gain(design: Design, f_hz: Floats) -> Floats:
    """Amplitude that comes out of the case for a string's partial at these frequencies."""
    apart = np.log2(np.maximum(f_hz, 1.0)[..., None] / design.resonance_hz) / design.resonance_octaves
    bumps_db = np.sum(design.resonance_db / (1 + apart**2), axis=-1)
    bass = 1 / np.sqrt(1 + (design.cut_hz / np.maximum(f_hz, 1.0)) ** (2 * design.cut_order))
    return np.asarray(10 ** (bumps_db / 20) * bass * np.where(f_hz < design.lost_below_hz, 0.0, 1.0))


@dataclass(frozen=True, kw_only=True, eq=False)
class Lines:
    """Decaying sines: frequency (lines,), amplitude decay per s held and damped more, strength (channels, lines)."""

    f_hz: Floats
    per_s: Floats
    damping_per_s: Floats
    strength: Complexes

    def and_also(self, more: Lines) -> Lines:
        """Both sets together."""
        return Lines(
            f_hz=np.concatenate([self.f_hz, more.f_hz]),
            per_s=np.concatenate([self.per_s, more.per_s]),
            damping_per_s=np.concatenate([self.damping_per_s, more.damping_per_s]),
            strength=np.concatenate([self.strength, more.strength], axis=1),
        )


def prompt_rate(design: Design, key: int, f_hz: Floats) -> Floats:
    """Amplitude decay per s of the first part of the decay, without scatter."""
    first = float(np.interp(key, [1, 20, 40, 60, 76, 88], [0.6, 0.8, 1.3, 2.6, 5.0, 9.0]))
    own = 440.0 * 2 ** ((key - 49) / 12)
    shape = (1 + f_hz / 900.0) ** design.decay_slope / (1 + own / 900.0) ** design.decay_slope
    return np.asarray(first / design.sustain * shape)


def note_lines(design: Design, key: int) -> Lines:
    """The strings of a key after a medium blow, at the level the key has in this piano."""
    rng, b, first = design.stream(key, 3), inharmonicity(design, key), strings_hz(design, key)
    n = np.arange(1.0, design.most_partials + 1)
    series = n * np.sqrt((1 + b * n**2) / (1 + b))
    n = n[first.mean() * series < design.band_hz]
    n = n if n.size else np.array([1.0])
    wander = np.clip(design.wander_cents * rng.standard_normal((n.size, first.size)), -2, 2)
    wander[0] = 0.0
    f = first * series[: n.size, None] * 2 ** (wander / 1200)
    rate = prompt_rate(design, key, f) * np.exp(design.decay_scatter * rng.standard_normal(f.shape))
    late = rate * design.late_ratio * np.exp(0.3 * rng.standard_normal(f.shape))
    share = 10 ** ((design.late_share_db + 3 * rng.standard_normal(f.shape)) / 20)
    strength = _strength(design, key, n, f, rng)
    turned = share * np.exp(0.2j * rng.standard_normal(f.shape))
    both = np.stack([strength * (1 - share), strength * turned], axis=-1)
    level_db = _level_db(design, key) - 20 + design.level_sd_db * rng.standard_normal()
    gain = 10 ** (level_db / 20) / np.sqrt(np.mean(np.sum(np.abs(both.sum(axis=(2, 3))) ** 2, axis=1)) / 2)
    voicing = (design.fault(key, "voicing") or 0.0) * np.clip((n - 2) / 3, 0, 1)
    both = both * gain * 10 ** (voicing / 20)[:, None, None]
    short = design.fault(key, "short_sustain") or 1.0
    twice = np.repeat(f.ravel(), 2)
    return Lines(
        f_hz=twice,
        per_s=np.stack([rate, late], axis=-1).ravel() / short,
        damping_per_s=damper_rate(design, key, twice),
        strength=both.reshape(design.channels, -1),
    )


def _level_db(design: Design, key: int) -> float:
    """How loud the keys are along the compass, against the middle."""
    return float(np.interp(key, [1, 40, 88], [-1.0, 0.0, design.treble_db]))


def _strength(design: Design, key: int, n: Floats, f: Floats, rng: np.random.Generator) -> Complexes:
    """Complex strength of every partial of every string, shape (channels, partials, strings)."""
    at = float(np.interp(key, [1, 45, 88], [design.strike[0], design.strike[0], design.strike[1]]))
    at *= 1 + 0.01 * rng.standard_normal()
    struck = np.sqrt(np.sin(np.pi * n * at) ** 2 + design.notch**2) * n**-design.steepness
    soft = np.exp(-f / (design.softness_hz * (1 + (key / 60) ** 2)))
    uneven_db = design.uneven_db * rng.standard_normal((n.size, 1)) + 2.0 * rng.standard_normal(f.shape)
    size = struck[:, None] * soft * board_gain(design, f) * 10 ** (uneven_db / 20)
    phase = rng.uniform(0, 2 * np.pi, (n.size, 1)) + 0.25 * rng.standard_normal(f.shape)
    place = rng.standard_normal((2, 2, n.size, 1))
    heard = 10 ** (3.0 * place[0, : design.channels] / 20) * np.exp(1j * place[1, : design.channels])
    if design.channels == 1:
        heard = np.ones_like(heard)
    return np.asarray(size * np.exp(1j * phase) * heard)


def damper_rate(design: Design, key: int, f_hz: Floats) -> Floats:
    """What the damper adds to the amplitude decay per s of a line, 0 without a damper."""
    if not design.damped(key):
        return np.zeros_like(f_hz)
    base = float(np.exp(np.interp(key, [1, 70], np.log(design.damper_per_s))))
    share = design.fault(key, "damper")
    low = 0.5 + 0.5 * np.minimum(f_hz / 250.0, 1.0)
    return np.asarray(base * low * (f_hz / 500.0) ** design.damper_slope * (1.0 if share is None else share))


def other_strings(design: Design, key: int, *, pedal: bool) -> Lines:
    """Strings of other keys that the blow sets going: the undamped top, with the pedal all of them; stray lines."""
    rng = design.stream(key, 4)
    others = [k for k in design.keys if k != key and (pedal or not design.damped(k))]
    own = np.array([[strings_hz(design, k)[0] * p for p in (1.0, 2.0)] for k in others])
    free = np.array([[prompt_rate(design, k, f)[()] for f in own[i]] for i, k in enumerate(others)])
    f, per_s = own.ravel(), 0.5 * free.ravel()
    level_db = design.sympathy_db + _level_db(design, key) + 5.0 * rng.standard_normal(f.size)
    if key <= 45 and design.strays:
        stray = strings_hz(design, key)[0] * rng.uniform(9.2, 24.0, design.strays)
        f = np.append(f, stray)
        per_s = np.append(per_s, 4 * prompt_rate(design, key, stray))
        level_db = np.append(level_db, rng.uniform(-45, -26, design.strays))
    keep = f < design.band_hz
    shape = (design.channels, int(keep.sum()))
    strength = 10 ** (level_db[keep] / 20) * 0.1 * np.exp(1j * rng.uniform(0, 2 * np.pi, shape))
    return Lines(f_hz=f[keep], per_s=per_s[keep], damping_per_s=np.zeros(shape[1]), strength=strength)
