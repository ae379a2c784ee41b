"""The visit's screen in JupyterLab and in voila: two pianos by turns, reload, restart, a second screen; what landed where."""

from __future__ import annotations

import os
import re
from pathlib import Path
from typing import Any

import pytest
from desk_page import DESK, FITS, LAPTOP, NAMES, OPEN, TABLET, answer, kept, part, to_piano
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
    use_theme,
    write_notebook,
)
from widget_small import HEIC

from pianolab.casebook import open_casebook

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(not CHROMIUM.exists(), reason="needs Debian's chromium"),
]
TURNS = int(os.environ.get("PIANOLAB_DESK_TURNS", "3"))
"""How often each piano gets its turn; five points each time."""
A_TURN = 5


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


CHART = "pl.decide(book).chart('radar')"
PAPER = """() => {
  const chart = document.querySelector('.js-plotly-plot .main-svg');
  return chart ? getComputedStyle(chart).backgroundColor : null;
}"""


def lightness(colour: str) -> float:
    """0 to 255, the mean of the three."""
    return sum(float(c) for c in re.findall(r"[\d.]+", colour)[:3]) / 3


def test_charts_follow_the_theme_a_heic_is_shown_and_a_lost_kernel_says_what_to_do(
    lab: Lab, tmp_path: Path
) -> None:
    write_notebook(lab.folder / "evening.ipynb", [OPEN.format("evening"), DESK, CHART])
    shots = Path(os.environ.get("PIANOLAB_SHOTS", tmp_path))
    (tmp_path / "IMG_0001.HEIC").write_bytes(HEIC)
    with browser(tmp_path / "profile", **TABLET) as context:
        page, _ = open_notebook(context, lab, "evening.ipynb")
        for theme in ("dark", "light"):
            use_theme(page, theme)
            page.wait_for_timeout(1500)  # until the lab has kept its setting
            run_all(page)
            page.locator(".js-plotly-plot .main-svg").first.wait_for(timeout=60_000)
            paper = page.evaluate(PAPER)
            page.locator(".js-plotly-plot").first.scroll_into_view_if_needed()
            page.screenshot(path=shots / f"evening_{theme}.png")
            assert lightness(paper) < 70 if theme == "dark" else lightness(paper) > 200, (theme, paper)
        part(page, "Photos", ".pl-pictures")
        page.locator(".pl-pictures input[type=file]").set_input_files(tmp_path / "IMG_0001.HEIC")
        page.wait_for_function(
            "document.querySelector('.pl-pictures-line').textContent.startsWith('Photo saved')",
            timeout=30_000,
        )
        shown = page.locator(".pl-pictures img").first
        shown.wait_for()
        assert shown.evaluate("e => [e.naturalWidth, e.naturalHeight]") == [48, 64]
        part(page, "Walk", ".pl-walk")
        lab.close_kernels()
        page.locator(".pl-choice").first.tap()
        page.wait_for_function(
            "document.querySelector('.pl-walk .pl-status').textContent.includes('Run All Cells')",
            timeout=60_000,
        )
        page.screenshot(path=shots / "evening_lost.png")
        assert "Not saved" in page.locator(".pl-walk .pl-status").inner_text()
        with open_casebook(lab.folder / "evening") as book:
            assert book.findings(book.visits()[0].id) == ()
