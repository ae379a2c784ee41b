"""Two tabs of two notebooks at one point of one visit, driven in JupyterLab; forms on a tablet with controls for a finger."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

import pytest
from widget_lab import CHROMIUM, Lab, browser, open_notebook, run_all, write_notebook

from pianolab.casebook import open_casebook

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(not CHROMIUM.exists(), reason="needs Debian's chromium"),
]
OPEN = """
from datetime import date
from pathlib import Path
import pianolab as pl
from pianolab.model import Piano, Visit
folder = Path("{0}")
book = pl.open_casebook(folder) if folder.exists() else pl.create_casebook(folder)
if not book.pianos():
    with book.editing(by="Ana") as edit:
        piano = edit.add(Piano(name="by the window", year=1990))
        edit.add(Visit(piano_id=piano.id, day=date(2026, 5, 14), examiner="Ana"))
"""
WALK = "form = pl.forms.FindingsForm(book, book.visits()[0].id, examiner='Ana')\nform"
DESK = "desk = pl.forms.visit_desk(book, examiner='Ana')\ndesk"
TABLET = {"viewport": {"width": 820, "height": 1180}, "has_touch": True}
CONTROLS = """
  [...document.querySelectorAll('.pl-desk-all :is(button, select, summary, textarea, input, .jupyter-widget-Collapse-header)')]
    .filter(e => e.offsetParent && !(e.type === 'file' && e.hidden))
    .map(e => [e, ((e.type === 'checkbox' && e.closest('label')) || e).getBoundingClientRect()])"""
SMALL = (
    "() => "
    + CONTROLS
    + """.filter(([, box]) => box.height < 43.5 || box.width < 43.5)
  .map(([e, box]) => `${e.tagName} ${(e.getAttribute('aria-label') || e.textContent).slice(0, 20)} ${box.width} x ${box.height}`)"""
)
"""What a thumb would miss anywhere on the visit's screen; a box to tick counts with the words that tick it."""
PARTS = {
    "Walk": ".pl-walk",
    "Keyboard": ".pl-picker",
    "Recording": ".pl-recorder",
    "Players": ".pl-touch",
    "Photos": ".pl-pictures",
    "Room": "button:text-is('carpet')",
    "Piano": "button:text-is('Another piano')",
}
TALL = "document.querySelector('.pl-desk-part').getBoundingClientRect().height"
MOST_PX = 2 * 1180
"""Two screens of the tablet for the longest part, which folds what is answered."""


def status(page: Any, words: str) -> str:
    page.wait_for_function(
        "w => document.querySelector('.pl-walk').textContent.includes(w)", arg=words, timeout=20_000
    )
    said: str = page.locator(".pl-walk").inner_text()
    return said


def tap(page: Any, which: int) -> None:
    page.locator(".pl-choice").nth(which).click()


def grades(folder: Path) -> list[int | bool | None]:
    """What is kept at the one point, the log's records beside it."""
    with open_casebook(folder) as book:
        (found,) = book.findings(book.visits()[0].id)
        return [found.grade if found.answer is None else found.answer]


@pytest.mark.parametrize("choice", ["Put yours", "Keep what is saved", "a tap in the form"])
def test_the_second_of_two_tabs_is_shown_both_and_asked(lab: Lab, tmp_path: Path, choice: str) -> None:
    shots = Path(os.environ.get("PIANOLAB_SHOTS", tmp_path))
    book = "two_tabs_" + choice.split()[0].lower()
    for name in ("first", "second"):
        write_notebook(lab.folder / f"{name}_{book}.ipynb", [OPEN.format(book), WALK])
    with browser(tmp_path / "profile", viewport={"width": 1366, "height": 768}) as context:
        pages = []
        for name in ("first", "second"):
            page, _ = open_notebook(context, lab, f"{name}_{book}.ipynb")
            run_all(page)
            page.locator(".pl-walk .pl-choice").first.wait_for(timeout=30_000)
            pages.append(page)
        first, second = pages
        assert second.locator(".pl-point-title").inner_text() == first.locator(".pl-point-title").inner_text()
        answers = [first.locator(".pl-choice-text").nth(i).inner_text() for i in (0, 1)]
        tap(first, 0)
        status(first, "Saved at")
        before = grades(lab.folder / book)
        tap(second, 1)
        second.locator(".pl-asking:visible").wait_for(timeout=20_000)
        yours, kept = second.locator(".pl-side b").all_inner_texts()
        assert (yours.partition(" (")[0], kept.partition(" (")[0]) == (answers[1], answers[0])
        status(second, "Not saved yet: choose one of the two")
        second.screenshot(path=shots / f"{book}.png")
        assert grades(lab.folder / book) == before
        if choice == "a tap in the form":
            tap(second, 1)
            status(second, "Saved at")
        else:
            second.get_by_role("button", name=choice).click()
            status(second, "Yours saved" if choice == "Put yours" else "What was there is kept")
        second.locator(".pl-asking").wait_for(state="hidden", timeout=20_000)
        assert (grades(lab.folder / book) == before) == (choice == "Keep what is saved")


