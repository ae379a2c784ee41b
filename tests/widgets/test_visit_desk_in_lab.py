"""The visit's screen in JupyterLab and in voila: two pianos by turns, reload, restart, a second screen; what landed where."""

from __future__ import annotations

import os
import re
from pathlib import Path
from typing import Any

import pytest
from PIL import Image
from walk_page import outside_requests, small_targets
from widget_lab import (
    CHROMIUM,
    Lab,
    browser,
    open_notebook,
    restart_and_run_all,
    run_all,
    running_voila,
    write_notebook,
)

from pianolab.casebook import open_casebook

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(not CHROMIUM.exists(), reason="needs Debian's chromium"),
]
TURNS = int(os.environ.get("PIANOLAB_DESK_TURNS", "3"))
"""How often each piano gets its turn; five points each time."""
A_TURN = 5
NAMES = ("by the window", "in the barn")
OPEN = """
from pathlib import Path
import pianolab as pl
from pianolab.model import Piano
folder = Path("{0}")
book = pl.open_casebook(folder) if folder.exists() else pl.create_casebook(folder)
if not book.pianos():
    with book.editing(by="Ana") as edit:
        for name, kind in (("by the window", "upright"), ("in the barn", "grand")):
            edit.add(Piano(name=name, kind=kind, year=1990, key_tops="plastic"))
"""
DESK = "desk = pl.forms.visit_desk(book, examiner='Ana')\ndesk"
LAPTOP = {"viewport": {"width": 1366, "height": 768}}
TABLET = {"viewport": {"width": 820, "height": 1180}, "has_touch": True}
FITS = """() => {
  const seen = [...document.querySelectorAll('.pl-point-title, .pl-choice, .pl-number, .pl-moves .pl-main-button')].filter(e => e.offsetParent);
  return seen.every(e => { const b = e.getBoundingClientRect(); const at = document.elementFromPoint(b.left + b.width / 2, b.bottom - 2);
    return b.top >= 0 && b.bottom <= innerHeight && at && (e.contains(at) || at.contains(e)); });
}"""


def to_piano(page: Any, name: str) -> None:
    page.get_by_label("Piano", exact=True).select_option(label=name)
    page.wait_for_function(
        "n => document.querySelector('.pl-walk .pl-point-step')?.textContent.startsWith(n)",
        arg=name,
        timeout=120_000,
    )


def part(page: Any, name: str, root: str) -> None:
    page.get_by_role("tab", name=name, exact=True).click()
    page.locator(root).wait_for(timeout=120_000)


def answer(page: Any, grade: int) -> str:
    """The better (0) or the worse (1) answer at the point on the screen, then next; the point's title."""
    title: str = page.locator(".pl-point-title").inner_text()
    if page.locator(".pl-choice").count():
        last = page.locator(".pl-choice").count() - 1
        page.locator(".pl-choice").nth(0 if grade == 0 else last).click()
    elif page.get_by_role("button", name="None", exact=True).count():
        page.get_by_role("button", name="None", exact=True).click()
    else:
        page.locator(".pl-number").fill("20")
        page.locator(".pl-number").press("Enter")
    page.wait_for_function(
        "document.querySelector('.pl-status').textContent.startsWith('Saved at')", timeout=120_000
    )
    page.locator(".pl-moves .pl-main-button").click()
    page.wait_for_function(
        "t => document.querySelector('.pl-point-title').textContent !== t", arg=title, timeout=120_000
    )
    return title


def one_turn(
    page: Any, name: str, picture: Path, entered: dict[str, list[str]], fits: dict[str, bool]
) -> None:
    to_piano(page, name)
    for _ in range(A_TURN):
        fits[f"{name}: {page.locator('.pl-point-title').inner_text()}"] = page.evaluate(FITS)
        entered[name].append(answer(page, NAMES.index(name)))
    part(page, "Keyboard", ".pl-picker")
    assert name in page.locator(".pl-picker-title").inner_text()
    key = 40 + 2 * len(entered[name]) // A_TURN
    page.locator(".pl-keys").focus()
    page.locator("[aria-label^='C4, key 40']").click(position={"x": 20, "y": 140})
    for _ in range(key - 40):
        page.keyboard.press("ArrowRight")
    if key != 40:
        page.get_by_role("button", name="Choose none").click()
        page.locator(".pl-keys").focus()
        page.keyboard.press(" ")
    page.get_by_role("button", name=re.compile("^chip")).click()
    page.wait_for_function(
        "document.querySelector('.pl-picker-line').textContent.includes('aved')", timeout=120_000
    )
    part(page, "Photos", ".pl-pictures")
    assert name in page.locator(".pl-pictures-title").inner_text()
    page.locator(".pl-pictures input[type=file]").set_input_files(picture)
    page.wait_for_function(
        "document.querySelector('.pl-pictures-line').textContent.startsWith('Photo saved')", timeout=120_000
    )
    part(page, "Walk", ".pl-walk")


