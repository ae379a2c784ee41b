"""Editing blocks: all or nothing; what belongs together stays together."""

import threading
from dataclasses import replace
from datetime import UTC, date, datetime
from uuid import uuid4

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pianolab.casebook import open_casebook
from pianolab.casebook.reading import select_bodies
from pianolab.errors import BadInput, CasebookError
from pianolab.model import Buyer, Examiner, Finding, Photo, Piano, SurveyRecord, Visit


def grades(book):
    return [finding.grade for finding in book.findings()]


def test_what_was_added_is_there_after_reopening(case):
    case.book.close()
    with open_casebook(case.place) as again:
        assert again.pianos() == (case.piano,)
        assert again.visits(case.piano.id) == (case.visit,)
        assert again.findings(case.visit.id) == (case.finding,)


def test_a_block_that_fails_leaves_nothing(case):
    before = case.book.log()

    def broken_off() -> None:
        with case.book.editing(by="Ana") as edit:
            edit.add(Examiner(name="Ben"))
            edit.change(replace(case.finding, grade=1))
            raise RuntimeError("dropped the torch")

    with pytest.raises(RuntimeError, match="dropped the torch"):
        broken_off()
    assert case.book.examiners() == ()
    assert grades(case.book) == [4]
    assert case.book.log() == before


def test_a_refused_record_takes_the_whole_block_back(case):
    def refused() -> None:
        with case.book.editing(by="Ana") as edit:
            edit.add(Examiner(name="Ben"))
            edit.add(Visit(piano_id="nobody", day=date(2026, 1, 1)))

    with pytest.raises(BadInput, match="piano_id"):
        refused()
    assert case.book.examiners() == ()


def test_nothing_is_seen_outside_before_the_block_ends(case):
    with case.book.editing(by="Ana") as edit:
        edit.add(Examiner(name="Ben"))
        assert case.book.examiners() == ()
    assert [e.name for e in case.book.examiners()] == ["Ben"]


def test_references_must_be_there(case):
    with case.book.editing(by="Ana") as edit:
        with pytest.raises(BadInput, match="Visit piano_id: got 'nobody'"):
            edit.add(Visit(piano_id="nobody", day=date(2026, 1, 1)))
        with pytest.raises(BadInput, match="Finding visit_id: got"):
            edit.add(Finding(visit_id=case.piano.id, point="pins-rust", grade=3))
        with pytest.raises(BadInput, match="SurveyRecord recording_id"):
            edit.add(SurveyRecord(visit_id=case.visit.id, recording_id="r", version="1", survey_json="{}"))
        with pytest.raises(BadInput, match="Photo visit_id"):
            edit.add(Photo(visit_id="x", media="m.jpg"))
        with pytest.raises(BadInput, match="Finding visit_id"):
            edit.change(replace(case.finding, visit_id="x"))


def test_ids_are_given_once(case):
    with case.book.editing(by="Ana") as edit, pytest.raises(BadInput, match="an id that is there already"):
        edit.add(replace(case.piano, name="another"))


def test_only_what_is_there_can_be_changed(case):
    with case.book.editing(by="Ana") as edit:
        with pytest.raises(BadInput, match="no such record"):
            edit.change(Piano(name="new"))
        with pytest.raises(BadInput, match="no such record"):
            edit.change(Examiner(id=case.piano.id, name="a piano's id"))


def test_a_change_that_changes_nothing_is_no_entry(case):
    before = case.book.log()
    with case.book.editing(by="Ana") as edit:
        edit.change(case.finding)
    assert case.book.log() == before


def test_a_stale_change_is_refused_with_both_shown(case):
    with case.book.editing(by="Ben") as edit:
        edit.change(replace(case.finding, grade=2))
    with case.book.editing(by="Ana") as edit:
        with pytest.raises(CasebookError, match=r"grade: got 5 from you and meanwhile 2 from Ben") as caught:
            edit.change(replace(case.finding, grade=5), was=case.finding)
        assert "\n" not in str(caught.value)
    assert grades(case.book) == [2]


