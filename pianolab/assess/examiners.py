"""Which findings count where several people looked: a technician's word stands above a layman's, either way.

A look at a part is judged by who looked. At papers and prices nobody is a better judge than the paper, so there a
technician's word weighs no more than another's.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import date

from pianolab.assess.scoring import Scoring, load_scoring
from pianolab.checklist import Checklist, Point
from pianolab.model import Examiner, Finding, Piano


def technicians_of(
    examiners: Iterable[Examiner], findings: Iterable[Finding] = (), *, scoring: Scoring | None = None
) -> frozenset[str]:
    """The names of those whose role, or who call themselves, what builds, tunes or repairs pianos.

    Parameters
    ----------
    examiners : the people that a casebook knows, with their roles
    findings : what was found; whoever entered it as "tuner" needs no record of their own

    Examples
    --------
    >>> technicians_of([Examiner(name="Ada", role="piano technician"), Examiner(name="Ben", role="pianist")])
    frozenset({'Ada'})
    >>> technicians_of([], [Finding(visit_id="v", point="pins-look", grade=4, examiner="the tuner")])
    frozenset({'the tuner'})
    """
    words = (scoring or load_scoring()).who["technician_roles"]
    known = {e.name: e.role for e in examiners}
    names = {*known, *(f.examiner for f in findings)}
    return frozenset(n for n in names if any(w in known.get(n, n).casefold() for w in words))


def findings_that_count(
    findings: Iterable[Finding],
    piano: Piano,
    *,
    checklist: Checklist,
    technicians: frozenset[str] = frozenset(),
    days: Mapping[str, date] | None = None,
) -> tuple[Finding, ...]:
    """What is left once it is clear whose word counts at each point.

    Parameters
    ----------
    findings : all of one piano, by everybody
    piano : the instrument; a part that every such piano has and that somebody wrote off as missing counts as not looked at
    checklist : the points
    technicians : names of examiners whose word stands above the others' (`technicians_of`)
    days : day of each visit by its id. With it a later look at a place replaces an earlier one by the same sort of
        examiner, and a technician's is not set above what somebody else saw on a later day

    Returns
    -------
    tuple of Finding, in the order in which they came

    Examples
    --------
    >>> from pianolab.checklist import load_checklist
    >>> worry = Finding(visit_id="v", point="pins-look", grade=2, examiner="Ben")
    >>> look = Finding(visit_id="v", point="pins-look", grade=5, examiner="Ada")
    >>> kept = findings_that_count(
    ...     [worry, look], Piano(name="A"), checklist=load_checklist(), technicians=frozenset({"Ada"})
    ... )
    >>> [f.grade for f in kept]
    [5]
    """
    known = [_not_written_off(f, checklist.get(f.point), piano) for f in findings]
    if days is not None:
        known = _latest(known, checklist, technicians, days)
    over: dict[str, list[Finding]] = {}
    for f in known:
        if f.examiner in technicians and f.state == "checked":
            over.setdefault(f.point, []).append(f)
    return tuple(f for f in known if not _overruled(f, over.get(f.point, ()), checklist, technicians, days))


def _not_written_off(f: Finding, point: Point | None, piano: Piano) -> Finding:
    if f.state != "does not apply" or point is None or not point.applies(piano):
        return f
    return f if point.can_be_missing(piano) else replace(f, state="not checked")


def _latest(
    findings: Sequence[Finding],
    checklist: Checklist,
    technicians: frozenset[str],
    days: Mapping[str, date],
) -> list[Finding]:
    """For each place, and of each sort of examiner, what was found on the latest day on which anybody looked."""
    counted = {p.id for p in checklist if p.record == "count"}
    newest: dict[tuple[object, ...], tuple[bool, date]] = {}
    ranks = []
    for f in findings:
        place = (f.point, f.place, () if f.point in counted else f.keys, f.examiner in technicians)
        rank = (f.state == "checked", days.get(f.visit_id, date.min))
        newest[place] = max(newest.get(place, rank), rank)
        ranks.append((place, rank))
    return [f for f, (place, rank) in zip(findings, ranks, strict=True) if rank == newest[place]]


def _overruled(
    f: Finding,
    over: Sequence[Finding],
    checklist: Checklist,
    technicians: frozenset[str],
    days: Mapping[str, date] | None,
) -> bool:
    point = checklist.get(f.point)
    if f.examiner in technicians or point is None or _told_by_papers(point):
        return False
    return any(_covers(t, f, point) and not _later(f, t, days) for t in over)


def _told_by_papers(point: Point) -> bool:
    return point.nature == "information" and not point.aspects


def _covers(t: Finding, f: Finding, point: Point) -> bool:
    """Whether one finding is about all that another is about."""
    if t.place not in ("", f.place):
        return False
    return point.record == "count" or not t.keys or t.keys == f.keys


def _later(f: Finding, t: Finding, days: Mapping[str, date] | None) -> bool:
    if days is not None and f.visit_id in days and t.visit_id in days:
        return days[f.visit_id] > days[t.visit_id]
    return f.at is not None and t.at is not None and f.at.date() > t.at.date()
