"""What must be done and what may be wished: need by finding, jobs by key and whole ones, grand and upright, the way."""

from dataclasses import replace
from decimal import Decimal
from math import prod

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pianolab.assess import RepairJob, assess_piano, load_prices, simulate_repairs
from pianolab.assess.findings import view_point
from pianolab.assess.jobs import jobs_from
from pianolab.assess.prices import read_prices
from pianolab.assess.proposals import Proposal, as_second_time, proposals_from_points
from pianolab.assess.scoring import load_scoring
from pianolab.assess.tuning_state import TuningState
from pianolab.checklist import Point, load_checklist
from pianolab.model import Finding, Piano
from pianolab.shipped import shipped
from pianolab.statements import as_written
from tests.assess.test_properties import value_for

PRICES, CHECKLIST = load_prices(), load_checklist()
UPRIGHT, GRAND = (
    Piano(id=kind, name=kind, kind=kind, asking_price=Decimal(1000)) for kind in ("upright", "grand")
)
QUICK = settings(max_examples=25, deadline=None)


def found(point: str, **value: object) -> Finding:
    return Finding(id=f"{point}", visit_id="v", point=point, **value)


def estimate(*findings: Finding, piano: Piano = UPRIGHT, prices=PRICES):
    return assess_piano(piano, findings, survey=None, checklist=CHECKLIST, prices=prices).repairs


def jobs(*findings: Finding, piano: Piano = UPRIGHT) -> dict[str, RepairJob]:
    """Those that something found asks for."""
    return {j.job: j for j in estimate(*findings, piano=piano).jobs if j.found}


def ask(job: str, *, keys: int = 0, chance: float = 1.0, why: str = "") -> Proposal:
    return Proposal(job=job, why=as_written(why or job), chance=chance, keys=tuple(range(1, keys + 1)))


def mean_cost(listed: tuple[RepairJob, ...], *, needed: bool) -> float:
    """Mean of the sum, by hand: each job's mean price, by its chance and that of no bigger job including it."""
    parts = [j.forced if needed else j for j in listed]
    kept = [j for j in parts if j is not None]
    return sum(
        j.mean_price * j.chance * prod(1.0 - b.chance for b in kept if j.job in b.includes) for j in kept
    )


class TestNeed:
    def test_looks_are_no_forced_money(self) -> None:
        (refinishing,) = [j for j in jobs(found("case-finish", grade=1)).values() if j.job == "refinishing"]
        assert (refinishing.need, refinishing.forced) == ("looks", None)
        assert jobs(found("case-legs", grade=2))["case repair"].need == "needed"

    def test_one_job_for_looks_and_safety_is_forced_for_the_safety_alone(self) -> None:
        """Twenty chips are looks; three of them could cut."""
        tops = jobs(
            found("keys-chips", count=20, keys=tuple(range(1, 21))),
            found("keys-sharp-chips", count=3, keys=(1, 2, 3)),
        )["key tops"]
        assert (tops.need, tops.quantity, tops.chance) == ("needed", 20, 1.0)
        assert tops.forced is not None
        assert (tops.forced.quantity, tops.forced.usual) == (3, 3 * PRICES["key tops"].usual)

    def test_forced_and_all_are_sums_of_the_same_draws(self) -> None:
        listed = estimate(found("case-finish", grade=1), found("touch-even", grade=2)).jobs
        all_of_it, forced = (
            simulate_repairs(listed, draws=2000, rng=np.random.default_rng(3), need=need)
            for need in (None, "needed")
        )
        assert np.all(forced <= all_of_it + 1e-6)
        assert forced.mean() < all_of_it.mean()
        assert np.any(forced == all_of_it)

    def test_a_mended_plate_outweighs_a_poor_finish(self) -> None:
        shabby = estimate(found("case-finish", grade=1), found("case-veneer", grade=1))
        for point in ("plate-mended", "papers-flood"):
            assert estimate(found(point, answer=True)).needed_p90 > shabby.needed_p90
        for point in ("hammers-moth", "bridge-bearing", "frame-posts"):
            assert estimate(found(point, grade=1)).needed_p50 > shabby.needed_p50

    @pytest.mark.parametrize(
        ("point", "value", "job"),
        [
            ("plate-cracks", {"answer": True}, "plate repair"),
            ("board-failed", {"answer": True}, "new soundboard"),
            ("frame-posts", {"grade": 2}, "frame repair"),
            ("bridge-bearing", {"grade": 1}, "setting bearing"),
            ("papers-flood", {"answer": True}, "flood repair"),
        ],
    )
    def test_what_is_seldom_worth_it_says_so_and_is_no_cost_until_found(self, point, value, job) -> None:
        assert jobs(found(point, **value))[job].seldom_worth
        assert "seldom worth it" in jobs(found(point, **value))[job].title
        assert job not in {j.job for j in estimate().jobs}

    def test_structural_points_that_failed_ask_for_a_job(self) -> None:
        """Every structural part that can fail on its own names what would put it right."""
        told_by_others = {
            "papers-standing",
            "papers-heating",
            "case-back",
            "tuning-held",
            "type-plate",
            "board-buzz",
        }
        told_by_others |= {"pins-oversize", "pins-glue"}
        for point in CHECKLIST:
            if point.nature == "structural" and point.id not in told_by_others:
                assert point.repairs, point.id


