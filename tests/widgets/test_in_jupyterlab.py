"""The widgets as people meet them: JupyterLab in Chromium, by clicks, by touch and by keyboard only."""

from __future__ import annotations

import ast
from pathlib import Path
from typing import Any

import pytest
from walk_page import (
    at_point,
    outside_requests,
    press_next,
    progress,
    run_cell,
    saved,
    small_targets,
    tab_into_form,
    tab_to,
)
from widget_lab import (
    CHROMIUM,
    Lab,
    browser,
    open_notebook,
    output_text,
    restart_and_run_all,
    run_all,
    write_notebook,
)

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(not CHROMIUM.exists(), reason="needs Debian's chromium"),
]

OPEN = """
from pathlib import Path
from widget_small import CHECKLIST, small_casebook
from pianolab.casebook import open_casebook
from pianolab.widgets import FindingsForm, KeyboardPicker
book = open_casebook("{0}") if Path("{0}").exists() else small_casebook("{0}")[0]
visit = book.visits()[0]
"""
FORM = "form = FindingsForm(book, visit.id, checklist=CHECKLIST)\nform"
READ = (
    "print([(f.point, f.state, f.grade, f.answer, f.count, f.reading, f.keys, f.note, f.reason, f.promised)"
    " for f in book.findings(visit.id)])"
)
PICKER = "picker = KeyboardPicker(book.pianos()[0], findings=book.findings(), checklist=CHECKLIST)\npicker"


def walk_notebook(lab: Lab, name: str, *more: str) -> str:
    write_notebook(lab.folder / f"{name}.ipynb", [OPEN.format(name), FORM, READ, *more])
    return f"{name}.ipynb"


def read_back(page: Any) -> list[tuple[Any, ...]]:
    run_cell(page, 2)
    found: list[tuple[Any, ...]] = ast.literal_eval(output_text(page, 2))
    return found


PROMISED = "filed by May <img src=x onerror=window.struck=1>"
"""Were it ever taken for markup, the page would say so in ``window.struck``."""
FIVE = [
    ("serial", "checked", None, True, None, None, (), "", "", ""),
    ("grooves", "checked", 2, None, None, None, (), "worst above the break", "", PROMISED),
    ("patched", "not checked", None, None, None, None, (), "", "the lamp died", ""),
    ("dip", "checked", None, None, None, 9.25, (), "", "", ""),
    ("chips", "checked", 3, None, None, None, (40, 42), "", "", ""),
]


def test_a_walk_by_clicks(lab: Lab, tmp_path: Path) -> None:
    name = walk_notebook(lab, "clicks")
    with browser(tmp_path / "profile", viewport={"width": 1440, "height": 1000}) as context:
        page, errors = open_notebook(context, lab, name)
        elsewhere = outside_requests(page, lab)
        run_all(page)
        page.get_by_role("radio", name="Yes").click()
        saved(page)
        press_next(page)
        at_point(page, "Depth of the grooves")
        page.get_by_role("radio", name="Deep grooves").click()
        page.get_by_role("textbox", name="Note").fill("worst above the break")
        page.get_by_text("The seller promises", exact=True).click()
        page.keyboard.type(PROMISED)
        press_next(page)
        at_point(page, "Hammers replaced singly")
        for _ in range(3):
            page.get_by_role("button", name="one more").click()
        saved(page)
        assert read_back(page)[2][4] == 3
        page.get_by_role("button", name="Not checked").click()
        page.get_by_role("button", name="Another reason").click()
        page.get_by_role("textbox", name="Why it was not looked at").fill("the lamp died")
        page.locator(".pl-area", has_text="Touch").click()
        at_point(page, "Key dip")
        page.get_by_role("textbox", name="Key dip, in mm").fill("nine")
        press_next(page)
        page.wait_for_function(
            "document.querySelector('.pl-line').textContent.includes('need a number in mm')"
        )
        at_point(page, "Key dip")
        assert len(read_back(page)) == 3
        page.get_by_role("textbox", name="Key dip, in mm").fill("9,25")
        press_next(page)
        at_point(page, "Chipped key tops")
        page.get_by_role("radio", name="A chip or two").click()
        for key in ("C4, key 40", "D4, key 42"):
            page.get_by_role("option", name=key).click(position={"x": 26, "y": 140})
        saved(page)
        page.screenshot(path=tmp_path / "clicks.png")
        assert read_back(page) == FIVE
        assert progress(page) == "4 of 5 points checked, 1 not checked"

        restart_and_run_all(page)
        page.locator(".pl-walk").wait_for()
        assert ast.literal_eval(output_text(page, 2)) == FIVE
        assert progress(page) == "4 of 5 points checked, 1 not checked"
        page.locator(".pl-area", has_text="Hammers").click()
        at_point(page, "Depth of the grooves")
        assert page.get_by_role("radio", name="Deep grooves").get_attribute("aria-checked") == "true"
        assert page.get_by_role("textbox", name="Note").input_value() == "worst above the break"
        assert page.get_by_role("textbox", name="The seller promises").input_value() == PROMISED
        assert page.evaluate("window.struck") is None
        assert (errors, elsewhere) == ([], [])
    lab.close_kernels()


