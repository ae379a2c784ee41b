"""Keys struck more than once in one recording: do their values differ as little as is stated?

A key whose second blow was as clear, and long enough, is measured twice. How far its two values lie apart, over how far
their uncertainties let them, shows for this very recording what part of the stated variance belongs to each blow by
itself. Column by column, from six pairs on, the scale of these ratios is estimated: they have heavy tails (Student's
distribution), so that one blow misread doesn't decide, and the logarithm of the scale has a normal prior about what is
usual, so that few pairs move it little. Its posterior is summed on a grid, as textbooks of Bayesian statistics give it
for a scale [practice].

What both blows share doesn't show: a partial that the soundboard pulls, a room, a microphone's place. On modelled
pianos the two values of a key lie some six times closer together than each lies to the truth, and recordings whose pairs
agree better are no nearer to it. So agreement is necessary and not enough: of the stated variance only the part that pairs
usually show (``usual``, squared) is replaced by what these pairs show, and the rest stays. Agreement tightens by two per
cent at most, disagreement widens as far as it goes. Of brightness no truth is known, so nothing tightens it.

A soft and a loud blow of one key differ in colour and in how long they last by nature: pairs whose levels are further
apart than ``alike_db`` speak for pitch, B and the strings' distance only. A time that is a bound speaks for nothing.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, fields, is_dataclass, replace
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from pianolab.acoustics.judging.fault_rules import FoundFaults
from pianolab.acoustics.judging.voicing import measure_brightness
from pianolab.acoustics.keys.keypath import NO_NOTE, KeyPath
from pianolab.acoustics.keys.onsets import Onsets
from pianolab.acoustics.keys.sequence import Sequence, next_sounds
from pianolab.acoustics.keys.strikes import Strikes
from pianolab.acoustics.limits import limits
from pianolab.acoustics.notes import NoteMeasures
from pianolab.keyboard import REGISTERS, register_of
from pianolab.show import Row, Showable
from pianolab.units import CENTS_PER_NEPER, FloatArray, key_to_hz

WORDS = {
    "cents": "pitch",
    "inharmonicity": "stiffness",
    "unison_cents": "the unisons",
    "decay_20_s": "the time to fall",
    "brightness_db": "brightness",
}
"""The columns that are compared, and their names for readers."""
OF_THE_BLOW = ("decay_20_s", "brightness_db")
"""What a harder blow changes by nature."""
UNTOLD = "brightness_db"
"""Widened without a word: two blows of a healthy key seldom agree in colour, and nothing is judged by it."""
FREE, ONE_SD = 4.0, 1.1416
"""Degrees of freedom of Student's distribution, and where it holds 68.27 per cent, as a normal one does within 1."""
GRID = np.linspace(-5.0, 5.0, 1001)


@dataclass(frozen=True, kw_only=True)
class ColumnRepeats:
    """What the pairs say of one column.

    ``apart`` is the scale of how far two values of a key lie apart, over their stated uncertainty, None where ``pairs`` are
    too few; ``factor`` is what the stated uncertainties are multiplied by.
    """

    column: str
    pairs: int
    apart: float | None
    factor: float


@dataclass(frozen=True, kw_only=True, repr=False)
class Repeats(Showable):
    """The keys that were measured twice in a recording, and what that says of the uncertainties."""

    keys: tuple[int, ...]
    columns: tuple[ColumnRepeats, ...]
    header = ("column", "pairs", "apart, of what is stated", "factor")

    def factor(self, column: str) -> float:
        """What the stated uncertainties of a column are multiplied by; 1 where nothing is known."""
        return next((c.factor for c in self.columns if c.column == column), 1.0)

    def sentences(self) -> tuple[str, ...]:
        """One sentence where enough keys were struck twice, else none."""
        return (self.headline(),) if any(c.apart is not None for c in self.columns) else ()

    def headline(self) -> str:
        count = len(self.keys)
        struck = f"{count or 'no'} key{'' if count == 1 else 's'} struck twice"
        if not any(c.apart is not None for c in self.columns):
            return f"{struck}: too few to tell whether values repeat as closely as is stated"
        told = limits()["repeats"]["told_factor"]
        wider = [
            f"{WORDS[c.column]} {c.factor:.1f} times"
            for c in self.columns
            if c.factor >= told and c.column != UNTOLD
        ]
        if not wider:
            return f"{struck} agree within what is stated"
        return f"{struck} differ more than was to be expected, so the uncertainty was widened: {', '.join(wider)}"

    def rows(self) -> list[Row]:
        return [(c.column, c.pairs, c.apart, c.factor) for c in self.columns]

    def in_measures(self, m: NoteMeasures) -> NoteMeasures:
        """The measures with their uncertainties as the pairs leave them."""
        return replace(
            m,
            f1_sd_cents=m.f1_sd_cents * self.factor("cents"),
            b_sd=m.b_sd * self.factor("inharmonicity"),
            unison=replace(m.unison, spread_sd=m.unison.spread_sd * self.factor("unison_cents")),
            decays=[replace(d, sd_s=d.sd_s * self.factor("decay_20_s")) for d in m.decays],
        )

    def in_judged(self, judged: FoundFaults) -> FoundFaults:
        """The same for the brightness, which is worked out with the judgement."""
        bright = judged.brightness
        return replace(judged, brightness=replace(bright, sd=bright.sd * self.factor("brightness_db")))


