"""The real checklist in JupyterLab: a walk in its own order by clicks and one by keyboard only; marks, sound, opinions."""

from __future__ import annotations

import ast
import io
from pathlib import Path
from typing import Any

import pytest
from PIL import Image
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
from widget_small import recorded_casebook

from pianolab.checklist import Point, load_checklist
from pianolab.model import Piano

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(not CHROMIUM.exists(), reason="needs Debian's chromium"),
]

OPEN = """
from pathlib import Path
from widget_small import small_casebook
from pianolab.casebook import open_casebook
from pianolab.widgets import FindingsForm, KeyboardPicker, TouchForm
book = open_casebook("{0}") if Path("{0}").exists() else small_casebook("{0}")[0]
visit = book.visits()[0]
"""
FORM = "form = FindingsForm(book, visit.id)\nform"
READ = (
    "print({f.point: (f.state, f.grade, f.answer, f.count, f.reading, f.note, f.reason)"
    " for f in book.findings(visit.id)}, len(book.photos(visit.id)))"
)
POINTS = load_checklist().for_piano(Piano(name="as in small_casebook"))
BY_TITLE = {p.title: p for p in POINTS}
WALKED = 12
"""So many points are walked, in whatever order the walk leads to them."""
HOSTILE = "two <b>thicker</b> ones <img src=x onerror=window.struck=1>"
"""Were it ever taken for markup, the page would say so in ``window.struck``."""
NOTED, PUT_OFF = "pins-look", "case-legs"


def wanted(point: Point) -> tuple[Any, ...]:
    """What the walks below enter at a point, as Python must read it back."""
    if point.id == PUT_OFF:
        return ("not checked", None, None, None, None, "", "no helper")
    note = HOSTILE if point.id == NOTED else ""
    values = {
        "grade": (4, None, None, None),
        "yes_no": (None, True, None, None),
        "count": (None, None, 2, None),
        "reading": (None, None, None, 7.5),
    }
    return ("checked", *values[point.record], note, "")


def notebook(lab: Lab, name: str, *cells: str) -> str:
    write_notebook(lab.folder / f"{name}.ipynb", [OPEN.format(name), *cells])
    return f"{name}.ipynb"


def read_back(page: Any) -> tuple[dict[str, Any], int]:
    run_cell(page, 2)
    return parsed(page)


def parsed(page: Any) -> tuple[dict[str, Any], int]:
    for _ in range(300):  # the cell's output comes after the form's, and after a restart not at once
        if output_text(page, 2).strip():
            break
        page.wait_for_timeout(100)
    findings, _, photos = output_text(page, 2).strip().rpartition(" ")
    return ast.literal_eval(findings), int(photos)


def here(page: Any) -> Point:
    """The point on the screen."""
    return BY_TITLE[page.locator(".pl-point-title").inner_text()]


def go_on(page: Any, press: Any) -> None:
    """On to the next point, whichever it is."""
    before = here(page).title
    press()
    page.wait_for_function(
        "t => document.querySelector('.pl-point-title').textContent !== t", arg=before, timeout=120_000
    )


def there_again_after_a_restart(page: Any, entered: dict[str, Any], *, photos: int) -> None:
    restart_and_run_all(page)
    page.locator(".pl-walk").wait_for(timeout=120_000)
    assert parsed(page) == (entered, photos)
    assert progress(page) == f"{WALKED - 1} of {len(POINTS)} points checked, 1 not checked"
    page.get_by_role("button", name="Take back last change").click()
    page.wait_for_function("document.querySelector('.pl-status').textContent.startsWith('Taken back')")


