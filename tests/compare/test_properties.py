"""What must hold for every shortlist: twins rank alike, and order, names and currency play no part."""

from dataclasses import replace
from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pianolab.assess import AspectResult, Assessment, RepairEstimate, RepairJob, Unknown
from pianolab.compare import PriceAdvice, compare_pianos
from pianolab.compare.simulate import draw_piano
from pianolab.model import ASPECTS, Buyer, Piano
from pianolab.statements import as_written

PROFILE = Buyer(name="even", budget=Decimal(5000))
QUICK = settings(max_examples=15, deadline=None)
DRAWS = 4000
ERROR = 4 * 0.5 / np.sqrt(DRAWS)
"""Four standard errors of a share: what two runs may differ by."""


def build(seed: int, name: str, *, currency: str = "EUR") -> Assessment:
    """A piano made up by seed: scores, unknowns, a job, a price."""
    rng = np.random.default_rng(seed)
    losses = {f"gap {i}": float(rng.uniform(0.1, 1.5)) for i in range(rng.integers(0, 4))}
    aspects = []
    for aspect in ASPECTS:
        high = float(rng.uniform(4.0, 10.0))
        unknown = tuple(
            Unknown(
                what=as_written(key),
                why=as_written("not checked"),
                width=1.0,
                source=key,
                key=key,
                loss=loss,
                minutes=2.0,
            )
            for key, loss in losses.items()
            if rng.random() < 0.6
        )
        low = high * float(np.exp(-sum(u.loss for u in unknown)))
        aspects.append(AspectResult(aspect=aspect, low=low, high=high, unknown=unknown))
    waits = tuple((key, 0.2) for key in losses)
    job = RepairJob(
        job="regulation",
        what=as_written("regulation"),
        low=Decimal(200),
        usual=Decimal(500),
        high=Decimal(900),
        chance=1.0 - 0.7 * 0.8 ** len(waits),
        why=(as_written("seen"),),
        waits_for=waits,
    )
    return Assessment(
        piano=Piano(
            id=name, name=name, asking_price=Decimal(int(rng.integers(500, 4000))), currency=currency
        ),
        aspects=tuple(aspects),
        alerts=(),
        repairs=RepairEstimate(
            jobs=(job,), p10=Decimal(0), p50=Decimal(300), p90=Decimal(800), currency=currency
        ),
        points_checked=1,
        points_total=1,
        heard=True,
    )


def renamed(a: Assessment, name: str) -> Assessment:
    return replace(a, piano=replace(a.piano, id=name, name=name))


seeds = st.lists(st.integers(0, 10_000), min_size=1, max_size=4, unique=True)


@QUICK
@given(st.integers(0, 10_000), st.integers(0, 10_000))
def test_the_same_piano_twice_ranks_alike(seed: int, other: int) -> None:
    twins = [build(seed, "a"), renamed(build(seed, "a"), "b"), build(other, "c")]
    result = compare_pianos(twins, profile=PROFILE, draws=DRAWS)
    one, two = result.standing("a"), result.standing("b")
    assert one.rank_shares == pytest.approx(two.rank_shares, abs=2 * ERROR)
    assert one.score_middle == pytest.approx(two.score_middle, abs=0.15)
    assert (one.score_low, one.score_high) == (two.score_low, two.score_high)
    assert one.barred_by == two.barred_by


def test_the_twin_test_has_teeth() -> None:
    """A piano a little better than its twin no longer shares the ranks with it."""
    one = build(5, "a")
    better = replace(
        renamed(one, "b"),
        aspects=tuple(
            replace(x, low=x.low * min(10.0, x.high + 0.8) / x.high, high=min(10.0, x.high + 0.8))
            for x in one.aspects
        ),
    )
    result = compare_pianos([one, better], profile=PROFILE, draws=DRAWS)
    assert abs(result.standing("a").rank_shares[0] - result.standing("b").rank_shares[0]) > 4 * ERROR


@QUICK
@given(seeds, st.randoms())
def test_row_order_plays_no_part(chosen: list[int], random) -> None:
    pianos = [build(s, f"p{s}") for s in chosen]
    shuffled = list(pianos)
    random.shuffle(shuffled)
    one, other = (compare_pianos(p, profile=PROFILE, draws=500) for p in (pianos, shuffled))
    assert one.standings == other.standings
    assert one.next_steps == other.next_steps
    assert one.verdict == other.verdict


