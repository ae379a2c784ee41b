"""Template notebooks, the export button and the app as people meet them, in Chromium; the rest of the notebooks is
opened by hand: ``python -m benchmarks.notebooks_in_lab``."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import pytest

from pianolab.shipped import shipped
from tests.widgets.notebook_look import charts_drawn, wrong_with
from tests.widgets.widget_lab import (
    CHROMIUM,
    Lab,
    browser,
    free_port,
    fresh_folders,
    open_notebook,
    run_all,
    running_lab,
    use_theme,
    write_notebook,
)

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(not CHROMIUM.exists(), reason="needs Debian's chromium"),
]
NOTEBOOKS = Path(str(shipped("notebooks")))
WINDOW = {"width": 1100, "height": 1000}

SHOW = """
from pianolab import figures
from pianolab.show import Lines, Table
from widget_small import recorded_casebook
casebook = recorded_casebook("book")
survey = __import__("pianolab").Survey.from_json(casebook.surveys()[0].survey_json)
figures.draw_tuning(figures.plan_tuning({"a": survey}, {"a": "the one in the hallway"}), "THEME")
"""
BUTTON = "import pianolab\npianolab.forms.export_button(casebook)"


@pytest.fixture(scope="module")
def lab(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Lab]:
    with running_lab(tmp_path_factory.mktemp("lab")) as lab:
        bring_along(lab.folder)
        yield lab


def bring_along(folder: Path) -> None:
    shutil.copy(Path(__file__).parent.parent / "widgets" / "widget_small.py", folder)


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_a_notebook_runs_and_can_be_read(lab: Lab, tmp_path: Path, theme: str) -> None:
    shutil.copy(NOTEBOOKS / "plan_the_visits.ipynb", lab.folder)
    with browser(tmp_path / "profile", viewport=WINDOW) as context:
        page, complaints = open_notebook(context, lab, "plan_the_visits.ipynb")
        use_theme(page, theme)
        run_all(page)
        page.wait_for_timeout(500)
        assert page.locator(".jp-OutputArea-output table").count() >= 4
        assert wrong_with(page) == []
        assert complaints == []
    lab.close_kernels()


def test_what_is_wrong_would_be_seen(lab: Lab, tmp_path: Path) -> None:
    show = "from IPython.display import HTML, display\n"
    cells = [
        f"{show}display(HTML('<p style=\"color:#999;background:#fff\">hard to read</p>'))",
        f'{show}display(HTML(\'<figure class="pianolab"><p style="width:3000px">long</p></figure>\'))',
        f"{show}display(HTML('<p>easy</p>'))",
        "1 / 0",
    ]
    write_notebook(lab.folder / "wrong.ipynb", cells)
    with browser(tmp_path / "profile", viewport=WINDOW) as context:
        page, _ = open_notebook(context, lab, "wrong.ipynb")
        run_all(page)
        wrong = wrong_with(page)
    lab.close_kernels()
    assert [w for w in wrong if "hard to read" in w]
    assert [w for w in wrong if w.startswith("too wide: cell 1, ")]
    assert [w for w in wrong if w.startswith("failed: ") and "ZeroDivisionError" in w]
    assert not [w for w in wrong if "easy" in w]


def said(page: Any) -> str:
    return "\n".join(page.locator(".widget-html").all_inner_texts())


def wait_until_said(page: Any, words: str) -> None:
    page.wait_for_function(
        "words => [...document.querySelectorAll('.widget-html')].some(e => e.textContent.includes(words))",
        arg=words,
        timeout=120_000,
    )


def test_the_export_button_writes_where_it_says_and_replaces_nothing_unasked(
    lab: Lab, tmp_path: Path
) -> None:
    write_notebook(lab.folder / "export.ipynb", [SHOW.replace("THEME", "dark"), BUTTON])
    target = lab.folder / "comparison.html"
    with browser(tmp_path / "profile", viewport=WINDOW) as context:
        page, complaints = open_notebook(context, lab, "export.ipynb")
        use_theme(page, "dark")
        run_all(page)
        page.get_by_role("button", name="Write the page").wait_for()
        assert "comparison.html" in said(page)
        assert not target.exists()
        target.write_text("somebody's own", encoding="utf-8")
        page.get_by_role("button", name="Write the page").click()
        wait_until_said(page, "is there already")
        assert target.read_text(encoding="utf-8") == "somebody's own"
        page.get_by_label("replace what is there already").check()
        page.get_by_role("button", name="Write the page").click()
        wait_until_said(page, "Written: comparison.html")
        assert charts_drawn(page) == 1
        assert wrong_with(page) == []
        assert complaints == []
        opened, page_complaints = open_file(context, page, "comparison.html")
        assert "the one in the hallway" in opened.locator("body").inner_text()
        assert page_complaints == []
    lab.close_kernels()


def open_file(context: Any, page: Any, name: str) -> tuple[Any, list[str]]:
    """A file opened from JupyterLab's file list in a browser tab."""
    url = page.evaluate(f"window.jupyterapp.serviceManager.contents.getDownloadUrl('{name}')")
    opened, complaints = context.new_page(), []
    opened.on("console", lambda m: complaints.append(m.text) if m.type == "error" else None)
    opened.on("pageerror", lambda e: complaints.append(str(e)))
    opened.goto(url)
    opened.wait_for_timeout(1000)
    return opened, complaints


@contextmanager
def running_app(home: Path) -> Iterator[str]:
    """Voila over the notebooks in ``home``; gives its address."""
    url = f"http://127.0.0.1:{(port := free_port())}"
    command = [sys.executable, "-m", "voila", "--no-browser", f"--port={port}", "--Voila.ip=127.0.0.1", "."]
    with open(home / "app.log", "wb") as log:
        app = subprocess.Popen(
            command, cwd=home, env={**os.environ, **fresh_folders(home / "jupyter")}, stdout=log, stderr=log
        )
        try:
            for _ in range(200):
                assert app.poll() is None, (home / "app.log").read_text(encoding="utf-8")
                with suppress(OSError), urllib.request.urlopen(url, timeout=5):
                    break
                time.sleep(0.3)
            yield url
        finally:
            app.terminate()
            app.wait(20)


@pytest.mark.skipif(find_spec("voila") is None and not os.environ.get("CI"), reason="needs the extra 'app'")
def test_as_an_app_it_shows_charts_and_buttons_and_no_code(tmp_path: Path) -> None:
    bring_along(tmp_path)
    write_notebook(tmp_path / "app.ipynb", [SHOW.replace("THEME", "light"), BUTTON])
    with running_app(tmp_path) as url, browser(tmp_path / "profile", viewport=WINDOW) as context:
        page = context.new_page()
        page.route("**/*", lambda r: r.continue_() if r.request.url.startswith((url, "blob:")) else r.abort())
        page.goto(f"{url}/voila/render/app.ipynb", wait_until="domcontentloaded", timeout=120_000)
        page.locator("button", has_text="Write the page").click(timeout=120_000)
        wait_until_said(page, "Written: comparison.html")
        page.wait_for_selector(".js-plotly-plot .main-svg", timeout=120_000)
        assert charts_drawn(page) == 1
        assert "recorded_casebook" not in page.locator("body").inner_text()
    assert (tmp_path / "comparison.html").stat().st_size > 100_000
