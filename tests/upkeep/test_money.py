"""Money over the years, against sums by hand and the textbook's annuity; what nobody entered is said, not made up."""

from dataclasses import replace
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pianolab.assess import RepairJob, load_prices
from pianolab.assess.prices import read_prices
from pianolab.assess.repairs import estimate
from pianolab.errors import BadInput
from pianolab.model import Buyer, Finding, Piano
from pianolab.statements import as_written
from pianolab.upkeep import Life, MoneyOverYears, MoneyPlans, money_over_years, remaining_life
from pianolab.upkeep.money import present_value

PRICES = load_prices()
BUYER = Buyer(name="B", years_of_use=10)
PIANO = Piano(name="A", asking_price=Decimal(3000), year=1990)
NO_PRICES_MOVE = read_prices(
    'currency = "EUR"\ndate = 2026-03-01\nregion = "here"\n[jobs.tuning]\nlow = 100\nusual = 100\nhigh = 100\n'
    '[jobs."humidity upkeep"]\nlow = 20\nusual = 20\nhigh = 20\nper = "year"\n',
    file="own.toml",
)


def job(amount: int, *, name: str = "regulation", **more: object) -> RepairJob:
    return RepairJob(
        job=name,
        what=as_written(name),
        low=Decimal(amount),
        usual=Decimal(amount),
        high=Decimal(amount),
        chance=1.0,
        why=(as_written("worn"),),
        **more,
    )


def reckon(*jobs: RepairJob, piano: Piano = PIANO, buyer: Buyer = BUYER, **more: object) -> MoneyOverYears:
    repairs = estimate(jobs, currency="EUR", seed=0, draws=100)
    return money_over_years(piano, repairs, profile=buyer, prices=more.pop("prices", PRICES), **more)


def line(money: MoneyOverYears, kind: str, what: str = "") -> Decimal | None:
    (found,) = [x for x in money.lines if x.kind == kind and x.what == what]
    return None if found.total is None else found.total.middle


def test_a_year_costs_what_adding_up_gives() -> None:
    """Fixed amounts: 3000 + 600 + 400 over 10 years is 400 a year; one or two tunings of 90 to 170 in nine years on top."""
    buyer = replace(BUYER, moving_cost=(Decimal(400), Decimal(400)))
    year = reckon(job(600), buyer=buyer).a_year
    assert year is not None
    assert Decimal(400 + 81) <= year.low < year.middle < year.high <= Decimal(400 + 306)
    # mean of a triangle 90, 120, 170 is 126.67; times 1.5 times 0.9 is 171
    assert abs(year.middle - Decimal(571)) < 8


def test_capital_recovery_as_in_the_tables() -> None:
    """A/P at 10 % over 5 years 0.2638, at 8 % over 10 years 0.1490, at 12 % over 20 years 0.1339: interest tables of
    engineering economy, from memory."""
    for interest, years, factor in ((0.10, 5, 0.2638), (0.08, 10, 0.1490), (0.12, 20, 0.1339)):
        assert 1.0 / present_value(years, interest) == pytest.approx(factor, abs=5e-5)


def test_a_wrong_annuity_would_be_noticed() -> None:
    """Paid at the beginning of each year instead of its end: the tables' factor divided by 1 + interest."""
    assert 1.10 / present_value(5, 0.10) != pytest.approx(0.2638, abs=5e-5)
    assert pytest.approx(0.2638, abs=5e-5) != 1.0 / 5.0


def worked_example() -> MoneyOverYears:
    """1000 asked; ten years at 10 %; half of it back at the end; tunings of 100, one or two a year, nine times."""
    plans = MoneyPlans(resale=(0.5, 0.5), interest=0.10, hire_a_month=Decimal(20))
    return reckon(piano=replace(PIANO, asking_price=Decimal(1000)), prices=NO_PRICES_MOVE, plans=plans)


