"""Opinions of a touch: each alone, saved as given, hidden until all are done."""

from __future__ import annotations

import json
from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from pianolab.casebook import Casebook, create_casebook, open_casebook
from pianolab.checklist import load_touch_scales
from pianolab.errors import BadInput
from pianolab.model import Piano, Visit
from pianolab.report.twins import touch_twin
from pianolab.widgets import TouchForm

SCALES = load_touch_scales()
HOSTILE = "<script>alert(1)</script>\u202e & \"'"


class Table:
    """The form with a way to press and type."""

    def __init__(self, book: Casebook, visit: Visit, *players: str) -> None:
        self.book, self.visit = book, visit
        self.form = TouchForm(book, visit.id, players=players)

    def send(self, **event: Any) -> dict[str, Any]:
        self.form._handle_custom_msg({"from": "test", "n": 1, **event}, [])
        answer: dict[str, Any] = self.form.answer
        return answer

    def answer_all(self, player: str, *, taste: int, fault: int, liking: int, note: str = "") -> None:
        assert self.send(do="sit", player=player)["ok"]
        for scale in SCALES.taste:
            assert self.send(do="answer", scale=scale.id, value=taste)["ok"]
        for scale in SCALES.faults:
            assert self.send(do="answer", scale=scale.id, value=fault)["ok"]
        self.send(do="answer", scale="liking", value=liking)
        if note:
            self.send(do="note", note=note)
        assert self.send(do="done")["ok"]


@pytest.fixture
def book(tmp_path: Path) -> Iterator[tuple[Casebook, Visit]]:
    with create_casebook(tmp_path / "book") as casebook:
        with casebook.editing(by="Ana") as edit:
            piano = edit.add(Piano(name="the one with <i>stickers</i>"))
            edit.add(Piano(name="the other", id="other"))
            visit = edit.add(Visit(piano_id=piano.id, day=date(2026, 5, 14), examiner="Ana"))
        yield casebook, visit


@pytest.fixture
def table(book: tuple[Casebook, Visit]) -> Table:
    return Table(*book, "Ana", "Ben")


def everything_sent(table: Table) -> str:
    """All that the page and the saved notebook can hold."""
    bundle, _ = table.form._repr_mimebundle_()
    state = {k: v for k, v in table.form.get_state().items() if not k.startswith(("_esm", "_css"))}
    return json.dumps(state, default=str) + json.dumps(bundle, default=str)


def test_an_answer_is_in_the_casebook_at_once(table: Table) -> None:
    table.send(do="sit", player="Ana")
    assert table.send(do="answer", scale="weight", value=2)["line"] == "Saved"
    with open_casebook(table.book.folder) as other:
        (opinion,) = other.touch_opinions(table.visit.id)
    assert (opinion.player, opinion.taste, opinion.faults, opinion.at) == ("Ana", {"weight": 2}, {}, None)
    assert [c.by for c in table.book.log(opinion.id)] == ["Ana"]


def test_taste_and_fault_are_kept_apart(table: Table) -> None:
    table.answer_all("Ana", taste=4, fault=2, liking=5)
    (opinion,) = table.form.opinions
    assert set(opinion.taste) == {s.id for s in SCALES.taste}
    assert set(opinion.faults) == {s.id for s in SCALES.faults}
    assert (opinion.liking, opinion.at is None) == (5, False)


def test_nobody_sees_an_answer_before_all_are_done(table: Table) -> None:
    fault = SCALES.faults[0].anchors[5 - 1]
    table.answer_all("Ana", taste=1, fault=1, liking=1, note="Ana's secret words")
    for _ in ("Ben is still to come", "Ben sits at the keys"):
        sent = everything_sent(table)
        assert "secret words" not in sent
        assert "grade 1 of 5" not in sent
        assert not any(q.get("chosen") or q.get("before") for q in table.form.view["questions"])
        assert (table.form.view["rows"], table.form.view["revealed"]) == ([], False)
        table.send(do="sit", player="Ben")
    assert fault not in table.form.to_html()
    table.answer_all("Ben", taste=5, fault=5, liking=5)
    assert table.form.view["revealed"]
    assert "secret words" in everything_sent(table)
    assert table.form.view["names"] == ["Ana", "Ben"]


def test_who_has_answered_does_not_come_back_before_the_end(table: Table) -> None:
    table.answer_all("Ana", taste=1, fault=1, liking=1)
    answer = table.send(do="sit", player="Ana")
    assert not answer["ok"]
    assert "has answered already" in answer["line"] or "answered already" in answer["line"]


