"""Keys that the walk named then and now: which marks stayed, which came, which are gone, which nobody looked at again."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from pianolab.checklist import Checklist, Point
from pianolab.model import Finding, Piano


@dataclass(frozen=True, kw_only=True)
class MarkChange:
    """One point at which keys were named; ``then`` and ``now`` are those keys, None where nobody looked. ``then_all``
    and ``now_all`` say whether these are all the keys concerned: a larger count, or a grade without a key, leaves others.

    Examples
    --------
    >>> change = MarkChange(point="p", title="chip", then=(40, 41), now=(41, 50))
    >>> change.gone, change.stayed, change.came
    ((40,), (41,), (50,))
    >>> MarkChange(point="p", title="chip", then=(40,), now=None).gone
    ()
    """

    point: str
    title: str
    then: tuple[int, ...] | None
    now: tuple[int, ...] | None
    then_all: bool = True
    now_all: bool = True

    @property
    def looked_twice(self) -> bool:
        return self.then is not None and self.now is not None

    @property
    def stayed(self) -> tuple[int, ...]:
        return tuple(k for k in self.then or () if k in (self.now or ()))

    @property
    def gone(self) -> tuple[int, ...]:
        """Keys marked then and not now; none where nobody looked again, or not all keys of now are named."""
        told = self.looked_twice and self.now_all
        return tuple(k for k in self.then or () if k not in (self.now or ())) if told else ()

    @property
    def came(self) -> tuple[int, ...]:
        """Keys marked now and not then; none where nobody had looked then, or not all keys of then were named."""
        told = self.looked_twice and self.then_all
        return tuple(k for k in self.now or () if k not in (self.then or ())) if told else ()


def mark_changes(
    piano: Piano, before: Iterable[Finding], after: Iterable[Finding], *, checklist: Checklist
) -> tuple[MarkChange, ...]:
    """Every point at which one of two visits named keys, in the checklist's order.

    Parameters
    ----------
    piano : the instrument
    before : the findings that held after the first visit
    after : the findings of the second visit alone
    checklist : the points of both
    """
    old, new = tuple(before), tuple(after)
    found = [
        MarkChange(
            point=p.id,
            title=p.mark or p.title,
            then=_keys(old, p),
            now=_keys(new, p),
            then_all=_all_named(old, p),
            now_all=_all_named(new, p),
        )
        for p in checklist.for_piano(piano)
    ]
    return tuple(m for m in found if m.then or m.now)


def _all_named(findings: Sequence[Finding], point: Point) -> bool:
    looked = [f for f in findings if f.point == point.id and f.state == "checked"]
    return all(f.keys if f.count is None else f.count <= len(f.keys) for f in looked)


def _keys(findings: Sequence[Finding], point: Point) -> tuple[int, ...] | None:
    looked = [f for f in findings if f.point == point.id and f.state == "checked"]
    return tuple(sorted({k for f in looked for k in f.keys})) if looked else None
