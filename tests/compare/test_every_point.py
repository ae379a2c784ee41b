"""What has to hold at every point of the checklist and in every aspect, whatever the numbers behind it."""

import itertools
from dataclasses import replace
from decimal import Decimal
from functools import cache

import pytest

from pianolab.assess import AspectResult, Assessment, assess_piano, load_prices
from pianolab.checklist import Point, load_checklist
from pianolab.compare import Comparison, compare_pianos
from pianolab.model import ASPECTS, Buyer, Comparable, Finding, Piano
from tests.compare.panel_entries import supplied_findings
from tests.compare.panel_expected import VERDICTS
from tests.sampled import quick_at_some

CHECKLIST, PRICES = load_checklist(), load_prices()
PIANO = Piano(
    id="p", name="p", asking_price=Decimal(2000), year=1990, key_tops="plastic", middle_pedal="practice felt"
)
BUYER = Buyer(
    name="a child's family",
    level="beginner",
    budget=Decimal(4000),
    money_weight=(0.10, 0.26),
    weights={
        "tone": (0.10, 0.20),
        "touch": (0.12, 0.24),
        "tuning stability": (0.12, 0.24),
        "structure": (0.12, 0.24),
        "evenness": (0.05, 0.14),
        "appearance": (0.02, 0.10),
    },
)
LIKE = tuple(
    Comparable(price=Decimal(p), age_years=35, condition="good", seller_kind="private") for p in (2200, 2400)
)
DRAWS = 1000
SCATTER = 3 * 0.5 / DRAWS**0.5
"""Three standard errors of a share."""

POINTS = {p.id: p for p in CHECKLIST.for_piano(PIANO)}


def values_of(point: Point) -> list[dict[str, object]]:
    """Values of a point from good to bad; fewer than two where neither is better."""
    if point.record == "grade":
        return [{"grade": g} for g in (5, 3, 2, 1)]
    if point.record == "yes_no":
        good = point.good_answer
        return [] if good is None else [{"answer": good}, {"answer": not good}]
    if point.usual is None or (point.failed_under is None and point.failed_over is None):
        return []
    low, high = point.usual
    end, bad = (high, point.failed_over) if point.failed_over is not None else (low, point.failed_under)
    steps = [end, 0.5 * (end + bad), bad]
    return [{"reading": float(v)} if point.record == "reading" else {"count": round(v)} for v in steps]


JUDGED_POINTS = sorted(p for p in POINTS if len(values_of(POINTS[p])) > 1)


@cache
def all_sound() -> tuple[Finding, ...]:
    looked = {"scope": "technician", "grade": 5, "by": "technician"}
    return tuple(supplied_findings("all sound", looked, PIANO, None, CHECKLIST, leave_out=()))


def judged(
    name: str = "p", *, without: frozenset[str] = frozenset(), **changes: dict[str, object]
) -> Assessment:
    """The sound piano with some points found otherwise, and some not looked at."""
    points = {point.replace("_", "-"): value for point, value in changes.items()}
    kept = [f for f in all_sound() if f.point not in points and f.point not in without]
    own = [Finding(visit_id="v", point=p, examiner="technician", **v) for p, v in points.items()]  # type: ignore[arg-type]
    return assess_piano(
        replace(PIANO, id=name, name=name),
        [*kept, *own],
        survey=None,
        checklist=CHECKLIST,
        prices=PRICES,
        profile=BUYER,
    )


def at(point: str, value: dict[str, object], name: str = "p") -> Assessment:
    return judged(name, **{point.replace("-", "_"): value})


def compare(*pianos: Assessment) -> Comparison:
    return compare_pianos(pianos, profile=BUYER, comparables=LIKE, prices=PRICES, draws=DRAWS)


def rank(result: Comparison) -> int:
    return VERDICTS.index(result.verdict.kind)


def first(result: Comparison, name: str) -> float:
    return result.standing(name).rank_shares[0]


@pytest.mark.parametrize("point", quick_at_some(JUDGED_POINTS))
def test_a_worse_finding_is_never_better(point: str) -> None:
    alone = [compare(at(point, value)) for value in values_of(POINTS[point])]
    for better, worse in itertools.pairwise(alone):
        assert rank(better) <= rank(worse)
        most = [c.standings[0].price.walk_away_above for c in (better, worse)]
        assert None in most or most[0] >= most[1]
        assert better.none_fit <= worse.none_fit + SCATTER
    best, worst = values_of(POINTS[point])[0], values_of(POINTS[point])[-1]
    beside = compare(at(point, best, "better"), at(point, worst, "worse"))
    assert first(beside, "better") >= first(beside, "worse") - SCATTER


