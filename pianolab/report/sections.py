"""What the page says, section by section, as plain data for the template."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from markupsafe import Markup

from pianolab.acoustics.results import Survey
from pianolab.assess.results import Assessment
from pianolab.checklist.points import Checklist
from pianolab.compare.results import Comparison, NextStep, Standing
from pianolab.figures.look import Mark
from pianolab.figures.money import about, money
from pianolab.figures.radar_plan import weight_shares
from pianolab.figures.wording import listed
from pianolab.model import Finding
from pianolab.report import shapes, words
from pianolab.report.clips import Clip
from pianolab.report.findings_view import FindingsView, view_findings

LEAST_WORTH = 5
"""Under this amount, which would read as zero, the worth of finding something out is not said."""


@dataclass(frozen=True, kw_only=True)
class Instrument:
    """Everything the page shows of one instrument; ``charts`` are filled in by `pianolab.report.page`."""

    id: str
    index: int
    mark: Mark
    badge: Markup
    badge_large: Markup
    assessment: Assessment
    standing: Standing
    survey: Survey | None
    facts: tuple[str, ...]
    view: FindingsView
    heard: str


def instruments_of(
    comparison: Comparison, marks: Mapping[str, Mark], *, surveys: Mapping[str, Survey],
    findings: Mapping[str, Sequence[Finding]], checklist: Checklist, leave_out: frozenset[str],
) -> tuple[Instrument, ...]:  # fmt: skip
    """One `Instrument` per assessment, in the order of the shortlist."""
    made = []
    for i, a in enumerate(comparison.assessments):
        mark = marks[a.piano.id]
        made.append(
            Instrument(
                id=a.piano.id, index=i, mark=mark, badge=shapes.badge(mark, index=i), badge_large=shapes.badge(mark, index=i, large=True),
                assessment=a, standing=comparison.standing(a.piano.id), survey=surveys.get(a.piano.id), facts=_facts(a, leave_out),
                view=view_findings(a.piano, findings.get(a.piano.id, ()), checklist), heard=heard_words(surveys.get(a.piano.id)),
            )
        )  # fmt: skip
    return tuple(made)


def _facts(a: Assessment, leave_out: frozenset[str]) -> tuple[str, ...]:
    p = a.piano
    facts = [
        p.kind,
        f"built {p.year}" if p.year else "year not known",
        f"{p.last_key - p.first_key + 1} keys",
    ]
    if p.key_tops != "unknown":
        facts.append(f"key tops: {p.key_tops}")
    if "prices" not in leave_out:
        asked = money(p.asking_price, p.currency)
        facts.append(f"asks {asked}" if p.asking_price is not None else "asking price not known")
    facts += [f"serial number {p.serial}"] if p.serial else []
    facts += [f"seller: {p.seller}"] if p.seller else []
    facts += [p.address] if p.address else []
    return tuple(facts)


def heard_words(survey: Survey | None) -> str:
    """What was recorded of an instrument, in one sentence."""
    if survey is None:
        return "not recorded: nothing is known of its keys by ear"
    s = survey.summary
    n = s.last_key - s.first_key + 1
    faults = sum(s.fault_counts.values()) or int((survey.table["faults"].fillna("") != "").sum())
    found = f"{words.plural(faults, 'fault')} heard" if faults else "no fault heard"
    return f"{s.measured} of {n} keys measured; {found}"


def verdict_of(comparison: Comparison, instruments: Sequence[Instrument], *, prices: bool) -> dict[str, Any]:
    """The answers at the top: which, why, at most, unknown, next, and how sure."""
    v = comparison.verdict
    chosen = next((i for i in instruments if i.id == v.piano_id), None)
    leader = chosen or max(instruments, key=lambda i: i.standing.rank_shares[0])
    head, sentences = split_headline(v.headline, v.kind), _why(comparison, chosen)
    return {
        "kind": v.kind,
        "head": head,
        "word": words.KIND_WORDS[v.kind],
        "sign": shapes.sign(v.kind),
        "headline": v.headline,
        "sentences": sentences,
        "chosen": chosen,
        "sure": words.sure(v.how_sure),
        "sure_count": words.of_hundred(v.how_sure),
        "tries": _tries(instruments, comparison),
        "pay": _pay(chosen, comparison.profile.currency) if prices else None,
        "unknown": _unknown(leader),
        "leader": leader,
        "next": _step_words(comparison, instruments, prices=prices),
    }


def split_headline(headline: str, kind: str) -> str:
    """The headline without the verdict's word in front, which the page shows by itself.

    Examples
    --------
    >>> split_headline("Find out first: the attic upright leads.", "find out first")
    'The attic upright leads.'
    >>> split_headline("Buy the attic upright.", "buy")
    'Buy the attic upright.'
    """
    front = f"{kind}:"
    if headline.casefold().startswith(front):
        return words.sentence(headline[len(front) :].strip())
    return headline


def _why(comparison: Comparison, chosen: Instrument | None) -> list[str]:
    """The verdict's sentences without those that only repeat a next step, and where the chosen one is ahead."""
    steps = [s.text for s in comparison.next_steps]
    said = [s for s in comparison.verdict.sentences if not any(text and text in s for text in steps)]
    ahead = _ahead(comparison, chosen) if chosen and len(comparison.assessments) > 1 else ""
    return [*said[:1], *([ahead] if ahead else []), *said[1:]]


