"""Recordings into a casebook, and a casebook into a comparison."""

from datetime import date
from decimal import Decimal
from pathlib import Path

import numpy as np
import pytest
import sqlalchemy as sa

from pianolab.acoustics import Survey
from pianolab.casebook import create_casebook
from pianolab.casebook.codec import to_json
from pianolab.casebook.engine import writing
from pianolab.casebook.tables import record
from pianolab.errors import BadInput, CasebookError
from pianolab.io import write_sound
from pianolab.model import Buyer, Piano, Visit
from pianolab.sound_model import PianoModel, render_scale
from pianolab.workflow import decide, export, keep_survey, listen_file, survey_into
from pianolab.workflow.listening import day_of

DAY = date(2026, 5, 2)


@pytest.fixture(scope="module")
def recording(tmp_path_factory: pytest.TempPathFactory) -> Path:
    scale = render_scale(PianoModel(seed=5), first_key=40, last_key=48, hold_s=0.8, gap_s=0.3, snr_db=50.0)
    return write_sound(
        tmp_path_factory.mktemp("sound") / "middle.wav",
        scale.samples,
        rate_hz=scale.rate_hz,
        subtype="PCM_16",
    )


@pytest.fixture
def book(tmp_path: Path):
    with create_casebook(tmp_path / "book") as casebook:
        with casebook.editing(by="Ana") as edit:
            edit.add(Piano(name="by the window", asking_price=Decimal(1000)))
            edit.add(Piano(name="in the hall", asking_price=Decimal(1500)))
        yield casebook


def hear(book, recording: Path, *, piano: str = "by the window", visit=DAY, **more):
    return survey_into(book, recording, piano=piano, visit=visit, first_key=40, last_key=48, **more)


@pytest.mark.slow
def test_it_is_kept_with_its_survey(book, recording) -> None:
    kept = hear(book, recording)
    assert kept.survey.summary.measured == 9
    assert [v.day for v in book.visits()] == [DAY]
    assert book.recordings() == (kept.recording,)
    (record,) = book.surveys(book.piano("by the window").id)
    assert Survey.from_json(record.survey_json).summary == kept.survey.summary
    assert record.version.startswith("0.")
    assert "middle.wav" in repr(kept)


def test_a_visit_of_that_day_is_used(book, recording) -> None:
    with book.editing(by="Ana") as edit:
        visit = edit.add(Visit(piano_id=book.piano("by the window").id, day=DAY, examiner="Ana"))
    assert hear(book, recording).recording.visit_id == visit.id
    assert len(book.visits()) == 1


@pytest.fixture
def two_on_one_day(book) -> tuple[Visit, Visit]:
    piano = book.piano("by the window")
    with book.editing(by="Ana") as edit:
        return tuple(edit.add(Visit(piano_id=piano.id, day=DAY, examiner=name)) for name in ("Ana", "Ben"))


@pytest.fixture
def heard(recording) -> Survey:
    return listen_file(recording, first_key=40, last_key=48)


def keep(book, recording, heard, **more):
    return keep_survey(book, recording, heard, piano="by the window", **more).recording.visit_id


def test_a_recording_goes_to_the_visit_that_is_named(book, recording, heard, two_on_one_day) -> None:
    for visit in two_on_one_day:
        assert keep(book, recording, heard, visit=visit.id, by="Cleo") == visit.id
    assert len(book.visits()) == 2


def test_of_two_visits_on_one_day_it_is_the_examiners_own_or_asked(
    book, recording, heard, two_on_one_day
) -> None:
    ana, ben = two_on_one_day
    assert keep(book, recording, heard, visit=DAY, by="Ana") == ana.id
    assert keep(book, recording, heard, visit=DAY, by="Ben") == ben.id
    before = book.log()
    with pytest.raises(BadInput) as caught:
        keep(book, recording, heard, visit=DAY, by="listening")
    line = str(caught.value)
    assert line.startswith("visit: got 2 visits to by the window on 2026-05-02, need the id of one: ")
    assert f"{ana.id} (Ana)" in line
    assert f"{ben.id} (Ben)" in line
    assert book.log() == before


@pytest.mark.parametrize(
    ("visit", "line"),
    [
        ("nothing", "visit 'nothing': got no such record"),
        (5, "visit: got 5, need the id of a visit, or its day"),
    ],
)
def test_visits_that_are_none(book, recording, heard, visit, line) -> None:
    with pytest.raises(BadInput, match=line):
        keep(book, recording, heard, visit=visit, by="Ana")
    assert not book.recordings()


def test_a_visit_to_another_piano_is_refused_before_listening(book, recording, two_on_one_day) -> None:
    with pytest.raises(BadInput, match="visit: got a visit to by the window, need one to in the hall"):
        hear(book, recording, piano="in the hall", visit=two_on_one_day[0].id, progress=never)
    assert not book.recordings()


