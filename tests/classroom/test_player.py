"""The drill player without a browser: what it sends, when, and that its state holds nothing."""

from __future__ import annotations

import json
from concurrent.futures import Future
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from pianolab.classroom.desk import Desk
from pianolab.classroom.folder import make_class
from pianolab.classroom.sittings import DrillSitting
from pianolab.widgets.drill_player import DrillPlayer


class Page:
    """Stands for the browser: keeps what the player sends."""

    def __init__(self, player: DrillPlayer) -> None:
        self.sent: list[tuple[dict[str, Any], list[bytes]]] = []
        player.send = lambda content, buffers=None: self.sent.append((content, list(buffers or [])))  # type: ignore[method-assign]

    def last(self) -> dict[str, Any]:
        return self.sent[-1][0]


@pytest.fixture
def desk(tmp_path: Path) -> Desk:
    return make_class(tmp_path / "class", name="Tuesday", seed=4).desk("7")


@pytest.fixture
def sat(desk: Desk) -> DrillSitting:
    return DrillSitting(desk, lesson="first", kinds=["which dies sooner"], count=2)


def test_before_the_answer_neither_state_nor_messages_hold_it(sat: DrillSitting) -> None:
    player = DrillPlayer(sat)
    page = Page(player)
    player.receive({"said": "hello"})
    player.receive({"said": "next"})
    state = {k: v for k, v in player.get_state().items() if k not in ("_esm", "_css")}
    shown = json.dumps([m for m, _ in page.sent]) + repr(state) + player.to_html() + repr(player)
    assert [m["says"] for m, _ in page.sent] == ["task", "task"]
    truth = sat.drill.truth
    for secret in (truth.explanation, truth.confirmed, "short_sustain", "without the fault"):
        assert secret not in shown
    assert [len(b) for _, b in page.sent] == [2, 2]


def test_what_is_sent_is_the_same_whatever_is_true(sat: DrillSitting) -> None:
    """The whole of what the page gets before the answer, byte for byte, from two tasks with opposite truths."""
    sent = []
    for answer in ("A", "B"):
        truth = replace(
            sat.drill.truth,
            answer=answer,
            explanation=f"It is {answer}.",
            level=float(ord(answer)),
            fault=answer,
            check=lambda: "",
            curves=(),
        )
        ready = replace(sat._ready(), drill=replace(sat.drill, truth=truth))
        sat._ahead[0] = Future()
        sat._ahead[0].set_result(ready)
        player = DrillPlayer(sat)
        page = Page(player)
        player.receive({"said": "hello"})
        state = {k: v for k, v in player.get_state().items() if k not in ("_esm", "_css", "layout")}
        sent.append(
            (page.sent, state, player.to_html(), repr(player), player._repr_mimebundle_()[0]["text/html"])
        )
    assert sent[0] == sent[1]
    assert len({len(data) for data in sent[0][0][0][1]}) == 1, "all sounds take the same bytes"


def test_an_answer_is_told_once_and_kept_once(sat: DrillSitting, desk: Desk) -> None:
    player = DrillPlayer(sat)
    page = Page(player)
    player.receive({"said": "hello"})
    player.receive({"said": "answer", "choice": 0, "number": 1})
    told = page.last()
    assert told["says"] == "told"
    assert sat.drill.truth.explanation in told["explanation"]
    assert len(page.sent[-1][1]) == 1
    player.receive({"said": "answer", "choice": 1, "number": 1})
    assert page.last()["chosen"] == 0
    assert [a.given for a in desk.answers()] == ["A"]


def test_a_page_that_comes_back_sees_what_was_told(sat: DrillSitting) -> None:
    player = DrillPlayer(sat)
    page = Page(player)
    player.receive({"said": "answer", "choice": 1, "number": 1})
    player.receive({"said": "hello"})
    assert [m["says"] for m, _ in page.sent[-2:]] == ["task", "told"]


@pytest.mark.parametrize(
    "event",
    [
        None,
        "answer",
        {},
        {"said": "sing"},
        {"said": "answer"},
        {"said": "answer", "choice": 9, "number": 1},
        {"said": "answer", "choice": -1, "number": 1},
        {"said": "answer", "choice": "A", "number": 1},
        {"said": "answer", "choice": 0, "number": 2},
    ],
)
def test_strange_events_change_nothing(sat: DrillSitting, desk: Desk, event: Any) -> None:
    player = DrillPlayer(sat)
    page = Page(player)
    player.receive(event)
    assert desk.answers() == ()
    assert all(m["says"] == "task" for m, _ in page.sent)


def test_trouble_is_said_in_one_line(sat: DrillSitting, desk: Desk) -> None:
    player = DrillPlayer(sat)
    page = Page(player)
    assert isinstance(desk.place, Path)
    desk.place.parent.mkdir(exist_ok=True)
    desk.place.write_text("no casebook", encoding="utf-8")
    player.receive({"said": "answer", "choice": 0, "number": 1})
    assert page.last()["says"] == "trouble"
    assert "\n" not in page.last()["line"]