class TestOneFault:
    def chance(self, first: str, second: str) -> float:
        asked = [
            replace(ask("pin work", why=why, chance=0.5), fault=fault)
            for why, fault in (("seen", first), ("heard", second))
        ]
        (job,) = jobs_from(asked, prices=PRICES, profile=None)
        assert job.reasons == ("heard", "seen")
        return job.chance

    def test_a_fault_seen_and_heard_asks_once_and_two_faults_ask_twice(self) -> None:
        assert self.chance("slipped strings", "slipped strings") == 0.5
        assert self.chance("slipped strings", "loose pins") == 0.75

    def test_one_look_at_two_places_is_one_fault(self) -> None:
        places = [
            Finding(visit_id="v", point="bridge-treble", grade=g, place=place)
            for g, place in ((3, "a"), (2, "b"))
        ]
        assert jobs(*places)["bridge work treble"].known_chance == pytest.approx(0.9)


class TestSecondTime:
    SLIPPED = found("tuning-single", count=9, keys=tuple(range(20, 29)))

    def test_thicker_pins_that_slip_again_are_the_block(self) -> None:
        once = jobs(self.SLIPPED)
        again = jobs(self.SLIPPED, found("pins-oversize", answer=True))
        assert "repinning" in once
        assert "pin block" not in once
        assert again["pin block"].known_chance == pytest.approx(once["repinning"].known_chance)
        assert "repinning" not in again

    def test_thicker_pins_that_hold_ask_for_nothing(self) -> None:
        assert "pin block" not in jobs(found("pins-oversize", answer=True))


