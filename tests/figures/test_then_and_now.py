"""Two visits as pictures: marks then and now, promises kept or not; what nobody looked at again is never called gone."""

from __future__ import annotations

from typing import Any

import pytest

from pianolab.assess import VisitChanges, compare_visits
from pianolab.checklist import load_checklist
from pianolab.figures import plan_marks_then_and_now, plan_promises
from pianolab.model import Finding, Piano

CHECKLIST = load_checklist()
SILENT, BUZZ, FAR = "each-silent", "each-buzz", "tuning-single"


def found(visit: str, point: str, **what: Any) -> Finding:
    return Finding(visit_id=visit, point=point, **what)


def two_visits(before: list[Finding], after: list[Finding]) -> VisitChanges:
    return compare_visits(Piano(name="by the window"), before, after, checklist=CHECKLIST)


@pytest.fixture(scope="module")
def changes() -> VisitChanges:
    before = [
        found("1", SILENT, count=3, keys=(40, 41, 52)),
        found("1", BUZZ, count=1, keys=(60,)),
        found("1", "tuning-pitch", reading=-25, promised="raised to pitch"),
        found("1", "case-finish", grade=2, promised="ring <b>polished</b> out of the lid"),
    ]
    after = [
        found("2", SILENT, count=2, keys=(41, 70)),
        found("2", FAR, count=2, keys=(20, 21)),
        found("2", "tuning-pitch", reading=0),
    ]
    return two_visits(before, after)


def test_marks_stay_come_and_go(changes: VisitChanges) -> None:
    of = {m.point: m for m in changes.marks}
    assert list(of) == [p.id for p in CHECKLIST if p.id in of], "in the checklist's order"
    assert (of[SILENT].stayed, of[SILENT].came, of[SILENT].gone) == ((41,), (70,), (40, 52))


@pytest.mark.parametrize("point", [BUZZ, FAR])
def test_what_was_looked_at_once_tells_no_change(changes: VisitChanges, point: str) -> None:
    mark = next(m for m in changes.marks if m.point == point)
    assert (mark.came, mark.gone) == ((), ())
    plan = plan_marks_then_and_now(changes)
    assert "on one visit only" in plan.alt
    row = next(r for r in plan.rows() if r[0] == mark.title)
    assert "not looked at" in row


@pytest.mark.parametrize(
    ("now", "gone"),
    [
        ({"count": 0}, (40, 41)),
        ({"count": 2, "keys": (41, 70)}, (40,)),
        ({"count": 2}, ()),
        ({"count": 3, "keys": (41,)}, ()),
        ({"state": "not checked", "reason": "no time"}, ()),
    ],
)
def test_a_key_is_gone_only_where_all_keys_of_now_are_told(
    now: dict[str, Any], gone: tuple[int, ...]
) -> None:
    (mark,) = two_visits([found("1", SILENT, count=2, keys=(40, 41))], [found("2", SILENT, **now)]).marks
    assert mark.gone == gone


def test_each_promise_stands_under_its_outcome(changes: VisitChanges) -> None:
    plan = plan_promises(changes)
    assert {row[0]: row[4] for row in plan.rows()} == {p.title: p.kept for p in changes.promises}
    assert "1 kept" in plan.alt
    assert "1 not looked at again" in plan.alt
    drawn = changes.chart("promises", theme="light").to_dict()
    ticks = drawn["layout"]["xaxis"]["ticktext"]
    outcome = {trace["hovertext"][0].partition("<br>")[0]: ticks[trace["x"][0]] for trace in drawn["data"]}
    assert outcome == {p.title: p.kept for p in changes.promises}
    texts = " ".join(a["text"] for a in drawn["layout"]["annotations"])
    assert "ring &lt;b&gt;polished" in texts


def test_rings_then_dots_now(changes: VisitChanges) -> None:
    drawn = changes.chart("marks", theme="dark").to_dict()
    keys = {
        when: {k for t in drawn["data"] if t.get("name") == when for k in t["x"] if k is not None}
        for when in ("then", "now")
    }
    assert keys == {"then": {40, 41, 52, 60}, "now": {41, 70, 20, 21}}


def test_nothing_marked_and_nothing_promised_say_so() -> None:
    nothing = two_visits([], [])
    assert "nothing is known of single keys" in plan_marks_then_and_now(nothing).alt
    assert plan_promises(nothing).alt == "Nothing was promised on the first visit."
    for kind in ("marks", "promises"):
        texts = [a["text"] for a in nothing.chart(kind).to_dict()["layout"]["annotations"]]
        assert any("othing" in text for text in texts)