def _ahead(comparison: Comparison, chosen: Instrument) -> str:
    rivals = [a for a in comparison.assessments if a.piano.id != chosen.id and not a.vetoes]
    best = [
        r.aspect
        for r in chosen.assessment.aspects
        if all(r.middle > a.aspect(r.aspect).middle for a in rivals)
    ]
    if not rivals or not best:
        return ""
    return f"Of those without a reason to stop it stands highest in {listed(best)}."


def _tries(instruments: Sequence[Instrument], comparison: Comparison) -> Markup:
    shares = [i.standing.rank_shares[0] for i in instruments]
    said = ", ".join(
        f"{i.mark.letter} {i.mark.name} {words.of_hundred(s)}"
        for i, s in zip(instruments, shares, strict=True)
    )
    label = f"First choice in how many of 100 tries: {said}. Computed from {comparison.draws} draws."
    return shapes.hundred_tries([i.mark for i in instruments], shares, label=label)


def _pay(chosen: Instrument | None, currency: str) -> dict[str, str]:
    if chosen is None:
        return {"most": "nothing yet", "why": "no instrument is recommended as things stand", "total": ""}
    s = chosen.standing
    total = ""
    if s.total_p10 is not None and s.total_p90 is not None:
        total = f"With repairs, moving and first tunings it comes to {about(s.total_p10, currency)} to {about(s.total_p90, currency)} at the price asked."
    return {"most": money(s.highest_offer, currency), "why": s.offer_reason, "total": total}


def _unknown(leader: Instrument) -> dict[str, Any]:
    a = leader.assessment
    widest: dict[str, tuple[float, str]] = {}
    for aspect in a.aspects:
        for u in aspect.unknown:
            if u.width > widest.get(u.text, (-1.0, ""))[0]:
                widest[u.text] = (u.width, u.reason)
    top = sorted(widest.items(), key=lambda item: -item[1][0])
    return {
        "open": a.points_total - a.points_checked,
        "total": a.points_total,
        "top": [f"{text}: {reason}" for text, (_, reason) in top[:3]],
        "more": max(0, len(top) - 3),
        "heard": leader.heard,
    }


def _step_words(
    comparison: Comparison, instruments: Sequence[Instrument], *, prices: bool
) -> list[dict[str, Any]]:
    by_id = {i.id: i for i in instruments}
    return [
        {
            "on": by_id[s.piano_id],
            "head": words.sentence(s.text.partition(": ")[0]),
            "detail": s.text.partition(": ")[2],
            "effort": words.effort(s.effort, s.minutes, said=s.text),
            "why": s.why,
            "chance": words.of_hundred(s.chance_to_change),
            "worth": _worth(s, comparison.profile.currency) if prices else "",
            "bar": shapes.chance_bar(s.chance_to_change, index=by_id[s.piano_id].index),
        }
        for s in sorted(comparison.next_steps, key=lambda s: -s.chance_to_change)
    ]


def _worth(step: NextStep, currency: str) -> str:
    worth = getattr(step, "worth", None)
    return f"worth about {about(worth, currency)} to know" if worth and worth >= LEAST_WORTH else ""


