"""Messages in, findings in the casebook out; no browser."""

from __future__ import annotations

import json
from collections.abc import Callable
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st
from widget_driver import Driver
from widget_small import CHECKLIST, GROOVES, small_casebook

from pianolab.assess.changes import compare_visits
from pianolab.casebook import Casebook, KeptSettings, OwnFile, keep_settings, open_casebook
from pianolab.checklist import Checklist, Point
from pianolab.errors import BadInput, CasebookError
from pianolab.model import Finding, Visit
from pianolab.widgets import FindingsForm, walk_actions
from pianolab.widgets.entries import NOTED_ONLY, REASONS
from pianolab.widgets.walk import Walk
from pianolab.widgets.walk_hour import NAMED, _some, hour_view

Opened = tuple[Casebook, Visit]


def test_a_grade_is_in_the_casebook_before_the_form_says_saved(
    driver: Driver, visit_and_book: Opened
) -> None:
    casebook, visit = visit_and_book
    driver.go("grooves")
    answer = driver.value(3)
    other_eyes = open_casebook(casebook.folder)
    (finding,) = other_eyes.findings(visit_id=visit.id)
    other_eyes.close()
    assert (finding.point, finding.grade, finding.state, finding.examiner) == ("grooves", 3, "checked", "Ana")
    assert answer["ok"]
    assert answer["line"].startswith("Saved at ")
    assert finding.at is not None


@pytest.mark.parametrize(
    ("point", "typed", "field", "kept"),
    [
        ("serial", False, "answer", False),
        ("grooves", 1, "grade", 1),
        ("patched", " 4 ", "count", 4),
        ("patched", "0", "count", 0),
        ("dip", "10,2", "reading", 10.2),
        ("dip", "9.75 mm", "reading", 9.75),
        ("dip", "9.75mm", "reading", 9.75),
    ],
)
def test_each_kind_of_value(driver: Driver, point: str, typed: object, field: str, kept: object) -> None:
    driver.go(point)
    assert driver.value(typed)["ok"]
    assert getattr(driver.saved[0], field) == kept


@pytest.mark.parametrize(
    ("point", "typed", "need"),
    [
        ("serial", "yes", "yes or no"),
        ("grooves", 6, "one of the five described grades"),
        ("grooves", True, "one of the five described grades"),
        ("grooves", None, "one of the five described grades"),
        ("patched", "-1", "a whole number, 0 or more"),
        ("patched", "2.5", "a whole number, 0 or more"),
        ("patched", "", "a whole number, 0 or more"),
        ("dip", "ten", "a number in mm"),
        ("dip", "nan", "a number in mm"),
        ("dip", "1e999", "a number in mm"),
        ("dip", "1_0", "a number in mm"),
    ],
)
def test_a_bad_value_gives_one_line_and_saves_nothing(
    driver: Driver, point: str, typed: object, need: str
) -> None:
    driver.go(point)
    answer = driver.value(typed)
    assert not answer["ok"]
    assert need in answer["line"]
    assert "\n" not in answer["line"]
    assert driver.saved == ()


def test_a_bad_value_leaves_the_good_one_before_it(driver: Driver) -> None:
    driver.go("dip")
    driver.value("10.2")
    assert not driver.value("10.2.2")["ok"]
    assert [f.reading for f in driver.saved] == [10.2]
    assert driver.point["number"] == "10.2"


def test_a_reading_is_set_against_the_usual_range(driver: Driver) -> None:
    driver.go("dip")
    driver.value("8.9")
    assert driver.point["against"] == "below the usual 9.5 to 10.5 mm"


@pytest.mark.parametrize("reason", [r for r in REASONS if r.key != "other"], ids=lambda r: r.key)
def test_not_checked_carries_its_reason(driver: Driver, reason: Any) -> None:
    driver.go("serial" if reason.key == "absent" else "grooves")
    assert driver.enter("reason", reason=reason.key)["ok"]
    (finding,) = driver.saved
    assert (finding.state, finding.reason, finding.grade) == (reason.state, reason.text, None)
    assert [r["value"] for r in driver.point["reasons"] if r["chosen"]] == [reason.key]


