"""What must hold for every piano: unknown never helps, worse never improves, order and names play no part."""

from dataclasses import replace
from decimal import Decimal
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pianolab.assess import Assessment, Circumstances, assess_piano, load_prices
from pianolab.assess.evidence import Evidence, Gap, judge_aspects
from pianolab.checklist import Checklist, load_checklist
from pianolab.checklist.points import VALUE_OF, Point
from pianolab.errors import BadInput
from pianolab.model import ASPECTS, Finding, Piano, TouchOpinion
from pianolab.statements import as_written
from tests.sampled import quick_at_some

CHECKLIST = load_checklist()
PRICES = load_prices()
PIANO = Piano(id="p", name="A", kind="upright", asking_price=Decimal(1000))
POINTS = tuple(CHECKLIST.for_piano(PIANO))
QUICK = settings(max_examples=25, deadline=None)
SMALL = 1e-9


def judge(findings: list[Finding], *, piano: Piano = PIANO, checklist: Checklist = CHECKLIST) -> Assessment:
    return assess_piano(piano, findings, survey=None, checklist=checklist, prices=PRICES)


def value_for(point: Point, badness: float) -> dict[str, float | bool | int]:
    """A value of the point's kind, from as good as can be (0) to as bad as can be (1)."""
    if point.record == "grade":
        value: float | bool | int = 5 - round(4 * badness)
    elif point.record == "yes_no":
        good = True if point.good_answer is None else point.good_answer
        value = good if badness < 0.5 else not good
    else:
        low, high = point.usual or (0.0, 10.0)
        reading = high + badness * 3.0 * max(high - low, 1.0)
        value = int(reading) if point.record == "count" else reading
    return {VALUE_OF[point.record]: value}


def finding(point: Point, badness: float, **more: str) -> Finding:
    return Finding(id=point.id, visit_id="v", point=point.id, **value_for(point, badness), **more)


states = st.lists(
    st.tuples(st.sampled_from(POINTS), st.floats(0, 1)), unique_by=lambda pair: pair[0].id, max_size=25
)


@pytest.mark.slow
@QUICK
@given(states, st.sampled_from(POINTS))
def test_an_unchecked_finding_never_raises_nor_narrows(found, point) -> None:
    before = judge([finding(p, b) for p, b in found])
    unseen = Finding(visit_id="v", point=point.id, state="not checked", reason="no time", place="elsewhere")
    after = judge([*(finding(p, b) for p, b in found), unseen])
    for old, new in zip(before.aspects, after.aspects, strict=True):
        assert new.low <= old.low + SMALL
        assert new.high <= old.high + SMALL
        assert new.high - new.low >= old.high - old.low - SMALL


@pytest.mark.slow
@QUICK
@given(states, st.sampled_from(POINTS))
def test_a_point_more_in_the_checklist_never_raises_nor_narrows(found, point) -> None:
    without = Checklist(tuple(p for p in CHECKLIST if p.id != point.id))
    findings = [finding(p, b) for p, b in found if p.id != point.id]
    before, after = judge(findings, checklist=without), judge(findings)
    for old, new in zip(before.aspects, after.aspects, strict=True):
        assert new.low <= old.low + SMALL
        assert new.high - new.low >= old.high - old.low - SMALL


@pytest.mark.slow
@QUICK
@given(states, st.floats(0, 1), st.data())
def test_a_worse_finding_never_improves_any_aspect(found, worse, data) -> None:
    if not found:
        return
    point, badness = data.draw(st.sampled_from(found))
    worse = max(worse, badness)
    before = judge([finding(p, b) for p, b in found])
    after = judge([finding(p, worse if p is point else b) for p, b in found])
    for old, new in zip(before.aspects, after.aspects, strict=True):
        assert new.low <= old.low + SMALL
        assert new.high <= old.high + SMALL


UNSEEN = judge([])


def gravest(result: Assessment) -> float:
    return max((a.severity for a in result.vetoes), default=0.0)


