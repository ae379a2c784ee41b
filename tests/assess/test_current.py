"""A later visit replaces an earlier one; counts key by key add up; nothing undated is lost."""

from dataclasses import replace
from datetime import UTC, datetime
from itertools import permutations

from pianolab.assess.places import current_findings
from pianolab.checklist import load_checklist
from pianolab.model import Finding

CHECKLIST = load_checklist()
BRIDGE, LEAKS = CHECKLIST["bridge-treble"], CHECKLIST["dampers-leak"]
MAY, JUNE = datetime(2026, 5, 2, tzinfo=UTC), datetime(2026, 6, 6, tzinfo=UTC)


def graded(grade: int, **more) -> Finding:
    return Finding(
        id=str((grade, more)), visit_id=more.pop("visit", "v1"), point="bridge-treble", grade=grade, **more
    )


def counted(count: int, *keys: int, **more) -> Finding:
    return Finding(visit_id=more.pop("visit", "v1"), point="dampers-leak", count=count, keys=keys, **more)


def test_the_later_visit_counts() -> None:
    before, after = graded(2, visit="v1", at=MAY), graded(4, visit="v2", at=JUNE)
    for order in permutations((before, after)):
        assert current_findings(BRIDGE, order) == (after,)


def test_undated_findings_stay_side_by_side() -> None:
    both = (graded(2, visit="v1"), graded(4, visit="v2"))
    assert len(current_findings(BRIDGE, both)) == 2
    assert len(current_findings(BRIDGE, (both[0], replace(both[1], at=JUNE)))) == 2


def test_other_places_and_other_people_are_not_replaced() -> None:
    three = (
        graded(2, at=MAY, place="C5"),
        graded(4, visit="v2", at=JUNE),
        graded(3, visit="v2", at=JUNE, examiner="Ben"),
    )
    assert len(current_findings(BRIDGE, three)) == 3


def test_not_checked_does_not_erase_an_earlier_look() -> None:
    seen = graded(2, at=MAY)
    later = Finding(visit_id="v2", point="bridge-treble", state="not checked", reason="dark", at=JUNE)
    assert current_findings(BRIDGE, (seen, later)) == (seen,)


def test_single_keys_are_counted_together() -> None:
    (found,) = current_findings(LEAKS, (counted(1, 23), counted(1, 36), counted(1, 23)))
    assert found.count == 2
    assert found.keys == (23, 36)


def test_a_larger_count_without_keys_is_kept() -> None:
    (found,) = current_findings(LEAKS, (counted(1, 23), counted(5)))
    assert found.count == 5


def test_mended_keys_go_with_the_later_visit() -> None:
    (found,) = current_findings(LEAKS, (counted(2, 23, 36, at=MAY), counted(0, visit="v2", at=JUNE)))
    assert found.count == 0
