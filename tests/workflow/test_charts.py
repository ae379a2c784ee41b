"""Charts and tables by name: every result draws what it can, and says what it can't."""

from collections.abc import Iterator
from datetime import date
from decimal import Decimal
from pathlib import Path

import pytest

import pianolab as pl
from pianolab.acoustics import Survey
from pianolab.acoustics import listen as listen_to_samples
from pianolab.casebook import Casebook
from pianolab.errors import BadInput
from pianolab.io import Sound, write_sound
from pianolab.sound_model import PianoModel, render_scale
from pianolab.workflow.charts import OF_A_COMPARISON, OVER_KEYS
from pianolab.workflow.decision_tables import LEAST_POINTS, OF_ALL, OF_ONE

DAY = date(2026, 5, 2)
KEYS = {"first_key": 40, "last_key": 46}


def scale(seed: int) -> Sound:
    made = render_scale(PianoModel(seed=seed), **KEYS, hold_s=0.8, gap_s=0.3, snr_db=50.0)
    return Sound(made.samples[:, None], made.rate_hz)


@pytest.fixture(scope="module")
def files(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    folder = tmp_path_factory.mktemp("sounds")
    sounds = {seed: scale(seed) for seed in (5, 6)}
    one, two = (write_sound(folder / f"{n}.wav", s.samples, rate_hz=s.rate_hz) for n, s in sounds.items())
    return one, two


@pytest.fixture(scope="module")
def survey(files: tuple[Path, Path]) -> Survey:
    return pl.listen(files[0], **KEYS)


@pytest.fixture(scope="module")
def book(tmp_path_factory: pytest.TempPathFactory, files: tuple[Path, Path]) -> Iterator[Casebook]:
    with pl.create_casebook(tmp_path_factory.mktemp("charts") / "book") as book:
        with book.editing(by="Ana") as edit:
            for name in ("one", "two"):
                edit.add(pl.Piano(name=name, asking_price=Decimal(900)))
        pl.survey_into(book, files[0], piano="one", visit=DAY, **KEYS)
        yield book


@pytest.fixture(scope="module")
def decision(book: Casebook) -> pl.Decision:
    return pl.decide(book)


@pytest.mark.parametrize("kind", OVER_KEYS)
def test_a_survey_draws_itself(survey, kind) -> None:
    light, dark = survey.chart(kind), survey.chart(kind, theme="dark")
    assert len(light.data) == len(dark.data) > 0
    assert light != dark


@pytest.mark.slow
def test_any_column_of_numbers_is_a_chart_too(survey, decision) -> None:
    assert len(survey.chart("inharmonicity").data) > 0
    assert decision.chart("inharmonicity") != decision.chart("cents")
    with pytest.raises(BadInput, match="chart: got 'status'"):
        survey.chart("status")


def test_one_note_of_a_survey(survey) -> None:
    assert len(survey.chart("note", key=43).data) > 0
    with pytest.raises(BadInput, match="key: got none, need the number of the key"):
        survey.chart("note")


@pytest.mark.parametrize("kind", [*OVER_KEYS, *OF_A_COMPARISON, "keyboard", "instrument"])
def test_a_decision_draws_itself(decision, kind) -> None:
    assert len(decision.chart(kind).data) > 0


def test_a_chart_of_one_piano_is_of_that_piano(decision) -> None:
    assert decision.piano("one").name == "one"
    assert decision.piano().id == decision.standing().piano_id == decision.assessment().piano.id
    assert decision.standing("two").name == "two"
    assert {s.piano_name for s in decision.to_find_out("two").steps} == {"two"}
    assert {s.piano_name for s in decision.to_find_out().steps} == {"one", "two"}
    assert "two" in decision.chart("keyboard", piano="two")._repr_html_()
    with pytest.raises(BadInput, match="This casebook has: one, two"):
        decision.chart("keyboard", piano="three")
    with pytest.raises(BadInput, match="chart of one: got 'holding', need recordings on two days"):
        decision.chart("holding", piano="one")
    with pytest.raises(BadInput, match="chart of one: got 'pedal', need a recording with the left pedal"):
        decision.chart("pedal", piano="one")


def test_the_two_that_lower_an_aspect_most_are_told(tmp_path: Path) -> None:
    points = ("hammers-grooves", "hammers-felt", "hammers-shape", "hammers-aligned")
    with pl.create_casebook(tmp_path / "book") as book:
        with book.editing(by="Ana") as edit:
            piano = edit.add(pl.Piano(name="one"))
            visit = edit.add(pl.Visit(piano_id=piano.id, day=DAY))
            for point in points:
                edit.add(pl.Finding(visit_id=visit.id, point=point, grade=2))
        decision = pl.decide(book)
    lowering = {
        a.aspect: sorted((c for c in a.made_by if c.low < -LEAST_POINTS), key=lambda c: c.low)
        for a in decision.assessment("one").aspects
    }
    assert max(map(len, lowering.values())) > 2, "else the table has nothing to leave out"
    for aspect, _, lowered, _ in decision.table("reasons", piano="one").rows():
        assert lowered == "; ".join(c.sentence() for c in lowering[aspect][:2])


def test_a_comparison_draws_itself_too(decision) -> None:
    assert decision.comparison.chart("ranks") == decision.chart("ranks")


@pytest.mark.parametrize(
    ("kind", "hint"),
    [("raddar", "Did you mean radar?"), ("note", "Another result may have it."), ("", "Another")],
)
def test_an_unknown_chart_is_named(decision, kind, hint) -> None:
    with pytest.raises(BadInput, match=f"chart: got {kind!r}, need one of tuning") as caught:
        decision.chart(kind)
    assert hint in str(caught.value)


def test_a_result_without_charts_says_so(decision) -> None:
    with pytest.raises(BadInput, match="chart: got a Table, need a survey, a comparison or a decision"):
        decision.table("offers").chart("radar")


@pytest.mark.parametrize("kind", [*OF_ALL, *OF_ONE])
def test_tables_of_a_decision(decision, kind) -> None:
    table = decision.table(kind)
    assert table._repr_html_().startswith("<figure")
    if kind in ("stops", "offers", "firmness", "rooms", "heard"):
        assert sorted(row[0] for row in table.rows()) == ["one", "two"]
    with pytest.raises(BadInput, match="table: got 'offrs', need one of stops"):
        decision.table("offrs")


def test_a_piano_nobody_recorded_is_in_the_table_of_recordings(decision) -> None:
    rows = {row[0]: row for row in decision.table("heard").rows()}
    assert rows["two"][1] is None
    assert rows["two"][3] == "none; its sound is unknown"
    assert "7 of 7 keys measured" in rows["one"][3]


@pytest.mark.slow
def test_files_and_samples_are_heard_alike(survey) -> None:
    sound = scale(5)
    heard = pl.listen(sound.samples[:, 0], rate_hz=sound.rate_hz, **KEYS)
    same = listen_to_samples(sound.samples[:, 0], rate_hz=sound.rate_hz, **KEYS)
    assert heard.table.equals(same.table)
    assert list(heard.table["status"]) == list(survey.table["status"])


def test_what_cannot_be_listened_to(files) -> None:
    with pytest.raises(BadInput, match="rate_hz: got none, need the sampling rate"):
        pl.listen(scale(5).samples)
    with pytest.raises(BadInput, match="rate_hz: got 44100, need none with a file"):
        pl.listen(files[0], rate_hz=44100)


def test_two_recordings_are_compared(survey, files) -> None:
    with pytest.raises(BadInput, match="about: got 'touch', need tuning or left pedal"):
        pl.compare_recordings(survey, survey, about="touch")
    again, other = pl.compare_recordings(survey, files[0]), pl.compare_recordings(survey, files[1], days=3.0)
    assert not again.listed
    assert other.state != again.state, "another piano is no second recording of this one"
    assert len(again.chart().data) > 0
