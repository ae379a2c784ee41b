"""How people play all keys in turn, as data: which key, how long, how loud, and what they don't say.

Each entry of `CASES` is a function of a source and a seed (and a pace) that returns a `Plan`; `benchmarks.playing`
makes sound of it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from functools import partial

import numpy as np

from benchmarks.takes import NoteSource
from pianolab.errors import BadInput
from pianolab.keyboard import FIRST_KEY, LAST_KEY, note_name
from pianolab.units import cents_between

FULL_TAKE_DBFS, SOFT_TAKE_DBFS = -6.0, -40.0


@dataclass(frozen=True, kw_only=True)
class Pace:
    """How fast and how evenly: hold and gap in s, sd of the steps as a share, sd of the blows in dB; which keys."""

    hold_s: float = 2.0
    gap_s: float = 0.5
    jitter: float = 0.05
    blow_spread_db: float = 1.5
    first_key: int | None = None
    last_key: int | None = None


@dataclass(frozen=True, kw_only=True)
class Stroke:
    """One press in turn: held ``hold_s``, and ``gap_s`` from letting go to the next press (negative: overlapping)."""

    key: int
    hold_s: float
    gap_s: float
    blow_db: float = 0.0
    sounds: bool = True


@dataclass(frozen=True, kw_only=True)
class Plan:
    """What is played and what the user says of it.

    ``pedal`` holds the places of two strokes: the pedal goes down in the middle of the first (before all, for 0)
    and up in the middle of the second (never, where there is none). ``named`` are the first and last key
    where the user names them, ``asked`` what else is said; ``retuned_cents`` moves the whole instrument; ``peak_dbfs`` is the loudest
    sample of the take.
    """

    strokes: tuple[Stroke, ...]
    pedal: tuple[int, int] | None = None
    named: tuple[int, int] | None = None
    asked: Mapping[str, object] = field(default_factory=dict)
    retuned_cents: float = 0.0
    peak_dbfs: float = FULL_TAKE_DBFS


USUAL = Pace()
Case = Callable[..., Plan]


def plain(source: NoteSource, seed: int, pace: Pace = USUAL) -> Plan:
    """Every key once, upwards."""
    keys = _keys(source, pace)
    rng = np.random.default_rng([seed, 1])
    steps = np.maximum(0.3, 1 + pace.jitter * rng.standard_normal(len(keys)))
    blows = pace.blow_spread_db * rng.standard_normal(len(keys))
    strokes = [
        Stroke(key=k, hold_s=pace.hold_s * s, gap_s=pace.gap_s * s, blow_db=b)
        for k, s, b in zip(keys, steps.tolist(), blows.tolist(), strict=True)
    ]
    said = pace.first_key is not None or pace.last_key is not None
    unusual = keys[0] < FIRST_KEY or keys[-1] > LAST_KEY
    return Plan(strokes=tuple(strokes), named=_ends(source, pace) if said or unusual else None)


def _ends(source: NoteSource, pace: Pace) -> tuple[int, int]:
    return (
        source.keys[0] if pace.first_key is None else pace.first_key,
        source.keys[-1] if pace.last_key is None else pace.last_key,
    )


def _keys(source: NoteSource, pace: Pace) -> list[int]:
    first, last = _ends(source, pace)
    keys = [k for k in source.keys if first <= k <= last]
    if not keys:
        have = f"keys within {source.keys[0]} to {source.keys[-1]}"
        raise BadInput(
            "first_key, last_key", f"{first} to {last}", have, "The source has no key among these."
        )
    return keys


def _paced(source: NoteSource, seed: int, pace: Pace = USUAL, **other: float) -> Plan:
    return plain(source, seed, replace(pace, **other))  # type: ignore[arg-type]


def _slow(source: NoteSource, seed: int, pace: Pace = USUAL) -> Plan:
    """Three times the gap, and three pauses of 10 s."""
    plan = plain(source, seed, replace(pace, gap_s=3 * pace.gap_s))
    at = _places(plan, seed, 3)
    return _each(plan, lambda i, s: [replace(s, gap_s=s.gap_s + 10.0)] if i in at else [s])


def _legato(source: NoteSource, seed: int, pace: Pace = USUAL) -> Plan:
    """The next key is struck 0.15 to 0.4 s before the last is let go; the steps stay as long."""
    over = np.random.default_rng([seed, 2]).uniform(0.15, 0.4, 200)

    def late(i: int, s: Stroke) -> list[Stroke]:
        return [replace(s, hold_s=s.hold_s + s.gap_s + over[i], gap_s=-over[i])]

    return _each(plain(source, seed, pace), late)


def _pedal(source: NoteSource, seed: int, pace: Pace = USUAL, *, down: float, up: float) -> Plan:
    """The pedal held from one share of the scale to another."""
    plan = plain(source, seed, pace)
    count = len(plan.strokes)
    return replace(plan, pedal=(round(down * count), round(up * count)))


def _again(source: NoteSource, seed: int, pace: Pace = USUAL) -> Plan:
    """Six keys struck, let go soon and struck again at once."""
    plan = plain(source, seed, pace)
    at = _places(plan, seed, 6)
    return _each(plan, lambda i, s: [replace(s, hold_s=0.35, gap_s=0.12), s] if i in at else [s])


def _soft_and_loud(source: NoteSource, seed: int, pace: Pace = USUAL) -> Plan:
    """Six keys played twice, 12 dB softer, then 6 dB louder than the others."""
    plan = plain(source, seed, pace)
    at = _places(plan, seed, 6)

    def twice(i: int, s: Stroke) -> list[Stroke]:
        return [replace(s, blow_db=s.blow_db - 12.0), replace(s, blow_db=s.blow_db + 6.0)] if i in at else [s]

    return _each(plan, twice)


def _wrong_notes(source: NoteSource, seed: int, pace: Pace = USUAL) -> Plan:
    """Five times a neighbour (one or two keys off) is hit first, let go at once, and the right key follows."""
    plan = plain(source, seed, pace)
    at = _places(plan, seed, 5)
    rng = np.random.default_rng([seed, 3])

    def corrected(i: int, s: Stroke) -> list[Stroke]:
        wrong = [k for k in source.keys if 0 < abs(k - s.key) <= 2]
        if i not in at or not wrong:
            return [s]
        return [replace(s, key=int(rng.choice(wrong)), hold_s=rng.uniform(0.2, 0.5), gap_s=0.15), s]

    return _each(plan, corrected)


def _together(source: NoteSource, seed: int, pace: Pace = USUAL) -> Plan:
    """Three times the finger slips: the key's upper neighbour sounds with it, and again alone in its turn."""
    plan = plain(source, seed, pace)
    at = _places(plan, seed, 3)
    late = np.random.default_rng([seed, 4]).uniform(0.005, 0.025, 200)

    def slipped(i: int, s: Stroke) -> list[Stroke]:
        if i not in at or s.key + 1 not in source.keys:
            return [s]
        first = replace(s, gap_s=late[i] - s.hold_s)
        return [first, replace(s, key=s.key + 1, hold_s=s.hold_s - late[i], blow_db=s.blow_db - 3.0)]

    return _each(plan, slipped)


