"""What the page shows of each instrument: its facts, its findings worst first, and all instruments side by side."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from markupsafe import Markup

from pianolab.acoustics.judging.tuning_need import need_of_table
from pianolab.acoustics.named_reasons import split_names
from pianolab.acoustics.survey_result import FAULTS_BY_WEIGHT, Survey, count_faults
from pianolab.assess.assessment import Assessment
from pianolab.checklist.points import Checklist, Point
from pianolab.compare.comparison import Comparison, Standing
from pianolab.figures.judged import GOOD_FROM, judged
from pianolab.figures.keyboard_map import FAULT_WORDS
from pianolab.figures.look import Mark
from pianolab.figures.radar_plan import money_share, weight_shares
from pianolab.model import Finding, Piano
from pianolab.report import phrases, shapes
from pianolab.show import about, money
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


@dataclass(frozen=True, kw_only=True)
class Instrument:
    """Everything the page shows of one instrument; ``brief`` is what the sheet says of ``facts``."""

    id: str
    index: int
    mark: Mark
    badge: Markup
    badge_large: Markup
    assessment: Assessment
    standing: Standing
    survey: Survey | None
    facts: tuple[str, ...]
    brief: tuple[str, ...]
    view: FindingsView
    heard: str
    heard_short: str


def instruments_of(
    comparison: Comparison,
    marks: Mapping[str, Mark],
    *,
    surveys: Mapping[str, Survey],
    findings: Mapping[str, Sequence[Finding]],
    checklist: Checklist,
    leave_out: frozenset[str],
) -> tuple[Instrument, ...]:
    """One `Instrument` per assessment, in the order of the shortlist."""
    made = []
    for i, a in enumerate(comparison.assessments):
        mark, facts = marks[a.piano.id], _facts(a, leave_out)
        made.append(
            Instrument(
                id=a.piano.id,
                index=i,
                mark=mark,
                badge=shapes.badge(mark, index=i),
                badge_large=shapes.badge(mark, index=i, large=True),
                assessment=a,
                standing=comparison.standing(a.piano.id),
                survey=surveys.get(a.piano.id),
                facts=tuple(said for said, _ in facts),
                brief=tuple(said for said, on_sheet in facts if on_sheet),
                view=view_findings(a.piano, findings.get(a.piano.id, ()), checklist),
                heard=heard_words(surveys.get(a.piano.id)),
                heard_short=heard_briefly(surveys.get(a.piano.id)),
            )
        )
    return tuple(made)


def _facts(a: Assessment, leave_out: frozenset[str]) -> list[tuple[str, bool]]:
    """What is known of the instrument itself, and whether the sheet says it too."""
    p = a.piano
    asked = (
        f"asks {money(p.asking_price, p.currency)}"
        if p.asking_price is not None
        else "asking price not known"
    )
    facts = [
        (p.kind, True),
        (f"built {p.year}" if p.year else "year not known", True),
        (f"{p.last_key - p.first_key + 1} keys", True),
        (f"key tops: {p.key_tops}" if p.key_tops != "unknown" else "", False),
        (asked if "prices" not in leave_out else "", True),
        (f"serial number {p.serial}" if p.serial else "", False),
        (f"seller: {p.seller}" if p.seller else "", False),
        (p.address, True),
    ]
    return [fact for fact in facts if fact[0]]


def heard_words(survey: Survey | None) -> str:
    """What was recorded of an instrument, in one sentence."""
    if survey is None:
        return "not recorded: nothing is known of its keys by ear"
    s = survey.summary
    n = s.last_key - s.first_key + 1
    kinds = s.fault_counts or count_faults(survey.table)
    said = [f"{FAULT_WORDS[kind]} on {kinds[kind]}" for kind in FAULTS_BY_WEIGHT if kinds.get(kind)]
    why = need_of_table(survey.table).why()
    needs = (f"needs tuning: {why}",) if why else ()
    found = ", ".join(said) or "no fault heard"
    return "; ".join((f"{s.measured} of {n} keys measured", *needs, found, *survey.untold()))


def heard_briefly(survey: Survey | None) -> str:
    """How many keys were heard and how many of them have a fault, for a narrow column."""
    if survey is None:
        return "not recorded"
    s = survey.summary
    with_fault = sum(bool(split_names(cell)) for cell in survey.table["faults"])
    return f"{s.measured} of {s.last_key - s.first_key + 1} keys, {with_fault or 'none'} with a fault"


def side_by_side(
    comparison: Comparison, instruments: Sequence[Instrument], *, prices: bool
) -> list[dict[str, Any]]:
    """Rows of the table that puts the shortlist side by side: a name, and a cell per instrument."""
    code = comparison.profile.currency
    first: list[dict[str, Any]] = [
        _text_row(
            "First choice in",
            [f"{phrases.of_hundred(i.standing.rank_shares[0])} of 100" for i in instruments],
            strong=True,
        )
    ]
    rows: list[dict[str, Any]] = [
        *(first if len(instruments) > 1 else []),
        _text_row(
            "Looked at",
            [f"{i.assessment.points_checked} of {i.assessment.points_total} points" for i in instruments],
        ),
        _text_row("Listened to", [i.heard_short for i in instruments]),
    ]
    shares = weight_shares([a.aspect for a in instruments[0].assessment.aspects], comparison.profile)
    for n, (a, share) in enumerate(zip(instruments[0].assessment.aspects, shares, strict=True)):
        cells = []
        for i in instruments:
            r = i.assessment.aspects[n]
            cells.append(
                {"text": phrases.span(r.low, r.high), "bar": shapes.range_bar(r.low, r.high, index=i.index)}
            )
        rows.append(
            {"name": a.aspect.capitalize(), "sub": f"counts {share:.0%}", "cells": cells, "strong": False}
        )
    if prices:
        rows += [
            _text_row(
                "Price asked",
                [money(i.assessment.piano.asking_price, code) for i in instruments],
                sub=f"money counts {money_share(comparison.profile):.0%}",
            ),
            _text_row(
                "In the end", [_total(i.standing, code) for i in instruments], sub="estimate, not quote"
            ),
        ]
    if any(i.standing.dominated_by for i in instruments):
        names = {i.id: i.mark.letter for i in instruments}
        rows.append(
            _text_row(
                "Beaten in everything by",
                [", ".join(names.get(d, d) for d in i.standing.dominated_by) or "none" for i in instruments],
            )
        )
    return rows


def _text_row(name: str, texts: Sequence[str], *, sub: str = "", strong: bool = False) -> dict[str, Any]:
    return {"name": name, "sub": sub, "cells": [{"text": t, "bar": ""} for t in texts], "strong": strong}


def _total(s: Standing, code: str) -> str:
    if s.total_p10 is None or s.total_p90 is None:
        return "not known"
    return f"{about(s.total_p10, code)} to {about(s.total_p90, code)}"