def test_blocks_are_not_nested(case):
    with (
        case.book.editing(by="Ana"),
        pytest.raises(CasebookError, match="a block inside a block"),
        case.book.editing(by="Ben"),
    ):
        pass
    with case.book.editing(by="Ben") as edit:
        edit.add(Examiner(name="Ben"))


def test_a_block_that_has_ended_takes_nothing(case):
    with case.book.editing(by="Ana") as edit:
        pass
    with pytest.raises(CasebookError, match="a block that has ended"):
        edit.add(Examiner(name="late"))


@pytest.mark.parametrize("by", ["", " ", "x" * 300, "\ud800"])
def test_everybody_signs_with_a_name(case, by):
    with pytest.raises(BadInput, match="by: got"), case.book.editing(by=by):
        pass


def test_two_threads_write_at_once(case):
    def work(name):
        for number in range(20):
            with case.book.editing(by=name) as edit:
                edit.add(Examiner(name=f"{name} {number}"))

    threads = [threading.Thread(target=work, args=(name,)) for name in ("a", "b")]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len({e.name for e in case.book.examiners()}) == 40


def test_removed_records_are_out_of_view_and_in_the_log(case):
    with case.book.editing(by="Ana") as edit:
        with pytest.raises(BadInput, match="1 records that belong to it"):
            edit.remove(case.visit.id)
        edit.remove(case.finding.id)
        edit.remove(case.visit.id)
        with pytest.raises(BadInput, match="no such record"):
            edit.remove(case.visit.id)
    assert case.book.findings() == case.book.visits() == ()
    assert case.book.log(case.finding.id)[-1].action == "remove"
    with case.book.editing(by="Ana") as edit, pytest.raises(BadInput, match="Visit in this casebook"):
        edit.add(Finding(visit_id=case.visit.id, point="pins-rust", grade=3))


def test_the_log_says_who_when_what(case):
    start = datetime.now(UTC)
    with case.book.editing(by="Ben") as edit:
        edit.change(replace(case.finding, grade=2))
    change = case.book.log()[-1]
    assert (change.by, change.action, change.kind, change.record_id) == (
        "Ben",
        "change",
        "Finding",
        case.finding.id,
    )
    assert (change.before["grade"], change.after["grade"]) == (4, 2)
    assert start <= change.at <= datetime.now(UTC)
    assert ("grade", "4", "2") in change.rows()
    assert [c.action for c in case.book.log(case.finding.id)] == ["add", "change"]
    assert len({c.machine for c in case.book.log()}) == 1


def test_the_state_of_any_moment(case):
    moments = []
    for grade in (3, 2, 1):
        moments.append(datetime.now(UTC))
        with case.book.editing(by="Ben") as edit:
            edit.change(replace(case.finding, grade=grade))
    for moment, grade in zip(moments, (4, 3, 2), strict=True):
        then = case.book.as_of(moment)
        assert [f.grade for f in then.findings()] == [grade]
        assert [f.grade for f in then.findings(piano_id=case.piano.id)] == [grade]
        assert then.piano("by the window") == case.piano
        assert then.findings(piano_id="another") == ()
        assert then.findings(visit_id=case.visit.id) == then.current_findings(case.piano.id)
    assert case.book.as_of(datetime(2020, 1, 1, tzinfo=UTC)).pianos() == ()
    now = case.book.as_of(datetime.now())
    assert now.findings() == case.book.findings()


def test_a_removed_record_is_still_there_as_of_before(case):
    before = datetime.now(UTC)
    with case.book.editing(by="Ana") as edit:
        edit.remove(case.finding.id)
    assert case.book.as_of(before).findings() == (case.finding,)
    assert case.book.as_of(datetime.now(UTC)).findings() == ()


