"""One screen for a visit: every part follows one piano, records land where they belong, one live screen; no browser."""

from __future__ import annotations

import time
from collections.abc import Iterator
from datetime import date
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from PIL import Image

from pianolab.casebook import Casebook, create_casebook, open_casebook
from pianolab.model import Finding, Piano, Visit
from pianolab.widgets import desk_state
from pianolab.widgets.desk_parts import PART_NAMES
from pianolab.widgets.later import Later
from pianolab.widgets.visit_desk import VisitDesk

FIRST, SECOND = "by the window", "in the barn"


@pytest.fixture
def book(tmp_path: Path) -> Iterator[Casebook]:
    """Two pianos, each visited once; the second was entered last."""
    with create_casebook(tmp_path / "book") as casebook:
        with casebook.editing(by="Ana") as edit:
            for name, kind in ((FIRST, "upright"), (SECOND, "grand")):
                piano = edit.add(Piano(name=name, kind=kind, year=1990, key_tops="plastic"))
                edit.add(Visit(piano_id=piano.id, day=date(2026, 5, 14), examiner="Ana"))
        yield casebook


@pytest.fixture(autouse=True)
def no_other_kernel(monkeypatch: pytest.MonkeyPatch) -> None:
    """Each test is a kernel of its own."""
    monkeypatch.setattr(desk_state, "_LIVE", {})
    monkeypatch.setattr(desk_state, "_LEFT", {})


def piano_of(book: Casebook, name: str) -> Piano:
    return next(p for p in book.pianos() if p.name == name)


def press(desk: VisitDesk, **event: Any) -> None:
    desk.receive(event)


def to_piano(desk: VisitDesk, name: str) -> None:
    press(desk, do="piano", id=piano_of(desk._casebook, name).id)


def tap(desk: VisitDesk, value: object) -> str:
    """Answer the point on the screen; the point's id."""
    form = desk.part
    point = form.view["point"]
    form.receive({"do": "value", "point": point["id"], "record": point["record"], "value": value})
    assert form.answer["ok"], form.answer["line"]
    return str(point["id"])


def named(desk: VisitDesk) -> str:
    """How the part on the screen names what it is about."""
    part = desk.part
    found = {
        "RoomForm": lambda: f"{part._piano.name}, {part._visit.day}",
        "FindingsForm": lambda: f"{part.view['title']}, {part.view['day']}",
        "KeyboardPicker": lambda: part.title,
        "RecorderForm": lambda: f"{part.head['piano']}, {part.head['day']}",
        "TouchForm": lambda: part.view["title"],
        "PhotoForm": lambda: part.view["title"],
        "PianoForm": lambda: part.piano.name,
    }
    return str(found[type(part).__name__]())


def test_every_part_follows_the_piano_and_names_it(book: Casebook) -> None:
    desk = VisitDesk(book, examiner="Ana")
    for name in (FIRST, SECOND, FIRST):
        to_piano(desk, name)
        for part in PART_NAMES:
            press(desk, do="part", part=part)
            assert name in named(desk), part
            assert desk.bar.line == ""
        assert [p[1] for p in desk.bar.view["pianos"] if p[2]] == [name]


def test_two_pianos_by_turns_keep_their_own_records(book: Casebook, tmp_path: Path) -> None:
    desk = VisitDesk(book, examiner="Ana")
    Image.new("RGB", (60, 40), "brown").save(tmp_path / "lid.png")
    entered: dict[str, list[str]] = {FIRST: [], SECOND: []}
    for name in (FIRST, SECOND) * 3:
        to_piano(desk, name)
        press(desk, do="part", part="walk")
        desk.part.receive({"do": "go", "point": f"bridge-{['bass', 'tenor', 'treble'][len(entered[name])]}"})
        entered[name].append(tap(desk, 4 if name == FIRST else 2))
        press(desk, do="part", part="keyboard")
        desk.part.receive(
            {"do": "mark", "point": "keys-chips", "keys": [40 + len(entered[name])], "on": True}
        )
        press(desk, do="part", part="photos")
        desk.part.receive({"do": "photo", "name": "lid.png"}, [(tmp_path / "lid.png").read_bytes()])
    for name, grade in ((FIRST, 4), (SECOND, 2)):
        (visit,) = book.visits(piano_of(book, name).id)
        findings = {f.point: f for f in book.findings(visit_id=visit.id)}
        assert [findings[p].grade for p in entered[name]] == [grade] * 3
        assert findings["keys-chips"].keys == (41, 42, 43)
        assert len(findings) == 4
        assert len(book.photos(visit_id=visit.id)) == 3


def test_made_again_it_opens_where_one_was(book: Casebook) -> None:
    desk = VisitDesk(book, examiner="Ana")
    to_piano(desk, FIRST)
    press(desk, do="part", part="keyboard")
    again = VisitDesk(book, examiner="Ana")
    assert (again.piano.name, type(again.part).__name__) == (FIRST, "KeyboardPicker")


def test_after_a_restart_it_opens_at_the_visit_that_was_written_to_last(book: Casebook) -> None:
    desk = VisitDesk(book, examiner="Ana")
    to_piano(desk, FIRST)
    tap(desk, 5)
    desk_state._LEFT.clear()
    desk_state._LIVE.clear()
    with open_casebook(book.name) as later:
        assert VisitDesk(later, examiner="Ana").piano.name == FIRST


def test_an_older_screen_says_so_and_records_nothing_until_it_is_taken_up(book: Casebook) -> None:
    old = VisitDesk(book, examiner="Ana")
    new = VisitDesk(book, examiner="Ana")
    assert not old.bar.view["live"]
    assert "old" in old.bar.view["old"]
    assert old.part is None
    before = old.place
    to_piano(old, FIRST)
    assert "screen: got an old one" in old.bar.line
    assert old.place == before
    press(old, do="take over")
    assert old.bar.view["live"]
    assert not new.bar.view["live"]
    assert new.part is None
    assert old.part is not None