def never(what: str, _share: float) -> None:
    raise AssertionError(f"listened already: {what}")


def test_bad_input_leaves_the_casebook_as_it_was(book, recording, tmp_path) -> None:
    before = book.log()
    with pytest.raises(BadInput, match="This casebook has: by the window, in the hall"):
        hear(book, recording, piano="elsewhere")
    hush = write_sound(tmp_path / "hush.wav", np.zeros(44100), rate_hz=44100)
    with pytest.raises(BadInput, match="silence"):
        hear(book, hush)
    assert book.log() == before
    assert not list((book.folder / "media").iterdir())


def test_days() -> None:
    assert day_of("2026-05-02") == DAY
    with pytest.raises(BadInput, match="visit: got 'yesterday'"):
        day_of("yesterday")


@pytest.mark.slow
def test_a_piano_without_a_recording_is_compared_and_its_sound_unknown(book, recording) -> None:
    hear(book, recording)
    decision = decide(book)
    silent = book.piano("in the hall")
    assert set(decision.surveys) == {book.piano("by the window").id}
    assert not decision.comparison.assessment(silent.id).heard
    assert decision.provenance["Recording of in the hall"] == "none; its sound is unknown"


def test_a_recording_without_a_survey_is_listened_to(book, recording) -> None:
    kept = hear(book, recording)
    with book.editing(by="Ana") as edit:
        edit.remove(kept.record.id)
    decision = decide(book)
    survey = decision.surveys[book.piano("by the window").id]
    assert survey.summary.measured == 9
    assert "listened to for this page" in decision.provenance["Recording of by the window"]
    assert not book.surveys()


@pytest.mark.slow
def test_a_lost_recording_is_said(book, recording) -> None:
    kept = hear(book, recording)
    book.media_path(kept.recording.media).unlink()
    decision = decide(book)
    assert decision.surveys
    assert not any(decision.clips.values())
    with book.editing(by="Ana") as edit:
        edit.remove(kept.record.id)
    decision = decide(book)
    assert not decision.surveys
    assert "no such file in the media folder" in decision.provenance["Recording of by the window"]


@pytest.mark.slow
def test_a_kept_survey_that_cannot_be_read_is_said_and_stops_nothing(book, recording, tmp_path) -> None:
    kept = hear(book, recording)
    body = to_json(kept.record).replace("table", "tables")
    with writing(book._engine, name="book") as connection:  # past the door, as damage comes
        connection.execute(sa.update(record).where(record.c.id == kept.record.id).values(body=body))
    decision = decide(book)
    assert not decision.surveys
    assert "can't be used: kept survey: got a text" in decision.provenance["Recording of by the window"]
    assert export(book, tmp_path / "page.html").paths[0].exists()


def test_buyers(book) -> None:
    with book.editing(by="Ana") as edit:
        edit.add(Buyer(name="my pupil"))
    assert decide(book, profile="my pupil").comparison.profile.name == "my pupil"
    assert decide(book, profile=Buyer(name="nobody else")).comparison.profile.name == "nobody else"
    with pytest.raises(
        BadInput, match="profile: got 'my uncle', need one of conservatoire candidate, first piano, my pupil"
    ):
        decide(book, profile="my uncle")


def test_an_empty_casebook(tmp_path) -> None:
    with create_casebook(tmp_path / "empty") as empty, pytest.raises(BadInput, match="no pianos"):
        export(empty, tmp_path / "page.html")
    assert not (tmp_path / "page.html").exists()
    assert [p.name for p in tmp_path.iterdir()] == ["empty"]


def test_the_result_shows_well(book) -> None:
    decision = decide(book)
    html = decision._repr_html_()
    assert "by the window" in html
    assert "<script" not in html
    assert decision.comparison.verdict.headline in html
    assert decision.comparison.verdict.headline in repr(decision)
    assert len(decision.to_frame()) == 2


@pytest.mark.slow
def test_the_page_is_whole_and_the_same_again(book, recording, tmp_path) -> None:
    hear(book, recording)
    one, other = (export(book, tmp_path / name).paths[0].read_bytes() for name in ("a.html", "b.html"))
    assert one == other
    assert one.rstrip().endswith(b"</html>")
    page = export(book, tmp_path / "c.html", leave_out=["names"]).paths[0].read_text(encoding="utf-8")
    assert "by the window" not in page


def test_a_purged_casebook_error_is_one_line(tmp_path) -> None:
    from pianolab.casebook import open_casebook

    with pytest.raises(CasebookError) as caught:
        open_casebook(tmp_path / "nowhere")
    assert "\n" not in str(caught.value)
