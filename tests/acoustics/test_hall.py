"""What a long room leaves open is said to be open: its own time as well as the dampers near their end."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np

from pianolab.acoustics.envelope.damper import Fall, Release
from pianolab.acoustics.envelope.levels import NoteLevel
from pianolab.acoustics.envelope.reverberation import room_t60, t60_sd_s, told_t60
from pianolab.acoustics.envelope.sustain import slow_dampers

T = np.arange(-0.06, 2.9, 0.005)
HOLD_S, END_S = 2.0, 2.9


def recording(t60_s: float, *, count: int, spread: float, seed: int) -> dict[str, Any]:
    """Notes let go after two seconds in a room; each fades by its own draw about the room's rate (ln, sd ``spread``)."""
    rng, levels = np.random.default_rng(seed), []
    for rate in 60.0 / t60_s * np.exp(rng.normal(0.0, spread, count)):
        power = 10.0 ** (-0.1 * rate * np.maximum(T - HOLD_S, 0.0))
        levels.append(NoteLevel(T, power, 1e-9, power, 1e-9, power, 1e-9))
    hold = np.full(count, HOLD_S)
    return {
        "levels": levels,
        "release": Release(hold, hold, None),
        "key": 30 + np.arange(count) % 34,
        "interval_s": np.full(count, END_S),
    }


def told(t60_s: float, **how: Any) -> tuple[float, float]:
    given = recording(t60_s, **how)
    heard_s, _ = room_t60(**given)
    return heard_s, t60_sd_s(heard_s, **given)


def test_the_stated_error_of_a_reverberation_time_is_its_error() -> None:
    """Sixty recordings of one hall, drawn by chance: as many lie within one and two sd as of a normal error."""
    both = np.array([told(1.4, count=20, spread=0.4, seed=s) for s in range(60)])
    off = np.abs(both[:, 0] - 1.4) / both[:, 1]
    assert 0.5 <= np.mean(off < 1.0) <= 0.9
    assert np.mean(off < 2.0) >= 0.88


def test_half_the_stated_error_would_not_hold() -> None:
    both = np.array([told(1.4, count=20, spread=0.4, seed=s) for s in range(60)])
    assert np.mean(np.abs(both[:, 0] - 1.4) / (0.5 * both[:, 1]) < 2.0) < 0.88


def test_a_time_that_few_and_unlike_falls_tell_is_not_told_and_many_like_ones_are() -> None:
    vague, clear = (
        told(1.4, count=7, spread=0.7, seed=2),
        told(1.4, count=40, spread=0.1, seed=2),
    )
    assert np.isnan(told_t60(vague[0], "", vague[1])[0])
    assert told_t60(clear[0], "", clear[1])[0] == clear[0]


def slow_at(key: int, *, t60_s: float) -> tuple[bool, str]:
    """Whether a key that rings on for long is called slow, where the keys above it seem damped."""
    keys = np.arange(40, 74)
    likely = np.where(keys == key, 4.0, 0.25 if np.isnan(t60_s) else t60_s / 3.0)
    m = SimpleNamespace(
        strikes=SimpleNamespace(key=keys),
        falls=[Fall(v, ">" if v > 2.0 else "=", 20.0, "", v) for v in likely],
        t60_s=t60_s,
        release=SimpleNamespace(hold_s=np.full(len(keys), 2.0)),
        levels=[NoteLevel(T, np.where(T > 0, 10.0 ** (-0.5 * T), 1e-8), 1e-9)] * len(keys),
    )
    slow, why = slow_dampers(m)  # type: ignore[arg-type]
    return bool(slow[key - 40]), why[key - 40]


def test_in_a_hall_a_key_near_the_end_of_the_dampers_may_have_none() -> None:
    assert slow_at(68, t60_s=1.4) == (False, "perhaps no damper on this key")
    assert slow_at(68, t60_s=float("nan"))[0]
    assert slow_at(55, t60_s=1.4)[0]
