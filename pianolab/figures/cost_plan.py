"""What each instrument will really cost, as plain data: asking price, then needed repairs, moving and first tunings, as a range."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from pianolab.assess.assessment import RepairEstimate
from pianolab.compare.comparison import Comparison
from pianolab.figures import wording
from pianolab.figures.look import Mark, marks_for
from pianolab.figures.sheet import Plan
from pianolab.show import Row, about, money
from pianolab.statements import Statement, statement
from pianolab.words import say

ABOUT_SAME = Decimal("1.05")
"""Totals this near to the least are told together: they are estimates."""


@dataclass(frozen=True, kw_only=True)
class CostRow:
    """One instrument's money: None where the asking price is unknown; ``repairs`` are those that are needed."""

    mark: Mark
    asking: Decimal | None
    repairs: tuple[Decimal, Decimal, Decimal]
    total: tuple[Decimal, Decimal, Decimal] | None
    offer: Decimal | None
    aim: Decimal | None
    why: str
    vetoed: bool


@dataclass(frozen=True, kw_only=True, repr=False)
class CostPlan(Plan):
    """Cost ranges of the shortlist (10, 50 and 90 % of the simulated totals lie under these).

    ``origin`` says whose prices the repairs were reckoned with, and of which day.
    """

    currency: str
    budget: Decimal | None
    costs: tuple[CostRow, ...]
    origin: str = ""
    header = (
        "instrument",
        "asking price",
        "needed repairs 10 %",
        "needed repairs 50 %",
        "needed repairs 90 %",
        "total 10 %",
        "total 50 %",
        "total 90 %",
        "aim at",
        "walk away above",
        "why",
        "currency",
    )

    @property
    def most(self) -> float:
        """The largest amount that is drawn."""
        drawn = [v for c in self.costs for v in (*(c.total or c.repairs), c.asking or 0)]
        return max(1.0, *map(float, (*drawn, self.budget or 0)))

    def rows(self) -> list[Row]:
        return [
            (
                c.mark.label,
                c.asking,
                *c.repairs,
                *(c.total or (None, None, None)),
                c.aim,
                c.offer,
                c.why,
                self.currency,
            )
            for c in self.costs
        ]


def plan_costs(comparison: Comparison, *, marks: Mapping[str, Mark] | None = None) -> CostPlan:
    """Plan of the cost chart.

    Parameters
    ----------
    comparison : the compared shortlist
    marks : letters and colours already given on a page; made from the names where None

    Returns
    -------
    CostPlan; all amounts are estimates, and ``alt`` says so
    """
    marks = marks or marks_for({a.piano.id: a.piano.name for a in comparison.assessments})
    costs = tuple(_row(comparison, a.piano.id, marks[a.piano.id]) for a in comparison.assessments)
    currency = comparison.profile.currency
    return CostPlan(
        title=say(_message(costs, comparison.profile.budget)),
        alt=_alt(costs, comparison),
        currency=currency,
        budget=comparison.profile.budget,
        costs=costs,
        origin=_origin(comparison),
    )


def _message(costs: Sequence[CostRow], budget: Decimal | None) -> Statement:
    """Which costs least, which more than the budget, and of which it is not known."""
    middles = sorted(((c.total[1], c.mark.name) for c in costs if c.total), key=lambda m: m[0])
    unknown = tuple(c.mark.name for c in costs if not c.total)
    if not middles:
        return statement("chart.costs.unknown")
    (least, name), over = middles[0], tuple(n for m, n in middles if budget is not None and m > budget)
    near = [n for m, n in middles if m <= ABOUT_SAME * least]
    if len(over) == len(middles):
        said = statement("chart.costs.all over the budget", name=name)
    elif len(middles) == 1:
        said = statement("chart.costs.one", name=name)
    else:
        alike = statement("chart.costs.alike", names=tuple(near)) if len(near) > 1 else None
        said = alike or statement("chart.costs.least", name=name)
        said = statement("chart.costs.over the budget", message=said, over=over) if over else said
    return statement("chart.costs.not known of", message=said, unknown=unknown) if unknown else said


def _row(comparison: Comparison, piano_id: str, mark: Mark) -> CostRow:
    a, s = comparison.assessment(piano_id), comparison.standing(piano_id)
    known = s.total_p10 is not None and s.total_p50 is not None and s.total_p90 is not None
    return CostRow(
        mark=mark,
        asking=a.piano.asking_price,
        repairs=_needed(a.repairs),
        total=(s.total_p10, s.total_p50, s.total_p90) if known else None,  # type: ignore[arg-type]
        offer=s.price.walk_away_above,
        aim=s.price.aim_at,
        why="; ".join(s.price.reasons),
        vetoed=s.vetoed,
    )


def _needed(repairs: RepairEstimate) -> tuple[Decimal, Decimal, Decimal]:
    needed = (repairs.needed_p10, repairs.needed_p50, repairs.needed_p90)
    return tuple(Decimal(0) if amount is None else amount for amount in needed)  # type: ignore[return-value]


def _origin(comparison: Comparison) -> str:
    """Whose prices the repairs were reckoned with; each list once."""
    return "; ".join(dict.fromkeys(a.repairs.origin for a in comparison.assessments if a.repairs.origin))


def _alt(costs: tuple[CostRow, ...], comparison: Comparison) -> str:
    code, budget = comparison.profile.currency, comparison.profile.budget
    known = sorted((c for c in costs if c.total), key=lambda c: c.total[1] if c.total else 0)
    said = [
        f"{c.mark.letter} {about(c.total[0], code)} to {about(c.total[2], code)}, most likely about {about(c.total[1], code)}"
        for c in known
        if c.total
    ]
    text = f"Total with needed repairs, moving and first tunings: {'; '.join(said)}." if said else ""
    blind = [c.mark.letter for c in costs if not c.total]
    text += (
        f" The asking price of {wording.listed(blind)} is not known, so neither is the total."
        if blind
        else ""
    )
    text += f" The budget is {money(budget, code)}." if budget is not None else ""
    origin = f" Prices of {_origin(comparison)}." if _origin(comparison) else ""
    return f"{text} All amounts are estimates, not quotes.{origin}".strip()