def kept(folder: Path) -> dict[str, tuple[dict[str, Any], int]]:
    """Of each piano: the answers by the point's title, and how many photos."""
    with open_casebook(folder) as book:
        titles = {p.id: p.title for p in book.checklist()}
        found = {}
        for piano in book.pianos():
            (visit,) = book.visits(piano.id)
            findings = {titles[f.point]: f for f in book.findings(visit_id=visit.id)}
            found[piano.name] = (findings, len(book.photos(visit_id=visit.id)))
    return found


@pytest.mark.parametrize("options", [LAPTOP, TABLET], ids=["laptop", "tablet"])
def test_two_pianos_by_turns_then_reload_restart_and_a_second_screen(
    lab: Lab, tmp_path: Path, options: dict[str, Any], request: pytest.FixtureRequest
) -> None:
    book = f"desk_{request.node.callspec.id}"
    write_notebook(lab.folder / f"{book}.ipynb", [OPEN.format(book), DESK])
    picture = tmp_path / "lid.jpg"
    Image.effect_noise((800, 600), 60).convert("RGB").save(picture)
    entered: dict[str, list[str]] = {name: [] for name in NAMES}
    fits: dict[str, bool] = {}
    with browser(tmp_path / "profile", **options) as context:
        page, errors = open_notebook(context, lab, f"{book}.ipynb")
        elsewhere = outside_requests(page, lab)
        run_all(page)
        page.locator(".pl-walk").wait_for(timeout=120_000)
        page.locator(".pl-desk").evaluate("e => e.scrollIntoView({ block: 'start' })")
        for _ in range(TURNS):
            for name in NAMES:
                one_turn(page, name, picture, entered, fits)
        assert sum(fits.values()) >= 0.9 * len(fits), [title for title, seen in fits.items() if not seen]
        assert small_targets(page, ".pl-walk") + small_targets(page, ".pl-desk") == []
        page.locator(".pl-known-radar svg").wait_for(timeout=120_000)
        page.screenshot(path=tmp_path / "desk.png")
        where_records_landed(lab.folder / book, entered)
        # A reload of the page shows the live screen again, at the same piano.
        page.evaluate("window.jupyterapp.commands.execute('docmanager:save')")
        page.wait_for_timeout(1500)
        page.reload()
        page.locator(".pl-walk").wait_for(timeout=120_000)
        assert page.locator(".pl-point-step").inner_text().startswith(NAMES[1])
        entered[NAMES[1]].append(answer(page, 1))
        # After a restart it opens at the piano that was written to last.
        restart_and_run_all(page)
        page.locator(".pl-walk").wait_for(timeout=120_000)
        assert page.locator(".pl-point-step").inner_text().startswith(NAMES[1])
        entered[NAMES[1]].append(answer(page, 1))
        where_records_landed(lab.folder / book, entered)
        # A second screen in the same notebook: the first one says that it is old, and has nothing to press.
        page.evaluate("window.jupyterapp.commands.execute('notebook:insert-cell-below')")
        page.evaluate(
            "c => { const n = window.jupyterapp.shell.currentWidget.content;"
            " n.activeCell.model.sharedModel.setSource(c); }",
            DESK,
        )
        page.evaluate("window.jupyterapp.commands.execute('notebook:run-cell')")
        page.locator(".pl-old:visible").wait_for(timeout=120_000)
        assert page.locator(".pl-walk:visible").count() == 1
        assert (errors, elsewhere) == ([], [])
    lab.close_kernels()


def where_records_landed(folder: Path, entered: dict[str, list[str]]) -> None:
    for name, (findings, photos) in kept(folder).items():
        assert set(entered[name]) <= set(findings), name
        graded = {f.grade for t in entered[name] if (f := findings[t]).grade is not None}
        assert graded <= ({5} if name == NAMES[0] else {1})
        assert len(findings["Chipped key tops"].keys) == TURNS
        assert photos == TURNS
        assert set(findings) == {*entered[name], "Chipped key tops"}


def test_as_an_app_another_piano_needs_no_cell(tmp_path: Path) -> None:
    pytest.importorskip("voila")
    write_notebook(tmp_path / "app.ipynb", [OPEN.format("app"), DESK])
    with (
        running_voila(tmp_path, tmp_path / "app.ipynb") as url,
        browser(tmp_path / "profile", **TABLET) as context,
    ):
        page = context.new_page()
        page.goto(url, wait_until="domcontentloaded", timeout=120_000)
        page.locator(".pl-walk").wait_for(timeout=120_000)
        entered: dict[str, list[str]] = {name: [] for name in NAMES}
        for name in (*NAMES, NAMES[0]):
            to_piano(page, name)
            entered[name].append(answer(page, NAMES.index(name)))
        page.screenshot(path=tmp_path / "app.png")
        found = kept(tmp_path / "app")
        assert {name: set(findings) for name, (findings, _) in found.items()} == {
            n: set(t) for n, t in entered.items()
        }