def test_choosing_in_the_form_of_the_pianos_moves_everything(book: Casebook) -> None:
    desk = VisitDesk(book, examiner="Ana")
    to_piano(desk, FIRST)
    press(desk, do="new piano")
    assert desk.piano.name not in (FIRST, SECOND)
    assert type(desk.part).__name__ == "PianoForm"
    press(desk, do="part", part="walk")
    assert desk.piano.name in named(desk)
    assert desk.visit.day == date.today()


def test_a_new_visit_begins_once_a_day(book: Casebook) -> None:
    desk = VisitDesk(book, examiner="Ana")
    to_piano(desk, FIRST)
    press(desk, do="new visit")
    assert desk.visit.day == date.today()
    press(desk, do="new visit")
    assert "goes on" in desk.bar.line
    assert len(book.visits(piano_of(book, FIRST).id)) == 2
    earlier = next(v for v in desk.bar.view["visits"] if not v[2])
    press(desk, do="visit", id=earlier[0])
    assert desk.visit.day == date(2026, 5, 14)


def test_an_upright_that_turns_out_a_grand_gets_its_own_walk(book: Casebook) -> None:
    desk = VisitDesk(book, examiner="Ana", minutes=40)
    to_piano(desk, FIRST)
    assert "case-prop" not in desk.part._walk.checklist
    desk.part.receive({"do": "time", "minutes": 20})
    with book.editing(by="Ana") as edit:
        from dataclasses import replace

        edit.change(replace(desk.piano, kind="grand"))
    press(desk, do="part", part="walk")
    assert "case-prop" in desk.part._walk.checklist
    assert desk.part.minutes == 20


def test_undo_in_the_walk_refreshes_the_keys(book: Casebook) -> None:
    desk = VisitDesk(book, examiner="Ana")
    to_piano(desk, FIRST)
    press(desk, do="part", part="keyboard")
    desk.part.receive({"do": "mark", "point": "keys-chips", "keys": [40, 41], "on": True})
    assert desk.part.chosen == ()
    assert desk.part.marked["keys-chips"] == [40, 41]
    press(desk, do="part", part="walk")
    desk.part.receive({"do": "take back"})
    press(desk, do="part", part="keyboard")
    assert "keys-chips" not in desk.part.marked


def test_what_is_known_follows_the_taps_and_the_piano(book: Casebook) -> None:
    def know(casebook: Casebook, piano_id: str) -> Any:
        found = [f for v in casebook.visits(piano_id) for f in casebook.findings(visit_id=v.id)]
        return SimpleNamespace(
            bands=(("tone", 0.0, 10.0 - len(found)),),
            blind=(),
            stops=(),
            verdict=(f"{len(found)} found",),
            worth={"pedal-noise": 9.0},
            stops_in_words=lambda: "none",
        )

    desk = VisitDesk(book, examiner="Ana", know=know)
    to_piano(desk, FIRST)
    assert desk.known.view["waiting"]
    desk.later.wait()
    assert desk.known.view["verdict"] == ["0 found"]
    tap(desk, 5)
    desk.later.wait()
    assert (desk.known.view["name"], desk.known.view["verdict"]) == (FIRST, ["1 found"])
    assert desk.part._walk.clock.worth == {"pedal-noise": 9.0}


def test_what_cannot_be_judged_is_said_and_the_walk_goes_on(book: Casebook) -> None:
    def know(_book: Casebook, _piano_id: str) -> Any:
        raise ValueError("no price list")

    desk = VisitDesk(book, examiner="Ana", know=know)
    desk.later.wait()
    assert desk.known.view["why"] == "no price list"
    tap(desk, 5)


def test_asked_ten_times_it_works_once_and_shows_the_newest() -> None:
    worked: list[float] = []
    shown: list[int] = []

    def work() -> int:
        worked.append(time.monotonic())
        return len(worked)

    later = Later(work, shown.append, lambda _: None, pause_s=0.6)
    for _ in range(10):
        later.ask()
    later.wait()
    assert len(worked) == 1
    later.ask()
    later.wait()
    assert shown == [1, 2]


def test_a_message_nobody_knows_is_refused_in_one_line(book: Casebook) -> None:
    desk = VisitDesk(book, examiner="Ana")
    for event in ({}, {"do": "dance"}, {"do": "part", "part": "cellar"}, {"do": "piano", "id": "nobody"}):
        before = desk.place
        desk.receive(event)
        assert desk.bar.line.startswith("Not done.")
        assert "\n" not in desk.bar.line
        assert desk.place == before


def test_an_empty_casebook_gets_a_piano_and_a_visit(tmp_path: Path) -> None:
    with create_casebook(tmp_path / "empty") as casebook:
        desk = VisitDesk(casebook, examiner="Ana")
        assert desk.visit.piano_id == desk.piano.id
        html = desk.to_html()
        assert desk.piano.name in html


def test_a_finding_that_somebody_entered_elsewhere_is_shown_when_one_comes_back(book: Casebook) -> None:
    desk = VisitDesk(book, examiner="Ana")
    to_piano(desk, FIRST)
    (visit,) = book.visits(piano_of(book, FIRST).id)
    press(desk, do="part", part="photos")
    with book.editing(by="Ben") as edit:
        edit.add(Finding(visit_id=visit.id, point="case-legs", grade=2, examiner="Ben"))
    press(desk, do="part", part="walk")
    assert any("Ben" in line for line in desk.part.view["point"]["others"])
