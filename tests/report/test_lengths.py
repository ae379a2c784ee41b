"""How long the demonstration's page is: on a desk, on a phone, on paper, and what no fold hides. Own goals."""

import re
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

from pianolab.demo import demo
from tests.report.test_browser import CHROMIUM, Opened, browsers, open_page

__all__ = ["browsers"]
pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(not Path(CHROMIUM).exists(), reason="needs Debian's chromium"),
]
SCREENS, PHONE_SCREENS, PRINTED_PAGES = 5.0, 9.0, 8
MOST_BYTES = 4e6
"""Without photos."""
HEIGHT = "() => document.documentElement.scrollHeight / innerHeight"
HIDDEN_ALERTS = "() => [...document.querySelectorAll('#stop .alert')].filter(a => !a.checkVisibility() || !a.offsetHeight).length"


@pytest.fixture(scope="module")
def page_file(tmp_path_factory) -> Path:
    return demo(tmp_path_factory.mktemp("lengths") / "demo")


@pytest.fixture(scope="module")
def desk(browsers, page_file, tmp_path_factory) -> Iterator[Opened]:
    profile = tmp_path_factory.mktemp("desk")
    with open_page(browsers, page_file, width=1400, height=900, profile=profile) as opened:
        yield opened


def test_the_file_is_small(page_file: Path) -> None:
    html = page_file.read_text(encoding="utf-8")
    assert len(re.findall('src="data:audio', html)) >= 4 * 4, "with its clips"
    assert len(re.sub(r"data:image/jpeg[^\"]*", "", html).encode()) <= MOST_BYTES


def test_folded_on_a_desk_and_unfolded_it_is_longer(desk: Opened) -> None:
    assert desk.page.evaluate(HEIGHT) <= SCREENS
    desk.page.evaluate("() => document.querySelectorAll('details').forEach(d => { d.open = true; })")
    assert desk.page.evaluate(HEIGHT) > SCREENS
    desk.page.evaluate("() => document.querySelectorAll('details').forEach(d => { d.open = false; })")


def test_folded_on_a_phone(browsers, page_file, tmp_path) -> None:
    with open_page(browsers, page_file, width=390, height=844, profile=tmp_path / "p") as opened:
        assert opened.page.evaluate(HEIGHT) <= PHONE_SCREENS
        assert opened.page.evaluate(HIDDEN_ALERTS) == 0


def test_no_fold_hides_a_warning(desk: Opened) -> None:
    page = desk.page
    behind = page.evaluate(
        "() => [...document.querySelectorAll('.piano')].map(p => p.querySelectorAll('.alert').length)"
    )
    beside = page.evaluate(
        "() => [...document.querySelectorAll('#stop .alerts')].map(p => p.querySelectorAll('.alert:not(.none)').length)"
    )
    assert beside == behind
    assert sum(beside) > 3
    assert page.evaluate(HIDDEN_ALERTS) == 0
    page.evaluate("() => { document.querySelector('#stop .alert').style.display = 'none'; }")
    assert page.evaluate(HIDDEN_ALERTS) == 1, "a hidden one is seen to be hidden"
    page.evaluate("() => { document.querySelector('#stop .alert').style.display = ''; }")


@pytest.mark.skipif(not shutil.which("pdftotext"), reason="needs poppler-utils")
def test_on_paper_the_sheet_stands_alone_and_warnings_and_jobs_follow(browsers, page_file, tmp_path) -> None:
    with open_page(browsers, page_file, width=680, profile=tmp_path / "p") as opened:
        page = opened.page
        warnings = page.evaluate(
            "() => [...document.querySelectorAll('#stop .alert > div > strong')].map(s => s.nextSibling.textContent.trim())"
        )
        jobs = page.evaluate(
            "() => [...document.querySelectorAll('.jobs[data-print] tbody th')].map(t => t.textContent.trim())"
        )
        page.emulate_media(media="print")
        page.wait_for_timeout(2500)
        page.pdf(path=str(tmp_path / "page.pdf"), prefer_css_page_size=True, print_background=True)
    pages = subprocess.run(
        ["pdftotext", "-raw", str(tmp_path / "page.pdf"), "-"], capture_output=True, text=True, check=True
    ).stdout.split("\f")[:-1]
    assert len(pages) <= PRINTED_PAGES
    assert "Place and day" in pages[0]
    assert "Reasons to stop, reasons to take care" not in pages[0]
    assert "Reasons to stop, reasons to take care" in pages[1]
    printed = plain(" ".join(pages))
    assert len(warnings) > 3
    assert [w for w in warnings if plain(w) not in printed] == []
    assert len(jobs) > 3, "of the piano ahead, under what they are done for"
    assert [j for j in jobs if plain(j) not in printed] == []
    assert plain("Regluing the whole harp") not in printed


def plain(text: str) -> str:
    """Letters and figures only: line ends and hyphens of the print don't count."""
    return re.sub(r"\W", "", text)
