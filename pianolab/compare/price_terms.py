"""What is said about a price: its terms with their amounts, what to agree on, and why none is named.

Among the terms is the work that comes off; what to agree on is said before any money changes hands.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal
from math import prod

from pianolab.assess import Assessment, RepairJob, Unknown
from pianolab.compare.looked import missing_looks
from pianolab.compare.worth import Worth, load_pricing, rounded
from pianolab.model import Buyer, Comparable, Piano
from pianolab.statements import Money, Statement, statement

LOOK = "price.subject to a look"
WORTH_SAYING = 5.0
"""A term under this sum is left out of the list, though not out of the reckoning."""


@dataclass(frozen=True, kw_only=True)
class Purse:
    """Whose money it is, for which piano, and what the budget leaves for the price."""

    assessment: Assessment
    profile: Buyer
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


@dataclass(frozen=True, kw_only=True)
class Work:
    """One needed job and what it costs on average: ``known`` for what was found, ``possible`` for what nobody has seen.

    ``promised`` says that the seller has said it will be done; then it is not the buyer's to pay once it is in writing.
    """

    job: RepairJob
    known: float
    possible: float
    promised: bool


def needed_work(assessment: Assessment) -> tuple[Work, ...]:
    """The needed jobs on the instrument itself, the dearest first.

    Bringing it home and the first tunings come with every piano and say nothing of this one's worth. A job counts only
    where no bigger one that includes it is done. What a technician's look would bring to light is not taken off: the
    price is named subject to that look (`conditions_of`), and who finds it then goes home or begins anew.
    """
    looks = {u.key or u.source for u in assessment.unknowns if u.effort == "technician"}
    jobs = [forced for job in assessment.repairs.jobs if (forced := job.forced) and job.kind == "work"]
    given = {p.subject for p in assessment.promises}
    found = []
    for job in jobs:
        apart = prod(1.0 - bigger.chance for bigger in jobs if job.job in bigger.includes)
        left = 1.0 - (1.0 - job.known_chance) * prod(1.0 - p for key, p in job.waits_for if key not in looks)
        whole, known = (job.mean_price * apart * chance for chance in (left, job.known_chance))
        promised = job.found and is_promised(job.why, given)
        found.append(Work(job=job, known=known, possible=whole - known, promised=promised))
    return tuple(sorted(found, key=lambda w: (-w.known, -w.possible, w.job.job)))


def is_promised(why: Iterable[Statement], given: set[str]) -> bool:
    """Whether all reasons of a job are among the points at which the seller promised something.

    Examples
    --------
    >>> from pianolab.statements import statement
    >>> why = (statement("job.flat", "pitch", cents=40),)
    >>> is_promised(why, {"tuning-unisons"}), is_promised(why, {"lid"}), is_promised((), {"lid"})
    (True, False, False)
    """
    also = load_pricing()["promises"]
    subjects = [reason.subject for reason in why]
    return bool(subjects) and all(s in given or not given.isdisjoint(also.get(s, ())) for s in subjects)


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


def promises_of(assessment: Assessment, work: Sequence[Work], profile: Buyer) -> tuple[Statement, ...]:
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


def in_the_way(assessment: Assessment) -> list[Statement]:
    """Stops, and what a decision needs to have been looked at."""
    stops = [statement("price.stop", v.source, stop=v.says) for v in assessment.vetoes]
    looks = tuple(m.says() for m in missing_looks(assessment))
    return stops + ([statement("price.look first", looks=looks)] if looks else [])


def lacking(given: Sequence[Comparable], fitting: Sequence[Comparable], piano: Piano) -> list[Statement]:
    """What of comparables is missing where too few fit, and why some that were entered can't be used.

    Examples
    --------
    >>> mine = Piano(name="A")
    >>> [s.kind for s in lacking([Comparable(price=900, currency="CHF")], [], mine)]
    ['price.other currency', 'price.no comparables']
    """
    least = load_pricing()["comparables"]["least"]
    like = [c for c in given if c.kind == piano.kind and c.piano_id in (None, piano.id)]
    foreign = sorted({c.currency for c in like} - {piano.currency})
    found = []
    if foreign:
        found.append(statement("price.other currency", codes=tuple(foreign), needed=piano.currency))
    old = sum(c.currency == piano.currency for c in like) - len(fitting)
    if old:
        found.append(statement("price.too old", count=old))
    kind = "price.no comparables" if not fitting else "price.too few comparables"
    return [*found, statement(kind, count=len(fitting), least=least)]