def test_a_walk_by_keyboard_only(lab: Lab, tmp_path: Path) -> None:
    name = walk_notebook(lab, "keyboard")
    with browser(tmp_path / "profile", viewport={"width": 1024, "height": 900}) as context:
        page, errors = open_notebook(context, lab, name)
        run_all(page)
        page.locator(".pl-walk").wait_for()
        press = page.keyboard.press
        tab_into_form(page)
        press("Escape")
        press("y")
        saved(page)
        press(".")
        at_point(page, "Depth of the grooves")
        press("2")
        press("t")
        page.keyboard.type("worst above the break")
        press("Escape")
        press("s")
        page.keyboard.type(PROMISED)
        press("Escape")
        press("ArrowRight")
        at_point(page, "Hammers replaced singly")
        press("u")
        tab_to(page, "Another reason", role="button")
        press("Enter")
        page.keyboard.type("the lamp died")
        press("Enter")
        saved(page)
        press("Escape")
        press(".")
        at_point(page, "Key dip")
        tab_to(page, "Key dip, in mm")
        page.keyboard.type("9.25")
        press("Escape")
        press(".")
        at_point(page, "Chipped key tops")
        tab_to(page, "No chip.", role="radio")
        for _ in range(2):
            press("ArrowDown")
        press("Space")
        saved(page)
        press("k")
        for key in ("Enter", "ArrowRight", "ArrowRight", "Space"):
            press(key)
        saved(page)
        page.wait_for_timeout(500)
        page.screenshot(path=tmp_path / "keyboard.png")
        assert read_back(page) == FIVE
        assert errors == []
    lab.close_kernels()


def test_letters_in_the_form_never_reach_the_notebook(lab: Lab, tmp_path: Path) -> None:
    name = walk_notebook(lab, "letters")
    with browser(tmp_path / "profile", viewport={"width": 1024, "height": 900}) as context:
        page, errors = open_notebook(context, lab, name)
        run_all(page)
        page.locator(".pl-choice").first.click()
        cells = page.locator(".jp-Cell").count()
        for key in ("a", "b", "d", "d", "x", "m", "3", "Shift+m", "z"):
            page.keyboard.press(key)
        page.wait_for_timeout(500)
        assert page.locator(".jp-Cell").count() == cells
        page.locator(".jp-InputPrompt").first.click()
        page.keyboard.press("a")
        page.wait_for_timeout(500)
        assert page.locator(".jp-Cell").count() == cells + 1, (
            "the letter should reach the notebook outside the form"
        )
        assert errors == []
    lab.close_kernels()


