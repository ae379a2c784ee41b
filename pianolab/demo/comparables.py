"""The demonstration's prices of like instruments, and who offers what: they follow the instrument, not its condition."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable

from pianolab.model import Comparable, Piano
from pianolab.shipped import shipped

FILE = "datasets/scenario/comparables.toml"


def demo_comparables(pianos: Iterable[Piano]) -> tuple[Comparable, ...]:
    """The noted prices, each beside the instrument that it was looked up for.

    Examples
    --------
    >>> mine = Piano(id="m", name="Mill Lane grand", kind="grand")
    >>> [c.price for c in demo_comparables([mine])][:2]
    [Decimal('5200'), Decimal('4600')]
    """
    entries = tomllib.loads(shipped(FILE).read_text(encoding="utf-8"))["comparable"]
    by_name = {piano.name: piano for piano in pianos}
    found = []
    for number, entry in enumerate(entries, start=1):
        piano = by_name.get(entry.pop("instrument"))
        if piano is not None:
            identity = f"{piano.id}-like-{number}"
            found.append(Comparable(id=identity, piano_id=piano.id, kind=piano.kind, **entry))
    return tuple(found)
