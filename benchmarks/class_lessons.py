"""Plays every lesson through in JupyterLab, task by task, as a hasty pupil does, and then makes the class's pages.

::

    python -m benchmarks.class_lessons --shots DIR [--only dampers ...] [--home DIR]

Run from the repository's folder, with Debian's chromium installed. Tasks are answered by keyboard and by mouse in
turn, some twice at once; N is pressed before an answer and twice after it; in the middle of each lesson the page is
loaded anew and all is run again, the second half in the dark theme. Printed, a line per lesson: tasks answered, the
longest wait for the next, what the server refused (status 400 and above), what the browser complained of, what is too
wide or too faint. Afterwards the teacher's notebook gathers the answers, and the class's page and the pupil's are opened
with nothing to fetch. It ends with an error where anything is wrong or an answer is missing or there twice. The pictures
are to be looked at.
"""

from __future__ import annotations

import argparse
import contextlib
import sys
import time
from collections import Counter
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np

from benchmarks.notebooks_in_lab import NOTEBOOKS
from pianolab.classroom import load_lessons, open_class
from tests.widgets.notebook_look import wrong_with
from tests.widgets.widget_lab import Lab, browser, open_notebook, run_all, running_lab, use_theme, wait_idle

PUPIL, PRACTICE = "7", "pianolab-practice"
SIZE = {"width": 1100, "height": 1100}
NOTEBOOK = {name: "lesson_" + name.replace(" ", "_") for name in load_lessons()}
SHOWN = "([n, text]) => document.querySelectorAll('.pl-drill-top')[n]?.textContent.includes(text)"


class Played:
    """One lesson's page, its player of examples and its player of tasks, and what went wrong."""

    def __init__(self, page: Any, *, shots: Path, name: str) -> None:
        self.page, self.shots, self.name = page, shots, name
        self.waits: list[float] = []
        self.rng = np.random.default_rng(len(name))
        self.photographed: Counter[str] = Counter()

    def player(self, n: int) -> Any:
        return self.page.locator(".pl-drill").nth(n)

    def shown(self, n: int, text: str) -> None:
        """Wait until the player's head says so."""
        self.page.wait_for_function(SHOWN, arg=[n, text])

    def photograph(self, n: int, what: str, *, most: int = 1) -> None:
        self.photographed[what] += 1
        if self.photographed[what] <= most:
            self.player(n).screenshot(path=self.shots / f"{NOTEBOOK[self.name]}-{what}.png")

    def examples(self) -> None:
        """The named examples, from the first to the last, by keyboard."""
        self.shown(0, "Task 1 of")
        top = self.player(0).locator(".pl-drill-top").inner_text()
        count = int(top.rsplit(" ", 1)[1])
        self.player(0).focus()
        for number in range(1, count + 1):
            self.shown(0, f"Task {number} of {count}")
            self.player(0).locator(".pl-drill-told").wait_for()
            self.photograph(0, f"example-{number}")
            self.page.keyboard.press("n")
        self.shown(0, f"{count} of {count} answered")

    def tasks(self, first: int, last: int, count: int, *, theme: str) -> None:
        """Tasks from one to another, of so many, answered by key and by mouse in turn."""
        for number in range(first, last + 1):
            begin = time.perf_counter()
            self.shown(1, f"Task {number} of {count}")
            self.waits.append(time.perf_counter() - begin)
            self.listen()
            self.page.keyboard.press("n")
            kind = self.player(1).locator(".pl-drill-question").inner_text().split(".")[-2][:24].strip()
            self.photograph(1, f"{theme}-asked-{kind}".replace(" ", "_"))
            self.answer(number)
            self.player(1).locator(".pl-drill-told").wait_for()
            self.photograph(1, f"{theme}-told-{kind}".replace(" ", "_"))
            self.onward(number)

    def listen(self) -> None:
        """Play the first sound where there is one."""
        plays = self.player(1).locator(".pl-drill-play")
        self.player(1).focus()
        if plays.count():
            self.page.keyboard.press(plays.first.locator("kbd").inner_text().lower())
            self.page.wait_for_function(
                "document.querySelectorAll('.pl-drill-heard')[1].textContent.includes('is playing')"
            )

    def answer(self, number: int) -> None:
        """Any answer; every third one given twice in a breath."""
        choices = self.player(1).locator(".pl-drill-choice")
        at = int(self.rng.integers(choices.count()))
        if number % 2:
            key = choices.nth(at).locator("kbd").inner_text().lower()
            for _ in range(2 if number % 3 == 0 else 1):
                self.page.keyboard.press(key)
        else:
            choices.nth(at).click(click_count=2 if number % 3 == 0 else 1)

    def onward(self, number: int) -> None:
        """To the next task by key or by mouse; some press twice."""
        self.page.keyboard.press("2")
        if number % 4 == 1:
            self.player(1).locator(".pl-drill-next").click()
        else:
            for _ in range(2 if number % 4 == 2 else 1):
                self.page.keyboard.press("n")


