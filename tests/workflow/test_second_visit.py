"""A second visit in a casebook: promises, what came to light, and what that does to the ranking."""

from __future__ import annotations

import importlib.util
from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pytest

from pianolab.acoustics import Survey
from pianolab.assess import VisitChanges
from pianolab.casebook import Casebook, create_casebook
from pianolab.checklist import findings_for, load_checklist, load_scenario
from pianolab.compare import RankingChange
from pianolab.errors import BadInput
from pianolab.io import Sound
from pianolab.model import Examiner, Finding, Piano, Visit
from pianolab.workflow import ranking_changes, visit_changes
from pianolab.workflow.listening import survey_record
from pianolab.workflow.second_visit import hear_then_and_now, load_second_visit

_PATH = Path(__file__).resolve().parent.parent / "assess" / "conftest.py"
_SPEC = importlib.util.spec_from_file_location("handmade_surveys", _PATH)
assert _SPEC is not None
assert _SPEC.loader is not None
_surveys = importlib.util.module_from_spec(_SPEC)
_SPEC.loader.exec_module(_surveys)

CHECKLIST = load_checklist()
SCENARIO = load_scenario(CHECKLIST)
FIRST, SECOND = date(2026, 3, 14), date(2026, 4, 11)
TUNED = {"faults": {"short_sustain": range(54, 74)}, "seed": 1}
"""After the tuning: pitch and unisons are right, and the short treble stands in the open."""


def noise(seconds: float, *, level: float, seed: int) -> Sound:
    rate_hz = 16000
    samples = level * np.random.default_rng(seed).standard_normal((round(seconds * rate_hz), 1))
    return Sound(samples.astype(np.float32), rate_hz, f"noise {seed}")


def enter(book: Casebook, *, visit: Visit, findings, survey: Survey, sound: Sound | None = None) -> None:
    with book.editing(by="Ana") as edit:
        edit.add(visit)
        for finding in findings:
            edit.add(finding)
        short = Sound(np.zeros((4410, 1), np.float32), 44100, "not listened to")
        recording = edit.add_sound(visit.id, sound or short)
        edit.add(survey_record(recording, survey))


def shortlist(folder: Path, *, names: tuple[str, ...], again: dict | None = None) -> Casebook:
    """A casebook of some of the scenario's instruments with hand-made surveys, the badly tuned one twice."""
    book = create_casebook(folder)
    for piano in (p for p in SCENARIO.instruments if p.name in names):
        condition = SCENARIO.default_condition[piano.name]
        mine = replace(piano, id=piano.name)
        with book.editing(by="Ana") as edit:
            edit.add(mine)
        visit = Visit(id=f"{piano.name} 1", piano_id=mine.id, day=FIRST)
        findings = findings_for(SCENARIO.conditions[condition], visit_id=visit.id, piano=mine)
        survey = _surveys.build_survey(**_surveys.SOUND_OF[condition])
        enter(book, visit=visit, findings=findings, survey=survey)
        if condition == "masked treble" and again is not None:
            later = Visit(id=f"{piano.name} 2", piano_id=mine.id, day=SECOND)
            found = load_second_visit().findings(visit_id=later.id, examiner="")
            enter(book, visit=later, findings=found, survey=_surveys.build_survey(**again))
    return book


MASKED = next(name for name, c in SCENARIO.default_condition.items() if c == "masked treble")
FINE = next(name for name, c in SCENARIO.default_condition.items() if c == "fine in a dull room")
WORN = next(name for name, c in SCENARIO.default_condition.items() if c == "worn but honest")


@pytest.fixture(scope="module")
def book(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Casebook]:
    with shortlist(tmp_path_factory.mktemp("two") / "book", names=(MASKED, FINE, WORN), again=TUNED) as book:
        yield book


@pytest.fixture(scope="module")
def changes(book: Casebook) -> VisitChanges:
    return visit_changes(book, MASKED)


@pytest.fixture(scope="module")
def change(book: Casebook) -> RankingChange:
    return ranking_changes(book)


@pytest.mark.slow
def test_promises_are_followed_up(changes: VisitChanges) -> None:
    kept = {p.point: p.kept for p in changes.promises}
    assert kept == {"tuning-pitch": "kept", "case-finish": "not looked at again"}
    assert [p.point for p in changes.broken] == ["case-finish"]
    assert "1 of 2 promises kept" in changes.headline()


def test_a_piano_tuned_in_between_tells_nothing_about_its_pins(changes: VisitChanges) -> None:
    assert changes.holding is not None
    assert changes.holding.state == "tuned in between"
    assert "nothing can be said about the pins" in changes.pins_sentence()


def test_what_the_tuning_hid_came_to_light_and_is_not_called_new(changes: VisitChanges) -> None:
    treble = next(h for h in changes.heard if h.of == "treble notes")
    assert (treble.before, treble.after, treble.hidden_after) == (0, 20, 0)
    assert treble.came_to_light == tuple(range(54, 74))
    assert treble.new == ()
    assert "could not be heard before" in treble.sentence()
    assert changes.pitch_before_cents == pytest.approx(-25.0)
    assert changes.pitch_after_cents == pytest.approx(0.0)


