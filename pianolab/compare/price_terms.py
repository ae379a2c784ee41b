"""The terms of a price: worth, adjustments, work, risk and limits, each a statement with its amount."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from pianolab.assess import Assessment
from pianolab.compare.needed_work import Work
from pianolab.compare.pricing_data import load_pricing, rounded
from pianolab.compare.worth import Worth
from pianolab.model import BuyerProfile
from pianolab.statements import Money, Statement, statement

WORTH_SAYING = 5.0
"""A term under this sum is left out of the list, though not out of the reckoning."""


@dataclass(frozen=True, kw_only=True)
class Purse:
    """Whose money it is, for which piano, and what the budget leaves for the price."""

    assessment: Assessment
    profile: BuyerProfile
    limit: Decimal | None

    def money(self, amount: float | Decimal) -> Money:
        return Money(amount, self.profile.currency, self.profile.locale)


def terms_of(worth: Worth, work: Sequence[Work], purse: Purse) -> tuple[tuple[Statement, ...], float]:
    """All terms in order, and what is left: the worth of the piano to this buyer as it stands.

    What the seller promised is not taken off here: put in writing it is the seller's to do (`promises_of` says what it
    is worth if it isn't).
    """
    risk = worth.mid * _risk_share(purse.assessment)
    moves = [(amount, statement(f"price.by {step}")) for step, amount in worth.moves.items()]
    moves += [(-w.known, statement("price.work", w.job.job, job=w.job.what)) for w in work if not w.promised]
    moves.append((-sum(w.possible for w in work), statement("price.possible work")))
    moves.append((-risk, statement("price.risk")))
    prices = [float(a.comparable.price) for a in worth.adjusted]
    start = statement(
        "price.like ones",
        count=len(prices),
        low=purse.money(min(prices)),
        high=purse.money(max(prices)),
        amount=purse.money(worth.start),
    )
    net = worth.start + sum(amount for amount, _ in moves)
    said = [_move(amount, why, purse) for amount, why in moves if abs(amount) >= WORTH_SAYING]
    apart = [statement("price.apart")] if worth.apart else []
    left = statement("price.net", amount=purse.money(net))
    return (start, *apart, *said, left, *_limits(float(rounded(net)), purse)), net


def _move(amount: float, why: Statement, purse: Purse) -> Statement:
    kind = "price.more" if amount > 0 else "price.less"
    return statement(kind, why.subject or why.kind, amount=purse.money(abs(amount)), why=why)


def _risk_share(assessment: Assessment) -> float:
    """A share for what no look reaches, and for what nobody has looked at; it falls as more is looked at."""
    risk, total = load_pricing()["risk"], assessment.points_total
    unseen = 1.0 - assessment.points_checked / total if total else 1.0
    return float(risk["always"] + (risk["all_unseen"] - risk["always"]) * unseen)


def _limits(net: float, purse: Purse) -> list[Statement]:
    """What is asked, held against it, and what the budget leaves where that is less."""
    asked, said = purse.assessment.piano.asking_price, []
    if asked is None:
        said.append(statement("price.none asked"))
    elif asked == 0:
        said.append(statement("price.gift"))
    elif float(asked) > net:
        said.append(statement("price.asked above", amount=purse.money(float(asked) - net)))
    else:
        said.append(statement("price.asked within", amount=purse.money(asked)))
    if purse.limit is not None and float(purse.limit) < min(net, net if asked is None else float(asked)):
        said.append(statement("price.budget below", amount=purse.money(purse.limit)))
    return said