class TestWholeJobs:
    def test_thirty_sticking_keys_are_one_job(self) -> None:
        many = jobs(found("keys-sticking", count=30))
        assert "single key repair" not in many
        assert many["key easing"].usual == PRICES["key easing"].usual
        one = jobs(found("keys-sticking", count=1))
        assert (one["single key repair"].quantity, "key easing" in one) == (1, False)

    def test_they_are_not_paid_beside_regulation(self) -> None:
        listed = estimate(found("keys-sticking", count=30), found("touch-even", grade=1)).jobs
        sure = tuple(
            replace(j, chance=1.0, waits_for=()) for j in listed if j.job in ("key easing", "regulation")
        )
        assert len(sure) == 2
        whole = PRICES["regulation"]
        assert mean_cost(sure, needed=True) == pytest.approx(float(whole.low + whole.usual + whole.high) / 3)

    def test_many_missing_tops_are_a_set_and_not_one_key(self) -> None:
        assert jobs(found("keys-tops", grade=1))["key top set"].usual > 10 * PRICES["key tops"].usual
        assert jobs(found("keys-tops", grade=2))["key tops"].quantity > 1

    @pytest.mark.parametrize("kind", ["upright", "grand"])
    def test_no_whole_job_is_dearer_than_the_single_ones_it_replaces(self, kind) -> None:
        pairs = [(whole, single, n) for whole in PRICES for single, n in whole.instead_of.items()]
        assert len(pairs) >= 5
        for whole, single, number in pairs:
            for amount in ("low", "usual", "high"):
                singles = number * getattr(PRICES[single].for_kind(kind), amount)
                assert getattr(whole.for_kind(kind), amount) <= singles, (whole.job, amount)

    @pytest.mark.parametrize("kind", ["upright", "grand"])
    def test_no_job_is_cheaper_than_one_that_it_includes(self, kind) -> None:
        for job in PRICES:
            for name in job.includes:
                for amount in ("low", "usual", "high"):
                    inner = getattr(PRICES[name].for_kind(kind), amount)
                    assert getattr(job.for_kind(kind), amount) >= inner, (job.job, name, amount)

    @QUICK
    @given(st.sampled_from([s for w in PRICES for s in w.instead_of]), st.integers(1, 87), st.booleans())
    def test_one_key_more_is_never_cheaper(self, single, keys, grand) -> None:
        def price(n: int) -> tuple[Decimal, ...]:
            piano = GRAND if grand else UPRIGHT
            (job,) = jobs_from([ask(single, keys=n)], prices=PRICES, profile=None, piano=piano)
            return job.low, job.usual, job.high

        assert all(more >= fewer for more, fewer in zip(price(keys + 1), price(keys), strict=True))

    def test_where_the_whole_is_the_cheaper_it_is_done_before_its_number(self) -> None:
        text = shipped("datasets/prices.toml").read_text(encoding="utf-8")
        dear = text.replace("usual = 55\nhigh = 130", "usual = 120\nhigh = 130")
        assert dear != text
        (job,) = jobs_from(
            [ask("single key repair", keys=5)], prices=read_prices(dear, file="own.toml"), profile=None
        )
        assert job.job == "key easing"
        (job,) = jobs_from([ask("single key repair", keys=5)], prices=PRICES, profile=None)
        assert job.job == "single key repair"


class TestMoreIsNeverCheaper:
    POINTS = tuple(p for p in CHECKLIST.for_piano(UPRIGHT) if p.repairs)

    def looked(self, badness: dict[str, float], *, prices=PRICES) -> tuple[RepairJob, ...]:
        """Everything looked at; what is named is so bad, the rest as it should be."""
        findings = [
            Finding(id=p.id, visit_id="v", point=p.id, **value_for(p, badness.get(p.id, 0.0)))
            for p in self.POINTS
        ]
        scoring, state = load_scoring(), TuningState(heard=False)
        views = [view_point(point, findings, scoring=scoring) for point in self.POINTS]
        proposals = proposals_from_points(views, state, scoring=scoring)
        return jobs_from(as_second_time(proposals, views), prices=prices, profile=None, piano=UPRIGHT)

    @QUICK
    @given(
        st.dictionaries(st.sampled_from([p.id for p in POINTS]), st.floats(0, 1), min_size=1, max_size=6),
        st.data(),
    )
    def test_a_worse_finding_never_makes_it_cheaper(self, badness, data) -> None:
        point = data.draw(st.sampled_from(sorted(badness)))
        worse = badness | {point: max(badness[point], data.draw(st.floats(0, 1)))}
        before, after = self.looked(badness), self.looked(worse)
        for needed in (False, True):
            assert mean_cost(after, needed=needed) >= mean_cost(before, needed=needed) - 1e-6
        assert mean_cost(before, needed=True) <= mean_cost(before, needed=False) + 1e-6

    def test_a_list_in_which_a_whole_job_is_given_away_would_be_noticed(self) -> None:
        """Regulation at next to nothing includes the mending of seven keys: then a bad touch makes it cheaper."""
        keys = {"keys-sticking": 0.9}
        gift = {end: Decimal(1) for end in ("low", "usual", "high")}
        cheap = replace(PRICES, jobs={**PRICES.jobs, "regulation": replace(PRICES["regulation"], **gift)})
        before, after = (self.looked(badness, prices=cheap) for badness in (keys, keys | {"touch-even": 1.0}))
        assert mean_cost(after, needed=True) < mean_cost(before, needed=True)

    @pytest.mark.parametrize("point", POINTS, ids=lambda p: p.id)
    def test_each_point_alone(self, point: Point) -> None:
        costs = [
            mean_cost(self.looked({point.id: badness}), needed=True) for badness in (0, 0.25, 0.5, 0.75, 1)
        ]
        assert costs == sorted(costs)

    def test_the_mean_by_hand_is_that_of_the_draws(self) -> None:
        listed = self.looked({"keys-sticking": 1.0, "touch-even": 1.0, "pins-look": 0.75, "case-finish": 1.0})
        for need in (None, "needed"):
            sums = simulate_repairs(listed, draws=200_000, rng=np.random.default_rng(0), need=need)
            assert mean_cost(listed, needed=need == "needed") == pytest.approx(sums.mean(), rel=0.01)