def test_an_example_by_hand_with_interest() -> None:
    """1000 x 0.16275 (A/P 10 %, 10) less 500 x 0.06275 (A/F 10 %, 10): 131.4. Tunings: 150 x 5.7590 (P/A 10 %, 9) x
    0.16275 is 140.6. Together 272, tables of engineering economy, from memory."""
    year = worked_example().a_year
    assert year is not None
    assert float(year.middle) == pytest.approx(272.0, abs=2.0)
    assert worked_example().hire_a_year == 240


def test_the_example_would_notice_money_that_costs_nothing() -> None:
    """Without interest: 50 a year and 135 for tunings, 185."""
    plans = MoneyPlans(resale=(0.5, 0.5))
    year = reckon(piano=replace(PIANO, asking_price=Decimal(1000)), prices=NO_PRICES_MOVE, plans=plans).a_year
    assert year is not None
    assert float(year.middle) == pytest.approx(185.0, abs=2.0)
    assert float(year.middle) != pytest.approx(272.0, abs=2.0)


def test_only_what_is_needed_is_counted_and_the_rest_is_shown() -> None:
    wish = job(2000, name="refinishing", need="looks")
    with_wish, without = reckon(job(600), wish), reckon(job(600))
    assert with_wish.a_year == without.a_year
    assert line(with_wish, "wishes") == 2000
    assert not [x for x in without.lines if x.kind == "wishes"]
    assert (
        "what could be done as well, for value or looks",
        2000,
        2000,
        2000,
        "in no sum here",
    ) in with_wish.rows()


def test_work_carrying_and_settling_in_stand_apart() -> None:
    money = reckon(
        job(600),
        job(150, name="narrow way", kind="carrying"),
        job(240, name="first tunings", kind="settling in"),
        buyer=replace(BUYER, moving_cost=(Decimal(300), Decimal(300))),
    )
    assert (line(money, "work"), line(money, "way home"), line(money, "settling in")) == (600, 450, 240)


def test_delivery_in_the_price_is_not_paid_twice() -> None:
    buyer = replace(BUYER, moving_cost=(Decimal(300), Decimal(300)))
    held = reckon(piano=replace(PIANO, delivery_included=True), buyer=buyer)
    assert (line(held, "way home"), line(reckon(buyer=buyer), "way home")) == (0, 300)


class TestWear:
    NEARLY_GONE = (
        Finding(visit_id="v", point="hammers-grooves", grade=1),
        Finding(visit_id="v", point="hammers-felt", grade=1),
    )

    def life(self, *findings: Finding) -> Life:
        return remaining_life(PIANO, findings, profile=BUYER, year=2026)

    def test_what_is_worn_out_soon_is_paid_and_what_the_first_work_renews_is_not(self) -> None:
        life = self.life(*self.NEARLY_GONE)
        worn = reckon(life=life)
        renewed = reckon(job(1700, name="hammer replacement"), life=life)
        assert line(worn, "wear", "hammers") > 1000
        assert line(renewed, "wear", "hammers") == 0

    def test_a_part_nobody_looked_at_is_counted_in_half_of_the_cases(self) -> None:
        old = replace(PIANO, year=1900)
        life = remaining_life(old, [], profile=BUYER, year=2026)
        assert life.part("hammers").years is None
        money = reckon(piano=old, life=life)
        (hammers,) = [x for x in money.lines if x.what == "hammers"]
        assert hammers.total.low == 0
        assert hammers.total.high > 1000
        assert "not known" in hammers.why

    def test_without_life_wear_is_said_not_to_be_counted(self) -> None:
        assert any("wears out" in s for s in reckon().sentences)
        assert not any("wears out" in s for s in reckon(life=self.life()).sentences)

    def test_a_list_without_a_price_leaves_the_line_open(self) -> None:
        few = replace(
            PRICES, jobs={name: p for name, p in PRICES.jobs.items() if name != "hammer replacement"}
        )
        money = reckon(life=self.life(*self.NEARLY_GONE), prices=few)
        (hammers,) = [x for x in money.lines if x.what == "hammers"]
        assert hammers.total is None
        assert "no price for 'hammer replacement'" in hammers.why