def test_that_check_has_teeth() -> None:
    """The other way round it fails at a point that matters."""
    beside = compare(at("pins-look", {"grade": 1}, "better"), at("pins-look", {"grade": 5}, "worse"))
    assert first(beside, "better") < first(beside, "worse") - SCATTER


@pytest.mark.parametrize("point", quick_at_some(JUDGED_POINTS))
def test_a_point_looked_at_and_found_sound_is_never_worse_than_not_looked_at(point: str) -> None:
    """Less doubt about whether it is fit, no lower a place, no worse a verdict."""
    seen, unseen = compare(judged()), compare(judged(without=frozenset((point,))))
    assert seen.none_fit <= unseen.none_fit + SCATTER
    assert rank(seen) <= rank(unseen)
    beside = compare(judged("seen"), judged("unseen", without=frozenset((point,))))
    assert first(beside, "seen") >= first(beside, "unseen") - SCATTER


def test_the_more_is_looked_at_the_less_doubt_is_left() -> None:
    order = sorted(POINTS, key=lambda p: (len(p) * 7919 % 13, p))
    left = [*(frozenset(order[n:]) for n in range(0, len(order), 20)), frozenset()]
    doubts = [compare(judged(without=without)).none_fit for without in left]
    assert all(more >= less - SCATTER for more, less in itertools.pairwise(doubts))
    assert doubts[0] > 0.3 > 0.1 > doubts[-1], "what is left is that nobody recorded it"


STRUCTURAL = [p for p in JUDGED_POINTS if POINTS[p].nature == "structural"]
LOOKS = [p for p in JUDGED_POINTS if POINTS[p].nature == "cosmetic" and p.startswith("case-")]


def test_there_are_both() -> None:
    assert len(STRUCTURAL) > 20
    assert len(LOOKS) >= 3


@pytest.mark.parametrize("point", quick_at_some(STRUCTURAL))
def test_the_worst_looks_never_stand_below_a_structural_failure_at_the_same_price(point: str) -> None:
    """Every single looks point at its worst; and all of them together where the failure can stop a purchase."""
    failed = at(point, values_of(POINTS[point])[-1], "failed")
    shabby = [at(looks, {"grade": 1}, "shabby") for looks in LOOKS]
    if POINTS[point].vetoes:
        shabby.append(judged("shabby", **{looks.replace("-", "_"): {"grade": 1} for looks in LOOKS}))
    for piano in shabby:
        beside = compare(piano, failed)
        assert first(beside, "shabby") >= first(beside, "failed") - SCATTER


def with_aspect(name: str, aspect: str, score: float) -> Assessment:
    sound = judged(name)
    changed = [
        AspectResult(aspect=a.aspect, low=score, high=score) if a.aspect == aspect else a
        for a in sound.aspects
    ]
    return replace(sound, aspects=tuple(changed))


@pytest.mark.parametrize("aspect", ASPECTS)
def test_a_lower_score_is_never_better(aspect: str) -> None:
    alone = [compare(with_aspect("p", aspect, score)) for score in (9.0, 6.0, 3.5, 2.5, 1.0)]
    ranks = [rank(c) for c in alone]
    assert ranks == sorted(ranks)
    assert (ranks[-1] == VERDICTS.index("walk away")) == (aspect not in ("evenness", "appearance"))
    beside = compare(with_aspect("high", aspect, 8.0), with_aspect("low", aspect, 6.0))
    assert first(beside, "high") > first(beside, "low") + SCATTER


def priced(name: str, price: int) -> Assessment:
    sound = judged(name)
    return replace(sound, piano=replace(sound.piano, asking_price=Decimal(price)))


def test_a_higher_price_is_never_better() -> None:
    ranks = [rank(compare(priced("p", price))) for price in (0, 500, 1500, 2000, 2600, 3500, 5000, 9000)]
    assert ranks == sorted(ranks)
    assert ranks[0] < ranks[-1]
    beside = compare(priced("cheap", 1500), priced("dear", 1700))
    assert first(beside, "cheap") > first(beside, "dear")
