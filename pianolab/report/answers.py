"""The answers at the top of the page: which, why, at most, next, what is not known, how sure."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from typing import Any

from pianolab.assess.assessment import Unknown
from pianolab.compare.comparison import Comparison, Standing, Verdict
from pianolab.compare.steps import NextStep
from pianolab.compare.verdict import OFFER, STEPS
from pianolab.report import phrases, shapes
from pianolab.report.instruments import Instrument
from pianolab.report.offers import offer_of
from pianolab.show import about, money
from pianolab.statements import Statement, statement
from pianolab.words import say, upper_first, with_stop

MOST_STEPS, LEAST_CHANCE = 6, 0.005
"""Steps shown in full: those that could change the first choice, the first six of them; one at least."""
ON_THE_SHEET = ("verdict.out", "verdict.out and more", "verdict.agree", "verdict.then")
"""Kinds of reasons that the sheet says in its own words."""
LEAST_WORTH = 5
"""Under this amount, which would read as zero, the worth of finding something out is not said."""
UNDER_ITS_WORD = {"find out first": "leads", "walk away": "nothing"}
"""Answers whose own word the page shows above the headline: what of them is left to be said under it."""


def verdict_of(comparison: Comparison, instruments: Sequence[Instrument], *, prices: bool) -> dict[str, Any]:
    """The answers at the top: which, why, at most, unknown, next, and how sure."""
    v = comparison.verdict
    chosen = next((i for i in instruments if i.id == v.piano_id), None)
    leader = chosen or max(instruments, key=lambda i: i.standing.rank_shares[0])
    return {
        "kind": v.kind,
        "head": head_of(v),
        "conditions": [with_stop(upper_first(say(c))) for c in conditions_in(v)],
        "word": phrases.KIND_WORDS[v.kind],
        "sign": shapes.sign(v.kind),
        "headline": v.headline,
        "sentences": _why(comparison),
        "hangs_on": [with_stop(upper_first(say(h))) for h in comparison.hangs_on],
        "stop": say(comparison.to_find_out().stop),
        "alone": len(comparison.assessments) == 1,
        "none_fit": phrases.of_hundred(comparison.none_fit),
        "chosen": chosen,
        "sure": phrases.sure(v.how_sure),
        "sure_count": phrases.of_hundred(v.how_sure),
        "pay": _pay(chosen, comparison) if prices else None,
        "unknown": _unknown(leader),
        "leader": leader,
        "next": _step_words(comparison, instruments, prices=prices),
    }


def head_of(verdict: Verdict) -> str:
    """The headline without the verdict's word in front, which the page shows by itself.

    Examples
    --------
    >>> from pianolab.statements import statement
    >>> leads = statement("verdict.leads", name="the attic upright")
    >>> answer = statement("verdict.find out first", leads=leads)
    >>> head_of(Verdict(kind="find out first", piano_id="a", answer=answer, reasons=(), how_sure=0.5))
    'The attic upright is ahead, but what is still unknown could change that.'
    """
    if conditions := conditions_in(verdict):
        name = verdict.answer.number("name")
        return say(statement("sheet.buy if", name=name, conditions=len(conditions)))
    inner = UNDER_ITS_WORD.get(verdict.kind)
    return upper_first(say(verdict.answer.number(inner))) if inner else verdict.headline


def conditions_in(verdict: Verdict) -> tuple[Statement, ...]:
    """What a purchase hangs on, each as a statement; empty for a verdict of another kind."""
    return tuple(dict(verdict.answer.numbers).get("conditions", ())) if verdict.kind == "buy if" else ()


def _why(comparison: Comparison) -> list[str]:
    """The verdict's reasons without those that the page says elsewhere: all of them where nothing is chosen."""
    v = comparison.verdict
    elsewhere = (OFFER, *STEPS) if v.piano_id is None else (OFFER, *STEPS, *ON_THE_SHEET)
    return [say(r) for r in v.reasons if r.kind not in elsewhere and not r.kind.startswith("price.")]


FIGURES = ("Open with", "Aim at", "Walk away above")


def _pay(chosen: Instrument | None, comparison: Comparison) -> dict[str, Any]:
    currency = comparison.profile.currency
    if chosen is None:
        return {
            "named": [],
            "most": "nothing yet",
            "why": "no instrument is recommended as things stand",
            "total": "",
            "budget": "",
        }
    s = chosen.standing
    total = ""
    if s.total_p10 is not None and s.total_p50 is not None and s.total_p90 is not None:
        less, where = (
            _below_asked(chosen),
            "the price aimed at" if s.price.aim_at is not None else "the price asked",
        )
        low, mid, high = (about(x - less, currency) for x in (s.total_p10, s.total_p50, s.total_p90))
        total = f"With needed repairs, moving and first tunings it comes to about {mid} at {where}, in 8 of 10 cases to between {low} and {high}."
    offer = offer_of(s.price, currency)
    named = [] if not s.price.walk_away_above else zip(FIGURES, offer["amounts"], strict=True)
    return {
        "named": list(named),
        "most": upper_first(offer["figures"]),
        "why": "; ".join(s.price.reasons) if not s.price.named else "",
        "total": total,
        "budget": _budget_words(s, comparison.profile.budget, currency),
    }


def _below_asked(chosen: Instrument) -> Decimal:
    """By how much the price aimed at lies under the price asked; nothing where none is named."""
    asked, aim = chosen.assessment.piano.asking_price, chosen.standing.price.aim_at
    return Decimal(0) if asked is None or aim is None else asked - aim


def _budget_words(s: Standing, budget: Decimal | None, currency: str) -> str:
    said = " ".join(with_stop(upper_first(say(b))) for b in s.price.beside)
    if s.price.named or budget is None or s.total_p10 is None or s.total_p90 is None:
        return said
    if s.total_p90 <= budget:
        return f"The budget of {money(budget, currency)} is enough for that. {said}"
    enough = "may not be" if s.total_p10 <= budget else "is not"
    return f"The budget of {money(budget, currency)} {enough} enough for that. {said}"


def _unknown(leader: Instrument) -> dict[str, Any]:
    a = leader.assessment
    widest: dict[Statement, Unknown] = {}
    for u in (u for aspect in a.aspects for u in aspect.unknown):
        if u.what not in widest or u.width > widest[u.what].width:
            widest[u.what] = u
    top = sorted(widest.values(), key=lambda u: -u.width)
    return {
        "open": a.points_total - a.points_checked,
        "total": a.points_total,
        "top": [f"{u.text}: {u.reason}" for u in top[:3]],
        "things": len(top),
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
            "head": upper_first(say(s.action)),
            "detail": say(s.what),
            "effort": s.takes,
            "why": s.why,
            "chance": phrases.of_hundred(s.chance_to_change),
            "likely": s.pays and s.chance_to_change >= LEAST_CHANCE,
            "worth": _worth(s, comparison.profile.currency) if prices else "",
            "then": with_stop(upper_first(s.outcomes)) if s.then and prices else "",
            "bar": shapes.chance_bar(s.chance_to_change, index=by_id[s.piano_id].index),
        }
        for s in comparison.to_find_out().steps
    ]


def _worth(step: NextStep, currency: str) -> str:
    if step.worth is None or step.worth < LEAST_WORTH:
        return ""
    worth = f"worth about {about(step.worth, currency)} to know"
    return worth if step.cost is None else f"{worth}, costs about {about(step.cost, currency)} with your time"


def likely_steps(steps: Sequence[dict[str, Any]]) -> int:
    """How many of the next steps, sorted by their chance, are shown in full."""
    return max(1, min(MOST_STEPS, sum(bool(s["likely"]) for s in steps)))