@pytest.mark.slow
def test_the_ranking_changes_for_a_stated_reason(change: RankingChange) -> None:
    """Before: a tuning is asked for and could change what to do. After: the treble is known, short, and named as the reason."""
    assert change.before.assessment(MASKED).hidden_by_tuning
    tuning = next(s for s in change.before.next_steps if s.effort == "tune and record again")
    assert (tuning.piano_id, tuning.payer) == (MASKED, "seller")
    assert tuning.chance_to_change > 0.1
    assert "24 of 24 treble notes hidden" in tuning.text
    assert not change.after.assessment(MASKED).hidden_by_tuning
    assert not any(
        s.piano_id == MASKED and s.effort == "tune and record again" for s in change.after.next_steps
    )
    for side in (change.before, change.after):
        beyond = [s.net for s in side.next_steps if s.pays]
        assert beyond == sorted(beyond, reverse=True), "what is worth most beyond its cost stands first"
        assert not any(s.pays for s in side.next_steps[len(beyond) :])
    moved = next(m for m in change.moved if m.piano_id == MASKED)
    assert moved.first_after < moved.first_before
    assert moved.reasons[0].startswith("tone -")
    assert "short sustain in 20 of 24 treble notes" in moved.reasons[0]
    assert "short sustain" in moved.sentence()


@pytest.mark.slow
def test_a_treble_that_turns_out_sound_moves_it_up_for_the_opposite_reason(tmp_path: Path) -> None:
    """The same visit with a good treble: the reason follows what is heard."""
    with shortlist(tmp_path / "book", names=(MASKED, FINE), again={"seed": 1}) as book:
        moved = next(m for m in ranking_changes(book).moved if m.piano_id == MASKED)
    assert moved.first_after > moved.first_before
    assert not any("short sustain" in reason for reason in moved.reasons)
    assert any("known more closely: tone" in reason for reason in moved.reasons)


@pytest.mark.slow
def test_a_piano_that_did_not_change_says_so(change: RankingChange) -> None:
    for moved in change.moved:
        if moved.piano_id != MASKED and moved.reasons:
            assert moved.reasons == ("nothing about it changed, others did",)


@pytest.mark.slow
def test_the_same_keys_are_played_then_and_now_equally_loud(tmp_path: Path) -> None:
    with create_casebook(tmp_path / "book") as book:
        with book.editing(by="Ana") as edit:
            edit.add(Piano(id="p", name="p"))
        for n, day in enumerate((FIRST, SECOND), start=1):
            survey = _surveys.build_survey(**TUNED)
            seconds = float(survey.table["onset_s"].max()) + 3.0
            visit = Visit(piano_id="p", day=day)
            sound = noise(seconds, level=0.02 * n, seed=n)
            enter(book, visit=visit, findings=(), survey=survey, sound=sound)
        played = hear_then_and_now(book, "p", keys=[40, 64])
        assert [c.key for pair in played.pairs for c in pair] == [40, 40, 64, 64]
        assert played._repr_html_().count("<audio") == 4
        for then, now in played.pairs:
            assert then.data != now.data, "two recordings"
        with pytest.raises(BadInput, match=r"key: got 90 .*, which was not measured then"):
            hear_then_and_now(book, "p", keys=[90])
        assert hear_then_and_now(book, "p").pairs


def test_what_cannot_be_played_is_said(tmp_path: Path, book: Casebook) -> None:
    assert "ends before these keys" in hear_then_and_now(book, MASKED, keys=[40]).headline()
    with shortlist(tmp_path / "silent", names=(MASKED,)) as other:
        with pytest.raises(BadInput, match=f"visits to {MASKED}: got 1"):
            hear_then_and_now(other, MASKED)
        with other.editing(by="Ana") as edit:
            edit.add(Visit(piano_id=MASKED, day=SECOND))
        missing = hear_then_and_now(other, MASKED)
        assert missing.pairs == ()
        assert "nothing was recorded now" in missing.headline()


def test_one_visit_is_no_second_visit(book: Casebook, tmp_path: Path) -> None:
    with pytest.raises(BadInput, match=rf"visits to {FINE}: got 1, need two, on different days"):
        visit_changes(book, FINE)
    with (
        shortlist(tmp_path / "book", names=(FINE,)) as single,
        pytest.raises(BadInput, match="since: got no piano visited twice"),
    ):
        ranking_changes(single)


@pytest.mark.parametrize(("role", "kept"), [("piano technician", True), ("pianist", False)])
def test_where_two_look_on_the_last_day_it_counts_who_they_are(tmp_path: Path, role: str, kept: bool) -> None:
    """Two visits on one day: of Ada, who finds that the promise was kept, and of Ben, a layman, who does not."""
    with create_casebook(tmp_path / "book") as book:
        with book.editing(by="Ada") as edit:
            piano = edit.add(Piano(name="upstairs"))
            edit.add(Examiner(name="Ada", role=role))
            for day, examiner, grade in ((FIRST, "Ben", 2), (SECOND, "Ada", 5), (SECOND, "Ben", 1)):
                visit = edit.add(Visit(piano_id=piano.id, day=day, examiner=examiner))
                promised = "to be driven in" if day == FIRST else ""
                edit.add(
                    Finding(
                        visit_id=visit.id,
                        point="pins-look",
                        grade=grade,
                        examiner=examiner,
                        promised=promised,
                    )
                )
        changes = visit_changes(book, "upstairs")
    (pins,) = [p for p in changes.points if p.point == "pins-look"]
    assert (pins.kept == "kept") == kept
