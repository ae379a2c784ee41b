"""What to agree on before any money changes hands, as the buyer can say it: conditions from what is open, promises."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from pianolab.assess import Assessment, Unknown
from pianolab.compare.needed_work import Work, is_promised
from pianolab.compare.pricing_data import load_pricing
from pianolab.model import BuyerProfile, Piano
from pianolab.statements import Money, Statement, statement

LOOK = "price.subject to a look"


def conditions_of(assessment: Assessment) -> tuple[Statement, ...]:
    """Conditions of a purchase: what a technician has yet to look at, and what the price is said to hold.

    Examples
    --------
    >>> from pianolab.assess import assess_piano, load_prices
    >>> from pianolab.checklist import load_checklist
    >>> piano = Piano(name="A", seller_kind="dealer", warranty_years=5, delivery_included=True)
    >>> judged = assess_piano(piano, [], survey=None, checklist=load_checklist(), prices=load_prices())
    >>> [c.kind for c in conditions_of(judged)]
    ['price.subject to a look', 'price.warranty in writing', 'price.delivery in writing']
    """
    looks = _doubts(assessment.unknown_vetoes)
    wanted = [statement(LOOK, what=looks)] if looks else []
    return (*wanted, *_of_the_offer(assessment.piano))


def _doubts(unknown: Sequence[Unknown]) -> tuple[Statement, ...]:
    """The weightiest things that could still stop the purchase, each once."""
    rules = load_pricing()["conditions"]
    chance: dict[Statement, float] = {}
    for u in unknown:
        chance[u.what] = max(chance.get(u.what, 0.0), u.veto_chance)
    weighty = [what for what, c in chance.items() if c >= rules["least_chance"]]
    return tuple(sorted(weighty, key=lambda what: (-chance[what], what.subject)))[: rules["most_looks"]]


def _of_the_offer(piano: Piano) -> Iterator[Statement]:
    if piano.warranty_years:
        yield statement("price.warranty in writing", years=piano.warranty_years)
    elif piano.seller_kind == "dealer" and piano.warranty_years is None:
        yield statement("price.ask for a warranty")
    if piano.delivery_included:
        yield statement("price.delivery in writing")
    if piano.tunings_included:
        yield statement("price.tunings in writing", count=piano.tunings_included)


def promises_of(assessment: Assessment, work: Sequence[Work], profile: BuyerProfile) -> tuple[Statement, ...]:
    """Each promise of the seller, and what comes off every figure where it isn't put in writing.

    The money of a job that several promises are about stands with the first of them.
    """
    said, counted = [], set()
    for promise in assessment.promises:
        mine = [w for w in work if w.promised and w.job.job not in counted and _about(w, promise.subject)]
        counted |= {w.job.job for w in mine}
        amount = sum(w.known for w in mine)
        money = Money(amount, profile.currency, profile.locale)
        kind = "price.promise worth" if amount else "price.promise"
        said.append(statement(kind, promise.subject, promise=promise, amount=money))
    return tuple(said)


def _about(work: Work, point: str) -> bool:
    return any(is_promised((reason,), {point}) for reason in work.job.why)
