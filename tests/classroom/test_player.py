"""The drill player without a browser: what it sends, when, and that its state holds nothing."""

from __future__ import annotations

import json
from collections import Counter
from concurrent.futures import Future
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from pianolab.classroom import DRILL_KINDS, sittings
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


@pytest.mark.slow
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


@pytest.mark.slow
def test_trouble_is_said_in_one_line(sat: DrillSitting, desk: Desk) -> None:
    player = DrillPlayer(sat)
    page = Page(player)
    assert isinstance(desk.place, Path)
    desk.place.parent.mkdir(exist_ok=True)
    desk.place.write_text("no casebook", encoding="utf-8")
    player.receive({"said": "answer", "choice": 0, "number": 1})
    assert page.last()["says"] == "trouble"
    assert "\n" not in page.last()["line"]


def test_a_task_that_could_not_be_made_is_made_when_it_is_asked_for_again(
    desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What fails once, such as a drive that is away, neither hangs the page nor stays."""
    failing = iter([OSError("the drive is away")])

    def made_ready(make: Any) -> sittings.Ready:
        for error in failing:
            raise error
        return kept(make)

    kept = sittings.made_ready
    monkeypatch.setattr(sittings, "made_ready", made_ready)
    player = DrillPlayer(DrillSitting(desk, lesson="first", kinds=["which dies sooner"], count=2))
    page = Page(player)
    player.receive({"said": "hello"})
    assert page.last() == {"says": "trouble", "line": "the drive is away"}
    failing = iter([OSError("still away"), OSError("still away")])
    assert player.to_html() == "<section><p>still away</p></section>"
    assert repr(player) == "<DrillPlayer: still away>"
    player.receive({"said": "next"})
    assert page.last()["says"] == "task"
    assert page.last()["view"]["number"] == 1


def test_an_answer_is_kept_though_what_is_told_with_it_failed_at_first(
    desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    failing = iter([OSError("no room")])

    def for_answer(drill: Any) -> Any:
        for error in failing:
            raise error
        return kept(drill)

    kept = sittings.for_answer
    monkeypatch.setattr(sittings, "for_answer", for_answer)
    player = DrillPlayer(DrillSitting(desk, lesson="first", kinds=["which dies sooner"], count=2))
    page = Page(player)
    player.receive({"said": "answer", "choice": 0, "number": 1})
    assert page.last()["says"] == "told"
    assert len(desk.answers()) == 1


@pytest.mark.slow
@pytest.mark.usefixtures("unplayed")
def test_events_in_any_order_over_all_kinds_keep_each_answer_once(desk: Desk) -> None:
    """Answers twice, of tasks before and after, reloads and N at any time: only tasks, truths, and one answer to each."""
    rng, count = np.random.default_rng(3), 2 * len(DRILL_KINDS)
    player = DrillPlayer(DrillSitting(desk, lesson="all", kinds=DRILL_KINDS, count=count))
    page = Page(player)
    for _ in range(4000):
        number = page.sent[-1][0].get("view", {}).get("number", 1) if page.sent else 1
        said = ("hello", "next", "answer", "answer")[rng.integers(4)]
        asked = int(number + rng.choice([0, 0, 0, -1, 1]))
        choice = (int(rng.integers(-1, 8)), True, None, "A", 1.0)[int(rng.choice(5, p=[0.8, *[0.05] * 4]))]
        player.receive({"said": said, "number": asked, "choice": choice})
        if page.last().get("view", {}).get("finished"):
            break
    assert {m["says"] for m, _ in page.sent} == {"task", "told"}
    assert page.last()["view"]["finished"]
    assert Counter(a.kind for a in desk.answers()) == dict.fromkeys(DRILL_KINDS, 2)
    assert len({a.id for a in desk.answers()}) == count
