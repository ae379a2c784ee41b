"""The second generator drawn wide: strings stepped in time, with everything about the instrument drawn by a seed.

A key is rendered by itself and kept on disk (`benchmarks.notes`); a note of two or three seconds takes some tenths
of a second the first time. Truth is that of `benchmarks.second_generator`, except that the time to fall 20 dB is read
with the knock, as the note sounds, while the key stays down for as long as it takes, up to `LONGEST_S`.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from benchmarks import fd_string
from benchmarks.blows import buzzing, knock
from benchmarks.instrument import Board, KeyDesign, make_board, make_keys, stretch_cents
from benchmarks.notes import RATE_HZ, NotePlan, kept, render, simulate, string_grids
from benchmarks.scenes import seeded_faults
from benchmarks.second_generator import equal_hz, level_curve, time_to_fall
from pianolab.errors import BadInput

Sound = NDArray[np.float32]
Floats = NDArray[np.float64]
SQUEEZE_M = 4e-4
"""How far felt is pressed by a medium blow: a drawn power leaves the force there as it was."""
RING_S, OPEN_RING_S, SURE_S, LONGEST_S = 5.0, 8.0, 2.5, 40.0
SURE_SHARE = 0.4
"""A fall counts once it lies within this share of the hold: what beats may come back after it."""
FULL = 0.1
WIDEST_UNISON_CENTS = 15.0


@dataclass(frozen=True, kw_only=True, eq=False)
class Drawn:
    """One instrument: keys, board, tuning in Hz per string, and what isn't the strings' (levels in dB)."""

    seed: int
    wide: bool
    designs: Mapping[int, KeyDesign]
    board: Board
    strings_hz: Mapping[int, tuple[float, ...]]
    treble_db: float
    level_sd_db: float
    knock_db: float
    knock_hz: tuple[float, float]
    thump_db: float
    faults: Mapping[str, Mapping[int, float]] = field(default_factory=dict)


class SecondPiano:
    """One instrument of the second kind; a `benchmarks.takes.NoteSource`."""

    def __init__(self, drawn: Drawn) -> None:
        self.drawn = drawn
        self.name = f"second-{drawn.seed}" + ("-faulty" if drawn.faults else "")
        self.rate_hz = RATE_HZ
        self.channels = 2 if drawn.seed % 4 == 3 else 1
        self.keys = tuple(drawn.designs)
        self.wide = drawn.wide
        self._truth: dict[tuple[int, float, int], dict[str, object]] = {}

    def note(
        self, key: int, *, hold_s: float, blow_db: float = 0.0, seed: int = 0, pedal: bool = False
    ) -> Sound:
        """The dry sound of one press, shape (frames, channels); see `benchmarks.takes.NoteSource`."""
        if key not in self.keys:
            raise BadInput("key", key, f"a key of this piano, {self.keys[0]} to {self.keys[-1]}")
        d, held = self.drawn, round(hold_s * RATE_HZ)
        out = np.zeros((self.channels, held + round(0.4 * RATE_HZ)))
        if key not in d.faults.get("silent", {}):
            plan = self._plan(key, hold_s, blow_db=blow_db, blow=seed, pedal=pedal)
            out = render(plan, d.board)[: self.channels].astype(np.float64)
            out *= self._gain(key)
            if key in d.faults.get("buzz", {}):
                rng = self._stream(key, seed, 2)
                out += buzzing(out.mean(axis=0), d.faults["buzz"][key], rng, RATE_HZ)
            fade = min(out.shape[1], round(0.05 * RATE_HZ))
            out[:, out.shape[1] - fade :] *= np.linspace(1, 0, fade)
        self._add_knock(out, key, blow_db, seed)
        rng = self._stream(key, seed, 1)
        thump_db = d.thump_db + rng.normal(0, 2)
        _mix_in(out, held, knock(d.board.f_hz, rng, RATE_HZ, low_hz=60, high_hz=400, level_db=thump_db))
        return np.ascontiguousarray(FULL * out.T, dtype=np.float32)

    def truth(self, key: int, *, blow_db: float = 0.0, seed: int = 0) -> Mapping[str, object]:
        """`benchmarks.takes.TRUTH_COLUMNS` of one key; the time to fall is that of this very blow."""
        asked = key, blow_db, seed
        if asked not in self._truth:
            self._truth[asked] = self._true_values(*asked)
        return self._truth[asked]

    def _stream(self, key: int, blow: int, purpose: int) -> np.random.Generator:
        return np.random.default_rng([2, self.drawn.seed, key, abs(blow), int(blow < 0), purpose])

    def _plan(
        self,
        key: int,
        hold_s: float,
        *,
        blow_db: float = 0.0,
        blow: int = 0,
        pedal: bool = False,
        healthy: bool = False,
    ) -> NotePlan:
        """What is rendered; a ``healthy`` one leaves the key's faults out."""
        d = self.drawn
        wrong = {} if healthy else {kind: at[key] for kind, at in d.faults.items() if key in at}
        design = d.designs[key]
        design = replace(design, hammer_m_per_s=design.hammer_m_per_s * 10 ** (blow_db / 20))
        return NotePlan(
            design=replace(design, damped=False) if pedal else design,
            strings_hz=d.strings_hz[key],
            hold_s=hold_s,
            ring_s=RING_S if design.damped and not pedal else OPEN_RING_S,
            seed=d.seed * 1000 + key,
            sustain=wrong.get("short_sustain", 1.0),
            damper_share=wrong.get("damper", 1.0),
            felt_factor=wrong.get("voicing", 1.0),
            blow=blow,
        )

    def _add_knock(self, out: Floats, key: int, blow_db: float, seed: int) -> None:
        d, rng = self.drawn, self._stream(key, seed, 0)
        low, high = d.knock_hz
        level_db = d.knock_db + 0.6 * blow_db + rng.normal(0, 1.5)
        _mix_in(out, 0, knock(d.board.f_hz, rng, RATE_HZ, low_hz=low, high_hz=high, level_db=level_db))

    def _gain(self, key: int) -> float:
        """What brings the loudest 30 ms of the healthy key's medium blow to the key's level, rms 1 in the middle."""
        d, rng = self.drawn, self._stream(key, 0, 3)
        level_db = float(np.interp(key, [1, 20, 50, 88], [-3.0, 0.0, 0.0, d.treble_db]))
        level_db += d.level_sd_db * rng.standard_normal()
        short = render(replace(self._plan(key, 0.25, healthy=True), ring_s=0.0), d.board)
        return float(10 ** ((level_db - level_curve(short[0].astype(np.float64))[1].max()) / 20))

    def _fall_s(self, key: int, blow_db: float, seed: int) -> float:
        """Time for tone and knock to fall 20 dB with the key down; NaN if it takes longer than `LONGEST_S`."""
        d = self.drawn
        plan = replace(self._plan(key, LONGEST_S, blow_db=blow_db, blow=seed), ring_s=0.0)
        loud = repr((self.channels, d.treble_db, d.level_sd_db, d.knock_db, d.knock_hz, blow_db)).encode()

        def long_fall(plan: NotePlan, board: Board) -> Floats:
            hold_s = SURE_S
            while True:
                sound = simulate(replace(plan, hold_s=hold_s), board)[: self.channels].astype(np.float64)
                sound *= self._gain(key)
                self._add_knock(sound, key, blow_db, seed)
                mean = np.sqrt(np.mean(sound**2, axis=0))
                fall_s = time_to_fall(mean, until_s=hold_s)
                if fall_s < SURE_SHARE * hold_s or hold_s >= plan.hold_s:
                    return np.array(fall_s)
                level = level_curve(mean)[1]
                fallen_db = max(float(level.max() - level[-1]), 1.0)
                hold_s = min(plan.hold_s, hold_s * max(1.5, 1.1 / SURE_SHARE * 20.0 / fallen_db))

        what = "-fall-" + hashlib.sha256(loud).hexdigest()[:12]
        return float(kept(plan, d.board, long_fall, what=what))

    def _true_values(self, key: int, blow_db: float, seed: int) -> dict[str, object]:
        d, nan = self.drawn, float("nan")
        strings, silent = d.strings_hz[key], key in d.faults.get("silent", {})
        f1, mode = float(np.mean(strings)), np.arange(1.0, 9.0)
        f, _rate = fd_string.partials(string_grids(self._plan(key, 1.0))[0], mode)
        inside = max(int(np.sum(f < fd_string.BAND_HZ)), 2)
        return {
            "key": key,
            "f1_hz": nan if silent else f1,
            "cents": nan if silent else 1200 * float(np.log2(f1 / equal_hz(key))),
            "inharmonicity": nan if silent else fd_string.fitted_inharmonicity(f[:inside], mode[:inside]),
            "unison_cents": nan if silent else 1200 * float(np.log2(max(strings) / min(strings))),
            "strings": len(strings),
            "decay_20_s": nan if silent else self._fall_s(key, blow_db, seed),
            "damped": d.designs[key].damped,
            "faults": ";".join(kind for kind, at in d.faults.items() if key in at),
        }


