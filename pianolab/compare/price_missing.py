"""Why no price is named: what stands in the way, and what of comparable prices is missing."""

from __future__ import annotations

from collections.abc import Sequence

from pianolab.assess import Assessment
from pianolab.compare.looked import missing_looks
from pianolab.compare.pricing_data import load_pricing
from pianolab.model import Comparable, Piano
from pianolab.statements import Statement, statement


def in_the_way(assessment: Assessment) -> list[Statement]:
    """Stops, and what a decision needs to have been looked at."""
    stops = [statement("price.stop", v.source, stop=v.says) for v in assessment.vetoes]
    looks = tuple(m.says() for m in missing_looks(assessment))
    return stops + ([statement("price.look first", looks=looks)] if looks else [])


def lacking(given: Sequence[Comparable], fitting: Sequence[Comparable], piano: Piano) -> list[Statement]:
    """What of comparables is missing where too few fit, and why some that were entered can't be used.

    Examples
    --------
    >>> mine = Piano(name="A")
    >>> [s.kind for s in lacking([Comparable(price=900, currency="CHF")], [], mine)]
    ['price.other currency', 'price.no comparables']
    """
    least = load_pricing()["comparables"]["least"]
    like = [c for c in given if c.kind == piano.kind and c.piano_id in (None, piano.id)]
    foreign = sorted({c.currency for c in like} - {piano.currency})
    found = []
    if foreign:
        found.append(statement("price.other currency", codes=tuple(foreign), needed=piano.currency))
    old = sum(c.currency == piano.currency for c in like) - len(fitting)
    if old:
        found.append(statement("price.too old", count=old))
    kind = "price.no comparables" if not fitting else "price.too few comparables"
    return [*found, statement(kind, count=len(fitting), least=least)]
