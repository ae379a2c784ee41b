"""Two visits to one piano: what changed, what was promised, what the tuning had hidden."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest

from pianolab.assess import Circumstances, assess_piano, compare_visits, load_prices
from pianolab.assess.changes import VisitChanges
from pianolab.checklist import load_checklist
from pianolab.errors import BadInput
from pianolab.model import Finding, Piano
from pianolab.recordings.holding import holds_tuning

CHECKLIST = load_checklist()
PIANO = Piano(id="p", name="A", kind="upright")


def found(point: str, visit: str = "1", **value) -> Finding:
    return Finding(visit_id=visit, point=point, **value)


def compare(before, after, **more):
    return compare_visits(PIANO, before, after, checklist=CHECKLIST, **more)


@pytest.mark.parametrize(
    ("before", "after", "direction", "kept"),
    [
        ({"grade": 2}, {"grade": 5}, "better", "kept"),
        ({"grade": 1}, {"grade": 3}, "better", "partly kept"),
        ({"grade": 2}, {"grade": 2}, "the same", "not kept"),
        ({"grade": 3}, {"grade": 1}, "worse", "not kept"),
        ({"grade": 2}, None, "not looked at again", "not looked at again"),
        ({"state": "not checked", "reason": "dark"}, {"grade": 5}, "first time", "kept"),
    ],
)
def test_promises(before, after, direction: str, kept: str) -> None:
    later = [] if after is None else [found("hammers-grooves", "2", **after)]
    (change,) = compare([found("hammers-grooves", promised="hammers filed", **before)], later).points
    assert (change.direction, change.kept, change.promised) == (direction, kept, "hammers filed")


def test_without_a_promise_nothing_is_kept_or_broken() -> None:
    changes = compare([found("hammers-grooves", grade=2)], [found("hammers-grooves", "2", grade=4)])
    (change,) = changes.points
    assert (change.direction, change.kept) == ("better", "")
    assert changes.promises == ()
    assert "promise" not in changes.headline()


def test_a_point_seen_only_once_is_left_out() -> None:
    assert compare([found("hammers-grooves", grade=2)], []).points == ()


def test_an_unchecked_second_look_keeps_no_promise() -> None:
    later = found("hammers-grooves", "2", state="not allowed", reason="lid locked")
    (change,) = compare([found("hammers-grooves", grade=2, promised="filed")], [later]).points
    assert change.kept == "not looked at again"
    assert "lid locked" in change.after


def test_promises_come_first_and_everything_is_in_the_frame() -> None:
    before = [found("hammers-grooves", grade=4), found("case-finish", grade=2, promised="polished")]
    after = [found("hammers-grooves", "2", grade=1), found("case-finish", "2", grade=2)]
    frame = compare(before, after).to_frame()
    assert list(frame["promised"]) == ["polished", "", ""]
    assert list(frame["difference"])[:2] == ["the same", "worse"]
    assert "it takes two recordings" in frame["difference"].iloc[-1]


class TestByEar:
    def test_hidden_before_and_faulty_now_came_to_light(self, make_survey) -> None:
        sour = make_survey(masked=range(52, 76), unison_cents=3.0)
        tuned = make_survey(faults={"short_sustain": range(60, 66)})
        treble = next(
            h for h in compare([], [], heard_before=sour, heard_after=tuned).heard if "treble" in h.of
        )
        assert treble.came_to_light == tuple(range(60, 66))
        assert treble.new == ()

    def test_sound_before_and_faulty_now_is_new(self, make_survey) -> None:
        changes = compare([], [], heard_before=make_survey(), heard_after=make_survey(faults={"buzz": [30]}))
        (buzz,) = changes.heard
        assert buzz.new == (30,)
        assert buzz.came_to_light == ()
        assert "new at D3" in buzz.sentence()

    def test_faulty_before_and_sound_now_is_gone(self, make_survey) -> None:
        changes = compare(
            [], [], heard_before=make_survey(faults={"damper": [20]}), heard_after=make_survey()
        )
        (damper,) = changes.heard
        assert damper.gone == (20,)

    def test_faulty_before_and_not_heard_now_is_not_gone(self, make_survey) -> None:
        later = make_survey(skipped=[20])
        changes = compare([], [], heard_before=make_survey(faults={"damper": [20]}), heard_after=later)
        assert all(h.gone == () for h in changes.heard)

    def test_the_same_recording_twice_changes_nothing(self, make_survey) -> None:
        assert compare([], [], heard_before=make_survey(), heard_after=make_survey()).heard == ()

    def test_without_both_recordings_nothing_is_said_by_ear(self, make_survey) -> None:
        changes = compare([], [], heard_after=make_survey())
        assert changes.heard == ()
        assert changes.pitch_before_cents is None


def test_a_finding_of_another_checklist_is_named() -> None:
    with pytest.raises(BadInput, match="finding: got 'no-such-point', need the id of a checklist point"):
        compare([found("no-such-point", grade=3)], [])


class TestPins:
    """Two recordings on different days; the comparing itself is tested where the sound is."""

    def judge(self, survey, holding=None):
        return assess_piano(
            PIANO,
            [],
            survey=survey,
            checklist=CHECKLIST,
            prices=load_prices(),
            circumstances=Circumstances(holding=holding),
        )

    @pytest.mark.slow
    def test_a_string_that_moved_by_itself_is_warned_of_and_costs(self, make_survey) -> None:
        """One string moved by 12 cents at C4 in an otherwise still piano; the same without it stays quiet."""
        first, still = make_survey(), make_survey(seed=1)
        moved = make_survey(seed=1, slipped=[40])
        for second, faulty in ((still, False), (moved, True)):
            result = self.judge(still, holds_tuning(first, second, days=28))
            warned = [w.text for w in result.warnings if "moved by itself" in w.text]
            assert bool(warned) == faulty
            assert (
                any("moved by itself" in c.text for c in result.aspect("tuning stability").made_by) == faulty
            )
            assert any(j.job == "pin work" and j.found for j in result.repairs.jobs) == faulty
            assert not any("C4" in text for text in warned) or faulty

    def test_slipping_all_over_is_a_possible_veto_for_a_technician(self, make_survey) -> None:
        first, moved = make_survey(), make_survey(seed=1, slipped=range(20, 80, 6))
        (veto,) = self.judge(make_survey(), holds_tuning(first, moved, days=28)).vetoes
        assert veto.how_sure == "possible"
        assert veto.confirm_by == "technician"
        assert "moved by themselves between two recordings" in veto.text

    @pytest.mark.slow
    def test_tuned_in_between_says_nothing_and_changes_nothing(self, make_survey) -> None:
        sour, tuned = (
            make_survey(masked=range(52, 76), unison_cents=3.5, offset_cents=-25),
            make_survey(seed=1),
        )
        holding = holds_tuning(sour, tuned, days=28)
        assert holding.state == "tuned in between"
        assert self.judge(tuned, holding) == self.judge(tuned)

    def test_keys_that_could_not_be_compared_are_unknown(self, make_survey) -> None:
        first, second = make_survey(skipped=range(60, 70)), make_survey(seed=1)
        stability = self.judge(second, holds_tuning(first, second)).aspect("tuning stability")
        assert any(
            "whether these keys hold their tuning (could not be told for 10 of 88" in u.text
            for u in stability.unknown
        )


def test_points_stand_in_the_order_of_their_weight_whatever_they_are_called() -> None:
    order = ("worse", "better", "first time", "different", "not looked at again", "the same")
    changes: list[Any] = [
        SimpleNamespace(
            point=name, title=name, before="", after="", direction=direction, promised="", kept=""
        )
        for name, direction in zip("fedcba", order, strict=True)
    ]
    rows = VisitChanges(piano=Piano(name="A"), points=tuple(changes[::-1])).rows()
    assert [row[3] for row in rows[:6]] == list(order)