def test_a_clock_set_back_does_not_turn_the_order(case, monkeypatch):
    from pianolab.casebook import ledger

    class Earlier(datetime):
        @classmethod
        def now(cls, tz=None):
            return datetime(2020, 1, 1, tzinfo=tz)

    monkeypatch.setattr(ledger, "datetime", Earlier)
    for grade in (3, 2):
        with case.book.editing(by="Ana") as edit:
            edit.change(replace(case.finding, grade=grade))
    log = case.book.log(case.finding.id)
    assert [c.after["grade"] for c in log] == [4, 3, 2]
    assert log[0].at < log[1].at < log[2].at


def test_undo_goes_back_step_by_step(case):
    with case.book.editing(by="Ben") as edit:
        edit.change(replace(case.finding, grade=3))
        edit.change(replace(case.finding, grade=2))
        added = edit.add(Finding(visit_id=case.visit.id, point="pins-rust", grade=5))
    assert case.book.undo(by="Ben").record_id == added.id
    assert grades(case.book) == [2]
    change = case.book.undo(by="Ben")
    assert (change.action, change.before["grade"], change.after["grade"]) == ("undo", 2, 3)
    assert grades(case.book) == [3]
    case.book.undo(by="Ben")
    assert grades(case.book) == [4]
    with pytest.raises(CasebookError, match="undo by Ben: got no change of theirs"):
        case.book.undo(by="Ben")
    assert [c.action for c in case.book.log() if c.by == "Ben"] == [
        "change",
        "change",
        "add",
        "undo",
        "undo",
        "undo",
    ]


def test_redo_brings_back_step_by_step(case):
    with case.book.editing(by="Ben") as edit:
        edit.change(replace(case.finding, grade=3))
        edit.change(replace(case.finding, grade=2))
        lid = edit.add(Finding(visit_id=case.visit.id, point="pins-rust", grade=5))
    for _ in range(3):
        case.book.undo(by="Ben")
    for expected in ([3], [2], [2, 5]):
        change = case.book.redo(by="Ben")
        assert grades(case.book) == expected
    assert (change.action, change.record_id, change.before) == ("redo", lid.id, None)
    with pytest.raises(CasebookError, match="redo by Ben: got no undo of theirs"):
        case.book.redo(by="Ben")
    # What was brought back can be taken back again, and so on.
    for _ in range(3):
        case.book.undo(by="Ben")
        case.book.redo(by="Ben")
        assert grades(case.book) == [2, 5]
    for _ in range(3):
        case.book.undo(by="Ben")
    assert grades(case.book) == [4]
    assert case.book.verify().ok


def test_nothing_is_brought_back_over_something_new(case):
    with case.book.editing(by="Ben") as edit:
        edit.change(replace(case.finding, grade=3))
    case.book.undo(by="Ben")
    with case.book.editing(by="Ana") as edit:
        edit.add(
            Finding(visit_id=case.visit.id, point="pins-rust", grade=1)
        )  # another's entry doesn't matter
    case.book.redo(by="Ben")
    case.book.undo(by="Ben")
    with case.book.editing(by="Ben") as edit:
        edit.add(Finding(visit_id=case.visit.id, point="pins-look", grade=2))
    with pytest.raises(CasebookError, match="redo by Ben: got no undo of theirs"):
        case.book.redo(by="Ben")
    assert case.book.undo(by="Ben").kind == "Finding"
    assert grades(case.book) == [4, 1]