class TestBeside:
    def test_what_nobody_entered_is_named_and_not_made_up(self) -> None:
        money = reckon()
        assert (money.hire_a_year, money.new_a_year, money.below_hire, money.below_new) == (
            None,
            None,
            None,
            None,
        )
        (said,) = [s for s in money.sentences if s.startswith("Not entered")]
        for what in ("hiring", "a new one", "a sale", "elsewhere"):
            assert what in said
        assert not [x for x in money.lines if x.kind == "resale"]

    def test_hiring_and_a_new_one(self) -> None:
        dear = reckon(plans=MoneyPlans(hire_a_month=500, new_price=100_000))
        cheap = reckon(plans=MoneyPlans(hire_a_month=1, new_price=1))
        assert (dear.below_hire, dear.below_new) == (1.0, 1.0)
        assert (cheap.below_hire, cheap.below_new) == (0.0, 0.0)
        assert dear.hire_a_year == 6000
        assert dear.new_a_year.middle >= 10_000

    def test_a_new_one_brings_some_of_it_back(self) -> None:
        kept = reckon(plans=MoneyPlans(new_price=8000)).new_a_year
        sold = reckon(plans=MoneyPlans(new_price=8000, new_resale=(0.5, 0.5))).new_a_year
        assert abs(kept.middle - sold.middle - 400) <= 1

    @pytest.mark.parametrize(
        ("plans", "line"),
        [
            ({"resale": (0.6, 0.3)}, r"resale: got \(0.6, 0.3\), need two parts"),
            ({"resale": 0.5}, r"resale: got 0.5, need two parts"),
            ({"new_resale": (30, 60)}, r"30 to 60 % is \(0.3, 0.6\)"),
            ({"hire_a_month": -1}, r"hire_a_month: got -1, need an amount of money, 0 or more"),
            ({"new_price": "much"}, r"new_price: got 'much', need an amount of money"),
            ({"interest": 3}, r"interest: got 3, need 0 to 0.3. 3 % is 0.03."),
            ({"interest": float("nan")}, r"interest: got nan"),
        ],
    )
    def test_slips_of_the_pen_are_refused_in_one_line(self, plans, line) -> None:
        with pytest.raises(BadInput, match=line) as caught:
            MoneyPlans(**plans)
        assert "\n" not in str(caught.value)


@settings(max_examples=15, deadline=None)
@given(price=st.integers(0, 20000), more=st.integers(1, 5000), years=st.integers(1, 40))
def test_dearer_costs_more_and_longer_use_less(price: int, more: int, years: int) -> None:
    def year(amount: int, length: int) -> float:
        buyer = Buyer(name="B", years_of_use=length)
        cost = reckon(piano=Piano(name="A", asking_price=Decimal(amount)), buyer=buyer).a_year
        assert cost is not None
        return float(cost.middle)

    assert year(price + more, years) >= year(price, years)
    if price / years > 200:
        assert year(price, years + 5) < year(price, years)


def test_without_a_price_a_year_is_unknown_and_currencies_are_not_mixed() -> None:
    unknown = reckon(piano=Piano(name="A"), plans=MoneyPlans(hire_a_month=40, resale=(0.1, 0.2)))
    assert (unknown.a_year, unknown.below_hire, unknown.hire_a_year) == (None, None, 480)
    assert "no price is asked yet" in repr(unknown)
    assert line(unknown, "price") is None
    with pytest.raises(BadInput, match="currency: got EUR, USD"):
        reckon(buyer=Buyer(name="B", currency="USD"))
    with pytest.raises(BadInput, match="years_of_use: got 0"):
        reckon(buyer=Buyer(name="B", years_of_use=0))


def test_same_seed_same_cost_and_whose_prices_are_named() -> None:
    costs = [reckon(job(600), seed=s) for s in (3, 3, 4)]
    assert costs[0] == costs[1]
    assert costs[0] != costs[2]
    assert "over 10 years" in repr(costs[0])
    assert "prices.toml: invented, 2026-01-15, in EUR" in costs[0].sentences[-1]
    assert "estimates, not quotes" in costs[0].headline()