def _descending(source: NoteSource, seed: int, pace: Pace = USUAL) -> Plan:
    plan = plain(source, seed, pace)
    return replace(plan, strokes=plan.strokes[::-1])


def _only(
    source: NoteSource, seed: int, pace: Pace = USUAL, *, wanted: Callable[[int], bool], said: bool = True
) -> Plan:
    """Only some of the keys; not ``said``: the user doesn't name the ends even where `plain` would."""
    plan = plain(source, seed, pace)
    kept = tuple(s for s in plan.strokes if wanted(s.key))
    if not kept:
        raise BadInput("first_key, last_key", "a range without any key of this case", "a wider range")
    return replace(plan, strokes=kept, named=plan.named if said else None)


def _register(source: NoteSource, seed: int, pace: Pace = USUAL, *, named: bool) -> Plan:
    """An octave or two somewhere, or the keys that ``pace`` names."""
    rng = np.random.default_rng([seed, 5])
    keys = _keys(source, pace)
    count = min(len(keys), int(rng.choice([13, 25])))
    start = int(rng.integers(0, len(keys) - count + 1))
    if pace.first_key is None and pace.last_key is None:
        pace = replace(pace, first_key=keys[start], last_key=keys[start + count - 1])
    plan = plain(source, seed, pace)
    return plan if named else replace(plan, named=None)