def draw_second(seed: int, healthy: bool = True) -> SecondPiano:
    """One finite-difference piano with everything drawn; odd seeds go to the ends of the ranges.

    Unhealthy ones have two keys of each fault, as `benchmarks.scenes` seeds them.
    """
    return SecondPiano(_draw(seed, {} if healthy else seeded_faults(seed).at))


def _draw(seed: int, faults: Mapping[str, Mapping[int, float]]) -> Drawn:
    rng, wide = np.random.default_rng([2, seed]), bool(seed % 2)

    def uni(far: tuple[float, float], near: tuple[float, float]) -> float:
        return float(rng.uniform(*(far if wide else near)))

    def log(far: tuple[float, float], near: tuple[float, float]) -> float:
        low, high = far if wide else near
        return float(np.exp(rng.uniform(np.log(low), np.log(high))))

    breaks = (int(rng.integers(6, 14)), int(rng.integers(22, 33)), int(rng.integers(63, 74)))
    usual = make_keys(np.random.default_rng([2, seed, 1]), breaks=breaks)
    stiff, jump = log((0.3, 3.0), (0.6, 1.7)), log((0.4, 2.5), (0.8, 1.4))
    felt, power = log((0.06, 8), (0.3, 3)), uni((-0.4, 0.6), (-0.15, 0.25))
    mass, speed, along = (
        log((0.6, 1.6), (0.8, 1.25)),
        log((0.5, 2), (0.75, 1.35)),
        uni((-1.5, 1.5), (-0.5, 0.5)),
    )
    strike = (1 / uni((7, 11), (7, 9)), 1 / uni((9, 20), (11, 18)))
    losses, bridge = log((0.35, 3.0), (0.7, 1.5)), log((0.35, 2.2), (0.7, 1.5))
    damper = log((0.3, 3.0), (0.7, 1.5))
    designs = {}
    for key, one in usual.items():
        p = max(one.felt_power + power, 1.6)
        designs[key] = replace(
            one,
            inharmonicity=one.inharmonicity * stiff * (jump if key <= breaks[1] else 1.0),
            felt=one.felt * felt * np.exp(along * (key - 44) / 44) * SQUEEZE_M ** (one.felt_power - p),
            felt_power=p,
            hammer_kg=one.hammer_kg * mass,
            hammer_m_per_s=one.hammer_m_per_s * speed,
            strike=float(np.interp(key, [1, 50, 88], [strike[0], strike[0], strike[1]])),
            loss_per_s=one.loss_per_s * losses,
            loss_per_hz2=one.loss_per_hz2 * losses,
            bridge_kg_per_s=one.bridge_kg_per_s / bridge,
            damper_per_s=one.damper_per_s * damper,
        )
    spread = (uni((-100, 100), (-20, 20)), log((0.3, 30), (0.3, 2.5)), log((0.2, 6), (0.2, 1.5)))
    return Drawn(
        seed=seed,
        wide=wide,
        designs=designs,
        board=_board(np.random.default_rng([2, seed, 2]), wide),
        strings_hz=_tuned(designs, np.random.default_rng([2, seed, 3]), spread, faults.get("off_pitch", {})),
        treble_db=uni((-16, 0), (-9, -4)),
        level_sd_db=uni((0.3, 2.5), (0.3, 1.2)),
        knock_db=uni((-38, -12), (-30, -18)),
        knock_hz=(uni((60, 150), (65, 90)), log((600, 2500), (1000, 2000))),
        thump_db=uni((-55, -30), (-45, -34)),
        faults=faults,
    )


