"""Which keys of a recording were struck twice, and both blows' values, measured in one pass with all others."""

from __future__ import annotations

from dataclasses import dataclass, fields, is_dataclass, replace
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from pianolab.acoustics.judging.voicing import measure_brightness
from pianolab.acoustics.keys.keypath import NO_NOTE, KeyPath
from pianolab.acoustics.keys.onsets import Onsets
from pianolab.acoustics.keys.sequence import Sequence, next_sounds
from pianolab.acoustics.keys.strikes import Strikes
from pianolab.acoustics.limits import limits
from pianolab.acoustics.notes import NoteMeasures
from pianolab.acoustics.repeated import WORDS
from pianolab.keyboard import REGISTERS, register_of
from pianolab.units import CENTS_PER_NEPER, FloatArray, key_to_hz

Part = TypeVar("Part")


@dataclass(frozen=True)
class StruckTwice:
    """All blows that are measured, keys rising; ``first`` are the rows that stand in the table, ``second`` the others.

    ``candidate`` has for each row its place among all strikes of the recording.
    """

    strikes: Strikes
    first: NDArray[np.int64]
    second: NDArray[np.int64]
    candidate: NDArray[np.int64]

    def only_first(self, measures: Part) -> Part:
        """The same measures without the second blows, whatever has an entry per blow."""
        whole = len(self.strikes.key)
        return measures if len(self.first) == whole else _rows_of(measures, self.first, count=whole)


def struck_twice(
    strikes: Strikes, path: KeyPath, onsets: Onsets, sequence: Sequence, *, end_s: float
) -> StruckTwice:
    """The ``strikes`` that stand in the table, one per key, and a second blow where a key has it.

    A second blow counts where it is about as clear, has the same pitch, lasts long enough and is surely of that key; of
    several the longest.
    Of many such keys some are taken, evenly over the compass, because each costs as much time as any other note.
    """
    next_s = next_sounds(path.keys, onsets.times_s, end_s=end_s)
    again = {int(key): _second(int(key), path, sequence, next_s - onsets.times_s) for key in strikes.key}
    some = _evenly([key for key, at in again.items() if at >= 0], most=limits()["repeats"]["most_keys"])
    at = np.array(
        [sequence.strike_of[int(k)] for k in strikes.key] + [again[k] for k in some], dtype=np.int64
    )
    key = np.concatenate([strikes.key, np.array(some, dtype=np.int64)])
    order = np.argsort(key, kind="stable")
    at, is_second = at[order], (np.arange(len(key)) >= len(strikes.key))[order]
    both = Strikes(key[order], onsets.times_s[at], next_s[at], path.f1_hz[at], path.b_factor[at])
    return StruckTwice(both, np.flatnonzero(~is_second), np.flatnonzero(is_second), at)


def _second(key: int, path: KeyPath, sequence: Sequence, long_s: FloatArray) -> int:
    """The longest other blow of a key that can be held against the one in the table; -1 where there is none."""
    lim, used = limits()["repeats"], sequence.strike_of[key]
    off_cents = np.abs(CENTS_PER_NEPER * np.log(path.f1_hz / path.f1_hz[used]))
    good = (path.keys == key) & (path.score >= lim["clear_share"] * path.score[used])
    good &= (off_cents <= lim["same_cents"]) & (
        long_s >= max(lim["least_s"], lim["long_share"] * long_s[used])
    )
    good &= path.sure | _at_once(path.keys, used)
    good[used] = False
    return int(np.argmax(np.where(good, long_s, -1.0))) if good.any() else -1


def _at_once(keys: NDArray[np.int64], used: int) -> NDArray[np.bool_]:
    """The blows of a key with no other note between them and the one in the table.

    A key struck again later may be another one misread; two blows on end can hardly be two keys.
    """
    notes = np.flatnonzero(keys != NO_NOTE)
    same = keys[notes] == keys[used]
    run = np.cumsum(~same)
    out = np.zeros(len(keys), dtype=bool)
    out[notes[same & (run == run[np.searchsorted(notes, used)])]] = True
    return out


def _evenly(keys: list[int], *, most: int) -> list[int]:
    if len(keys) <= most:
        return keys
    return [keys[i] for i in np.unique(np.linspace(0, len(keys) - 1, most).round().astype(int))]


def _rows_of(part: Any, rows: NDArray[np.int64], *, count: int) -> Any:
    """Those rows of every array and list in a record that has an entry per blow; all else as it is."""
    if isinstance(part, np.ndarray):
        return part[rows] if part.ndim and len(part) == count else part
    if isinstance(part, list):
        return [part[i] for i in rows] if len(part) == count else part
    if is_dataclass(part) and not isinstance(part, type):
        own = {f.name: _rows_of(getattr(part, f.name), rows, count=count) for f in fields(part) if f.init}
        return replace(part, **own)
    return part


def with_values(
    strikes: tuple[dict[str, Any], ...],
    twice: StruckTwice,
    m: NoteMeasures,
    *,
    clipped: NDArray[np.bool_],
    a4_hz: float,
) -> tuple[dict[str, Any], ...]:
    """The strikes of a survey with the ``values`` of the keys that were measured twice, as `repeats_in` reads them.

    ``m`` and ``clipped`` have an entry per row of ``twice``. A time that is a bound has no place among them.
    """
    repeated = set(twice.strikes.key[twice.second].tolist())
    rows = [i for i, key in enumerate(twice.strikes.key) if int(key) in repeated]
    columns = _columns(m, clipped=clipped, a4_hz=a4_hz) if rows else {}
    out = list(strikes)
    for i in rows:
        known = {
            name: [round(float(value[i]), 8), float(f"{sd[i]:.4g}")]
            for name, (value, sd) in columns.items()
            if np.isfinite(value[i]) and sd[i] > 0
        }
        at = int(twice.candidate[i])
        out[at] = out[at] | {"values": known | {"level_db": round(float(m.level_db[i]), 2)}}
    return tuple(out)


def _columns(
    m: NoteMeasures, *, clipped: NDArray[np.bool_], a4_hz: float
) -> dict[str, tuple[FloatArray, FloatArray]]:
    """Value and uncertainty of each column that is compared, an entry per blow."""
    key, names = m.strikes.key, [r.name for r in REGISTERS]
    bright = measure_brightness(
        np.where(clipped, np.nan, m.share_db),
        np.where(clipped, np.nan, m.level_db),
        register=np.array([names.index(register_of(int(k))) for k in key]),
        tilt=m.tilt,
        tilt_sd=m.tilt_sd,
    )
    cents = CENTS_PER_NEPER * np.log(m.f1_hz / key_to_hz(key, a4_hz=a4_hz))
    decay_s = np.array([d.decay_20_s if d.bound == "=" else np.nan for d in m.decays])
    found = (
        (cents, m.f1_sd_cents),
        (m.inharmonicity, m.b_sd),
        (m.unison.spread_cents, m.unison.spread_sd),
        (decay_s, np.array([d.sd_s for d in m.decays])),
        (bright.brightness_db, bright.sd),
    )
    return dict(zip(WORDS, found, strict=True))
