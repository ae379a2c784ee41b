"""The drill player as pupils meet it: JupyterLab in Chromium, by keyboard only, and no answer anywhere before it is given."""

from __future__ import annotations

import json
import sys
import urllib.request
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from pianolab.classroom import Drill, make_drill
from pianolab.classroom.folder import open_class
from pianolab.classroom.making import in_turn

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "widgets"))
from widget_lab import CHROMIUM, Lab, browser, open_notebook, run_all, running_lab, write_notebook

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(not CHROMIUM.exists(), reason="needs Debian's chromium"),
]

KINDS = ["which is better", "which dies sooner"]
MAKE = """
from pianolab.classroom import DrillSitting, make_class
desk = make_class("class", name="Tuesday", seed=12).desk("7")
"""
PLAY = f"""
from pianolab.widgets.drill_player import DrillPlayer
DrillPlayer(DrillSitting(desk, lesson="first", kinds={KINDS!r}, count=2))
"""
FAILING = """
from pathlib import Path
from pianolab.classroom import sittings
from pianolab.classroom.desk import Desk
def unless(name, line, whole):
    def made(*given, **named):
        if Path(name).exists():
            raise OSError(line)
        return whole(*given, **named)
    return made
sittings.make_drill = unless("away", "the drive is away", sittings.make_drill)
Desk.record = unless("full", "no space left on the drive.", Desk.record)
"""
MANY = """
from types import SimpleNamespace
from pianolab.widgets.drill_player import DrillPlayer
class Tasks:
    finished, given = False, []
    def view(self):
        return {"lesson": "many", "number": 1, "count": 1, "finished": False, "question": "Which of thirteen?", "clips": [],
                "choices": [f"key {n}" for n in range(1, 14)], "made_from": "nothing", "picture": ""}
    def sounds(self):
        return []
    def take(self, choice):
        self.given.append(choice)
        return SimpleNamespace(right=True, headline=f"Took {choice}", explanation="", answer=choice, credit="", begins=(0.0, 0.0), counts=None, curves=(), chart_words="", sound=None)
    def next(self):
        pass
DrillPlayer(Tasks())
"""


@pytest.fixture(scope="module")
def lab(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Lab]:
    with running_lab(tmp_path_factory.mktemp("lab")) as lab:
        yield lab


def drill_of(lab: Lab, number: int) -> Drill:
    """The same drill, made here: what the page must not know yet."""
    seed = open_class(lab.folder / "class").desk("7").seed("first")
    kind, turn, of = in_turn(KINDS, 2)[number]  # type: ignore[arg-type]
    return make_drill(kind, seed=seed, number=number, hardness=0.2, place=(turn, of))


def secrets_of(drill: Drill) -> list[str]:
    """Words that only the truth has: the explanation in pieces, the confirmation, the fault's name."""
    pieces = [p for p in drill.truth.explanation.split(". ") if len(p) > 12]
    return [*pieces, "own listening hears it too", "not confirmed by measurement", "without the fault"]


def saved_notebook(page: Any, lab: Lab, name: str) -> str:
    """The notebook file as the server has it, after saving."""
    page.evaluate("window.jupyterapp.commands.execute('docmanager:save')")
    page.wait_for_timeout(600)
    with urllib.request.urlopen(f"{lab.url}/api/contents/{name}?content=1", timeout=20) as reply:
        return json.dumps(json.load(reply)["content"])


def places(page: Any, lab: Lab, name: str, frames: list[bytes]) -> dict[str, str]:
    """Where an answer could be found: the page, its properties, the sockets, the notebook file."""
    dom = page.evaluate(
        "document.documentElement.outerHTML + [...document.querySelectorAll('input,audio,img')].map(e => e.src + e.value).join()"
    )
    return {
        "page": dom,
        "sockets": b"\n".join(frames).decode("utf-8", "replace"),
        "file": saved_notebook(page, lab, name),
    }