def test_who_is_interrupted_goes_on_without_showing_what_was_said(book: tuple[Casebook, Visit]) -> None:
    first = Table(*book, "Ana", "Ben")
    first.send(do="sit", player="Ana")
    first.send(do="answer", scale="weight", value=2)
    first.send(do="sit", player="Ben")
    assert first.form.view["questions"][0]["chosen"] is None
    with open_casebook(book[0].folder) as later:
        again = Table(later, book[1])
        assert [p["name"] for p in again.form.view["players"]] == ["Ana"]
        again.send(do="sit", player="Ana")
        weight = again.form.view["questions"][0]
        assert (weight["chosen"], weight["before"]) == (None, True)
        again.send(do="answer", scale="depth", value=5)
        assert again.form.opinions[0].taste == {"weight": 2, "depth": 5}


def test_a_late_comer_hides_the_answers_again(table: Table) -> None:
    for player in ("Ana", "Ben"):
        table.answer_all(player, taste=3, fault=4, liking=3)
    assert table.form.view["revealed"]
    table.send(do="add", player=" Cleo ")
    assert (table.form.view["current"], table.form.view["rows"]) == ("Cleo", [])
    table.send(do="leave", player="Cleo")
    assert table.form.view["revealed"]


def test_two_pianos_side_by_side(table: Table) -> None:
    table.send(do="sit", player="Ana")
    assert table.send(do="try", other="other", rather="this")["ok"]
    assert table.send(do="try", other="other", rather="other")["ok"]
    (trial,) = table.book.touch_trials()
    assert (trial.player, trial.piano_id, trial.other_piano_id) == ("Ana", "other", table.visit.piano_id)
    assert table.form.view["tried"] == []
    assert not table.send(do="try", other="nowhere", rather="this")["ok"]
    table.send(do="answer", scale="liking", value=3)
    table.send(do="done")
    table.answer_all("Ben", taste=3, fault=4, liking=3)
    assert table.form.view["tried"] == ["Ana would rather play the other than the one with <i>stickers</i>."]


@pytest.mark.parametrize(
    "event",
    [
        {"do": "answer", "scale": "weight", "value": 6},
        {"do": "answer", "scale": "weight", "value": True},
        {"do": "answer", "scale": "loudness", "value": 3},
        {"do": "add", "player": "Ben"},
        {"do": "add", "player": "  "},
        {"do": "add", "player": "x" * 41},
        {"do": "sit", "player": "Nobody"},
        {"do": "note", "note": "x" * 5000},
        {"do": "done"},
        {"do": "peek"},
        {},
    ],
)
def test_what_makes_no_sense_gives_one_line(table: Table, event: dict[str, Any]) -> None:
    table.send(do="sit", player="Ana")
    answer = table.send(**event)
    assert not answer["ok"]
    assert answer["line"].startswith("Not saved. ")
    assert "\n" not in answer["line"]
    assert table.form.opinions == ()


def test_nobody_at_the_keys_no_answer(table: Table) -> None:
    assert "nobody at the keys" in table.send(do="answer", scale="weight", value=3)["line"]


def test_the_twin_escapes_and_says_what_was_not_answered(table: Table) -> None:
    table.send(do="sit", player="Ana")
    table.send(do="answer", scale="evenness", value=2)
    table.send(do="note", note=HOSTILE)
    table.send(do="done")
    table.send(do="leave", player="Ben")
    html = table.form.to_html()
    assert "<script" not in html
    assert "<i>" not in html
    assert "&lt;script&gt;" in html
    assert html.count("not answered") == len(SCALES.taste) + len(SCALES.faults) - 1 + 1


def test_a_twin_that_waits_holds_no_answer() -> None:
    from pianolab.model import TouchOpinion

    opinion = TouchOpinion(visit_id="v", player="Ana", note="secret words")
    shown = touch_twin(title="x", scales=SCALES, opinions=[opinion])
    hidden = touch_twin(title="x", scales=SCALES, opinions=[opinion], waiting=["Ben"])
    assert "secret words" in shown
    assert "secret words" not in hidden
    assert "Ben" in hidden


def test_no_such_visit(book: tuple[Casebook, Visit]) -> None:
    with pytest.raises(BadInput, match="visit 'nowhere'"):
        TouchForm(book[0], "nowhere")
