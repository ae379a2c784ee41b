"""The page in a real browser with the network cut: nothing asked for, nothing complained about, everything drawn."""

import io
import re
import shutil
import wave
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
import pytest

from pianolab.model import Finding, Room
from pianolab.report import Clip, Enclosures, Further, comparison_page, write_page
from pianolab.rooms import compare_rooms
from tests.figures.make import NAMES, make_checklist, make_comparison, make_findings, make_surveys

CHROMIUM = "/usr/bin/chromium"
ARGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(not Path(CHROMIUM).exists(), reason="needs Debian's chromium"),
]


def tone(f_hz: float, *, seconds: float = 0.4) -> bytes:
    t = np.arange(int(16000 * seconds)) / 16000
    out = io.BytesIO()
    with wave.open(out, "wb") as w:
        w.setnchannels(1)
        w.setsampwidth(2)
        w.setframerate(16000)
        w.writeframes((8000 * np.sin(2 * np.pi * f_hz * t)).astype("<i2").tobytes())
    return out.getvalue()


@dataclass
class Opened:
    """A page in the browser, with everything it asked for and complained about."""

    page: object
    requests: list[str] = field(default_factory=list)
    complaints: list[str] = field(default_factory=list)


@pytest.fixture(scope="module")
def browsers() -> Iterator[object]:
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        yield playwright.chromium


@contextmanager
def open_page(
    browsers,
    path: Path,
    *,
    profile: Path,
    width: int = 1280,
    height: int = 900,
    ready: str = "html[data-ready]",
) -> Iterator[Opened]:
    """Opens the page in a fresh browser that is offline; every request but for files is written down and cut."""
    context = browsers.launch_persistent_context(
        str(profile),
        executable_path=CHROMIUM,
        headless=True,
        args=ARGS,
        offline=True,
        color_scheme="light",
        viewport={"width": width, "height": height},
    )
    context.set_default_timeout(120_000)
    page = context.new_page()
    opened = Opened(page=page)

    def on_route(route, request) -> None:
        if request.url.startswith("file://"):
            route.continue_()
        else:
            opened.requests.append(request.url[:200])
            route.abort()

    page.route("**/*", on_route)
    page.on("console", lambda m: opened.complaints.append(m.text) if m.type in ("error", "warning") else None)
    page.on("pageerror", lambda e: opened.complaints.append(str(e)))
    page.goto(path.as_uri())
    page.wait_for_selector(ready, state="attached", timeout=120_000)
    try:
        yield opened
    finally:
        context.close()


@pytest.fixture(scope="module")
def path(tmp_path_factory) -> Path:
    clips = {
        i: tuple(
            Clip(label="clip", key=k, mime="audio/wav", data=tone(27.5 * 2 ** ((k - 1) / 12)), seconds=0.4)
            for k in (40, 64)
        )
        for i in ("p0", "p1", "p2")
    }
    html = comparison_page(
        make_comparison(),
        surveys=make_surveys(3),
        findings=make_findings(),
        checklist=make_checklist(),
        enclosed=Enclosures(clips=clips, provenance={"pianolab": "0.1.0"}),
    )
    return write_page(tmp_path_factory.mktemp("page") / "page.html", html)


@pytest.fixture(scope="module")
def wide(browsers, path, tmp_path_factory) -> Iterator[Opened]:
    with open_page(browsers, path, profile=tmp_path_factory.mktemp("profile")) as opened:
        yield opened


def test_nothing_is_asked_for_and_nothing_complained_about(wide) -> None:
    assert [r for r in wide.requests if not r.startswith("data:audio/")] == []
    assert wide.complaints == []


IN_SIGHT = (
    "() => [...document.querySelectorAll('.drawn')].filter(d => d.checkVisibility()).map(d => "
    "[...d.querySelectorAll('svg')].filter(s => s.checkVisibility()).map(s => s.viewBox.baseVal.width))"
)
"""For each chart that is unfolded: how wide its visible pictures were drawn."""


def test_each_chart_shows_one_picture_fit_for_the_screen(browsers, wide, path, tmp_path) -> None:
    see_everything(wide.page)
    shown = wide.page.evaluate(IN_SIGHT)
    assert len(shown) == 18
    assert {tuple(widths) for widths in shown} == {(900,), (276,)}
    with open_page(browsers, path, width=390, height=844, profile=tmp_path / "profile") as opened:
        see_everything(opened.page)
        shown = opened.page.evaluate(IN_SIGHT)
        assert len(shown) == 18
        assert {tuple(widths) for widths in shown} == {(358,), (276,), (900,)}
        assert sum(widths == [900] for widths in shown) == 4, "keyboards scroll sideways"