def test_that_the_piano_has_none_is_offered_and_taken_only_where_such_pianos_are(driver: Driver) -> None:
    driver.go("serial")
    assert "absent" in {r["value"] for r in driver.point["reasons"]}
    driver.go("grooves")
    assert {r["value"] for r in driver.point["reasons"]} == {r.key for r in REASONS} - {"absent"}
    answer = driver.enter("reason", reason="absent")
    assert not answer["ok"]
    assert 'Depth of the grooves (grooves): got "does not apply", need what was found' in answer["line"]
    assert "\n" not in answer["line"]
    assert driver.saved == ()


def test_an_old_answer_that_the_piano_has_none_is_kept_and_can_be_replaced(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As a casebook has it that was written before points said which pianos may lack them."""
    casebook, visit = small_casebook(tmp_path / "book")
    old = Finding(
        visit_id=visit.id,
        point="grooves",
        state="does not apply",
        reason="this piano has none",
        examiner="Ana",
    )
    with monkeypatch.context() as before, casebook.editing(by="Ana", checklist=CHECKLIST) as edit:
        before.setattr(Point, "can_be_missing", lambda *_: True)
        edit.add(old)
    casebook.close()
    driver = Driver(FindingsForm(open_casebook(tmp_path / "book"), visit.id, checklist=CHECKLIST))
    driver.go("grooves")
    assert driver.point["put_off"] == "Does not apply: this piano has none"
    assert not any(r["chosen"] for r in driver.point["reasons"])
    assert driver.enter("note", note="the old owner said so")["ok"]
    assert [(f.state, f.note) for f in driver.saved] == [("does not apply", "the old owner said so")]
    assert driver.value(3)["ok"]
    assert [(f.state, f.grade) for f in driver.saved] == [("checked", 3)]


def test_another_reason_needs_words(driver: Driver) -> None:
    driver.go("grooves")
    assert "a few words" in driver.enter("reason", reason="other", text="  ")["line"]
    assert driver.saved == ()
    assert driver.enter("reason", reason="other", text="the lamp died")["ok"]
    assert driver.saved[0].reason == "the lamp died"
    assert driver.point["reason_text"] == "the lamp died"


def test_a_value_after_not_checked_and_back_again(driver: Driver) -> None:
    driver.go("grooves")
    driver.enter("reason", reason="time")
    driver.value(4)
    assert (driver.saved[0].state, driver.saved[0].reason, driver.saved[0].grade) == ("checked", "", 4)
    driver.enter("reason", reason="helper")
    assert (driver.saved[0].state, driver.saved[0].grade) == ("not checked", None)
    assert len(driver.saved) == 1


@pytest.mark.parametrize(("entry", "field"), [("note", "note"), ("promise", "promised")])
def test_words_before_any_value_are_kept_and_count_as_not_judged(
    driver: Driver, entry: str, field: str
) -> None:
    driver.go("grooves")
    driver.enter(entry, **{field: "odd smell"})
    (finding,) = driver.saved
    assert (finding.state, finding.reason, getattr(finding, field)) == (
        "not checked",
        NOTED_ONLY,
        "odd smell",
    )
    assert driver.point["pending"] == NOTED_ONLY
    driver.value(2)
    (finding,) = driver.saved
    assert (finding.state, finding.grade, getattr(finding, field)) == ("checked", 2, "odd smell")


def test_a_promise_stays_while_the_other_answers_change(driver: Driver, visit_and_book: Opened) -> None:
    casebook, visit = visit_and_book
    driver.go("chips")
    driver.value(2)
    driver.enter("promise", promised="two tops replaced by May")
    driver.enter("note", note="sharp")
    driver.enter("keys", keys="C4")
    driver.enter("place", place="middle")
    driver.enter("reason", reason="time")
    driver.value(3)
    (finding,) = driver.saved
    assert (finding.grade, finding.note, finding.keys) == (3, "sharp", (40,))
    assert finding.promised == "two tops replaced by May"
    with open_casebook(casebook.folder) as later:
        again = Driver(FindingsForm(later, visit.id, checklist=CHECKLIST))
        again.go("chips")
        assert again.point["promised"] == "two tops replaced by May"
        again.send(do="another", point="chips")
        assert again.point["promised"] == ""


@pytest.mark.parametrize("typed", ["", "  ", " \n\t"])
def test_an_empty_promise_is_none(driver: Driver, typed: str) -> None:
    driver.go("grooves")
    driver.value(3)
    driver.enter("promise", promised="filed")
    assert driver.enter("promise", promised=typed)["ok"]
    assert [f.promised for f in driver.saved] == [""]
    assert driver.point["promised"] == ""


def test_a_promise_is_kept_as_one_line(driver: Driver) -> None:
    driver.go("grooves")
    driver.enter("promise", promised=" filed,\n by  May ")
    assert driver.saved[0].promised == driver.point["promised"] == "filed, by May"


def test_the_second_visit_asks_after_a_promise_typed_in_the_walk(
    driver: Driver, visit_and_book: Opened
) -> None:
    driver.go("grooves")
    driver.value(2)
    driver.enter("promise", promised="filed by May")
    piano = visit_and_book[0].pianos()[0]
    later = replace(driver.saved[0], id="later", visit_id="second", promised="")
    changes = compare_visits(piano, driver.saved, [later], checklist=CHECKLIST)
    assert [(p.point, p.promised) for p in changes.broken] == [("grooves", "filed by May")]


def test_keys_from_words_and_from_the_keyboard(driver: Driver) -> None:
    driver.go("chips")
    driver.value(3)
    driver.enter("keys", keys="C4, F5-G5")
    assert driver.saved[0].keys == (40, 57, 58, 59)
    driver.enter("keys", keys=[1, 88])
    assert driver.saved[0].keys == (1, 88)
    assert driver.point["keys_text"] == "A0 and C8"
    driver.enter("keys", keys="C4 to D4 and A4")
    assert driver.saved[0].keys == (40, 41, 42, 49)
    driver.enter("keys", keys=[])
    assert driver.saved[0].keys == ()


@pytest.mark.parametrize("words", ["H4", "C4-", "C5-C4", "89", "C4 until D4", "0", "C4-D4-E4"])
def test_keys_this_piano_has_not(driver: Driver, words: str) -> None:
    driver.go("chips")
    answer = driver.enter("keys", keys=words)
    assert not answer["ok"]
    assert answer["line"].startswith("Not saved. keys: got ")
    assert driver.saved == ()


def test_another_place_is_a_second_finding(driver: Driver) -> None:
    driver.go("grooves")
    driver.value(3)
    driver.enter("place", place="bass")
    driver.send(do="another", point="grooves")
    assert [r["text"] for r in driver.point["records"]] == ["bass", "New record"]
    driver.value(1)
    driver.enter("place", place="treble")
    assert sorted((f.place, f.grade) for f in driver.saved) == [("bass", 3), ("treble", 1)]
    driver.send(do="pick", point="grooves", record=driver.point["records"][0]["id"])
    driver.value(4)
    assert sorted((f.place, f.grade) for f in driver.saved) == [("bass", 4), ("treble", 1)]


def test_two_quick_entries_at_a_new_point_make_one_finding(driver: Driver) -> None:
    driver.go("grooves")
    record = driver.point["record"]
    driver.send(do="value", point="grooves", record=record, value=3)
    driver.send(do="note", point="grooves", record=record, note="torch from below")
    (finding,) = driver.saved
    assert (finding.grade, finding.note) == (3, "torch from below")


def test_an_entry_that_arrives_after_moving_on_is_kept_at_its_own_point(driver: Driver) -> None:
    driver.go("grooves")
    record = driver.point["record"]
    driver.send(do="next")
    driver.send(do="note", point="grooves", record=record, note="late")
    assert (driver.saved[0].point, driver.saved[0].note) == ("grooves", "late")
    assert driver.point["id"] == "patched"


def test_a_page_from_before_the_restart_is_refused(driver: Driver) -> None:
    answer = driver.send(do="value", point="grooves", record="from-another-life", value=3)
    assert "Run the cell again" in answer["line"]
    assert driver.saved == ()


def test_progress_counts_checked_and_not_checked_apart(driver: Driver) -> None:
    assert driver.view["progress"] == "0 of 5 points checked"
    driver.go("grooves")
    driver.value(3)
    driver.go("patched")
    driver.enter("reason", reason="time")
    driver.go("serial")
    driver.enter("reason", reason="absent")
    areas = {a["id"]: a["text"] for a in driver.view["areas"]}
    assert areas == {
        "papers": "0 of 0",
        "hammers": "1 of 2, 1 not checked",
        "touch": "0 of 1",
        "keys": "0 of 1",
    }
    assert driver.view["progress"] == "1 of 4 points checked, 1 not checked"


def test_points_of_another_kind_of_piano_are_left_out(driver: Driver) -> None:
    assert "grand only" not in {a["id"] for a in driver.view["areas"]}


def test_moving_about(driver: Driver) -> None:
    driver.send(do="back")
    assert driver.point["id"] == "serial"
    driver.send(do="next")
    assert driver.point["id"] == "grooves"
    driver.value(5)
    driver.send(do="go area", area="hammers")
    assert driver.point["id"] == "patched"
    driver.go("chips")
    driver.send(do="next")
    assert driver.point["id"] == "patched"  # what was passed over (serial) waits until last
    driver.send(do="back")
    assert driver.point["id"] == "chips"


def test_what_is_passed_over_comes_again_when_all_others_have_had_their_turn(driver: Driver) -> None:
    seen = [driver.point["id"]]
    for _ in range(5):
        driver.send(do="next")
        seen.append(driver.point["id"])
    assert seen == ["serial", "grooves", "patched", "dip", "chips", "serial"]
    for point, value in {"serial": True, "grooves": 4, "patched": 0, "dip": 10}.items():
        driver.go(point)
        driver.value(value)
    driver.send(do="next")
    assert driver.point["id"] == "chips"
    assert not driver.view["first"]
    driver.value(5)
    assert driver.view["last"]
    assert driver.view["hour"]["unseen"] == "Everything has been looked at or has its reason."


def test_the_clock_runs_from_the_first_entry_and_says_what_will_not_fit(visit_and_book: Opened) -> None:
    casebook, visit = visit_and_book
    noon = datetime(2026, 5, 14, 12, tzinfo=UTC)
    times = iter([noon] * 400)
    walk = Walk(casebook, visit.id, minutes=20, now=lambda: next(times))
    assert not hour_view(walk)["runs"]
    assert walk.point_id == "case-legs"
    walk.handle({"do": "value", "point": "case-legs", "record": walk.shown("case-legs")[0], "value": 5})
    assert walk.clock.began == noon
    early = hour_view(walk)
    assert "reasons to stop" in early["fits"]
    assert early["unseen"].startswith("If you stop now: 21 of 21 reasons to stop unseen (")
    times = iter([noon + timedelta(minutes=25)] * 400)
    late = hour_view(walk)
    assert (late["gone_s"], late["over"]) == (1500, True)
    assert walk.handle({"do": "no time"}) == f"{late['waiting']} points set to no time, saved"
    assert {f.reason for f in walk.findings if f.point != "case-legs"} == {"no time"}
    assert walk.handle({"do": "take back"}) == f"{late['waiting']} points taken back"
    assert [f.point for f in walk.findings] == ["case-legs"]


def test_a_time_chosen_before_anything_is_entered_begins_at_the_first_point(visit_and_book: Opened) -> None:
    casebook, visit = visit_and_book
    walk = Walk(casebook, visit.id, minutes=40)
    first = walk.point_id
    walk.handle({"do": "time", "minutes": 20})
    assert walk.point_id == first, "it is not passed over"
    walk.handle({"do": "go", "point": "papers-moves"})
    walk.handle({"do": "time", "minutes": 20})
    assert walk.point_id == first


def test_a_time_chosen_at_a_point_that_is_done_goes_on_to_one_that_is_open(visit_and_book: Opened) -> None:
    casebook, visit = visit_and_book
    walk = Walk(casebook, visit.id, minutes=20)
    done = walk.point_id
    walk.handle({"do": "value", "point": done, "record": walk.shown(done)[0], "value": 5})
    walk.handle({"do": "time", "minutes": 40})
    assert walk.point_id not in walk.touched()


def test_a_time_chosen_in_the_middle_leaves_the_point_that_is_open(visit_and_book: Opened) -> None:
    casebook, visit = visit_and_book
    walk = Walk(casebook, visit.id, minutes=20)
    walk.handle({"do": "value", "point": "case-legs", "record": walk.shown("case-legs")[0], "value": 5})
    walk.handle({"do": "go", "point": "papers-moves"})
    walk.handle({"do": "time", "minutes": 40})
    assert walk.point_id == "papers-moves"


def test_the_time_is_over_when_it_has_gone_and_never_where_none_was_set(visit_and_book: Opened) -> None:
    casebook, visit = visit_and_book
    assert not hour_view(Walk(casebook, visit.id, minutes=20))["over"]
    walk = Walk(casebook, visit.id)
    walk.handle({"do": "time", "minutes": None})
    assert not hour_view(walk)["over"]


def test_after_the_last_area_comes_no_other(visit_and_book: Opened) -> None:
    casebook, visit = visit_and_book
    walk = Walk(casebook, visit.id, minutes=20)
    last = walk.checklist.areas[-1]
    walk_actions._go_area(walk, {"area": last})
    walk.mode = "area"
    assert walk_actions.is_last(walk)
    walk_actions._step_area(walk, 1)
    assert walk.point.area == last
    walk_actions._step_area(walk, -1)
    assert walk.point.area == walk.checklist.areas[-2]
    assert not walk_actions.is_last(walk)


def test_what_is_named_ends_with_how_many_more_there_are() -> None:
    names = [f"n{i}" for i in range(NAMED + 2)]
    assert "more" not in _some(names[:NAMED])
    assert _some(names).endswith("2 more")
    assert f"n{NAMED - 1}" in _some(names)
    assert f"n{NAMED}" not in _some(names)


def test_a_time_that_is_none_is_refused(driver: Driver) -> None:
    for minutes in (0, True, "soon"):
        answer = driver.send(do="time", minutes=minutes)
        assert "need 5 to 480 min" in answer["line"]
    assert driver.send(do="time", minutes=40)["ok"]
    assert [c["text"] for c in driver.view["hour"]["choices"] if c["chosen"]] == ["40 min"]


def test_the_walk_goes_by_what_a_look_is_worth(driver: Driver) -> None:
    driver.form.weigh({"chips": 5.0, "dip": 3.0})
    driver.value(True)
    driver.send(do="next")
    assert driver.point["id"] == "chips"
    driver.value(5)
    driver.send(do="next")
    assert driver.point["id"] == "dip"


def test_a_new_form_opens_where_the_walk_was_left(driver: Driver, visit_and_book: Opened) -> None:
    casebook, visit = visit_and_book
    driver.go("grooves")
    driver.value(3)
    driver.enter("note", note="kept")
    again = Driver(FindingsForm(open_casebook(casebook.folder), visit.id, checklist=CHECKLIST))
    assert again.point["id"] == "patched"
    again.go("grooves")
    assert [c["value"] for c in again.point["choices"] if c["chosen"]] == [3]
    assert again.point["note"] == "kept"
    again.value(2)
    assert [f.grade for f in again.saved] == [2]
    again.form._walk.casebook.close()


def test_two_examiners_at_one_point_keep_their_own_findings(driver: Driver, visit_and_book: Opened) -> None:
    casebook, visit = visit_and_book
    ben = Driver(FindingsForm(casebook, visit.id, checklist=CHECKLIST, examiner="Ben"))
    driver.go("grooves")
    ben.go("grooves")
    driver.value(3)
    ben.value(2)
    ben.enter("promise", promised="filed by May")
    driver.send(do="look")
    assert sorted((f.examiner, f.grade) for f in driver.saved) == [("Ana", 3), ("Ben", 2)]
    assert driver.point["others"] == [
        "Ben: Deep grooves, flat striking faces; little felt left in the treble. (grade 2 of 5); promised: filed by May"
    ]
    assert driver.point["promised"] == ""
    assert [c.by for c in casebook.log() if c.kind == "Finding"] == ["Ana", "Ben", "Ben"]


def test_a_promise_is_taken_back_as_every_other_change(driver: Driver) -> None:
    driver.go("grooves")
    driver.value(3)
    for promise in ("filed", "filed by May"):
        driver.enter("promise", promised=promise)
    for promise in ("filed", ""):
        assert driver.send(do="take back")["line"].startswith("Taken back at ")
        assert [(f.grade, f.promised) for f in driver.saved] == [(3, promise)]
        assert driver.point["promised"] == promise


def test_taking_back(driver: Driver, visit_and_book: Opened) -> None:
    driver.go("grooves")
    driver.value(3)
    driver.value(1)
    driver.go("dip")
    assert driver.send(do="take back")["line"].startswith("Taken back at ")
    assert [f.grade for f in driver.saved] == [3]
    assert driver.point["id"] == "grooves"
    driver.send(do="take back")
    assert driver.saved == ()
    assert not driver.view["can_take_back"]
    assert not driver.send(do="take back")["ok"]
    driver.value(4)
    assert [f.grade for f in driver.saved] == [4]
    assert [c.action for c in visit_and_book[0].log() if c.kind == "Finding"] == [
        "add",
        "change",
        "undo",
        "undo",
        "add",
    ]


def test_the_same_value_again_writes_no_second_entry(driver: Driver, visit_and_book: Opened) -> None:
    driver.go("grooves")
    driver.value(3)
    before = len(visit_and_book[0].log())
    assert driver.value(3)["ok"]
    assert len(visit_and_book[0].log()) == before


@pytest.mark.parametrize(
    "error", [CasebookError("casebook: got a full disk, need room."), OSError("no space")]
)
def test_a_write_that_fails_is_never_called_saved(
    driver: Driver, monkeypatch: pytest.MonkeyPatch, error: Exception
) -> None:
    @contextmanager
    def full(**_: Any) -> Any:
        raise error
        yield

    driver.go("grooves")
    monkeypatch.setattr(driver.form._walk.casebook, "editing", full)
    if isinstance(error, CasebookError):
        answer = driver.value(3)
    else:
        with pytest.raises(OSError, match="no space"):
            driver.form.receive(
                {
                    "from": "t",
                    "n": 1,
                    "do": "value",
                    "point": "grooves",
                    "record": driver.point["record"],
                    "value": 3,
                }
            )
        answer = driver.form.answer
    assert not answer["ok"]
    assert answer["line"].startswith("Not saved. ")
    assert driver.saved == ()
    assert not any(c["chosen"] for c in driver.point["choices"])


@pytest.mark.parametrize(
    "message",
    [
        None,
        [],
        "value",
        {},
        {"do": "drop"},
        {"do": "go", "point": "none"},
        {"do": "value"},
        {"do": "go area"},
    ],
)
def test_a_message_it_does_not_know_is_answered_in_one_line(driver: Driver, message: Any) -> None:
    driver.form.receive(message)
    assert not driver.form.answer["ok"]
    assert "\n" not in driver.form.answer["line"]
    assert driver.saved == ()


def test_no_such_visit(visit_and_book: Opened) -> None:
    with pytest.raises(BadInput, match="visit 'nowhere': got no such record"):
        FindingsForm(visit_and_book[0], "nowhere", checklist=CHECKLIST)


def test_the_view_is_plain_json(driver: Driver) -> None:
    driver.go("chips")
    driver.value(3)
    for data in (driver.form.view, driver.form.keyboard, driver.form.answer):
        assert json.loads(json.dumps(data)) == data
    assert len(driver.form.keyboard["keys"]) == 88


HOSTILE = "<script>alert(1)</script><img src=x onerror=alert(1)> \u202e\U0001f600 & \"'"


def test_hostile_text_is_stored_whole_and_shown_escaped(tmp_path: Path) -> None:
    casebook, visit = small_casebook(tmp_path / "book", name=HOSTILE)
    driver = Driver(FindingsForm(casebook, visit.id, checklist=CHECKLIST, examiner="<b>Eve</b>"))
    driver.go("grooves")
    driver.value(3)
    driver.enter("note", note=HOSTILE + "x" * 1_000_000)
    driver.enter("place", place="<i>bass</i>")
    driver.enter("promise", promised="<u>filed</u> " + HOSTILE + "x" * 1_000_000)
    assert driver.saved[0].note == HOSTILE + "x" * 1_000_000
    assert driver.saved[0].promised == "<u>filed</u> " + HOSTILE + "x" * 1_000_000
    html = driver.form.to_html()
    for tag in ("<script", "<img", "<b>", "<i>", "<u>"):
        assert tag not in html
    assert html.count("&lt;script&gt;alert(1)&lt;/script&gt;") == 3
    assert "; promised: &lt;u&gt;filed&lt;/u&gt; " in html
    casebook.close()


def lines_ended_alike(text: str) -> str:
    """As every record keeps a text: a line ends with a line feed, whatever the sender's machine ends it with.

    Otherwise one note typed on two machines would be two notes, and a clash between examiners.
    """
    return text.replace("\r\n", "\n").replace("\r", "\n")


@pytest.mark.parametrize(
    ("entry", "field", "kept"),
    [("note", "note", lines_ended_alike), ("promise", "promised", lambda text: " ".join(text.split()))],
    ids=["note as typed", "promise in one line"],
)
@example(text="\r")
@example(text="worn\r\nin the treble\rand bass\n\r")
@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(text=st.text(max_size=300))
def test_any_text_comes_back_or_is_refused(
    driver: Driver, entry: str, field: str, kept: Callable[[str], str], text: str
) -> None:
    driver.go("grooves")
    answer = driver.enter(entry, **{field: text})
    if answer["ok"]:
        assert driver.point[field] == kept(text)
    else:
        assert "\n" not in answer["line"]


def test_the_twin_says_what_is_open_and_why_something_is_missing(driver: Driver) -> None:
    driver.go("dip")
    driver.value("8.9")
    driver.go("grooves")
    driver.enter("reason", reason="allowed")
    html = driver.form.to_html()
    assert "1 of 5 points checked, 1 with a reason why not, 3 open." in html
    assert "8.9 mm, below the usual 9.5 to 10.5 mm" in html
    assert "Not allowed: not allowed by the owner" in html
    assert html.count("open: nobody has recorded it yet") == 3


def test_the_notebook_gets_the_twin_beside_the_widget(driver: Driver) -> None:
    bundle, _ = driver.form._repr_mimebundle_()
    assert bundle["text/html"] == driver.form.to_html()
    assert "application/vnd.jupyter.widget-view+json" in bundle


def test_a_finding_outside_the_checklist_is_still_on_the_twin(driver: Driver, visit_and_book: Opened) -> None:
    casebook, visit = visit_and_book
    own = Point(id="own.idea", area="Keys", title="An idea", why="w", how="h")
    with casebook.editing(by="Ana", checklist=Checklist((own,))) as edit:
        edit.add(Finding(visit_id=visit.id, point="own.idea", grade=2))
    assert "own.idea" in driver.form.to_html()


def test_another_field_changed_in_another_tab_is_merged(driver: Driver, visit_and_book: Opened) -> None:
    casebook, _ = visit_and_book
    driver.go("grooves")
    driver.value(3)
    seen = driver.saved[0]
    with casebook.editing(by=seen.examiner) as edit:
        edit.change(replace(seen, note="from the other tab"), was=seen)
    assert driver.value(2)["ok"]
    assert (driver.saved[0].grade, driver.saved[0].note) == (2, "from the other tab")


def test_the_casebooks_own_points_are_walked(visit_and_book: Opened) -> None:
    casebook, visit = visit_and_book
    text = '[[point]]\nid = "own.idea"\narea = "Keys"\ntitle = "An idea"\nwhy = "w"\nhow = "h"\nrecord = "yes_no"'
    keep_settings(casebook, KeptSettings(checklist=OwnFile("own.toml", text)))
    assert "own.idea" in Walk(casebook, visit.id, examiner="Ana").checklist


def test_a_visit_is_given_itself_or_by_its_id(visit_and_book: Opened) -> None:
    casebook, visit = visit_and_book
    for right in (visit, visit.id):
        assert FindingsForm(casebook, right).view["title"]
    for wrong in (casebook.pianos()[0], 3, None, "nobody"):
        with pytest.raises(BadInput) as caught:
            FindingsForm(casebook, wrong)  # type: ignore[arg-type]
        assert "visit" in str(caught.value)
        assert "database" not in str(caught.value)
        assert "\n" not in str(caught.value)


def two_screens(casebook: Casebook, visit: Visit, point: str) -> tuple[Driver, Driver]:
    one, other = (Driver(FindingsForm(casebook, visit.id, checklist=CHECKLIST, examiner="Ana")) for _ in "12")
    for screen in (one, other):
        screen.go(point)
    return one, other


@pytest.mark.parametrize("answer", [True, False, None])
def test_a_second_screen_at_a_fresh_point_is_shown_both_and_asked(
    visit_and_book: Opened, answer: bool | None
) -> None:
    casebook, visit = visit_and_book
    one, other = two_screens(casebook, visit, "grooves")
    assert one.value(5)["ok"]
    refused = other.value(2)
    assert not refused["ok"]
    assert "from you, and meanwhile elsewhere" in refused["line"]
    assert other.point["asked"] == {
        "mine": f"{GROOVES[3]} (grade 2 of 5)",
        "saved": f"{GROOVES[0]} (grade 5 of 5)",
    }
    assert [f.grade for f in casebook.findings(visit.id)] == [5]
    done = other.value(2) if answer is None else other.send(do="settle", point="grooves", mine=answer)
    assert done["ok"]
    assert other.point["asked"] == {}
    kept = 5 if answer is False else 2
    assert [f.grade for f in casebook.findings(visit.id)] == [kept], "one record, not two"
    assert [c["chosen"] for c in other.point["choices"]].index(True) == 5 - kept
    assert not other.send(do="settle", point="grooves", mine=True)["ok"], "the question is settled"


def test_a_note_from_a_second_screen_goes_to_the_first_ones_answer_unasked(visit_and_book: Opened) -> None:
    casebook, visit = visit_and_book
    one, other = two_screens(casebook, visit, "grooves")
    assert one.value(5)["ok"]
    assert other.enter("note", note="worst above the break")["ok"]
    assert [(f.grade, f.note) for f in casebook.findings(visit.id)] == [(5, "worst above the break")]


def test_a_third_entry_while_the_question_stands_asks_anew(visit_and_book: Opened) -> None:
    casebook, visit = visit_and_book
    one, other = two_screens(casebook, visit, "grooves")
    assert one.value(5)["ok"]
    assert not other.value(2)["ok"]
    assert one.value(4)["ok"]
    assert not other.send(do="settle", point="grooves", mine=True)["ok"]
    assert other.point["asked"]["saved"].endswith("(grade 4 of 5)")
    assert other.send(do="settle", point="grooves", mine=True)["ok"]
    assert [f.grade for f in casebook.findings(visit.id)] == [2]


def test_what_was_taken_back_elsewhere_may_be_put_again(visit_and_book: Opened) -> None:
    casebook, visit = visit_and_book
    one, other = two_screens(casebook, visit, "grooves")
    assert one.value(5)["ok"]
    other.send(do="look")
    one.send(do="take back")
    assert not other.value(2)["ok"]
    assert other.point["asked"]["saved"] == "taken back"
    assert other.send(do="settle", point="grooves", mine=True)["ok"]
    assert [f.grade for f in casebook.findings(visit.id)] == [2]