def to_player(page: Any) -> None:
    """By Tab alone, from the notebook's cells."""
    page.keyboard.press("Escape")
    for _ in range(80):
        page.keyboard.press("Tab")
        if page.evaluate("!!document.activeElement.closest('.pl-drill')"):
            return
    raise AssertionError("Tab never reached the player")


def wait_text(page: Any, selector: str, text: str, *, seconds: float = 30) -> None:
    page.wait_for_function(
        "([s, t]) => document.querySelector(s)?.textContent.includes(t)",
        arg=[selector, text],
        timeout=1000 * max(120, seconds),
    )


def letters_stay_in_the_player(page: Any) -> None:
    cells = page.locator(".jp-Cell").count()
    for key in ("d", "d", "x", "m", "z", "n"):
        page.keyboard.press(key)
    page.wait_for_timeout(300)
    assert page.locator(".jp-Cell").count() == cells
    assert page.locator(".pl-drill-top").inner_text().endswith("Task 1 of 2"), (
        "N goes on only after an answer"
    )


def test_drills_by_keyboard_only_and_no_answer_before_it_is_given(lab: Lab, tmp_path: Path) -> None:
    name = "lesson.ipynb"
    write_notebook(lab.folder / name, [MAKE, PLAY])
    with browser(tmp_path / "profile", viewport={"width": 1200, "height": 1100}) as context:
        page, errors, frames = watched_notebook(context, lab, name)
        run_all(page)
        wait_text(page, ".pl-drill-top", "Task 1 of 2", seconds=60)
        press = page.keyboard.press
        for number in range(2):
            drill = drill_of(lab, number)
            wait_text(page, ".pl-drill-question", drill.question)
            if number == 0:
                to_player(page)
                letters_stay_in_the_player(page)
            for clip in drill.clips:
                press(clip.label.lower())
                wait_text(page, ".pl-drill-heard", f"{clip.label} is playing")
                wait_text(page, ".pl-drill-heard", f"{clip.label} has ended", seconds=15)
            before = places(page, lab, name, frames)
            assert "audio/mpeg" in before["sockets"], "the sockets were not watched"
            for secret in secrets_of(drill):
                for where, text in before.items():
                    assert secret not in text, f"{secret!r} in the {where} before the answer"
            page.screenshot(path=tmp_path / f"asked-{number}.png")
            right = drill.choices.index(drill.truth.answer)
            chosen = right if number == 0 else 1 - right
            if number == 0:
                press(str(chosen + 1))
            else:
                page.locator(".pl-drill-choice").nth(chosen).click()
            wait_text(page, ".pl-drill-headline", "Right" if number == 0 else "Not so")
            page.locator(".pl-drill-chart").wait_for()
            after = places(page, lab, name, frames)
            for secret in [s for s in secrets_of(drill) if s in drill.truth.explanation]:
                assert secret in after["page"]
                assert secret in after["sockets"], (
                    "the sockets do carry it afterwards: the search above can find it"
                )
                assert secret not in after["file"]
            press("w")  # Keys go on working after an answer by mouse.
            page.locator(".pl-drill-cursor[visibility=visible]").wait_for(timeout=120_000, state="attached")
            wait_text(page, ".pl-drill-heard", "has ended", seconds=15)
            marks = page.locator(".pl-drill-choice").evaluate_all("all => all.map(b => b.dataset.mark ?? '')")
            assert marks == (
                ["right" if n == right else "wrong" if n == chosen else "" for n in range(len(drill.choices))]
            )
            page.screenshot(path=tmp_path / f"told-{number}.png")
            frames.clear()
            press("n")
        wait_text(page, ".pl-drill-question", "All tasks are answered: 1 of 2 right.")
        kept = open_class(lab.folder / "class").desk("7").answers()
        assert [a.correct for a in kept] == [True, False]
        assert errors == []
    lab.close_kernels()


def watched_notebook(context: Any, lab: Lab, name: str) -> tuple[Any, list[str], list[bytes]]:
    """`open_notebook` with the sockets watched from the first moment."""
    frames: list[bytes] = []
    context.on("page", lambda page: frames_of(page, frames))
    page, errors = open_notebook(context, lab, name)
    return page, errors, frames


