"""Small pictures of the page and of the guided walk for README, made in a real browser.

Run from the repository's folder, with Debian's chromium installed::

    python -m benchmarks.pictures [--page comparison.html] [--out datasets/pictures] [--check]

Without a page the demonstration is built first. Each picture stays under 150 kB and carries the words that it
shows. ``--check`` writes nothing: it compares these with what the screens say now, and ends with 1 where a picture
is stale. Figures may differ, words may not.
"""

from __future__ import annotations

import argparse
import io
import json
import re
import sys
from calendar import month_name
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from itertools import takewhile, zip_longest
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from PIL import Image, PngImagePlugin

CHROMIUM = "/usr/bin/chromium"
ARGS = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)
MOST_BYTES = 150_000
WORDS = "Words"
"""The PNG's own entry for the words it shows."""
COLOURS = (256, 128, 64, 32)
WIDTH_PX = 1000
SHOWN_POINT = "bridge-treble"
"""The point of the walk that is shown, those before it done."""


@dataclass(frozen=True)
class Shot:
    """What a browser showed: the picture as PNG, and the words in it."""

    png: bytes
    words: str

    def __post_init__(self) -> None:
        if not self.words:
            raise ValueError("a picture without a word: the page was not drawn")


def small_png(shot: bytes, *, words: str = "", width: int = WIDTH_PX) -> bytes:
    """The screenshot as a PNG of at most 150 kB: scaled to the width, with as many colours as fit, its words inside.

    Raises
    ------
    ValueError
        it does not get that small
    """
    image = Image.open(io.BytesIO(shot)).convert("RGB")
    image.thumbnail((width, 4 * width))
    info = PngImagePlugin.PngInfo()
    info.add_itxt(WORDS, words)
    for colours in COLOURS:
        out = io.BytesIO()
        image.quantize(colours, method=Image.Quantize.MAXCOVERAGE, dither=Image.Dither.NONE).save(
            out, "PNG", optimize=True, pnginfo=info
        )
        if out.tell() <= MOST_BYTES:
            return out.getvalue()
    raise ValueError(f"{out.tell()} bytes with {COLOURS[-1]} colours: show less of it")


@contextmanager
def browser_page(*, width: int, height: int) -> Iterator[Any]:
    """A page in a fresh browser without a network."""
    from playwright.sync_api import sync_playwright

    with TemporaryDirectory() as profile, sync_playwright() as playwright:
        context = playwright.chromium.launch_persistent_context(
            profile,
            executable_path=CHROMIUM,
            headless=True,
            args=list(ARGS),
            offline=True,
            viewport={"width": width, "height": height},
        )
        yield context.new_page()
        context.close()


def words_of(picture: bytes) -> str:
    """The words that a picture made here carries, or nothing."""
    return str(Image.open(io.BytesIO(picture)).info.get(WORDS, ""))


def as_words(text: str) -> str:
    """What must not change: the words in their order, every figure as 0, a month as no more than a month."""
    text = re.sub(rf"\b({'|'.join(month_name[1:])})\b", "month", text)
    return " ".join(re.sub(r"\d+(?:[.,]\d+)*", "0", text).split())


def picture_of(html: Path, *, width: int, height: int, part: str = "body") -> Shot:
    """What a window of that size shows of a page, or the whole of one part of it."""
    with browser_page(width=width, height=height) as page:
        page.goto(html.resolve().as_uri())
        page.wait_for_timeout(2500)
        target = page if part == "body" else page.locator(part)
        png = bytes(target.screenshot(timeout=120_000))
        return Shot(
            png, as_words(page.locator(part).evaluate(SHOWN_WORDS, height if part == "body" else 1e9))
        )


def walk_page(folder: Path) -> Path:
    """The guided walk at one point, as the still twin of the form in a page of its own."""
    from datetime import date

    from pianolab.casebook import create_casebook
    from pianolab.checklist import findings_for, load_scenario
    from pianolab.model import Visit
    from pianolab.widgets import FindingsForm

    scenario = load_scenario()
    with create_casebook(folder / "walk") as casebook:
        with casebook.editing(by="Ana") as edit:
            piano = edit.add(scenario.instruments[0])
            visit = edit.add(Visit(piano_id=piano.id, day=date(2026, 5, 4), examiner="Ana"))
        condition = scenario.conditions[scenario.default_condition[piano.name]]
        with casebook.editing(by="Ana") as edit:
            found = findings_for(condition, visit_id=visit.id, piano=piano, examiner="Ana")
            for finding in takewhile(lambda f: f.point != SHOWN_POINT, found):
                edit.add(finding)
        form = FindingsForm(casebook, visit.id, examiner="Ana", minutes=20)
        return write_widget(form, folder / "walk.html")


