"""The sheet that opens the page: what a family reads at the table, in piano words and on one side of paper."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from pianolab.assess.assessment import Alert
from pianolab.compare.comparison import Comparison
from pianolab.model import Finding
from pianolab.report.instruments import Instrument
from pianolab.report.offers import offer_of
from pianolab.report.photos_and_clips import Picture
from pianolab.report.what_is_heard import sustain_counts
from pianolab.statements import Statement, as_written, statement
from pianolab.words import as_sentence, listed, say

MOST_REASONS, MOST_PARTS, MOST_SAID = 3, 4, 3
ENOUGH_KEYS = 20
"""From so many keys judged on, how long they sing says something of the instrument; own choice."""
SINGS_FROM, STRUCTURE_FROM, HOLDS_FROM = 0.9, 0.5, 7.0
"""From where a thing speaks for an instrument: share of keys that sing, share of structural points looked at, score of
tuning stability at worst; own choice."""


@dataclass(frozen=True, kw_only=True)
class Looked:
    """Who looked, on which days, for how long; each empty where nobody noted it."""

    who: tuple[str, ...] = ()
    days: tuple[str, ...] = ()
    minutes: float = 0.0


def sheet_of(
    comparison: Comparison,
    instruments: Sequence[Instrument],
    *,
    findings: Mapping[str, Sequence[Finding]],
    photos: Mapping[str, Sequence[Picture]],
    days: Mapping[str, Sequence[date]],
    prices: bool,
) -> dict[str, Any]:
    """What stands on the sheet beside the six answers: reasons, the others, what to agree on, who looked."""
    v = comparison.verdict
    chosen = next((i for i in instruments if i.id == v.piano_id), None)
    leader = chosen or max(instruments, key=lambda i: i.standing.rank_shares[0])
    offer = offer_of(leader.standing.price, comparison.profile.currency)
    speaks = [] if chosen is None else [as_sentence(say(s)) for s in reasons_for(chosen, prices=prices)]
    return {
        "reasons": speaks,
        "against": [] if chosen is None else [short_of(a) for a in chosen.assessment.warnings[:1]],
        "others": [{"on": i, "why": as_sentence(say(_why_not(i)))} for i in instruments if i is not chosen],
        "agree": [*offer["promises"], *offer["conditions"]][: MOST_SAID + 1] if prices and chosen else [],
        "looked": [
            looked_words(i, findings.get(i.id, ()), days.get(i.id, ()))
            for i in ([chosen] if chosen else instruments)
        ],
        "photo": _portrait(photos.get(leader.id, ())) if chosen else None,
        "facts": ", ".join(leader.brief),
        "second": _second(instruments, leader),
        "due": _due(leader),
    }


def _due(i: Instrument) -> str:
    """The work that something found asks for, or that none is known to be."""
    jobs = [j.title for j in i.assessment.repairs.jobs if j.found and j.kind == "work" and j.forced]
    kind = "sheet.work" if jobs else "sheet.no work"
    return as_sentence(say(statement(kind, jobs=tuple(jobs[:MOST_REASONS]), more=len(jobs) - MOST_REASONS)))


def _second(instruments: Sequence[Instrument], leader: Instrument) -> Instrument | None:
    """Which comes next if the first one goes to somebody else; None where none is fit to buy."""
    others = [i for i in instruments if i is not leader and i.standing.barred_by is None]
    return max(others, key=lambda i: i.standing.rank_shares[0], default=None)


def _portrait(photos: Sequence[Picture]) -> Picture | None:
    """A photo of the whole, which belongs to no point, or else the first."""
    return next((p for p in photos if not p.point), photos[0] if photos else None)


def reasons_for(instrument: Instrument, *, prices: bool) -> list[Statement]:
    """What speaks for an instrument, of what was really looked at or heard; three reasons at most.

    Only what somebody found or what was measured is told: nothing that is merely not known to be wrong.
    """
    found = [_structure(instrument), _sings(instrument), _keys(instrument), _held(instrument)]
    found += [_money(instrument)] if prices else []
    return [s for s in found if s is not None][:MOST_REASONS]


def _structure(i: Instrument) -> Statement | None:
    sound = [r for r in i.view.sound if r.nature == "structural"]
    wrong = [r for r in i.view.trouble if r.nature == "structural"]
    if not sound or wrong or len(sound) < STRUCTURE_FROM * (len(sound) + i.view.open_structural):
        return None
    parts = tuple(dict.fromkeys(r.area.casefold() for r in sound))
    kind = "sheet.structure" if len(parts) <= MOST_PARTS else "sheet.structure and more"
    return statement(kind, parts=parts[:MOST_PARTS], points=len(sound), more=len(parts) - MOST_PARTS)


def _sings(i: Instrument) -> Statement | None:
    if i.survey is None:
        return None
    counts = sustain_counts(i.survey)
    judged = counts["sound"] + counts["short"]
    if judged < ENOUGH_KEYS or counts["sound"] < SINGS_FROM * judged:
        return None
    return statement("sheet.sings", keys=counts["sound"], judged=judged)


def _keys(i: Instrument) -> Statement | None:
    if i.survey is None or any(i.survey.table["faults"].fillna("")):
        return None
    return statement("sheet.no fault", keys=i.survey.summary.measured)


def _held(i: Instrument) -> Statement | None:
    holds = i.assessment.aspect("tuning stability")
    return None if holds.low < HOLDS_FROM else statement("sheet.holds")


def _money(i: Instrument) -> Statement | None:
    price = i.standing.price
    if not price.named or price.chance_over_budget is None or price.chance_over_budget > 0.5:
        return None
    return statement("sheet.within the budget", chance=1.0 - price.chance_over_budget)


def short_of(alert: Alert) -> str:
    """An alert as a sentence without the signs that it rests on: these stand among the warnings."""
    return as_sentence(say(_bare(alert)))


def _bare(alert: Alert) -> Statement:
    inner = dict(alert.says.numbers).get("reason")
    return as_written(inner) if isinstance(inner, str) else inner or alert.says


def _why_not(i: Instrument) -> Statement:
    if stops := i.assessment.vetoes:
        kind = "sheet.stops" if len(stops) == 1 else "sheet.stops and more"
        return statement(kind, stop=_bare(stops[0]), more=len(stops) - 1)
    if i.standing.barred_by is not None:
        return i.standing.barred_by
    if warnings := i.assessment.warnings:
        return statement("sheet.behind, warned", why=_bare(warnings[0]))
    weak = min(i.assessment.aspects, key=lambda a: a.middle)
    kind = "sheet.behind, unknown" if weak.unknown and weak.high - weak.low > weak.middle else "sheet.behind"
    return statement(kind, aspect=weak.aspect)


def looked(findings: Sequence[Finding], days: Sequence[date] = ()) -> Looked:
    """Who looked, when and for how long, from the visits' days and the moments at which the findings were noted.

    Examples
    --------
    >>> looked([]).days
    ()
    >>> looked([], [date(2026, 3, 14)]).days
    ('2026-03-14',)
    """
    who = tuple(dict.fromkeys(f.examiner.strip() for f in findings if f.examiner.strip()))
    moments: dict[str, list[datetime]] = {}
    for f in findings:
        if f.at is not None:
            moments.setdefault(f.at.date().isoformat(), []).append(f.at)
    minutes = sum((max(m) - min(m)).total_seconds() / 60.0 for m in moments.values())
    on = {day.isoformat() for day in days} or moments
    return Looked(who=who, days=tuple(sorted(on)), minutes=minutes)


def looked_words(i: Instrument, findings: Sequence[Finding], days: Sequence[date] = ()) -> str:
    """Who looked at one instrument, when, how long, and at how much of it."""
    seen = looked(findings, days)
    said = f"{i.mark.name}: {i.assessment.points_checked} of {i.assessment.points_total} points"
    said += f", by {listed(seen.who)}" if seen.who else ", by nobody who is named"
    said += f", on {listed(seen.days)}" if seen.days else ", on a day that nobody noted"
    said += f", about {seen.minutes:.0f} min from the first note to the last" if seen.minutes >= 1 else ""
    return f"{said}; {i.heard}."
