"""Findings of one piano as a reader wants them: worst first, looks apart, and what nobody looked at."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from pianolab.checklist.points import Checklist, Point
from pianolab.figures.judged import GOOD_FROM, judged
from pianolab.model import Finding, Piano
from pianolab.words import keys_in_words

NATURE_ORDER = {"structural": 0, "functional": 1, "cosmetic": 2, "information": 3}
NO_RECORD = "nobody has recorded anything here"


@dataclass(frozen=True, kw_only=True)
class FindingRow:
    """One finding ready to print. ``grade`` is None where the value can't be put on the scale of five."""

    point: str
    title: str
    area: str
    nature: str
    grade: int | None
    found: str
    meaning: str
    counted: bool
    where: str
    note: str
    examiner: str
    promised: str = ""


@dataclass(frozen=True, kw_only=True)
class OpenRow:
    """A point that was not looked at, and why."""

    title: str
    area: str
    state: str
    reason: str
    nature: str = "information"


@dataclass(frozen=True, kw_only=True)
class FindingsView:
    """All of one piano: ``trouble`` worst first, ``looks`` for cosmetic trouble, ``sound``, ``facts`` and ``open``."""

    trouble: tuple[FindingRow, ...]
    looks: tuple[FindingRow, ...]
    sound: tuple[FindingRow, ...]
    facts: tuple[FindingRow, ...]
    open: tuple[OpenRow, ...]
    total: int
    examiners: tuple[str, ...] = ()

    @property
    def open_structural(self) -> int:
        """How many structural points nobody has looked at."""
        return sum(row.nature == "structural" for row in self.open)

    def at(self, point: str) -> FindingRow | None:
        """The worst that was found at a checklist point, None where nothing was."""
        rows = (*self.trouble, *self.looks, *self.sound, *self.facts)
        return next((row for row in rows if point and row.point == point), None)


def view_findings(piano: Piano, findings: Sequence[Finding], checklist: Checklist) -> FindingsView:
    """Sorts the findings of one piano; every point of its checklist appears somewhere."""
    points = {p.id: p for p in checklist.for_piano(piano)}
    known = {p.id: p for p in checklist}
    rows = [_row(f, known.get(f.point)) for f in findings if f.state == "checked"]
    rows.sort(
        key=lambda r: (r.grade if r.grade is not None else 9, NATURE_ORDER.get(r.nature, 9), r.area, r.title)
    )
    bad = [r for r in rows if r.grade is not None and r.grade < GOOD_FROM]
    return FindingsView(
        trouble=tuple(r for r in bad if r.nature != "cosmetic"),
        looks=tuple(r for r in bad if r.nature == "cosmetic"),
        sound=tuple(r for r in rows if r.grade is not None and r.grade >= GOOD_FROM),
        facts=tuple(r for r in rows if r.grade is None),
        open=tuple(_open_rows(findings, points, known)),
        total=len(points),
        examiners=tuple(dict.fromkeys(f.examiner for f in findings if f.examiner.strip())),
    )


def _open_rows(
    findings: Sequence[Finding], points: dict[str, Point], known: dict[str, Point]
) -> list[OpenRow]:
    checked = {f.point for f in findings if f.state == "checked"}
    said: dict[str, Finding] = {}
    for f in findings:
        if f.state != "checked" and f.state != "does not apply" and f.point not in checked:
            said.setdefault(f.point, f)
    dropped = {f.point for f in findings if f.state == "does not apply"}
    rows = []
    for point_id in [*points, *(i for i in said if i not in points)]:
        if point_id in checked or (point_id in dropped and point_id not in said):
            continue
        point, unseen = known.get(point_id), said.get(point_id)
        title, area = (point.title, point.area) if point else (point_id, "")
        rows.append(
            OpenRow(
                title=title,
                area=area,
                state=unseen.state if unseen else "not checked",
                reason=unseen.reason if unseen else NO_RECORD,
                nature=point.nature if point else "information",
            )
        )
    return rows


def _row(f: Finding, point: Point | None) -> FindingRow:
    where = ", ".join(filter(None, [f.place, keys_in_words(f.keys, most=8)]))
    grade, found, meaning = judged(f, point)
    return FindingRow(
        point=f.point,
        title=point.title if point else f.point,
        area=point.area if point else "",
        nature=point.nature if point else "information",
        grade=grade,
        found=found,
        meaning=meaning,
        counted=f.grade is None,
        where=where,
        note=f.note,
        examiner=f.examiner,
        promised=f.promised,
    )
