"""The modelled piano drawn wide: an instrument with every parameter drawn by a seed, key by key.

``draw_model`` gives the whole model with all its layers, ``draw_plain`` the strings and a short knock alone. Even
seeds stay near what is usual, odd ones go to the ends of the ranges (`ModelledPiano.wide`).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pianolab.errors import BadInput
from pianolab.sound_model import KeyFault, PianoModel, note_modes, note_truth
from pianolab.sound_model.note import Press, ring_seconds, strike
from pianolab.sound_model.piano import OFF_DB, PLAIN
from pianolab.units import cents_between, key_to_hz

Sound = NDArray[np.float32]
LONGEST_AFTER_S = 8.0
RELEASED_AFTER_S = 1.5
KEYBOARDS = ((1, 88), (1, 85), (-3, 88), (-8, 88))
"""First and last key of keyboards with 88, 85, 92 and 97 keys."""
FAULT_KINDS = ("silent", "off_pitch", "short_sustain", "damper", "buzz", "voicing")
AMOUNTS: dict[str, tuple[float, float]] = {
    "off_pitch": (6.0, 15.0),
    "short_sustain": (0.35, 0.5),
    "damper": (0.25, 0.6),
    "buzz": (-32.0, -22.0),
    "voicing": (8.0, 14.0),
}
"""Amounts drawn for a seeded fault, as in `KeyFault` (off_pitch with either sign)."""
PLACES: dict[str, tuple[int, int]] = {"damper": (12, 55), "buzz": (12, 60), "voicing": (20, 70)}
"""Keys on which a fault can be heard; elsewhere from 5 to 80."""

USUAL_KEYBOARD_SHARE = 0.6


class ModelledPiano:
    """One modelled instrument as a `benchmarks.takes.NoteSource`, one channel.

    ``wide`` says that it was drawn from the ends of the ranges.
    """

    channels = 1

    def __init__(
        self, model: PianoModel, rate_hz: int = 44100, *, name: str | None = None, wide: bool = False
    ) -> None:
        self.model = model
        self.rate_hz = rate_hz
        self.name = name or f"model-{model.seed}"
        self.keys = tuple(range(model.first_key, model.last_key + 1))
        self.wide = wide
        self._truth: dict[tuple[int, float, int | None], dict[str, object]] = {}

    def note(
        self, key: int, *, hold_s: float, blow_db: float = 0.0, seed: int = 0, pedal: bool = False
    ) -> Sound:
        """The dry sound of one press, shape (frames, 1); see `benchmarks.takes.NoteSource`."""
        rng = self._blow(key, seed)
        model = self._pedalled(key) if pedal else self._checked(key)
        modes = note_modes(model, key, blow_db=blow_db, rate_hz=self.rate_hz, blow=rng)
        damped = model.damped(key)
        longest = RELEASED_AFTER_S if damped and model.fault(key, "damper") is None else LONGEST_AFTER_S
        rings = ring_seconds(modes, hold_s=hold_s, below_db=-90.0)
        seconds = hold_s + float(np.clip(rings - hold_s, 0.4, longest))
        sound = strike(
            model,
            key,
            Press(hold_s=hold_s, blow_db=blow_db),
            seconds=seconds,
            rate_hz=self.rate_hz,
            rng=rng,
            modes=modes,
        )
        fade = round(0.05 * self.rate_hz)
        sound[-fade:] *= np.linspace(1.0, 0.0, fade, dtype=np.float32)
        return sound[:, None]

    def truth(self, key: int, *, blow_db: float = 0.0, seed: int | None = None) -> Mapping[str, object]:
        """`benchmarks.takes.TRUTH_COLUMNS` of one key.

        ``decay_20_s`` is of the level of the key's own strings, board and sympathetic strings together, as they
        sound, without knock, buzz and release; of the mean blow at ``blow_db``, or of the very blow ``seed``.
        """
        asked = key, blow_db, seed
        if asked not in self._truth:
            self._truth[asked] = self._true_values(key, blow_db, seed)
        return self._truth[asked]

    def _checked(self, key: int) -> PianoModel:
        if key not in self.keys:
            raise BadInput("key", key, f"a key of this piano, {self.keys[0]} to {self.keys[-1]}")
        return self.model

    def _pedalled(self, key: int) -> PianoModel:
        """The piano with all dampers up, so that every string rings along."""
        model = self._checked(key)
        faults = tuple(f for f in model.faults if f.kind != "damper")
        return replace(model, faults=faults, last_damped_key=model.first_key - 1)

    def _blow(self, key: int, seed: int) -> np.random.Generator:
        return np.random.default_rng([abs(seed), self.model.seed, key + 1000, int(seed < 0), 5])

    def _true_values(self, key: int, blow_db: float, seed: int | None) -> dict[str, object]:
        model, nan = self._checked(key), float("nan")
        kinds = [f.kind for f in model.faults if f.key == key]
        silent = "silent" in kinds
        strings = model.strings(key)
        decay_s = nan
        if not silent:
            blow = None if seed is None else self._blow(key, seed)
            modes = note_modes(model, key, blow_db=blow_db, rate_hz=self.rate_hz, blow=blow)
            decay_s = note_truth(modes, hold_s=0.3, rate_hz=self.rate_hz).decay_20_s
        f1_hz = float(strings.mean())
        return {
            "key": key,
            "f1_hz": nan if silent else f1_hz,
            "cents": nan if silent else float(cents_between(f1_hz, key_to_hz(key))),
            "inharmonicity": nan if silent else model.inharmonicity(key),
            "unison_cents": nan if silent else float(cents_between(strings.max(), strings.min())),
            "strings": int(strings.size),
            "decay_20_s": decay_s,
            "damped": model.damped(key),
            "faults": ";".join(dict.fromkeys(kinds)),
        }


def draw_model(seed: int, healthy: bool = True, *, rate_hz: int = 44100) -> ModelledPiano:
    """One modelled piano with everything drawn; unhealthy ones have two keys of each of six faults.

    Parameters
    ----------
    seed : int, 0 or more; odd seeds are drawn from the ends of the ranges
    healthy : without seeded faults
    rate_hz : 16000 or more, so that the highest keys have a partial

    Examples
    --------
    >>> draw_model(3).wide, draw_model(4).wide
    (True, False)
    """
    model = PianoModel(**drawn_fields(seed))
    if not healthy:
        model = replace(model, faults=drawn_faults(model, seed))
    name = f"model-{seed}" + ("" if healthy else "-faulty")
    return ModelledPiano(model, rate_hz, name=name, wide=bool(seed % 2))


def draw_plain(seed: int, healthy: bool = True, *, rate_hz: int = 44100) -> ModelledPiano:
    """The same instrument as `draw_model` without the layers that make it like a recording."""
    drawn = draw_model(seed, healthy, rate_hz=rate_hz)
    layers = {name: value for name, value in PLAIN.items() if value in (0.0, OFF_DB)}
    model = replace(drawn.model, **layers)  # type: ignore[arg-type]
    return ModelledPiano(model, rate_hz, name=drawn.name.replace("model", "plain"), wide=drawn.wide)


def drawn_fields(seed: int) -> dict[str, Any]:
    """The fields of a `PianoModel`, drawn."""
    rng, wide = np.random.default_rng([seed, 41]), bool(seed % 2)

    def even(near: tuple[float, float], far: tuple[float, float]) -> float:
        return float(rng.uniform(*(far if wide else near)))

    def log(near: tuple[float, float], far: tuple[float, float]) -> float:
        low, high = far if wide else near
        return float(np.exp(rng.uniform(np.log(low), np.log(high))))

    first, last = KEYBOARDS[0] if rng.random() < USUAL_KEYBOARD_SHARE else KEYBOARDS[int(rng.integers(1, 4))]
    break_key = int(rng.integers(20, 35)) if wide else int(rng.integers(25, 32))
    return {
        "seed": 50_000 + seed,
        "kind": str(rng.choice(["upright", "grand"])),
        "first_key": first,
        "last_key": last,
        "break_key": break_key,
        "last_single_key": int(rng.integers(6, 14)),
        "last_damped_key": int(rng.integers(60, 75)) if wide else int(rng.integers(65, 71)),
        "offset_cents": even((-20.0, 20.0), (-100.0, 100.0)),
        "tuning_spread_cents": log((0.3, 2.5), (0.3, 30.0)),
        "unison_spread_cents": log((0.2, 1.5), (0.2, 15.0)),
        "inharmonicity_scale": log((0.7, 1.5), (0.3, 3.0)),
        "inharmonicity_jump": log((0.75, 1.35), (0.4, 2.5)),
        "sustain": log((0.7, 1.4), (0.33, 3.0)),
        "decay_scatter": even((0.25, 0.5), (0.1, 0.7)),
        "hardness_db": even((-4.0, 4.0), (-12.0, 12.0)),
        "voicing_spread_db": even((0.3, 1.5), (0.3, 3.0)),
        "false_beat_cents": log((0.05, 0.3), (0.02, 0.8)),
        "partial_scatter_db": even((2.5, 5.5), (1.0, 6.0)),
        "colour_scatter_db": even((0.0, 3.0), (0.0, 6.0)),
        "strike_point_scale": even((0.85, 1.2), (0.6, 1.6)),
        **_weak_firsts(rng, wide, break_key),
        "aftersound_db": even((-4.0, 3.0), (-12.0, 6.0)),
        "rise_scale": even((0.6, 1.5), (0.0, 2.5)),
        "touch": even((0.7, 1.6), (0.0, 3.0)),
        "damper_softness": even((0.5, 1.5), (0.0, 2.5)),
        "knock_db": even((-5.0, 5.0), (-15.0, 12.0)),
        "thump_db": even((-5.0, 4.0), (-15.0, 10.0)),
        "body_db": even((-5.0, 4.0), (-15.0, 8.0)),
        "sympathetic_db": even((-5.0, 5.0), (-20.0, 14.0)),
        "duplex_db": even((-5.0, 5.0), (-20.0, 12.0)),
        "longitudinal_db": even((-5.0, 5.0), (-15.0, 12.0)),
        "phantom_db": even((-5.0, 5.0), (-15.0, 12.0)),
        "damper_noise_db": even((-6.0, 6.0), (-15.0, 12.0)),
    }


def _weak_firsts(rng: np.random.Generator, wide: bool, break_key: int) -> dict[str, Any]:
    """Partial 1 weak or missing: nowhere, on some keys, or in the whole bass."""
    where = int(rng.integers(3))
    deepest = -60.0 if wide else -12.0
    weak_db = float(rng.uniform(deepest, -6.0)) if where else 0.0
    return {
        "first_partial_db": weak_db,
        "first_partial_up_to": break_key if where == 2 else -9,
        "first_partial_share": float(rng.uniform(0.05, 0.3)) if where == 1 else 0.0,
    }


def drawn_faults(model: PianoModel, seed: int) -> tuple[KeyFault, ...]:
    """Two keys of each kind of fault, all at least three keys apart."""
    rng, taken, faults = np.random.default_rng([seed, 43]), set[int](), []
    ends = {"damper": model.last_damped_key}
    for kind in FAULT_KINDS:
        low, high = PLACES.get(kind, (5, 80))
        high = min(high, ends.get(kind, model.last_key))
        for _ in range(2):
            free = [k for k in range(low, high + 1) if not taken & set(range(k - 2, k + 3))]
            key = int(rng.choice(free))
            taken.add(key)
            amount = float(rng.uniform(*AMOUNTS[kind])) if kind in AMOUNTS else None
            if kind == "off_pitch" and amount is not None:
                amount *= float(rng.choice([-1.0, 1.0]))
            faults.append(KeyFault(key=key, kind=kind, amount=amount))  # type: ignore[arg-type]
    return tuple(faults)