def test_saved_is_not_said_while_the_kernel_is_busy(lab: Lab, tmp_path: Path) -> None:
    name = walk_notebook(lab, "busy", "import time\nprint(end='')", "")
    with browser(tmp_path / "profile", viewport={"width": 1440, "height": 1000}) as context:
        page, _ = open_notebook(context, lab, name)
        run_all(page)
        page.locator(".pl-walk").wait_for()
        page.evaluate(
            "window.jupyterapp.shell.currentWidget.sessionContext.session.kernel"
            ".requestExecute({code: 'import os, time\\nwhile not os.path.exists(\"go-on\"): time.sleep(0.1)'}) && undefined"
        )
        page.get_by_role("radio", name="No").click()
        page.wait_for_timeout(300)
        assert page.locator(".pl-status").inner_text() == "Saving"
        page.wait_for_function(
            "document.querySelector('.pl-status').textContent.startsWith('Not saved yet')", timeout=120_000
        )
        (lab.folder / "go-on").touch()
        saved(page)
        assert [f[3] for f in read_back(page)] == [False]
    lab.close_kernels()


def test_a_thumb_on_a_tablet(lab: Lab, tmp_path: Path) -> None:
    name = walk_notebook(lab, "thumb")
    with browser(tmp_path / "profile", viewport={"width": 768, "height": 1024}, has_touch=True) as context:
        page, errors = open_notebook(context, lab, name)
        run_all(page)
        for title in (
            "Serial number",
            "Depth of the grooves",
            "Hammers replaced singly",
            "Key dip",
            "Chipped key tops",
        ):
            at_point(page, title)
            page.get_by_role("button", name="Not checked").tap()
            page.wait_for_timeout(200)
            assert small_targets(page, ".pl-walk") == []
            assert page.evaluate(
                "document.querySelector('.pl-walk').scrollWidth <= document.querySelector('.pl-walk').clientWidth"
            )
            if title != "Chipped key tops":
                page.locator(".pl-moves .pl-main-button").tap()
        before = page.get_by_role("radio").nth(2).bounding_box()
        page.get_by_role("radio").nth(2).tap()
        saved(page)
        assert page.get_by_role("radio").nth(2).bounding_box() == before, "the buttons moved under the thumb"
        page.get_by_role("button", name="Choose a range").tap()
        page.get_by_role("option", name="C4, key 40").tap(position={"x": 26, "y": 140})
        page.get_by_role("option", name="E4, key 44").tap(position={"x": 26, "y": 140})
        saved(page)
        page.locator(".pl-areas-open").tap()
        assert page.locator(".pl-area").first.is_visible()
        page.screenshot(path=tmp_path / "thumb.png")
        assert read_back(page)[0][6] == (40, 41, 42, 43, 44)
        assert errors == []
    lab.close_kernels()


def test_the_keyboard_picker(lab: Lab, tmp_path: Path) -> None:
    name = walk_notebook(
        lab, "picker", PICKER, "print(picker.chosen)", "picker.chosen = (50,) if picker.chosen else ()"
    )
    with browser(tmp_path / "profile", viewport={"width": 1440, "height": 1000}) as context:
        page, errors = open_notebook(context, lab, name)
        run_all(page)
        picker = page.locator(".pl-picker")
        picker.get_by_role("option", name="C4, key 40").click(position={"x": 26, "y": 140})
        page.keyboard.press("Shift+ArrowRight")
        page.keyboard.press("Shift+ArrowRight")
        page.wait_for_timeout(500)
        run_cell(page, 4)
        assert output_text(page, 4).strip() == "(40, 41, 42)"
        run_cell(page, 5)
        page.wait_for_function("document.querySelector('.pl-picker [aria-selected=true]').id.endsWith('-50')")
        picker.screenshot(path=tmp_path / "picker.png")
        assert picker.get_by_role("option").count() == 88
        assert errors == []
    lab.close_kernels()
