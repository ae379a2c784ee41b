"""What to offer: figures only where something carries them, every one with its reasons in money."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from decimal import Decimal
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pianolab.assess import Assessment, RepairEstimate, RepairJob, assess_piano, load_prices
from pianolab.assess.assessment import Alert, Unknown
from pianolab.checklist import load_checklist
from pianolab.compare.price import PriceAdvice, advise_price
from pianolab.compare.price_terms import WORTH_SAYING
from pianolab.model import Buyer, Comparable, Finding, Piano
from pianolab.statements import Statement, as_written, statement
from pianolab.words import say
from tests.compare.panel_entries import supplied_findings

DAY = date(2026, 11, 2)
BUYER = Buyer(name="x", budget=Decimal(3000), moving_cost=(200, 300))
PIANO = Piano(id="p", name="A", year=1986, asking_price=Decimal(1900), seller_kind="private")
LIKE: dict[str, Any] = {"age_years": 40, "condition": "good", "seller_kind": "private", "sold": True}
COMPARABLES = tuple(Comparable(price=Decimal(p), seen_on=DAY, **LIKE) for p in (1800, 2000, 2200))
SETTLING = RepairJob(
    job="first tunings",
    what=as_written("two tunings"),
    low=Decimal(180),
    usual=Decimal(240),
    high=Decimal(300),
    chance=1.0,
    why=(statement("job.first tunings"),),
    kind="settling in",
)


def sound() -> Assessment:
    """A piano at which a technician has looked at everything and found it as it should be."""
    points = load_checklist()
    looked = {"scope": "technician", "grade": 5, "by": "technician"}
    findings = supplied_findings("sound", looked, PIANO, None, points, leave_out=())
    judged = assess_piano(PIANO, findings, survey=None, checklist=points, prices=load_prices())
    return with_jobs(replace(judged, alerts=(), unknown_vetoes=()), SETTLING)


def with_jobs(a: Assessment, *jobs: RepairJob) -> Assessment:
    nothing = Decimal(0)
    return replace(
        a, repairs=RepairEstimate(jobs=jobs, p10=nothing, p50=nothing, p90=nothing, currency="EUR")
    )


SOUND = sound()
EXTRAS = np.full(1000, 490.0)


def job(name: str, usual: int, *, point: str, **changes: Any) -> RepairJob:
    price = Decimal(usual)
    why = (statement("found.title", point, title=point),)
    return RepairJob(
        job=name, what=as_written(name), low=price, usual=price, high=price, chance=1.0, why=why, **changes
    )


def advise(a: Assessment = SOUND, comparables: Any = COMPARABLES, **changes: Any) -> PriceAdvice:
    values = {"profile": BUYER, "extras": EXTRAS, "on": DAY, **changes}
    return advise_price(a, comparables=comparables, **values)


def asking(price: int | None) -> Assessment:
    return replace(SOUND, piano=replace(PIANO, asking_price=None if price is None else Decimal(price)))


def figures(advice: PriceAdvice) -> tuple[Decimal | None, ...]:
    return advice.open_with, advice.aim_at, advice.walk_away_above


def kinds(said: tuple[Statement, ...]) -> set[str]:
    return {s.kind for s in said}


def test_the_figures_stand_in_order_and_none_above_what_is_asked() -> None:
    low, aim, most = figures(advise())
    assert low and aim and most  # noqa: PT018
    assert low < aim < most <= 1900
    assert Decimal("0.65") * most <= low <= Decimal("0.85") * most
    assert Decimal("0.8") * most <= aim <= Decimal("0.95") * most


def sum_of(terms: tuple[Statement, ...]) -> float:
    """The terms added up as a reader would: start, plus and less, up to what is left."""
    total = 0.0
    for term in terms:
        if term.kind == "price.net":
            return total
        sign = {"price.like ones": 1.0, "price.more": 1.0, "price.less": -1.0}.get(term.kind, 0.0)
        total += sign * float(term.number("amount").amount) if sign else 0.0
    raise AssertionError("no sum at the end")


@pytest.mark.parametrize("jobs", [(), (job("hammer filing", 250, point="hammers-grooves"),)])
def test_the_terms_add_up(jobs: tuple[RepairJob, ...]) -> None:
    terms = advise(with_jobs(SOUND, SETTLING, *jobs)).terms
    net = next(t for t in terms if t.kind == "price.net").number("amount").amount
    assert sum_of(terms) == pytest.approx(net, abs=8 * WORTH_SAYING)
    left_out = tuple(t for t in terms if t.kind != "price.less")
    assert left_out == terms or sum_of(left_out) != pytest.approx(net, abs=8 * WORTH_SAYING)


def test_a_needed_job_comes_off_and_a_wish_or_moving_does_not() -> None:
    most = advise(asking(None)).walk_away_above
    assert most

    def less(repair: RepairJob) -> Decimal:
        a = with_jobs(asking(None), SETTLING, repair)
        found = advise(a).walk_away_above
        assert found is not None
        return most - found

    needed = less(job("regulation", 400, point="touch-even"))
    assert 350 <= needed <= 450
    assert less(job("refinishing", 400, point="case-finish", need="looks")) == 0
    assert less(job("carrying", 400, point="access-home", kind="carrying")) == 0


@pytest.mark.parametrize("price", [0, None, 1500, 5000])
def test_gift_unknown_fair_and_overpriced(price: int | None) -> None:
    advice = advise(asking(price))
    most = advice.walk_away_above
    assert most is not None
    wanted = {
        0: "price.gift",
        None: "price.none asked",
        1500: "price.asked within",
        5000: "price.asked above",
    }
    assert wanted[price] in kinds(advice.terms)
    if price in (0, 1500):
        assert most == price
    else:
        assert 1800 <= most <= 2100, "by what like ones cost, not by the budget or what is asked"


def test_without_comparables_there_is_a_limit_and_no_value() -> None:
    advice = advise(comparables=())
    assert figures(advice) == (None, None, None)
    assert (advice.worth_mid, advice.terms, advice.chance_over_budget) == (None, (), None)
    assert kinds(advice.missing) == {"price.no comparables"}
    assert advice.budget_limit == 2500


@pytest.mark.parametrize(
    "wrong", [{"currency": "CHF"}, {"kind": "grand"}, {"piano_id": "q"}, {"seen_on": date(2001, 1, 1)}]
)
def test_comparables_that_cannot_stand_beside_it_carry_nothing(wrong: dict[str, Any]) -> None:
    advice = advise(comparables=[replace(c, **wrong) for c in COMPARABLES])
    assert not advice.named
    assert ("price.other currency" in kinds(advice.missing)) == ("currency" in wrong)
    assert ("price.too old" in kinds(advice.missing)) == ("seen_on" in wrong)
    assert "\n" not in "".join(say(m) for m in advice.missing)


def test_one_price_is_no_market() -> None:
    assert kinds(advise(comparables=COMPARABLES[:1]).missing) == {"price.too few comparables"}


def test_no_figure_under_a_stop_or_before_enough_was_looked_at() -> None:
    stop = Alert(
        kind="veto",
        says=as_written("The plate is cracked."),
        how_sure="seen",
        confirm_by="technician",
        source="plate-cracks",
    )
    stopped = advise(replace(SOUND, alerts=(stop,)))
    assert not stopped.named
    assert kinds(stopped.missing) == {"price.stop"}
    unseen = assess_piano(PIANO, [], survey=None, checklist=load_checklist(), prices=load_prices())
    assert "price.look first" in kinds(advise(unseen).missing)
    assert not advise(unseen).named


def test_work_beyond_its_worth_has_no_price_even_as_a_gift() -> None:
    heavy = job("pin block", 5000, point="pinblock-cracks")
    for price in (0, 1900):
        advice = advise(with_jobs(asking(price), SETTLING, heavy))
        assert not advice.named
        assert advice.more_work_than_worth
    assert not advise().more_work_than_worth


def test_a_promise_leaves_the_work_to_the_seller_and_says_what_it_is_worth() -> None:
    filing = job("hammer filing", 300, point="hammers-grooves")
    silent = with_jobs(asking(None), SETTLING, filing)
    promise = statement("promise", "hammers-grooves", title="Grooves", words="We file them.")
    given = replace(silent, promises=(promise,))
    most = [advise(a).walk_away_above for a in (silent, given)]
    assert most[0] and most[1]  # noqa: PT018
    assert 250 <= most[1] - most[0] <= 350
    (said,) = advise(given).promises
    assert said.number("amount").amount == pytest.approx(300)
    assert "We file them." in say(said)
    other = replace(silent, promises=(replace(promise, subject="lid"),))
    assert advise(other).walk_away_above == most[0], "a promise about something else pays for nothing"


def test_a_job_with_a_reason_nobody_promised_anything_about_stays() -> None:
    both = replace(
        job("regulation", 400, point="touch-even"),
        why=(
            statement("found.title", "touch-even", title="a"),
            statement("found.title", "keys-side-play", title="b"),
        ),
    )
    promise = statement("promise", "touch-even", title="Even touch", words="We regulate it.")
    a = with_jobs(asking(None), SETTLING, both)
    assert advise(replace(a, promises=(promise,))).walk_away_above == advise(a).walk_away_above


def test_whoever_raises_the_pitch_tunes_it() -> None:
    """A promise made at the unisons is about the pitch raise too; one about the lid is not."""
    raising = replace(
        job("pitch raise", 300, point="tuning-pitch"),
        why=(
            statement("job.flat", "pitch", cents=40),
            statement("found.title", "tuning-pitch", title="Pitch"),
        ),
    )
    a = with_jobs(asking(None), SETTLING, raising)
    bare = advise(a).walk_away_above
    assert bare is not None
    for point, pays in (("tuning-unisons", 300), ("lid", 0)):
        promise = statement("promise", point, title="t", words="We raise the pitch.")
        most = advise(replace(a, promises=(promise,))).walk_away_above
        assert most is not None
        assert most - bare == pytest.approx(pays, abs=60)


def test_no_deposit_where_no_look_is_left_to_wait_for() -> None:
    shop = replace(PIANO, seller_kind="dealer", warranty_years=1)
    conditions = advise(replace(SOUND, piano=shop)).conditions
    assert [c.kind for c in conditions] == ["price.warranty in writing"]
    assert "of 1 year covers" in say(conditions[0])


def test_the_chance_over_the_budget_by_counting() -> None:
    extras = np.repeat([100.0, 3000.0], (750, 250))
    advice = advise(extras=extras)
    assert advice.chance_over_budget == pytest.approx(0.25)
    assert advise(extras=np.full(10, 100.0)).chance_over_budget == 0.0
    assert advise(profile=replace(BUYER, budget=None)).chance_over_budget is None


def test_the_budget_is_a_limit_and_no_reason_to_lowball() -> None:
    advice = advise(extras=np.full(1000, 1350.0))
    low, aim, most = figures(advice)
    assert most == advice.budget_limit == 1650
    assert aim == 1650
    assert low == figures(advise())[0]
    assert "price.budget below" in kinds(advice.terms)


def test_conditions_from_what_is_open() -> None:
    doubt = Unknown(
        what=statement("unknown.point", "pins-torque", title="The pins' torque"),
        why=statement("unknown.not checked"),
        width=0.0,
        source="pins-torque",
        effort="technician",
        veto_chance=0.2,
    )
    advice = advise(replace(SOUND, unknown_vetoes=(doubt,)))
    assert (
        say(advice.conditions[0]) == "“I will take it, subject to a technician's look at the pins' torque.”"
    )
    assert "price.deposit" in kinds(advice.conditions)
    assert "price.deposit" not in kinds(advise().conditions)
    slight = replace(doubt, veto_chance=0.001)
    assert "price.subject to a look" not in kinds(advise(replace(SOUND, unknown_vetoes=(slight,))).conditions)


def test_what_a_dealer_gives_is_asked_for_in_writing() -> None:
    shop = replace(PIANO, seller_kind="dealer", warranty_years=3, delivery_included=True, tunings_included=1)
    said = kinds(advise(replace(SOUND, piano=shop)).conditions)
    assert said >= {"price.warranty in writing", "price.delivery in writing", "price.tunings in writing"}
    silent = replace(SOUND, piano=replace(PIANO, seller_kind="dealer"))
    assert "price.ask for a warranty" in kinds(advise(silent).conditions)


@given(st.integers(0, 6000), st.integers(0, 6000))
@settings(deadline=None, max_examples=60)
def test_asking_more_never_makes_a_figure_lower_and_the_most_has_an_end(one: int, other: int) -> None:
    cheap, dear = (figures(advise(asking(price))) for price in sorted((one, other)))
    assert all(a is not None and b is not None and a <= b for a, b in zip(cheap, dear, strict=True))
    assert dear[2] is not None
    assert dear[2] <= figures(advise(asking(None)))[2]  # type: ignore[operator]


def test_more_looked_at_and_found_sound_never_lowers_a_figure() -> None:
    """Points taken away from the walk one area after the other; what is left sound never makes it worth more."""
    points = load_checklist()
    looked = {"scope": "technician", "grade": 5, "by": "technician"}
    every = supplied_findings("sound", looked, PIANO, None, points, leave_out=())
    areas = sorted({p.area for p in points})
    last: Decimal | None = None
    for areas_left in range(len(areas), 0, -1):
        kept = [f for f in every if points[f.point].area in areas[:areas_left]]
        most = _most(kept)
        assert last is None or most is None or most <= last
        last = most if most is not None else last
    assert last is not None


def _most(findings: list[Finding]) -> Decimal | None:
    a = assess_piano(
        asking(None).piano, findings, survey=None, checklist=load_checklist(), prices=load_prices()
    )
    return advise(a).walk_away_above


def test_tunings_and_delivery_in_the_price_are_worth_their_money() -> None:
    """By hand: two tunings at the price list's usual sum, and the middle of what moving costs this buyer."""
    prices = load_prices()
    bare = asking(None)
    given = replace(bare, piano=replace(bare.piano, tunings_included=2, delivery_included=True))
    worth = [advise(a, prices=prices).worth_mid for a in (bare, given)]
    assert worth[0] is not None
    assert worth[1] is not None
    assert worth[1] - worth[0] == pytest.approx(2 * prices["tuning"].usual + 250, abs=1)


def test_where_the_rest_uses_up_the_budget_nothing_is_named_and_nothing_is_called_a_gift() -> None:
    advice = advise(extras=np.full(1000, 3200.0))
    assert not advice.named
    assert kinds(advice.missing) == {"price.no limit left"}
    assert advice.budget_limit == 0


def test_named_figures_say_what_they_rest_on_and_where_none_is_named_what_is_missing() -> None:
    terms, missing = (statement("price.net"),), (statement("unknown.no price"),)
    assert PriceAdvice(aim_at=Decimal(900), terms=terms, missing=missing).why == terms
    assert PriceAdvice(terms=terms, missing=missing).why == missing