def test_no_words_of_a_chart_stand_over_others(browsers, path, tmp_path) -> None:
    over = (
        "() => [...document.querySelectorAll('.drawn svg')].filter(s => s.checkVisibility()).flatMap(s => {"
        " const boxes = [...s.querySelectorAll('text')].map(t => [t.textContent, t.getBoundingClientRect()]);"
        " return boxes.flatMap(([a, p], i) => boxes.slice(i + 1).filter(([b, q]) => p.left < q.right - 2 &&"
        " q.left < p.right - 2 && p.top < q.bottom - 4 && q.top < p.bottom - 4).map(([b]) => a + ' | ' + b)); })"
    )
    for width in (1280, 390):
        with open_page(browsers, path, width=width, profile=tmp_path / f"{width}") as opened:
            see_everything(opened.page)
            assert opened.page.evaluate(over) == []
            opened.page.evaluate(
                "() => { const t = [...document.querySelectorAll('.drawn svg text')].find(t => t.checkVisibility()); t.after(t.cloneNode(true)); }"
            )
            assert len(opened.page.evaluate(over)) == 1, "one over another is seen"


def see_everything(page) -> None:
    """Unfolds all folds."""
    page.evaluate("() => document.querySelectorAll('details').forEach(d => { d.open = true; })")


def test_the_page_is_ready_within_three_seconds_of_work(browsers, path, tmp_path) -> None:
    with open_page(browsers, path, profile=tmp_path / "profile") as opened:
        session = opened.page.context.new_cdp_session(opened.page)
        session.send("Performance.enable", {"timeDomain": "threadTicks"})
        opened.page.reload()
        opened.page.wait_for_selector("html[data-ready]", state="attached", timeout=120_000)
        worked = {m["name"]: m["value"] for m in session.send("Performance.getMetrics")["metrics"]}
        assert worked["TaskDuration"] < 3.0
        unfold(opened.page, "#listen")
        assert opened.page.get_by_role("button", name="play C4 of B, School grand").count() == 1


def unfold(page, where: str) -> None:
    """Opens the folded sections of one part of the page, or of all of it."""
    page.evaluate(
        "w => document.querySelectorAll(w + ' details.fold').forEach(d => { d.open = true; })", where
    )


def test_nothing_sticks_out_sideways(wide) -> None:
    assert wide.page.evaluate("() => document.documentElement.scrollWidth - innerWidth") <= 0


def test_a_script_from_outside_is_refused(browsers, path, tmp_path) -> None:
    bad = tmp_path / "bad.html"
    bad.write_text(
        path.read_text(encoding="utf-8").replace("</body>", "<script>document.title='taken'</script></body>"),
        encoding="utf-8",
    )
    with open_page(browsers, bad, profile=tmp_path / "profile") as opened:
        assert opened.page.title() != "taken"
        assert any("Content Security Policy" in c for c in opened.complaints)


def test_hostile_names_do_nothing(browsers, tmp_path) -> None:
    bad = '</script><script>window.taken=1</script><img src=x onerror="window.taken=1"><svg onload="window.taken=1">'
    findings = {
        "p0": (
            Finding(visit_id="v", point="plate", grade=2, note=bad, place=bad, examiner=bad, promised=bad),
            Finding(visit_id="v", point="lid", grade=5, note=bad, place=bad),
            Finding(visit_id="v", point="pins", state="not allowed", reason=bad),
        )
    }
    change = compare_rooms(
        Room(length_m=5.0, width_m=4.0, height_m=2.6), Room(length_m=5.0, width_m=4.0, height_m=2.6)
    )
    html = comparison_page(
        make_comparison((bad, "School grand", "{{ 7 * 7 }}", "=1+1")),
        surveys=make_surveys(3),
        findings=findings,
        checklist=make_checklist(),
        enclosed=Enclosures(
            provenance={bad: bad},
            further=(
                Further(title=bad, sentences=(bad, bad), header=(bad,), rows=((bad,),)),
                Further(title=bad, sentences=(bad,), piano_id="p0", chart_of=change),
            ),
        ),
    )
    with open_page(browsers, write_page(tmp_path / "bad.html", html), profile=tmp_path / "profile") as opened:
        see_everything(opened.page)
        assert opened.page.evaluate("() => window.taken") is None
        assert (opened.requests, opened.complaints) == ([], [])
        text = opened.page.locator("#side").inner_text()
        assert "window.taken=1" in text, "it is read, not run"
        assert "{{ 7 * 7 }}" in text