def test_a_walk_by_clicks(lab: Lab, tmp_path: Path) -> None:
    name = notebook(lab, "real_clicks", FORM, READ)
    room = io.BytesIO()
    Image.effect_noise((3000, 2000), 60).convert("RGB").save(room, "JPEG", quality=95)
    (tmp_path / "pins.jpg").write_bytes(room.getvalue())
    with browser(tmp_path / "profile", viewport={"width": 1440, "height": 1000}) as context:
        page, errors = open_notebook(context, lab, name)
        elsewhere = outside_requests(page, lab)
        run_all(page)
        page.locator(".pl-walk").wait_for(timeout=120_000)
        entered = {}
        for i in range(WALKED):
            point = here(page)
            entered[point.id] = wanted(point)
            click_value(page, point)
            saved(page)
            if point.id == NOTED:
                page.get_by_role("textbox", name="Note").fill(HOSTILE)
                page.locator(".pl-photo-row input").set_input_files(tmp_path / "pins.jpg")
                page.locator(".pl-photo img").wait_for()
                page.screenshot(path=tmp_path / "wide.png")
            if i < WALKED - 1:
                go_on(page, lambda: press_next(page))
        assert {PUT_OFF, NOTED, "each-recorded"} <= set(entered)
        assert read_back(page) == (entered, 1)
        there_again_after_a_restart(page, entered, photos=1)
        assert page.evaluate("window.struck") is None
        assert (errors, elsewhere) == ([], [])
    lab.close_kernels()


def click_value(page: Any, point: Point) -> None:
    if point.id == PUT_OFF:
        page.get_by_role("button", name="Not checked").click()
        page.get_by_role("button", name="No helper").click()
    elif point.record == "grade":
        page.get_by_role("radio").nth(1).click()
    elif point.record == "yes_no":
        page.get_by_role("radio").first.click()
    elif point.record == "count":
        for _ in range(2):
            page.get_by_role("button", name="one more").click()
            saved(page)
    else:
        page.locator(".pl-number").fill("7,5")
        page.locator(".pl-number").press("Enter")


def test_a_walk_by_keyboard_only(lab: Lab, tmp_path: Path) -> None:
    name = notebook(lab, "real_keyboard", FORM, READ)
    with browser(tmp_path / "profile", viewport={"width": 768, "height": 1024}) as context:
        page, errors = open_notebook(context, lab, name)
        run_all(page)
        page.locator(".pl-walk").wait_for(timeout=120_000)
        tab_into_form(page)
        entered = {}
        for i in range(WALKED):
            point = here(page)
            entered[point.id] = wanted(point)
            page.keyboard.press("Escape")
            type_value(page, point)
            saved(page)
            if point.id == NOTED:
                page.keyboard.press("t")
                page.keyboard.type(HOSTILE)
                page.screenshot(path=tmp_path / "tablet.png")
            page.keyboard.press("Escape")
            if i < WALKED - 1:
                go_on(page, lambda: page.keyboard.press("."))
        assert read_back(page) == (entered, 0)
        there_again_after_a_restart(page, entered, photos=0)
        assert page.evaluate("window.struck") is None
        assert errors == []
    lab.close_kernels()


def type_value(page: Any, point: Point) -> None:
    press = page.keyboard.press
    if point.id == PUT_OFF:
        press("u")
        tab_to(page, "No helper", role="button")
        press("Enter")
    elif point.record == "grade":
        press("4")
    elif point.record == "yes_no":
        press("y")
    else:
        tab_to(page, point.title)
        page.keyboard.type("2" if point.record == "count" else "7.5")
        press("Enter")


def test_a_whole_area_by_keyboard_and_the_lid_that_stays_shut(lab: Lab, tmp_path: Path) -> None:
    name = notebook(lab, "real_area", FORM, READ)
    with browser(tmp_path / "profile", viewport={"width": 1024, "height": 1000}) as context:
        page, errors = open_notebook(context, lab, name)
        run_all(page)
        page.locator(".pl-walk").wait_for(timeout=120_000)
        page.locator(".pl-areas-open").click()
        page.locator(".pl-area").first.click()
        tab_into_form(page)
        page.keyboard.press("Escape")
        page.keyboard.press("a")
        page.locator(".pl-compact").first.wait_for()
        points = load_checklist().for_piano(Piano(name="x"))
        papers, serial = [p for p in points if p.area == "Papers and story"], points["papers-serial"]
        assert page.locator(".pl-compact").count() == len(papers)
        assert small_targets(page, ".pl-walk") == []
        page.get_by_role("heading", name=serial.title, exact=True).focus()
        page.keyboard.press("n")
        saved(page)
        for _ in range(points.areas.index(points["pins-look"].area)):
            page.get_by_role("button", name="Next area").click()
        at_point(page, "Tuning pins by eye")
        page.get_by_role("button", name="Not checked").first.click()
        page.get_by_role("button", name="The lid was not opened").first.click()
        page.wait_for_function(
            "document.querySelector('.pl-status').textContent.includes('set to not allowed')"
        )
        page.screenshot(path=tmp_path / "area.png")
        found, _ = read_back(page)
        shut = {p.id for p in points if p.opens == "lid"}
        assert serial.id in shut
        assert {i for i, f in found.items() if f[0] == "not allowed"} == shut - {serial.id}
        assert found[serial.id][2] is False
        assert errors == []
    lab.close_kernels()


