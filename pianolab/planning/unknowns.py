"""What is not known of a piano yet: on its record, and among the points of the walk."""

from __future__ import annotations

from collections.abc import Iterable

from pianolab.checklist import Checklist
from pianolab.model import Finding, Piano

SETTLED = ("checked", "does not apply")


def unknown_facts(piano: Piano) -> tuple[str, ...]:
    """What the record of a piano does not say.

    Examples
    --------
    >>> unknown_facts(Piano(name="x", year=1960, key_tops="plastic", middle_pedal="none", serial="1", seller="M"))
    ('price', 'address')
    """
    missing = {
        "price": piano.asking_price is None,
        "year": piano.year is None,
        "serial number": not piano.serial.strip(),
        "key tops": piano.key_tops == "unknown",
        "middle pedal": piano.middle_pedal == "unknown",
        "seller": not piano.seller.strip(),
        "address": not piano.address.strip(),
    }
    return tuple(name for name, is_missing in missing.items() if is_missing)


def settled_points(findings: Iterable[Finding]) -> set[str]:
    """Points somebody has checked, or that the piano does not have; "not checked" settles nothing."""
    return {f.point for f in findings if f.state in SETTLED}


def open_areas(
    piano: Piano, findings: Iterable[Finding], checklist: Checklist
) -> tuple[tuple[str, int, int], ...]:
    """For each area with open points: its name, how many are open, how many there are."""
    settled, own = settled_points(findings), checklist.for_piano(piano)
    counts = [
        (area, sum(p.area == area and p.id not in settled for p in own), sum(p.area == area for p in own))
        for area in own.areas
    ]
    return tuple(c for c in counts if c[1])