def test_redo_is_refused_where_another_changed_that_since(case):
    with case.book.editing(by="Ben") as edit:
        edit.change(replace(case.finding, grade=3))
    case.book.undo(by="Ben")
    with case.book.editing(by="Ana") as edit:
        edit.change(replace(case.finding, grade=1))
    with pytest.raises(CasebookError, match=r'redo by Ben: .*now \{"grade": 1\}.*\{"grade": 4\}'):
        case.book.redo(by="Ben")
    assert grades(case.book) == [1]


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(steps=st.lists(st.sampled_from(["enter", "undo", "redo", "other"]), max_size=12))
def test_undo_and_redo_are_those_of_any_editor(folder_case, steps):
    """Against a list with a pointer, the usual model; another's changes elsewhere don't matter."""
    book = folder_case.book
    by = f"Ben {uuid4().hex}"  # a name of its own: the casebook goes on
    with book.editing(by="Ana") as edit:
        mine = edit.add(Finding(visit_id=folder_case.visit.id, point="papers-moves", count=0))
        theirs = edit.add(Finding(visit_id=folder_case.visit.id, point="keys-chips", count=0))
    values, pointer = [0], 0
    for number, step in enumerate(steps, start=1):
        if step == "enter":
            values, pointer = [*values[: pointer + 1], number], pointer + 1
            with book.editing(by=by) as edit:
                edit.change(replace(mine, count=number))
        elif step == "other":
            with book.editing(by="Ana") as edit:
                edit.change(replace(theirs, count=number))
        elif 0 <= pointer + (move := {"undo": -1, "redo": 1}[step]) < len(values):
            pointer += move
            getattr(book, step)(by=by)
        else:
            with pytest.raises(CasebookError, match=f"{step} by Ben"):
                getattr(book, step)(by=by)
        assert next(f.count for f in book.findings() if f.id == mine.id) == values[pointer]


def test_what_was_removed_does_not_come_back_without_what_it_belongs_to(case):
    with case.book.editing(by="Ben") as edit:
        edit.remove(case.finding.id)
    with case.book.editing(by="Ana") as edit:
        edit.remove(case.visit.id)
    with pytest.raises(BadInput, match="Finding visit_id"):
        case.book.undo(by="Ben")
    case.book.undo(by="Ana")
    case.book.undo(by="Ben")
    assert grades(case.book) == [4]


def test_undo_touches_nobody_elses_change(case):
    with case.book.editing(by="Ben") as edit:
        other = edit.add(Finding(visit_id=case.visit.id, point="pins-rust", grade=5))
    with case.book.editing(by="Ana") as edit:
        edit.change(replace(case.finding, grade=1))
    case.book.undo(by="Ben")
    assert grades(case.book) == [1]
    assert other not in case.book.findings()


def test_undo_in_one_visit_passes_over_what_was_entered_elsewhere(case, photo_file):
    book, piano, visit, finding = case.book, case.piano, case.visit, case.finding
    with book.editing(by="Ana") as edit:
        edit.change(replace(finding, grade=2))
        second = edit.add(Visit(piano_id=piano.id, day=date(2026, 6, 1)))
        elsewhere = edit.add(Finding(visit_id=second.id, point="bridge-treble", grade=1))
        eve = edit.add(Examiner(name="Eve"))
        edit.change(replace(visit, note="rain"))
    change = book.undo(by="Ana", visit_id=visit.id)
    assert (change.kind, change.record_id) == ("Finding", finding.id)
    assert [f.grade for f in book.findings(visit.id)] == [finding.grade]
    assert book.findings(second.id) == (elsewhere,)
    assert book.visit(visit.id).note == "rain"
    book.undo(by="Ana", visit_id=visit.id)
    assert book.findings(visit.id) == ()
    with pytest.raises(
        CasebookError, match="undo by Ana: got no change of theirs, need a change of this visit"
    ):
        book.undo(by="Ana", visit_id=visit.id)
    with book.editing(by="Ana") as edit:
        edit.add_photo(second.id, photo_file)
        assert edit.undo(visit_id=second.id, kinds=("Finding",)).record_id == elsewhere.id
    assert len(book.photos(second.id)) == 1
    # Without a visit it is still the very last one, whatever it was about.
    assert book.undo(by="Ana").kind == "Photo"
    assert book.undo(by="Ana").record_id == visit.id
    assert eve in book.examiners()


def test_undo_is_refused_where_another_changed_that_since(case):
    with case.book.editing(by="Ben") as edit:
        edit.change(replace(case.finding, grade=3))
    with case.book.editing(by="Ana") as edit:
        edit.change(replace(case.finding, grade=2))
    with pytest.raises(CasebookError, match=r'"grade": 2.*"grade": 3'):
        case.book.undo(by="Ben")
    assert grades(case.book) == [2]


