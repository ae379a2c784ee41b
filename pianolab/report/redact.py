"""Leaving out names, addresses or prices before anything is written."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, fields, is_dataclass, replace
from datetime import datetime
from decimal import Decimal
from typing import Any, Literal, TypeVar

from pianolab.compare.results import Comparison
from pianolab.errors import BadInput
from pianolab.model import Finding, Piano
from pianolab.report.further import Further
from pianolab.report.pictures import Picture

LeaveOut = Literal["names", "addresses", "prices"]
CHOICES = ("names", "addresses", "prices")
LEFT_OUT = "left out"
T = TypeVar("T")


@dataclass(frozen=True, kw_only=True)
class Content:
    """Everything a page is made of that may hold what somebody wants left out."""

    comparison: Comparison
    findings: dict[str, tuple[Finding, ...]]
    provenance: dict[str, str]
    photos: dict[str, tuple[Picture, ...]] = field(default_factory=dict)
    further: tuple[Further, ...] = ()


def check_choices(leave_out: Sequence[str]) -> frozenset[str]:
    """The choices as a set; `BadInput` for an unknown one."""
    if isinstance(leave_out, str) or (set(leave_out) - set(CHOICES)):
        raise BadInput("leave_out", repr(leave_out), "some of " + ", ".join(CHOICES), "A list of words.")
    return frozenset(leave_out)


def redact(content: Content, leave_out: Sequence[str]) -> Content:
    """The same content without what shall be left out.

    Names: instruments become ``Piano A``, ``Piano B``, …; sellers, serial numbers, examiners, photos, free notes and the buyer's
    description go.
    Addresses: addresses go, and wherever one is written in a text. Prices: amounts in texts go (the page
    leaves out its money sections besides).
    """
    gone = check_choices(leave_out)
    edits: list[Callable[[str], str]] = []
    pianos = [a.piano for a in content.comparison.assessments]
    if "names" in gone:
        edits.append(_swap(_name_pairs(pianos, content.findings)))
    if "addresses" in gone:
        edits.append(_swap({p.address: LEFT_OUT for p in pianos if p.address.strip()}))
    if "prices" in gone:
        codes = {content.comparison.profile.currency, *(p.currency for p in pianos)}
        edits.append(lambda text: _without_amounts(text, codes))

    def edit(text: str) -> str:
        for change in edits:
            text = change(text)
        return text

    findings = {
        i: tuple(_finding(f, gone, edit) for f in found) for i, found in content.findings.items()
    }  # fmt: skip
    comparison = _edited(content.comparison, edit) if edits else content.comparison
    if gone:
        comparison = replace(
            comparison,
            assessments=tuple(replace(a, piano=_piano(a.piano, gone)) for a in comparison.assessments),
        )
    if "names" in gone:
        comparison = replace(comparison, profile=replace(comparison.profile, description=""))
    return Content(
        comparison=comparison,
        findings=findings,
        provenance={edit(k): edit(v) for k, v in content.provenance.items()},
        further=tuple(_edited(f, edit) for f in content.further if not _drops(f, gone)),
        photos={} if "names" in gone else {i: _photos(own, edit) for i, own in content.photos.items()},
    )


def _name_pairs(pianos: Sequence[Piano], findings: Mapping[str, Sequence[Finding]]) -> dict[str, str]:
    pairs = {p.name: f"Piano {'ABCDEFGH'[i % 8]}" for i, p in enumerate(pianos)}
    for p in pianos:
        pairs |= {word: LEFT_OUT for word in (p.seller, p.serial) if word.strip()}
    for found in findings.values():
        pairs |= {f.examiner: LEFT_OUT for f in found if f.examiner.strip()}
    return pairs


def _swap(pairs: Mapping[str, str]) -> Callable[[str], str]:
    words = sorted((w for w in pairs if w), key=len, reverse=True)
    if not words:
        return lambda text: text
    lower = {w.casefold(): pairs[w] for w in words}
    pattern = re.compile(
        "|".join(rf"(?<!\w){re.escape(w)}(?!\w)" if w[0].isalnum() and w[-1].isalnum() else re.escape(w) for w in words),
        re.IGNORECASE,
    )  # fmt: skip
    return lambda text: pattern.sub(lambda m: lower.get(m.group().casefold(), LEFT_OUT), text)


def _without_amounts(text: str, codes: set[str]) -> str:
    unit = "|".join([*map(re.escape, codes), "[€$£¥₣]"])
    amount = r"\d[\d.,'’\u00a0\u202f ]*\d|\d"
    span = rf"(?:{amount})(?:\s*(?:to|–|-|and)\s*(?:{unit})?\s*(?:{amount}))?"
    return re.sub(rf"(?:{unit})\s*(?:{span})|(?:{span})\s*(?:{unit})", "[amount left out]", text)


def _finding(f: Finding, gone: frozenset[str], edit: Callable[[str], str]) -> Finding:
    if "names" in gone:
        f = replace(f, examiner="", note="")
    return replace(f, note=edit(f.note), reason=edit(f.reason), place=edit(f.place))


def _drops(f: Further, gone: frozenset[str]) -> bool:
    return (f.about_money and "prices" in gone) or (f.names_people and "names" in gone)


def _photos(photos: Sequence[Picture], edit: Callable[[str], str]) -> tuple[Picture, ...]:
    return tuple(replace(p, caption=edit(p.caption)) for p in photos)


def _piano(p: Piano, gone: frozenset[str]) -> Piano:
    if "names" in gone:
        p = replace(p, seller="", serial="", note="")
    if "addresses" in gone:
        p = replace(p, address="", note="")
    if "prices" in gone:
        p = replace(p, asking_price=None, note="")
    return p


_KEPT = {"id", "piano_id", "source", "kind", "aspect", "currency", "confirm_by", "how_sure", "effort", "job"}


def _edited(value: T, edit: Callable[[str], str]) -> T:
    """A copy of a record with every free text in it edited; ids and code words stay."""
    out: Any = value
    if isinstance(value, str):
        out = edit(value)
    elif isinstance(value, tuple):
        out = tuple(_edited(v, edit) for v in value)
    elif is_dataclass(value) and not isinstance(value, type):
        changes = {
            f.name: _edited(getattr(value, f.name), edit) for f in fields(value) if f.name not in _KEPT
        }
        out = replace(value, **changes)
    elif isinstance(value, (Decimal, datetime)):
        out = value
    return out