@QUICK
@given(seeds)
def test_currency_plays_no_part(chosen: list[int]) -> None:
    """The same amounts in another currency: all numbers stay, only the code beside them changes."""
    euro = compare_pianos([build(s, f"p{s}") for s in chosen], profile=PROFILE, draws=500)
    crowns = compare_pianos(
        [build(s, f"p{s}", currency="SEK") for s in chosen],
        profile=replace(PROFILE, currency="SEK"),
        draws=500,
    )
    none = PriceAdvice()
    for one, other in zip(euro.standings, crowns.standings, strict=True):
        assert replace(one, price=none, barred_by=None, obstacles=()) == replace(
            other, price=none, barred_by=None, obstacles=()
        )
        assert (one.barred_by is None) == (other.barred_by is None)
    assert [(s.text, s.chance_to_change, s.worth) for s in euro.next_steps] == [
        (s.text, s.chance_to_change, s.worth) for s in crowns.next_steps
    ]


@QUICK
@given(seeds)
def test_names_play_no_part(chosen: list[int]) -> None:
    pianos = [build(s, f"p{s}") for s in chosen]
    other = [replace(a, piano=replace(a.piano, name=f"no. {i}")) for i, a in enumerate(pianos)]
    one, two = (compare_pianos(p, profile=PROFILE, draws=500) for p in (pianos, other))
    assert [s.rank_shares for s in one.standings] == [s.rank_shares for s in two.standings]
    assert [s.total_p50 for s in one.standings] == [s.total_p50 for s in two.standings]


@QUICK
@given(seeds, st.integers(0, 1000))
def test_a_fixed_seed_gives_the_same_result(chosen: list[int], seed: int) -> None:
    one, other = (
        compare_pianos([build(s, f"p{s}") for s in chosen], profile=PROFILE, draws=500, seed=seed)
        for _ in range(2)
    )
    assert one == other


@QUICK
@given(st.integers(0, 10_000))
def test_shares_are_shares(seed: int) -> None:
    result = compare_pianos([build(seed + i, f"p{i}") for i in range(3)], profile=PROFILE, draws=500)
    table = np.array([s.rank_shares for s in result.standings])
    assert table[:, 0].sum() + result.none_fit == pytest.approx(1.0)
    assert np.all(np.diff(table.sum(axis=0)) <= 1e-12), "so many pianos are fit in no more draws than fewer"
    assert table.sum(axis=1) + [s.unfit for s in result.standings] == pytest.approx(np.ones(3))
    for step in result.next_steps:
        assert 0.0 <= step.chance_to_change <= 1.0
        assert step.worth is None or step.worth >= 0


def test_what_turns_out_badly_costs_score_and_money_in_the_same_draw() -> None:
    """A job that waits for an unknown is paid in the draws in which that unknown turns out worst."""
    unknown = Unknown(
        what=as_written("pins"), why=as_written("not checked"), width=1.0, source="pins", key="pins", loss=2.0
    )
    aspects = tuple(
        AspectResult(
            aspect=a,
            low=8.0 * np.exp(-2.0) if a == "structure" else 8.0,
            high=8.0,
            unknown=(unknown,) if a == "structure" else (),
        )
        for a in ASPECTS
    )
    job = RepairJob(
        job="repinning",
        what=as_written("r"),
        low=Decimal(3000),
        usual=Decimal(3000),
        high=Decimal(3000),
        chance=0.12,
        why=(as_written("not checked"),),
        found=False,
        waits_for=(("pins", 0.12),),
    )
    a = replace(
        build(1, "a"),
        aspects=aspects,
        repairs=RepairEstimate(
            jobs=(job,), p10=Decimal(0), p50=Decimal(0), p90=Decimal(3000), currency="EUR"
        ),
    )
    drawn = draw_piano(a, profile=PROFILE, price_span=(0, 1), draws=20_000, rng=np.random.default_rng(0))
    structure = drawn.scores[ASPECTS.index("structure")]
    paid = drawn.total > drawn.total.min() + 1000
    assert paid.mean() == pytest.approx(0.12, abs=0.01)
    assert structure[paid].max() < structure[~paid].min()