def test_prices_twice_as_high_make_twice_the_sums() -> None:
    twice = replace(PRICES, jobs={name: doubled(price) for name, price in PRICES.jobs.items()})
    findings = (found("keys-sticking", count=12), found("case-finish", grade=1), found("pins-look", grade=2))
    once, more = estimate(*findings), estimate(*findings, prices=twice)
    for name in ("p10", "p50", "p90", "needed_p10", "needed_p50", "needed_p90"):
        assert abs(getattr(more, name) - 2 * getattr(once, name)) <= 1, name


def doubled(price):
    amounts = {end: 2 * getattr(price, end) for end in ("low", "usual", "high")}
    return replace(price, **amounts, of_kind={k: tuple(2 * a for a in v) for k, v in price.of_kind.items()})


class TestKindAndWay:
    def test_a_grand_costs_more_where_there_is_more_of_it(self) -> None:
        asked = (found("touch-even", grade=2), found("case-finish", grade=1))
        upright, grand = jobs(*asked), jobs(*asked, piano=GRAND)
        for job in ("regulation", "refinishing"):
            assert grand[job].usual > upright[job].usual

    def test_an_own_list_without_kinds_holds_for_both(self) -> None:
        own = read_prices(
            'currency = "EUR"\ndate = 2026-03-01\nregion = "here"\n[jobs.regulation]\nlow = 1\nusual = 2\nhigh = 3',
            file="own.toml",
        )
        for piano in (UPRIGHT, GRAND):
            (job,) = jobs_from([ask("regulation")], prices=own, profile=None, piano=piano)
            assert (job.usual, job.need) == (2, "needed")

    def test_narrow_ways_at_both_ends_are_paid_at_both_and_are_no_work_on_the_piano(self) -> None:
        one, two = (
            jobs(found("access-there", grade=2)),
            jobs(found("access-there", grade=2), found("access-home", grade=2)),
        )
        assert (one["narrow way"].quantity, two["narrow way"].quantity) == (1, 2)
        assert two["narrow way"].usual == 2 * one["narrow way"].usual
        assert two["narrow way"].kind == "carrying"
        assert jobs(found("access-there", grade=1))["crane"].kind == "carrying"
        assert not [j for j in estimate().jobs if j.kind == "carrying"]

    def test_stairs_are_paid_by_the_flight_and_the_way_by_the_kilometre(self) -> None:
        """By hand: two flights down and three up are five at 45 or, a grand, 90; 130 km are 80 beyond the first 50."""
        asked = (
            found("access-flights-there", count=2),
            found("access-flights-home", count=3),
            found("access-distance", reading=130.0),
        )
        for piano, a_flight in ((UPRIGHT, 45), (GRAND, 90)):
            listed = jobs(*asked, piano=piano)
            assert (listed["carrying stairs"].quantity, listed["carrying stairs"].usual) == (5, 5 * a_flight)
            assert (listed["long way"].quantity, listed["long way"].usual) == (80, 80 * Decimal("1.2"))
            assert {listed[job].kind for job in ("carrying stairs", "long way")} == {"carrying"}
        near = jobs(found("access-flights-there", count=0), found("access-distance", reading=12.0))
        assert not {"carrying stairs", "long way"} & set(near)

    def test_what_the_price_holds_already_costs_nothing_more(self) -> None:
        held = replace(UPRIGHT, delivery_included=True, tunings_included=2)
        assert {"narrow way", "first tunings"} <= set(jobs(found("access-there", grade=2)))
        assert not {"narrow way", "first tunings"} & set(jobs(found("access-there", grade=2), piano=held))
        one = jobs(piano=replace(held, tunings_included=1))["first tunings"]
        assert one.usual == jobs()["first tunings"].usual / 2