@pytest.mark.slow
@QUICK
@given(states, st.floats(0, 1), st.data())
def test_a_worse_finding_never_lifts_or_lightens_a_stop(found, worse, data) -> None:
    if not found:
        return
    point, badness = data.draw(st.sampled_from(found))
    worse = max(worse, badness)
    before = judge([finding(p, b) for p, b in found])
    after = judge([finding(p, worse if p is point else b) for p, b in found])
    assert gravest(after) >= gravest(before)


@pytest.mark.slow
@QUICK
@given(states, st.sampled_from(POINTS))
def test_a_point_more_that_is_found_sound_never_stops(found, point) -> None:
    rest = [finding(p, b) for p, b in found if p is not point]
    assert gravest(judge([*rest, finding(point, 0.0)])) <= gravest(judge(rest))


@pytest.mark.parametrize("point", quick_at_some(POINTS), ids=lambda p: p.id)
def test_at_every_point_worse_is_never_better(point: Point) -> None:
    """From sound to failed: no aspect rises, no stop goes; and to find it sound is never worse than not to look."""
    unseen, results = UNSEEN, [judge([finding(point, b)]) for b in (0.0, 0.5, 1.0)]
    for kind, harsh in pairwise(results):
        assert gravest(harsh) >= gravest(kind)
        for a, b in zip(kind.aspects, harsh.aspects, strict=True):
            assert b.high <= a.high + SMALL
            assert b.low <= a.low + SMALL
    for a, b in zip(unseen.aspects, results[0].aspects, strict=True):
        assert b.low >= a.low - SMALL
    if point.id != "papers-age":  # a hundred years are nothing that was found sound
        before, after = (sum(u.veto_chance for u in r.unknown_vetoes) for r in (unseen, results[0]))
        assert after <= before + SMALL


def test_the_worse_finding_test_has_teeth() -> None:
    """Where the best place counted instead of the worst, a second bad place would raise the low end."""
    point = CHECKLIST["bridge-treble"]
    bad = judge([finding(point, 1.0)]).aspect("structure")
    good = judge([finding(point, 0.0)]).aspect("structure")
    assert bad.high < 0.6 * good.high


@pytest.mark.slow
@QUICK
@given(states, st.randoms())
def test_order_of_findings_plays_no_part(found, random) -> None:
    findings = [finding(p, b) for p, b in found]
    shuffled = list(findings)
    random.shuffle(shuffled)
    assert judge(findings) == judge(shuffled)


@pytest.mark.slow
@QUICK
@given(states, st.text(st.characters(categories=("L", "N", "P")), min_size=1, max_size=100))
def test_name_address_and_seller_play_no_part(found, name) -> None:
    findings = [finding(p, b) for p, b in found]
    renamed = judge(findings, piano=replace(PIANO, name=name, seller=name, address=name))
    assert replace(renamed, piano=PIANO) == judge(findings)


@QUICK
@given(states)
def test_scores_stay_within_the_scale_and_add_up(found) -> None:
    result = judge([finding(p, b) for p, b in found])
    for a in result.aspects:
        assert 0.0 <= a.low <= a.high <= 10.0
        assert a.high - sum(c.high for c in a.made_by) == pytest.approx(10.0)
        assert sum(u.width for u in a.unknown) == pytest.approx(a.high - a.low)
        assert [c.low for c in a.made_by] == sorted(c.low for c in a.made_by)


def test_nothing_known_is_the_whole_width_and_never_good() -> None:
    nothing = judge([])
    for a in nothing.aspects:
        assert a.high == 10.0
        assert a.low < 2.6, a
    assert {a.aspect for a in nothing.aspects} == set(ASPECTS)
    assert not nothing.heard
    assert nothing.points_checked == 0