def run_until_both_players_stand(page: Any) -> None:
    """Run all cells; once more where a busy page dropped it."""
    for _ in range(3):
        run_all(page)
        with contextlib.suppress(Exception):
            page.wait_for_function("document.querySelectorAll('.pl-drill-top').length === 2", timeout=60_000)
            return


def play(context: Any, lab: Lab, name: str, *, shots: Path) -> list[str]:
    """One lesson from its first cell to its last task; what is wrong, a line each."""
    lesson = load_lessons()[name]
    count = lesson.count or lesson.instruments * len(lesson.points)
    page, complaints = open_notebook(context, lab, f"{NOTEBOOK[name]}.ipynb")
    use_theme(page, "light")
    run_until_both_players_stand(page)
    played, half = Played(page, shots=shots, name=name), count // 2
    played.examples()
    played.tasks(1, half, count, theme="light")
    wrong = wrong_with(page)
    page.reload(wait_until="domcontentloaded")
    page.wait_for_selector(".jp-Notebook")
    wait_idle(page)
    use_theme(page, "dark")
    run_until_both_players_stand(page)
    played.tasks(half + 1, count, count, theme="dark")
    played.shown(1, f"{count} of {count} answered")
    played.photograph(1, "closing")
    wrong += wrong_with(page) + [f"console: {text}" for text in complaints]
    page.close()
    lab.close_kernels()
    own = open_class(lab.folder / PRACTICE / "class").desk(PUPIL).answers()
    kept = Counter(a.id for a in own if a.lesson == name)
    if len(kept) != count or set(kept.values()) != {1}:
        wrong.append(f"{len(kept)} answers kept of {count}")
    later = played.waits[1:]
    print(
        f"{name}: {count} tasks; waits: median {np.median(later):.2f} s, longest {max(later):.2f} s",
        flush=True,
    )
    return wrong


def pages(context: Any, lab: Lab, *, shots: Path) -> list[str]:
    """The teacher's notebook, and the pages it writes, opened without a network."""
    page, complaints = open_notebook(context, lab, "lesson_make_a_class.ipynb")
    run_all(page)
    wrong = wrong_with(page) + [f"console: {text}" for text in complaints]
    page.close()
    lab.close_kernels()
    written = sorted((lab.folder / PRACTICE / "teacher").glob("*.html"))
    if len(written) < 3:
        wrong.append(f"pages written: {', '.join(p.name for p in written) or 'none'}")
    context.set_offline(True)
    for path in written:
        page = context.new_page()
        page.on("console", lambda m: wrong.append(f"page: {m.text}") if m.type == "error" else None)
        page.on(
            "request", lambda r: wrong.append(f"page asks for {r.url[:80]}") if r.url[:4] == "http" else None
        )
        for theme in ("light", "dark"):
            page.emulate_media(color_scheme=theme)
            page.goto(path.as_uri())
            page.screenshot(path=shots / f"page-{path.stem.replace(' ', '_')}-{theme}.png", full_page=True)
        page.close()
    context.set_offline(False)
    return wrong


def main() -> int:
    """Prints a line per lesson, then everything that is wrong."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument(
        "--shots", type=Path, required=True, help="folder for the pictures, outside the repository"
    )
    parser.add_argument("--only", nargs="+", choices=list(NOTEBOOK), default=list(NOTEBOOK))
    parser.add_argument("--home", type=Path, help="keep the notebooks and what they write here")
    args = parser.parse_args()
    args.shots.mkdir(parents=True, exist_ok=True)
    wrong: dict[str, list[str]] = {}
    with TemporaryDirectory() as scratch, running_lab(Path(scratch) / "lab", folder=args.home) as lab:
        for file in NOTEBOOKS.glob("lesson_*.ipynb"):
            (lab.folder / file.name).write_text(file.read_text(encoding="utf-8"), encoding="utf-8")
        with browser(Path(scratch) / "profile", viewport=SIZE) as context:
            refused: list[str] = []
            context.on(
                "response", lambda r: refused.append(f"{r.status} {r.url}") if r.status >= 400 else None
            )
            for name in args.only:
                try:
                    wrong[name] = play(context, lab, name, shots=args.shots) + refused
                except Exception as stopped:
                    wrong[name] = [f"stopped: {stopped}", *refused]
                for line in wrong[name]:
                    print(f"{name}: {line}", flush=True)
                refused.clear()
            wrong["pages"] = pages(context, lab, shots=args.shots) + refused
        log = (Path(scratch) / "lab" / "lab.log").read_text(encoding="utf-8", errors="replace")
        wrong["server"] = [line for line in log.splitlines() if " 500 " in line or "Traceback" in line]
    for where in ("pages", "server"):
        for line in wrong[where]:
            print(f"{where}: {line}")
    return 1 if any(wrong.values()) else 0


if __name__ == "__main__":
    sys.exit(main())