def write_widget(widget: Any, path: Path) -> Path:
    """A widget as a page of its own: its state written in, its browser half run with a stand-in for the notebook."""
    state = {n: getattr(widget, n) for n in widget.traits(sync=True) if not n.startswith("_")}
    plain = {
        n: v
        for n, v in state.items()
        if isinstance(v, (dict, list, tuple, str, int, float, bool, type(None)))
    }
    script = str(widget._esm).replace("export default", "const widget =")
    data = json.dumps(plain).replace("<", "\\u003c")
    path.write_text(
        f"<!DOCTYPE html><meta charset=utf-8><style>{LAB_COLOURS}{widget._css}</style><div id=form></div>"
        f"<script type=module>{script}\nconst state = {data};\n{STAND_IN}</script>",
        encoding="utf-8",
    )
    return path


SHOWN_WORDS = """
(part, below) => {
  const words = [], walker = document.createTreeWalker(part, NodeFilter.SHOW_TEXT);
  for (let node = walker.nextNode(); node; node = walker.nextNode()) {
    const box = document.createRange();
    box.selectNodeContents(node);
    const { top, bottom, width } = box.getBoundingClientRect();
    if (width > 1 && bottom > 0 && top < below && node.parentElement.checkVisibility()) words.push(node.data);
  }
  return words.join(" ");
}
"""
"""The text that can be seen in a part, down to a height."""
LAB_COLOURS = "body { font: 14px/1.5 system-ui, sans-serif; margin: 16px; background: #fff; color: #1c2127; }"
STAND_IN = """
const model = { get: n => state[n], set() {}, on() {}, off() {}, save_changes() {}, send() {}, widget_manager: {} };
widget.render({ model, el: document.getElementById("form") });
"""


def main() -> None:
    """Writes page.png and walk.png, or compares them."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument(
        "--page", type=Path, help="a comparison page; the demonstration's where none is given"
    )
    parser.add_argument("--out", type=Path, default=Path("datasets/pictures"))
    parser.add_argument("--check", action="store_true", help="write nothing, say which picture is stale")
    args = parser.parse_args()
    args.out.mkdir(parents=True, exist_ok=True)
    with TemporaryDirectory() as name:
        page = args.page or demonstration(Path(name))
        shots = {
            "page.png": picture_of(page, width=1180, height=1000),
            "walk.png": picture_of(walk_page(Path(name)), width=900, height=900, part="#form"),
        }
    if args.check:
        sys.exit(stale(args.out, shots))
    for file, shot in shots.items():
        data = small_png(shot.png, words=shot.words)
        (args.out / file).write_bytes(data)
        print(f"{args.out / file}: {len(data) / 1000:.0f} kB")


def stale(folder: Path, shots: dict[str, Shot]) -> int:
    """1 where a kept picture says something else than its screen does now, else 0; each is named with its first word."""
    found = 0
    for file, shot in shots.items():
        kept = words_of((folder / file).read_bytes()).split() if (folder / file).exists() else []
        pairs = enumerate(zip_longest(kept, shot.words.split(), fillvalue="(nothing)"))
        differs = next(((n, old, new) for n, (old, new) in pairs if old != new), None)
        if differs is None:
            print(f"{folder / file}: as the screen is now, {len(kept)} words")
            continue
        found += 1
        print(f"{folder / file}: stale: word {differs[0] + 1} was {differs[1]!r}, is {differs[2]!r}")
    return int(found > 0)


def demonstration(folder: Path) -> Path:
    """The page of the invented shortlist."""
    from pianolab.demo import demo
    from pianolab.workflow import Printer

    return demo(folder / "demo", progress=Printer())


if __name__ == "__main__":
    main()
