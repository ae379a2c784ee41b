"""The page under axe-core, light, dark and on a phone: it finds nothing at all.

axe-core (Mozilla Public License 2.0) is fetched by npm into a temporary folder and is no part of this repository.
"""

import os
import shutil
import subprocess
import tarfile
from pathlib import Path

import pytest

from pianolab.report import Clip, write_page
from pianolab.report.class_page import PlainTable, Section, SvgDrawing, class_page
from tests.report.test_browser import CHROMIUM, browsers, open_page, path, see_everything, tone

AXE = "axe-core@4.14.1"
FEW_NUMBERS = "() => document.querySelectorAll('details.data').forEach((d, n) => { if (n) d.remove(); })"
"""One table of a chart's numbers stays; the others are made by the same few lines, and have thousands of cells."""
__all__ = ["browsers", "path"]
pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(not Path(CHROMIUM).exists(), reason="needs Debian's chromium"),
]


@pytest.fixture(scope="module")
def axe(tmp_path_factory) -> str:
    """The text of axe.min.js, out of npm's own package; without npm or a registry the tests are skipped, but not in CI."""
    folder, npm = tmp_path_factory.mktemp("axe"), shutil.which("npm")
    packed = npm and subprocess.run(
        [npm, "pack", "--silent", AXE], cwd=folder, capture_output=True, text=True, timeout=120
    )
    if not packed or packed.returncode != 0:
        assert not os.environ.get("CI"), packed.stderr if packed else "no npm"
        pytest.skip("axe-core can't be fetched here")
    with tarfile.open(next(folder.glob("axe-core-*.tgz"))) as tar:
        member = tar.extractfile("package/axe.min.js")
        assert member is not None
        return member.read().decode("utf-8")


def findings(page, axe: str) -> list[str]:
    page.evaluate(axe)
    result = page.evaluate("() => axe.run(document, {resultTypes: ['violations']})")
    return [f"{v['impact']} {v['id']}: {n['html'][:160]}" for v in result["violations"] for n in v["nodes"]]


def test_nothing_is_found_in_light_dark_and_on_a_phone_but_in_a_bad_page(
    browsers, path, axe, tmp_path
) -> None:
    with open_page(browsers, path, profile=tmp_path / "profile") as opened:
        page = opened.page
        see_everything(page)
        page.evaluate(FEW_NUMBERS)
        assert findings(page, axe) == []
        page.emulate_media(color_scheme="dark")
        page.wait_for_timeout(500)
        assert findings(page, axe) == []
        page.set_viewport_size({"width": 390, "height": 844})
        page.emulate_media(color_scheme="light")
        assert findings(page, axe) == []
        page.evaluate(
            "() => document.querySelector('main').prepend(document.createElement('img'), document.createElement('button'))"
        )
        assert {f.split(":")[0] for f in findings(page, axe)} == {
            "critical image-alt",
            "critical button-name",
        }


def test_the_page_of_a_class_in_light_and_dark(browsers, axe, tmp_path) -> None:
    with open_page(browsers, class_sheet(tmp_path), profile=tmp_path / "profile", ready="main") as opened:
        page = opened.page
        page.evaluate("() => document.querySelectorAll('details').forEach(d => { d.open = true; })")
        assert findings(page, axe) == []
        page.emulate_media(color_scheme="dark")
        assert findings(page, axe) == []
        assert (opened.requests, opened.complaints) == ([], [])


def class_sheet(folder: Path) -> Path:
    """A page with everything that the page of a class can hold."""
    drawing = SvgDrawing(
        svg='<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 9 9"><path d="M1 1L8 8" stroke="#000"/></svg>',
        words="a line",
    )
    clip = Clip(label="first sound", key=49, mime="audio/wav", data=tone(440.0), seconds=0.4)
    tables = tuple(
        PlainTable(
            caption=f"table {n}",
            header=("who", "share"),
            rows=(("Ada", 0.8125), ("Ben", None)),
            folded=n == 2,
        )
        for n in (1, 2)
    )
    part = Section(
        heading="Hearing",
        paragraphs=("8 of 10 right.",),
        drawings=(drawing,),
        clips=(clip,),
        ticks=("apart", "together"),
        tables=tables,
    )
    html = class_page(
        "Tuesday", [part, Section(heading="Looking"), Section(heading="Touch")], lead="Of one lesson."
    )
    return write_page(folder / "class.html", html)