def test_keys_marked_and_heard_and_two_players(lab: Lab, tmp_path: Path) -> None:
    """Two widgets in one notebook: a cold kernel for each would take longer than the test."""
    recorded_casebook(lab.folder / "real_keys", name=HOSTILE).close()
    name = notebook(
        lab,
        "real_keys",
        "picker = KeyboardPicker(book.pianos()[0], casebook=book, visit_id=visit.id)\npicker",
        "print([(f.point, f.keys, f.count) for f in book.findings(visit.id)])",
        'form = TouchForm(book, visit.id, players=("Ana", "Ben"))\nform',
        "print([(o.player, o.taste, o.faults, o.at is not None) for o in book.touch_opinions(visit.id)])",
    )
    options = {"viewport": {"width": 820, "height": 1180}, "has_touch": True}
    with browser(tmp_path / "profile", **options) as context:
        page, errors = open_notebook(context, lab, name)
        elsewhere = outside_requests(page, lab)
        run_all(page)
        page.locator(".pl-picker").wait_for(timeout=120_000)
        mark_and_listen(page)
        page.screenshot(path=tmp_path / "picker.png")
        run_cell(page, 2)
        assert ast.literal_eval(output_text(page, 2)) == [("keys-chips", (40, 41), 2)]
        two_play(page)
        page.screenshot(path=tmp_path / "together.png")
        run_cell(page, 4)
        assert ast.literal_eval(output_text(page, 4)) == [
            ("Ana", {"weight": 1}, {"evenness": 1}, True),
            ("Ben", {"weight": 5}, {}, True),
        ]
        assert page.evaluate("window.struck") is None
        assert (errors, elsewhere) == ([], [])
    lab.close_kernels()


def mark_and_listen(page: Any) -> None:
    page.get_by_role("option", name="C4, key 40").click(position={"x": 26, "y": 140})
    page.keyboard.press("Shift+ArrowRight")
    page.get_by_role("button", name="chip", exact=True).click()
    page.wait_for_function("document.querySelector('.pl-picker-line').textContent === 'Saved'")
    page.get_by_role("button", name="Play").click()
    page.wait_for_function("document.querySelector('.pl-picker-line').textContent.startsWith('Playing')")
    assert "cents" in page.locator(".pl-facts-list").inner_text()


def two_play(page: Any) -> None:
    page.get_by_role("button", name="Ana sits down").tap()
    assert small_targets(page, ".pl-touch") + small_targets(page, ".pl-picker") == []
    page.get_by_role("radio", name="Light: the keys").tap()
    page.get_by_role("button", name="Evenness").tap()
    page.get_by_role("radio", name="No two neighbours").tap()
    said(page, "Saved")
    page.get_by_role("button", name="Done: hide").tap()
    said(page, "Thank you. Saved")
    assert page.locator('.pl-touch [aria-checked="true"]').count() == 0
    page.get_by_role("button", name="Ben sits down").tap()
    page.get_by_role("radio", name="Substantial: every").tap()
    said(page, "Saved")
    assert page.locator('.pl-touch [aria-checked="true"]').count() == 1
    page.get_by_role("button", name="Done: hide").tap()
    page.locator(".pl-together").wait_for()
    assert "Light: the keys" in page.locator(".pl-together").inner_text()


def said(page: Any, line: str) -> None:
    page.wait_for_function("t => document.querySelector('.pl-touch .pl-status').textContent === t", arg=line)