def test_one_gap_more_widens_by_the_closed_form() -> None:
    """10 exp(-0.5 x 1) to 10: one strength-0.5 thing unknown; by hand."""
    gap = Gap(key="k", what=as_written("t"), why=as_written("r"), share=1.0, effort="look again")
    one = Evidence(source="s", says=as_written("t"), share=0.0, strengths={"tone": 0.5}, gaps=(gap,))
    tone = judge_aspects([one], full_loss=1.0)[0]
    assert tone.low == pytest.approx(6.065306597)
    assert tone.high == 10.0


def test_what_does_not_apply_takes_nothing() -> None:
    def gone(points) -> Assessment:
        away = [Finding(visit_id="v", point=p.id, state="does not apply", reason="none here") for p in points]
        return judge(away)

    can_lack = [p for p in POINTS if p.can_be_missing(PIANO)]
    without = Checklist(tuple(p for p in CHECKLIST if p not in can_lack))
    assert gone(can_lack).aspects == judge([], checklist=without).aspects
    every_piano_has = [p for p in POINTS if p not in can_lack]
    assert gone(every_piano_has).points_total == len(POINTS)
    assert gone(every_piano_has).points_checked == 0


def test_examiners_who_disagree_widen() -> None:
    point = CHECKLIST["case-finish"]
    kind, harsh = finding(point, 0.0, examiner="Ana"), finding(point, 1.0, examiner="Ben")
    harsh = replace(harsh, id="other")
    both = judge([kind, harsh]).aspect("appearance")
    assert both.low == pytest.approx(judge([harsh]).aspect("appearance").low)
    assert both.high == pytest.approx(judge([kind]).aspect("appearance").high)
    unsure = next(u for u in both.unknown if u.source == "case-finish")
    assert "disagree" in unsure.reason


def test_the_worst_place_counts() -> None:
    point = CHECKLIST["pins-look"]
    bass, treble = finding(point, 0.0, place="bass"), finding(point, 1.0, place="treble")
    both = judge([bass, replace(treble, id="other")])
    assert both.aspect("tuning stability").high == pytest.approx(
        judge([treble]).aspect("tuning stability").high
    )


class TestPlayersOpinions:
    """Several players: faults are evidence, disagreement widens, taste never counts."""

    def judge(self, *opinions: TouchOpinion) -> Assessment:
        findings = [finding(p, 0.0) for p in POINTS if not p.id.startswith("touch")]
        return assess_piano(
            PIANO,
            findings,
            survey=None,
            checklist=CHECKLIST,
            prices=PRICES,
            circumstances=Circumstances(opinions=opinions),
        )

    def said(self, player: str, **more) -> TouchOpinion:
        return TouchOpinion(id=player, visit_id="v", player=player, **more)

    def test_taste_and_liking_change_nothing(self) -> None:
        tastes = self.said("Ada", taste={"weight": 5, "depth": 1}, liking=1)
        assert self.judge(tastes) == self.judge()

    def test_a_fault_all_feel_lowers_touch(self) -> None:
        both = self.judge(*(self.said(p, faults={"evenness": 1}) for p in ("Ada", "Ben")))
        assert both.aspect("touch").high < self.judge().aspect("touch").high - 0.5
        assert any("evenness" in c.text.lower() for c in both.aspect("touch").made_by)

    def test_disagreement_widens_and_says_so(self) -> None:
        apart = self.judge(self.said("Ada", faults={"evenness": 5}), self.said("Ben", faults={"evenness": 1}))
        touch, alone = (
            apart.aspect("touch"),
            self.judge(self.said("Ada", faults={"evenness": 5})).aspect("touch"),
        )
        assert touch.high == pytest.approx(alone.high)
        assert touch.low < alone.low
        assert any("disagree" in u.reason for u in touch.unknown)

    def test_an_opinion_on_a_scale_that_is_not_there(self) -> None:
        with pytest.raises(BadInput, match="opinion of Ada: got glow, need one of"):
            self.judge(self.said("Ada", faults={"glow": 2}))