def test_a_clip_plays_to_its_end_after_a_real_click(wide) -> None:
    page = wide.page
    unfold(page, "#listen")
    page.evaluate(
        "() => { window.endings = []; document.querySelectorAll('audio').forEach(a => "
        "a.addEventListener('ended', () => window.endings.push(a.dataset.name))); }"
    )
    page.get_by_role("button", name="play C4 of B, School grand").click()
    wait_until(page, "() => window.endings.length === 1")
    page.get_by_role("button", name="play C6 of all instruments").click()
    wait_until(page, "() => window.endings.length === 4")
    assert page.evaluate("() => window.endings") == [
        "C4 of B, School grand",
        "C6 of A, Blue upright",
        "C6 of B, School grand",
        "C6 of C, Attic upright",
    ]
    assert page.locator("audio[controls]").count() == 0


def wait_until(page, condition: str) -> None:
    """Polls by evaluate: the page's policy forbids what `wait_for_function` does."""
    for _ in range(100):
        if page.evaluate(condition):
            return
        page.wait_for_timeout(100)
    raise AssertionError(condition)


def test_the_keyboard_reaches_everything_that_can_be_used(browsers, path, tmp_path) -> None:
    with open_page(browsers, path, profile=tmp_path / "profile") as opened:
        page = opened.page
        assert page.locator("details.fold").count() > 5
        unfold(page, "")
        usable = page.evaluate(
            "() => { window.left = new Set([...document.querySelectorAll("
            "'a[href], button, summary, [tabindex=\"0\"]')].filter(e => e.checkVisibility()));"
            " return window.left.size; }"
        )
        assert usable > 40
        for _ in range(usable + 20):
            page.keyboard.press("Tab")
            if (
                page.evaluate(
                    "() => { window.left.delete(document.activeElement); return window.left.size; }"
                )
                == 0
            ):
                break
        assert page.evaluate("() => [...window.left].map(e => e.outerHTML.slice(0, 120))") == []
        fold = page.locator("#piano-A details.more").first
        fold.locator("summary").first.focus()
        page.keyboard.press("Enter")
        assert fold.evaluate("d => d.open")


@pytest.fixture(scope="module")
def long_path(tmp_path_factory) -> Path:
    """A page of six instruments, with further results that have charts."""
    names = (*NAMES, "Cellar upright", "Chapel grand")
    room = Room(length_m=5.0, width_m=4.0, height_m=2.6)
    change = compare_rooms(replace(room, length_m=9.0), room)
    further = Further(
        title="From that room to yours", sentences=(change.sentence,), piano_id="p4", chart_of=change
    )
    html = comparison_page(
        make_comparison(names),
        surveys=make_surveys(2),
        findings=make_findings(),
        checklist=make_checklist(),
        enclosed=Enclosures(further=(further,)),
    )
    return write_page(tmp_path_factory.mktemp("long") / "page.html", html)


def test_a_long_page_is_folded_and_a_link_to_an_instrument_unfolds_it(browsers, long_path, tmp_path) -> None:
    with open_page(browsers, long_path, profile=tmp_path / "profile") as opened:
        page = opened.page
        opened_folds = "() => [...document.querySelectorAll('.piano > details.fold')].map(d => d.open)"
        assert page.evaluate(opened_folds) == [False] * 6
        page.locator('nav a[href="#piano-E"]').focus()
        page.keyboard.press("Enter")
        wait_until(page, "() => document.querySelector('#piano-E > details.fold').open")
        assert page.evaluate(opened_folds) == [False] * 4 + [True, False]
        see_everything(page)
        fold = page.locator("#piano-E details.further")
        assert fold.locator(".drawn svg").count() == 2
        assert page.evaluate("() => document.documentElement.scrollWidth - innerWidth") <= 0
        assert (opened.requests, opened.complaints) == ([], [])


def test_what_is_folded_on_a_long_page_is_in_the_print(browsers, long_path, tmp_path) -> None:
    with open_page(browsers, long_path, width=680, profile=tmp_path / "profile") as opened:
        page = opened.page
        page.emulate_media(media="print")
        page.wait_for_timeout(1500)
        assert page.evaluate(
            "() => [...document.querySelectorAll('.piano > details.fold')].every(d => d.open)"
        )
        assert page.locator("#piano-C .findings").first.is_visible()
        page.emulate_media(media="screen")
        page.wait_for_timeout(500)
        assert not page.evaluate(
            "() => [...document.querySelectorAll('.piano > details.fold')].some(d => d.open)"
        )