def small(page: Any) -> list[str]:
    found: list[str] = page.evaluate(SMALL)
    return found


def test_every_part_on_a_tablet_fits_a_finger_and_the_room_is_kept(lab: Lab, tmp_path: Path) -> None:
    write_notebook(lab.folder / "tablet_forms.ipynb", [OPEN.format("tablet_forms"), DESK])
    shots = Path(os.environ.get("PIANOLAB_SHOTS", tmp_path))
    with browser(tmp_path / "profile", **TABLET) as context:
        page, errors = open_notebook(context, lab, "tablet_forms.ipynb")
        run_all(page)
        for part, shown in PARTS.items():
            page.get_by_role("tab", name=part, exact=True).click()
            page.locator(f"{shown}:visible").first.wait_for(timeout=30_000)
            if part == "Players":
                page.get_by_label("Name of a player").fill("Ben")
                page.get_by_role("button", name="Sit down", exact=True).click()
                page.locator(".pl-question").first.wait_for()
            page.wait_for_timeout(500)
            page.screenshot(path=shots / f"tablet_{part.lower()}.png")
            assert page.evaluate("() => " + CONTROLS + ".length") > 9, part
            assert small(page) == [], part
            assert page.evaluate(TALL) < MOST_PX, part
        room_on_the_tablet(page)
        walk_a_whole_area(page)
        with open_casebook(lab.folder / "tablet_forms") as book:
            (visit,) = book.visits()
            assert visit.room.surfaces == ("carpet",)
            answers = {f.point: f.answer for f in book.findings(visit.id) if f.point == "room-lid"}
            assert answers == {"room-lid": True}
            assert len(book.findings(visit.id)) == 3
        page.add_style_tag(content=".pl-button.pl-part { min-height: 0; height: 30px; }")
        assert small(page), "a small control is seen"
        assert not [e for e in errors if "pianolab" in e.lower()]


def room_on_the_tablet(page: Any) -> None:
    page.get_by_role("tab", name="Room", exact=True).click()
    page.get_by_role("button", name="carpet", exact=True).first.click()
    page.get_by_label("Lid while you listened").select_option(label="open")
    page.locator(".pl-form", has_text="Saved at").first.wait_for(timeout=20_000)
    page.wait_for_timeout(1000)


def walk_a_whole_area(page: Any) -> None:
    """A tap a point: what is answered folds, and the next one opens."""
    page.get_by_role("tab", name="Walk", exact=True).click()
    page.get_by_role("button", name="Whole area").click()
    page.locator(".pl-area-moves:visible").wait_for()
    assert page.evaluate(TALL) < MOST_PX
    assert small(page) == []
    for at in range(2):
        card = page.locator('.pl-compact:not([data-folded="yes"])')
        assert card.count() == 1
        title = card.locator(".pl-point-title").inner_text()
        card.locator(".pl-choice").first.tap()
        page.wait_for_function(
            "t => document.querySelector('.pl-compact:not([data-folded=yes]) .pl-point-title').textContent !== t",
            arg=title,
            timeout=20_000,
        )
        done = page.locator(".pl-compact", has=page.get_by_role("heading", name=title, exact=True))
        assert "(grade 5 of 5)" in done.locator(".pl-said").inner_text(), at