def repeats_in(strikes: Iterable[Mapping[str, Any]]) -> Repeats:
    """What the strikes of a survey say of its uncertainties, wherever a key has two with ``values``.

    Parameters
    ----------
    strikes : as `Survey.strikes` holds them; the ``values`` of a strike are pairs of value and uncertainty by column, as
        they were before anything was widened, and ``level_db``

    Returns
    -------
    Repeats

    Examples
    --------
    >>> def struck(key, cents): return {"key": key, "values": {"cents": [cents, 0.1], "level_db": -20.0}}
    >>> close = repeats_in(struck(k, c) for k in range(8) for c in (0.0, 0.02))
    >>> close.headline(), round(close.factor("cents"), 1)
    ('8 keys struck twice agree within what is stated', 1.0)
    >>> repeats_in(struck(k, c) for k in range(8) for c in (0.0, 0.4)).factor("cents") > 2
    True
    """
    by_key: dict[tuple[Any, Any], list[Mapping[str, Any]]] = {}
    for s in strikes:
        if "values" in s:
            by_key.setdefault((s.get("take"), s["key"]), []).append(s["values"])
    pairs = {key: own[:2] for (_, key), own in by_key.items() if len(own) > 1}
    columns = tuple(_column_repeats(column, pairs.values()) for column in WORDS)
    return Repeats(keys=tuple(sorted(pairs)), columns=columns)


def _column_repeats(column: str, pairs: Iterable[list[Mapping[str, Any]]]) -> ColumnRepeats:
    lim = limits()["repeats"]
    apart = np.array([a for one, two in pairs if (a := _apart(column, one, two)) is not None])
    if len(apart) < lim["least_pairs"]:
        return ColumnRepeats(column=column, pairs=len(apart), apart=None, factor=1.0)
    usual = float(lim["usual"][column])
    scale = scale_of(apart, usual=usual, spread=lim["spread"])
    factor = float(np.sqrt(1.0 - usual**2 + scale**2))
    least = 1.0 if column == UNTOLD else 0.0
    return ColumnRepeats(column=column, pairs=len(apart), apart=scale, factor=max(factor, least))


def _apart(column: str, one: Mapping[str, Any], two: Mapping[str, Any]) -> float | None:
    """How far two values of a key lie apart over what is stated; None where that says nothing."""
    alike = abs(one["level_db"] - two["level_db"]) <= limits()["repeats"]["alike_db"]
    if column not in one or column not in two or (column in OF_THE_BLOW and not alike):
        return None
    (a, sd_a), (b, sd_b) = one[column], two[column]
    return float((a - b) / np.hypot(sd_a, sd_b))


def scale_of(apart: FloatArray, *, usual: float, spread: float) -> float:
    """Scale of heavy-tailed values about 0: the root of its posterior mean square, because variances are what adds up.

    Parameters
    ----------
    apart : shape (pairs,)
    usual : median of the prior
    spread : standard deviation of the prior's natural logarithm

    Examples
    --------
    >>> apart = np.array([1.0, -1.2, 0.9, 1.1, -0.8, 30.0])
    >>> bool(scale_of(apart, usual=0.2, spread=1.0) < 3.0 < np.std(apart))
    True
    """
    log_scale = np.log(usual) + GRID * spread
    size = np.asarray(apart)[:, None] * ONE_SD / np.exp(log_scale)
    density = (
        -0.5 * GRID**2 - len(apart) * log_scale - 0.5 * (FREE + 1.0) * np.log1p(size**2 / FREE).sum(axis=0)
    )
    weight = np.exp(density - density.max())
    return float(np.sqrt(np.sum(weight * np.exp(2.0 * log_scale)) / np.sum(weight)))


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