@pytest.mark.parametrize("which", ["path", "long_path"])
def test_on_a_phone_every_instrument_stands_in_the_table_at_once(browsers, which, request, tmp_path) -> None:
    with open_page(
        browsers, request.getfixturevalue(which), width=390, height=844, profile=tmp_path / "profile"
    ) as opened:
        page = opened.page
        cells = page.evaluate(
            "() => [...document.querySelectorAll('#side tbody tr')].map(r => [...r.querySelectorAll('td')].map(c => "
            "{ const b = c.getBoundingClientRect(); return [b.left, b.right, b.width]; }))"
        )
        assert all(left >= 0 and right <= 390 and width > 60 for row in cells for left, right, width in row)
        tops = page.evaluate(
            "() => new Set([...document.querySelectorAll('.radars figure')].map(f => f.getBoundingClientRect().top)).size"
        )
        assert tops == 1, "radars in one row to swipe"
        row = page.locator(".radars")
        assert row.evaluate("r => getComputedStyle(r).overflowX") == "auto"
        assert row.evaluate("r => r.clientWidth <= innerWidth && r.scrollWidth > r.clientWidth")
        assert row.get_attribute("tabindex") == "0"
        clips = page.evaluate(
            "() => [...document.querySelectorAll('.clips button')].map(b => b.getBoundingClientRect().right)"
        )
        assert all(right <= 390 for right in clips)


def test_dark_scheme_turns_the_charts_dark_and_paper_stays_light(wide) -> None:
    page = wide.page
    ink = "() => getComputedStyle(document.querySelector('.radars .drawn text')).fill"
    light = page.evaluate(ink)
    page.emulate_media(color_scheme="dark")
    dark = page.evaluate(ink)
    page.emulate_media(color_scheme="dark", media="print")
    printed = page.evaluate(ink)
    page.emulate_media(color_scheme="light", media="screen")
    assert light != dark
    assert printed == light


def test_a_phone_needs_no_sideways_scrolling(browsers, path, tmp_path) -> None:
    with open_page(browsers, path, width=390, height=844, profile=tmp_path / "profile") as opened:
        assert opened.page.evaluate("() => document.documentElement.scrollWidth") <= 390
        assert opened.complaints == []


def test_a_name_without_a_gap_breaks_on_a_phone(browsers, tmp_path) -> None:
    names = ("Grandmothersmahoganyuprightfromthefarmhousebythemillwiththegreendoor", "School grand")
    html = comparison_page(
        make_comparison(names),
        surveys=make_surveys(2),
        findings=make_findings_of(names),
        checklist=make_checklist(),
    )
    page_file = write_page(tmp_path / "long.html", html)
    with open_page(browsers, page_file, width=390, height=844, profile=tmp_path / "profile") as opened:
        assert opened.page.evaluate("() => document.documentElement.scrollWidth") <= 390


def make_findings_of(names: tuple[str, ...]) -> dict[str, tuple[Finding, ...]]:
    return dict(list(make_findings().items())[: len(names)])


@pytest.mark.skipif(not shutil.which("pdftotext"), reason="needs poppler-utils")
def test_print_has_numbered_pages_and_charts_that_fit(browsers, path, tmp_path) -> None:
    import subprocess

    with open_page(browsers, path, width=680, profile=tmp_path / "profile") as opened:
        page = opened.page
        page.emulate_media(media="print")
        page.wait_for_timeout(1500)
        widths = page.evaluate(
            "() => [...document.querySelectorAll('.drawn')].filter(p => p.checkVisibility())"
            ".map(p => [p.clientWidth, [...p.querySelectorAll('svg')].find(s => s.checkVisibility()).clientWidth])"
        )
        assert len(widths) == 4 + 1 + 1, "radars, costs, decay"
        assert all(0 < drawn <= room + 1 for room, drawn in widths), widths
        page.pdf(
            path=str(tmp_path / "page.pdf"), prefer_css_page_size=True, print_background=True, tagged=True
        )
    text = subprocess.run(
        ["pdftotext", "-layout", str(tmp_path / "page.pdf"), "-"], capture_output=True, text=True, check=True
    ).stdout
    pages = text.split("\f")[:-1]
    assert len(pages) <= 10
    assert "The page on the screen holds more" in text
    assert "The keyboard, key by key" not in text
    for number, content in enumerate(pages, start=1):
        assert re.search(rf"\b{number} ?/ ?{len(pages)}\b", content)