def _at_pitch(
    source: NoteSource,
    seed: int,
    pace: Pace = USUAL,
    *,
    cents: float,
    asked: Mapping[str, object],
) -> Plan:
    return replace(plain(source, seed, pace), retuned_cents=cents, asked=asked)


def _silent_side_by_side(source: NoteSource, seed: int, pace: Pace = USUAL) -> Plan:
    """Three keys side by side and eleven more without sound, in the lower and the upper half or the other way."""
    plan = plain(source, seed, pace)
    count = len(plan.strokes)
    if count < 30:
        raise BadInput(
            "first_key, last_key", f"{count} keys", "30 or more", "Eleven and three are to be silent."
        )
    rng = np.random.default_rng([seed, 6])
    low, high = rng.permutation([3, 11]).tolist()
    starts = int(rng.integers(1, count // 2 - low)), int(rng.integers(count // 2 + 1, count - high))
    silent = {*range(starts[0], starts[0] + low), *range(starts[1], starts[1] + high)}
    return _each(plan, lambda i, s: [replace(s, sounds=i not in silent)])


def _dead_bass(source: NoteSource, seed: int, pace: Pace = USUAL) -> Plan:
    """The lowest twelve keys played have strings without sound."""
    return _each(plain(source, seed, pace), lambda i, s: [replace(s, sounds=i >= 12)])


def _soft_take(source: NoteSource, seed: int, pace: Pace = USUAL) -> Plan:
    return replace(plain(source, seed, pace), peak_dbfs=SOFT_TAKE_DBFS)


def _places(plan: Plan, seed: int, count: int) -> frozenset[int]:
    """Strokes to which something happens, neither the first nor the last where there are more."""
    within = range(1, len(plan.strokes) - 1) or range(len(plan.strokes))
    rng = np.random.default_rng([seed, 7])
    return frozenset(rng.choice(within, size=min(count, len(within)), replace=False).tolist())


def _each(plan: Plan, change: Callable[[int, Stroke], list[Stroke]]) -> Plan:
    return replace(plan, strokes=tuple(new for i, s in enumerate(plan.strokes) for new in change(i, s)))


def _is_white(key: int) -> bool:
    return "#" not in note_name(key)


AT_415, AT_466 = float(cents_between(415.0, 440.0)), float(cents_between(466.0, 440.0))

CASES: dict[str, Case] = {
    "plain": plain,
    "fast 0.4 s": partial(_paced, hold_s=0.3, gap_s=0.1),
    "fast 0.9 s": partial(_paced, hold_s=0.7, gap_s=0.2),
    "slow with pauses": _slow,
    "legato": _legato,
    "pedal throughout": partial(_pedal, down=0.0, up=1.0),
    "pedal begun": partial(_pedal, down=0.5, up=1.0),
    "pedal ended": partial(_pedal, down=0.0, up=0.5),
    "re-strikes": _again,
    "soft and loud": _soft_and_loud,
    "wrong notes": _wrong_notes,
    "descending": _descending,
    "white keys only": partial(_only, wanted=_is_white),
    "one register": partial(_register, named=False),
    "one register named": partial(_register, named=True),
    "two keys at once": _together,
    "A4 at 415": partial(_at_pitch, cents=AT_415, asked={}),
    "A4 at 415 named": partial(_at_pitch, cents=AT_415, asked={"a4_hz": 415.0}),
    "A4 at 466": partial(_at_pitch, cents=AT_466, asked={}),
    "A4 at 466 named": partial(_at_pitch, cents=AT_466, asked={"a4_hz": 466.0}),
    "60 cents flat": partial(_at_pitch, cents=-60.0, asked={}),
    "adjacent silent keys": _silent_side_by_side,
    "dead bass strings": _dead_bass,
    "held 3 s": partial(_paced, hold_s=3.0),
    "held 5 s": partial(_paced, hold_s=5.0),
    "soft take": _soft_take,
    "85 keys": partial(_only, wanted=lambda key: key <= 85, said=False),
    "no A0": partial(_only, wanted=lambda key: key >= 4, said=False),
}
"""Ways of playing. The pitch cases leave unsaid, or name, what A4 is; a register is played with and without naming
its keys; `85 keys` stop at A7 and `no A0` starts at C1 without saying so."""