def test_undo_of_an_addition_that_others_build_on_is_refused(case):
    with case.book.editing(by="Ben") as edit:
        visit = edit.add(Visit(piano_id=case.piano.id, day=date(2026, 6, 1)))
    with case.book.editing(by="Ana") as edit:
        edit.add(Finding(visit_id=visit.id, point="pins-rust", grade=3))
    with pytest.raises(BadInput, match="belong to by now"):
        case.book.undo(by="Ben")


def test_undo_of_a_removal_brings_it_back(case):
    with case.book.editing(by="Ana") as edit:
        edit.remove(case.finding.id)
    case.book.undo(by="Ana")
    assert case.book.findings() == (case.finding,)


def test_pianos_by_name_or_id(case):
    assert case.book.piano(case.piano.id) == case.book.piano("by the window") == case.piano
    with pytest.raises(BadInput, match="This casebook has: by the window"):
        case.book.piano("in the cellar")
    assert case.book.visit(case.visit.id) == case.visit
    with pytest.raises(BadInput, match="no such record"):
        case.book.visit("nothing")


def test_the_finding_that_counts_is_the_latest(case):
    with case.book.editing(by="Ana") as edit:
        later = edit.add(Visit(piano_id=case.piano.id, day=date(2026, 6, 1)))
        earlier = edit.add(Visit(piano_id=case.piano.id, day=date(2026, 4, 1)))
        newest = edit.add(Finding(visit_id=later.id, point="bridge-treble", grade=2, keys=(1, 2)))
        edit.add(Finding(visit_id=earlier.id, point="bridge-treble", grade=5, keys=(1, 2)))
        elsewhere = edit.add(Finding(visit_id=earlier.id, point="bridge-treble", grade=3, place="treble"))
        seen = edit.add(Finding(visit_id=earlier.id, point="pins-rust", grade=3))
        edit.add(Finding(visit_id=later.id, point="pins-rust", state="not checked", reason="no time"))
        never = edit.add(Finding(visit_id=later.id, point="pins-look", state="not allowed", reason="owner"))
    assert set(case.book.current_findings(case.piano.id)) == {newest, elsewhere, seen, never}
    assert case.book.current_findings("another") == ()


def test_opinions_side_by_side(case):
    with case.book.editing(by="Ana") as edit:
        both = [
            edit.add(Finding(visit_id=case.visit.id, point="touch-even", grade=g, examiner=e))
            for g, e in ((2, "A"), (4, "B"))
        ]
    assert set(both) <= set(case.book.current_findings(case.piano.id, per_examiner=True))
    assert len(set(both) & set(case.book.current_findings(case.piano.id))) == 1


def test_profiles_are_known_by_name(case):
    with case.book.editing(by="Ana") as edit:
        edit.add(Buyer(name="first piano"))
        edit.change(Buyer(name="first piano", level="beginner"))
    assert [p.level for p in case.book.profiles()] == ["beginner"]


@pytest.mark.parametrize("where", [{"visit_id": "v"}, {"of_piano": "p"}, {"id": "x"}])
def test_a_few_records_are_found_without_walking_through_all(folder_case, where):
    statement = select_bodies("Finding", where).compile(
        folder_case.book._engine, compile_kwargs={"literal_binds": True}
    )
    with folder_case.book._engine.connect() as connection:
        plan = connection.exec_driver_sql(f"EXPLAIN QUERY PLAN {statement}").all()
    steps = [row[-1] for row in plan if row[-1].startswith(("SCAN", "SEARCH"))]
    assert steps
    assert all(step.startswith("SEARCH") and "ix_record_kind" not in step for step in steps[:1]), steps


def test_who_wrote_last_is_the_last_to_change_that_field_else_the_last_at_all(case):
    with case.book.editing(by="Ben") as edit:
        edit.change(replace(case.piano, address="elsewhere"))
        assert edit._ledger.last_writer(case.piano.id, ["address"]) == "Ben"
        assert edit._ledger.last_writer(case.piano.id, ["name"]) == "Ana"
        assert edit._ledger.last_writer(case.visit.id, ["of nobody"]) == "Ana"