def frames_of(page: Any, frames: list[bytes]) -> None:
    def keep(payload: Any) -> None:
        frames.append(payload if isinstance(payload, bytes) else str(payload).encode())

    def listen(socket: Any) -> None:
        socket.on("framereceived", keep)
        socket.on("framesent", keep)

    page.on("websocket", listen)


def test_thirteen_answers_by_keyboard(lab: Lab, tmp_path: Path) -> None:
    """An octave has more keys than there are figures: letters go on, and arrows with Enter reach them all."""
    name = "many.ipynb"
    write_notebook(lab.folder / name, [MANY])
    with browser(tmp_path / "profile", viewport={"width": 1200, "height": 1100}) as context:
        page, errors, _ = watched_notebook(context, lab, name)
        run_all(page)
        wait_text(page, ".pl-drill-question", "Which of thirteen?", seconds=60)
        to_player(page)
        assert page.locator(".pl-drill-choice kbd").all_inner_texts() == [*"1234567890DEF"]
        for key, chosen in (("F", "key 13"), ("0", "key 10"), ("ArrowUp", "key 13"), ("ArrowDown", "key 1")):
            page.keyboard.press(key.lower() if len(key) == 1 else key)
            if len(key) > 1:
                page.keyboard.press("Enter")
            wait_text(page, ".pl-drill-headline", f"Took {chosen}")
            page.keyboard.press("n")
            page.locator(".pl-drill-told").wait_for(state="hidden")
        assert errors == []
    lab.close_kernels()


def test_n_tries_again_after_a_task_and_after_an_answer_that_failed(lab: Lab, tmp_path: Path) -> None:
    """While a drive is away the page says so, however often it is asked; then it goes on where it was, each answer kept once."""
    name, away, full = "failing.ipynb", lab.folder / "away", lab.folder / "full"
    cells = [
        MAKE.replace('"class"', '"failing"').replace("seed=12", "seed=12, same_set=False"),
        FAILING,
        PLAY,
    ]
    write_notebook(lab.folder / name, cells)
    away.touch()
    with browser(tmp_path / "profile", viewport={"width": 1200, "height": 1100}) as context:
        page, errors, _ = watched_notebook(context, lab, name)
        run_all(page)
        press = page.keyboard.press

        def stuck(line: str, shot: str) -> None:
            wait_text(page, ".pl-drill-line", f"{line}.", seconds=60)
            page.locator(".pl-drill-again").wait_for()
            page.locator(".pl-drill").screenshot(path=tmp_path / f"{shot}.png")

        stuck("the drive is away", "first")
        assert page.locator(".pl-drill-question").inner_text() == "The first task could not be made"
        to_player(page)
        press("n")
        wait_text(page, ".pl-drill-line", "the drive is away.")
        away.unlink()
        press("n")
        wait_text(page, ".pl-drill-top", "Task 1 of 2")
        assert page.locator(".pl-drill-line").inner_text() == ""
        full.touch()
        press("1")
        stuck("no space left on the drive", "answer")
        full.unlink()
        press("n")
        page.wait_for_function("!document.querySelector('.pl-drill-line').textContent")
        away.touch()
        press("1")
        page.locator(".pl-drill-told").wait_for()
        press("n")
        stuck("the drive is away", "second")
        assert not page.locator(".pl-drill-next").is_visible()
        away.unlink()
        page.locator(".pl-drill-again button").click()
        wait_text(page, ".pl-drill-top", "Task 2 of 2")
        assert not page.locator(".pl-drill-again").is_visible()
        page.locator(".pl-drill").screenshot(path=tmp_path / "again.png")
        press("2")
        page.locator(".pl-drill-told").wait_for()
        press("n")
        wait_text(page, ".pl-drill-question", "All tasks are answered")
        kept = open_class(lab.folder / "failing").desk("7").answers()
        assert len(kept) == 2
        assert errors == []
    lab.close_kernels()