def side_by_side(
    comparison: Comparison, instruments: Sequence[Instrument], *, prices: bool
) -> list[dict[str, Any]]:
    """Rows of the table that puts the shortlist side by side: a name, and a cell per instrument."""
    code = comparison.profile.currency
    rows: list[dict[str, Any]] = [
        _text_row("First choice in", [f"{words.of_hundred(i.standing.rank_shares[0])} of 100" for i in instruments], strong=True),
        {"name": "Reasons to stop", "sub": "", "strong": False, "cells": [_stops(i.assessment) for i in instruments]},
        _text_row("Looked at", [f"{i.assessment.points_checked} of {i.assessment.points_total} points" for i in instruments]),
        _text_row("Listened to", [i.heard for i in instruments]),
    ]  # fmt: skip
    shares = weight_shares([a.aspect for a in instruments[0].assessment.aspects], comparison.profile)
    for n, (a, share) in enumerate(zip(instruments[0].assessment.aspects, shares, strict=True)):
        cells = []
        for i in instruments:
            r = i.assessment.aspects[n]
            cells.append(
                {"text": words.span(r.low, r.high), "bar": shapes.range_bar(r.low, r.high, index=i.index)}
            )
        rows.append(
            {"name": a.aspect.capitalize(), "sub": f"counts {share:.0%}", "cells": cells, "strong": False}
        )
    if prices:
        rows += [
            _text_row("Price asked", [money(i.assessment.piano.asking_price, code) for i in instruments]),
            _text_row("In the end", [_total(i.standing, code) for i in instruments], sub="estimate, not quote"),
            _text_row("Offer at most", [_offer(i.standing, code) for i in instruments]),
        ]  # fmt: skip
    if any(i.standing.dominated_by for i in instruments):
        names = {i.id: i.mark.letter for i in instruments}
        rows.append(_text_row("Beaten in everything by", [
            ", ".join(names.get(d, d) for d in i.standing.dominated_by) or "none" for i in instruments
        ]))  # fmt: skip
    return rows


def _text_row(name: str, texts: Sequence[str], *, sub: str = "", strong: bool = False) -> dict[str, Any]:
    return {"name": name, "sub": sub, "cells": [{"text": t, "bar": ""} for t in texts], "strong": strong}


def _stops(a: Assessment) -> dict[str, Any]:
    if a.vetoes:
        return {"bar": shapes.sign("veto"), "text": words.plural(len(a.vetoes), "reason") + " to stop"}
    open_points = a.points_total - a.points_checked
    return {
        "bar": "",
        "text": "none seen" if not open_points else f"none seen, {open_points} points not checked",
    }


def _total(s: Standing, code: str) -> str:
    if s.total_p10 is None or s.total_p90 is None:
        return "not known"
    return f"{about(s.total_p10, code)} to {about(s.total_p90, code)}"


def _offer(s: Standing, code: str) -> str:
    if s.vetoed:
        return "no offer: a reason to stop"
    return money(s.highest_offer, code) if s.highest_offer is not None else s.offer_reason or "not known"


def clip_grid(clips: Mapping[str, Sequence[Clip]], instruments: Sequence[Instrument]) -> list[dict[str, Any]]:
    """Rows of the listening table: one key each, with the clip of every instrument, or None where there is none."""
    keys = sorted({c.key for own in clips.values() for c in own})
    rows = []
    for key in keys:
        cells: list[dict[str, Any]] = [
            {"on": i, "clip": next((c for c in clips.get(i.id, ()) if c.key == key), None)}
            for i in instruments
        ]
        label = next(c["clip"].label for c in cells if c["clip"])
        rows.append({"key": key, "note": words.keys_in_words([key]), "label": label, "cells": cells})
    return rows


def hidden_rows(instruments: Sequence[Instrument]) -> list[dict[str, Any]]:
    """What the tuning hides, per instrument: keys by what can be said of how long they sing."""
    rows: list[dict[str, Any]] = []
    for i in instruments:
        if i.survey is None:
            rows.append({"on": i, "counts": None, "text": "not recorded"})
            continue
        t = i.survey.table
        verdict = t["sustain_verdict"].fillna("")
        counts = {v: int((verdict == v).sum()) for v in ("sound", "short", "tune first")}
        rest = t[verdict == ""]
        reasons = rest["sustain_trust"].fillna("").value_counts()
        why = ", ".join(f"{n} {words.WHY_NOT_JUDGED.get(str(r), str(r))}" for r, n in reasons.items())
        rows.append(
            {
                "on": i,
                "counts": counts,
                "open": len(rest),
                "why": why,
                "text": i.assessment.hidden_by_tuning or "nothing found that the tuning hides",
                "offset": i.survey.summary.offset_cents,
                "reading": i.survey.summary.reading,
            }
        )
    return rows