def _board(rng: np.random.Generator, wide: bool) -> Board:
    """A board with other resonances, losses and radiation: bass that is cut off, modes that stand out."""
    board, far = make_board(rng), 1.0 if wide else 0.4
    f = board.f_hz * np.exp(far * rng.uniform(-0.2, 0.1))
    cut_hz, order = rng.uniform(60, 60 + 140 * far), rng.uniform(0, 2 * far)
    outstanding_db = far * rng.uniform(1, 5) * rng.standard_normal(f.size)
    gain = 10 ** (outstanding_db / 20) / (1 + (cut_hz / f) ** 2) ** (order / 2)
    return replace(
        board,
        f_hz=f,
        loss_factor=board.loss_factor * np.exp(far * rng.uniform(-0.7, 0.7)),
        radiation=board.radiation * gain,
    )


def _tuned(
    designs: Mapping[int, KeyDesign],
    rng: np.random.Generator,
    spread: tuple[float, float, float],
    off_pitch: Mapping[int, float],
) -> dict[int, tuple[float, ...]]:
    """Partial 1 of every string, Hz; ``spread`` is offset, scatter of keys and median unison width, cents."""
    offset, key_sd, unison = spread
    curve, out = stretch_cents(dict(designs)) * rng.uniform(0.5, 1.4), {}
    for key, design in designs.items():
        own = offset + curve[key - 1] + key_sd * rng.standard_normal()
        width = min(unison * np.exp(0.6 * rng.standard_normal()), WIDEST_UNISON_CENTS)
        place = rng.permutation(np.array([0.0, 1.0, rng.uniform(0, 1)])[: design.strings])
        cents = own + (place - place.mean()) * (width if place.size > 1 else 0.0)
        cents[0] += off_pitch.get(key, 0.0)
        out[key] = tuple(float(equal_hz(key) * 2 ** (c / 1200)) for c in cents)
    return out


def _mix_in(out: Floats, at: int, part: Floats) -> None:
    room = out[:, at : at + part.size]
    room += part[: room.shape[1]]
