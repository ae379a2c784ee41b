"""Parts of a decision as tables: what a reader asks in turn, from what stops a purchase to what to offer."""

from __future__ import annotations

from collections.abc import Callable
from difflib import get_close_matches

from pianolab.errors import BadInput
from pianolab.report.offers import grid_of
from pianolab.show import Lines, Row, Showable, Table, money
from pianolab.words import say
from pianolab.workflow.decided import Decided

LEAST_POINTS = 0.05
"""What lowers a score by less isn't named as a reason; a table rounds to a tenth."""


def table_of(decision: Decided, kind: str, *, piano: str = "") -> Showable:
    """A part of a decision as a table.

    Parameters
    ----------
    kind : of all pianos ``stops``, ``alerts``, ``firmness``, ``offers``, ``rooms``, ``heard``, ``touch``, ``origin``;
        of one piano ``reasons``, ``price``, ``comparables``, ``jobs``, ``years``
    piano : name or id; the piano ahead where none is named

    Raises
    ------
    BadInput
        another kind, no such piano
    """
    if kind in OF_ALL:
        return OF_ALL[kind](decision)
    if kind in OF_ONE:
        return OF_ONE[kind](decision, decision.piano(piano).id)
    kinds = (*OF_ALL, *OF_ONE)
    close = get_close_matches(kind, kinds, n=1)
    raise BadInput(
        "table", repr(kind), "one of " + ", ".join(kinds), f"Did you mean {close[0]}?" if close else ""
    )


def _stops(decision: Decided) -> Showable:
    rows = []
    for a in decision.comparison.assessments:
        stops = [f"{veto.sentence()} ({veto.how_sure})" for veto in a.vetoes]
        unseen = len(a.unknown_vetoes)
        none = f"none seen, {unseen} not looked at" if unseen else "none found"
        rows.append((a.piano.name, "; ".join(stops) or none, unseen))
    return Table("Reasons to stop", ["piano", "stop", "not checked yet, and could stop it"], rows)


def _alerts(decision: Decided) -> Showable:
    rows = [
        (a.piano.name, alert.kind, alert.how_sure, alert.text, alert.confirm_by)
        for a in decision.comparison.assessments
        for alert in a.alerts
    ]
    return Table("Stops and warnings", ["piano", "kind", "how sure", "what", "confirm with"], rows)


def _firmness(decision: Decided) -> Showable:
    comparison, rows = decision.comparison, []
    for s in comparison.standings:
        leans = " and ".join(comparison.leans(s.piano_id)[:2])
        then = f"{s.confidence:.0%}" if leans and s.confidence is not None else ""
        score = f"{s.score_low:.1f} to {s.score_high:.1f}"
        rows.append((s.name, f"{s.rank_shares[0]:.0%}", score, leans, then, s.weighted_sum, s.obstacle))
    header = ["piano", "first in", "score", "who leans to", "first in then", "weighted sum", "stopped by"]
    return Table("How firm is the first place?", header, rows)


def _offers(decision: Decided) -> Showable:
    buyer, rows = decision.comparison.profile, []
    for s in decision.comparison.standings:
        price = s.price
        figures = (price.open_with, price.aim_at, price.walk_away_above)
        amounts = [
            "no price yet" if amount is None else money(amount, buyer.currency, locale=buyer.locale)
            for amount in figures
        ]
        rows.append((s.name, *amounts, "; ".join(price.reasons)))
    return Table("What to offer", ["piano", "open with", "aim at", "walk away above", "because"], rows)


def _price(decision: Decided, piano_id: str) -> Showable:
    price = decision.comparison.standing(piano_id).price
    parts = {
        "of what it is made": price.terms,
        "what is missing": price.missing,
        "your budget": price.beside,
        "to agree on": price.conditions,
        "promises": price.promises,
    }
    rows = [(part, say(said)) for part, those in parts.items() for said in those]
    return Table(f"The price of {decision.piano(piano_id).name}", ["what", "in words"], rows)


def _rooms(decision: Decided) -> Showable:
    rows = [(p.name, decision.rooms[p.id].sentence) for p in decision.pianos]
    return Table("What your room changes", ["piano", "at home"], rows)


def _heard(decision: Decided) -> Showable:
    rows: list[Row] = []
    for p in decision.pianos:
        survey = decision.surveys.get(p.id)
        if survey is None:
            rows.append((p.name, None, "", decision.provenance[f"Recording of {p.name}"]))
        else:
            rows.append((p.name, survey.summary.t60_s, survey.summary.t60_reason, survey.headline()))
    return Table("The recordings", ["piano", "reverberation, s", "if not known, why", "what was heard"], rows)


def _touch(decision: Decided) -> Showable:
    return Lines("What the players said", decision.touch.sentences, empty="Nobody has said how it feels.")


def _origin(decision: Decided) -> Showable:
    return Table("Where this comes from", ["what", "from"], list(decision.provenance.items()))


def _reasons(decision: Decided, piano_id: str) -> Showable:
    judged, rows = decision.comparison.assessment(piano_id), []
    for a in judged.aspects:
        lowered = [reason.sentence() for reason in a.made_by[:2] if reason.low < -LEAST_POINTS]
        narrower = [f"{gap.text} ({gap.reason})" for gap in a.unknown[:1]]
        rows.append((a.aspect, f"{a.low:.1f} to {a.high:.1f}", "; ".join(lowered), "; ".join(narrower)))
    header = ["aspect", "of 10", "lowered most by", "what would narrow it"]
    return Table(judged.piano.name, header, rows)


def _jobs(decision: Decided, piano_id: str) -> Showable:
    return decision.comparison.assessment(piano_id).repairs


def _years(decision: Decided, piano_id: str) -> Showable:
    return decision.years[piano_id]


OF_ALL: dict[str, Callable[[Decided], Showable]] = {
    "stops": _stops,
    "alerts": _alerts,
    "firmness": _firmness,
    "offers": _offers,
    "rooms": _rooms,
    "heard": _heard,
    "touch": _touch,
    "origin": _origin,
}


def _comparables(decision: Decided, piano_id: str) -> Showable:
    price = decision.comparison.standing(piano_id).price
    header, rows = grid_of(price, decision.comparison.profile.currency)
    return Table(f"Like instruments, brought over to {decision.piano(piano_id).name}", list(header), rows)


OF_ONE: dict[str, Callable[[Decided, str], Showable]] = {
    "price": _price,
    "comparables": _comparables,
    "reasons": _reasons,
    "jobs": _jobs,
    "years": _years,
}
