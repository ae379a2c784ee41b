"""Pianos with seeded faults, from either generator, in one form."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from benchmarks.second_generator import Faults, build_scale

KINDS = ("silent", "off_pitch", "short_sustain", "damper", "buzz", "voicing")
PLACES: dict[str, tuple[int, int]] = {
    "silent": (3, 86),
    "off_pitch": (5, 84),
    "short_sustain": (30, 72),
    "damper": (8, 62),
    "buzz": (5, 75),
    "voicing": (44, 64),
}
"""Keys within which each fault is seeded; soft felt (the seeded voicing) darkens the sound by 15 dB and more there."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Scene:
    """A recording with its truth; ``t60_s`` is 0 when dry."""

    samples: NDArray[np.float32]
    rate_hz: int
    truth: pd.DataFrame
    t60_s: float


def seeded_faults(seed: int, *, of_each: int = 2) -> Faults:
    """Two keys of every kind of fault, one skipped key, one struck twice, all at least two keys apart."""
    rng, taken = np.random.default_rng([seed, 99]), set[int]()

    def free(low: int, high: int) -> int:
        while True:
            key = int(rng.integers(low, high + 1))
            if not taken & {key - 1, key, key + 1}:
                taken.add(key)
                return key

    amount = {
        "silent": lambda: 1.0,
        "off_pitch": lambda: float(rng.uniform(6, 15) * rng.choice([-1, 1])),
        "short_sustain": lambda: float(rng.uniform(0.35, 0.5)),
        "damper": lambda: float(rng.uniform(0.02, 0.08)),
        "buzz": lambda: float(rng.uniform(-34, -26)),
        "voicing": lambda: float(rng.uniform(0.02, 0.04)),
    }
    at = {kind: {free(*PLACES[kind]): amount[kind]() for _ in range(of_each)} for kind in KINDS}
    return Faults(at=at, skipped=(free(3, 86),), repeated=(free(3, 86),))


def second_scene(
    seed: int, *, room: str, snr_db: float, faults: Faults, keys: Sequence[int] = (1, 88)
) -> Scene:
    """The finite-difference piano."""
    scale = build_scale(seed, first_key=keys[0], last_key=keys[1], room=room, snr_db=snr_db, faults=faults)
    return Scene(samples=scale.samples, rate_hz=scale.rate_hz, truth=scale.truth, t60_s=scale.t60_s)


def model_scene(
    seed: int, *, room: str, snr_db: float, faults: Faults, keys: Sequence[int] = (1, 88)
) -> Scene:
    """The library's own modelled piano; fault amounts in its own terms, keys as seeded."""
    from pianolab.sound_model import ROOMS, KeyFault, PianoModel, render_scale

    same = {"off_pitch", "short_sustain", "buzz"}
    ours = tuple(
        KeyFault(
            key=key,
            kind=kind,  # type: ignore[arg-type]
            amount=amount if kind in same else (-10.0 if amount < 1 else 10.0) if kind == "voicing" else None,
            strings="one" if kind == "off_pitch" else "all",
        )
        for kind, group in faults.at.items()
        for key, amount in group.items()
    )
    model = PianoModel(seed=seed, tuning_spread_cents=1.0, unison_spread_cents=0.6, faults=ours)
    place = None if room == "dry" else ROOMS[room]
    scale = render_scale(
        model,
        first_key=keys[0],
        last_key=keys[1],
        room=place,
        snr_db=snr_db,
        skipped=faults.skipped,
        repeated=faults.repeated,
        seed=seed,
    )
    return Scene(samples=scale.samples, rate_hz=scale.rate_hz, truth=scale.truth, t60_s=scale.t60_s or 0.0)


MAKERS = {"second": second_scene, "model": model_scene}
