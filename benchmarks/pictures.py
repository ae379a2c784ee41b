"""Small pictures of the page and of the guided walk for README, made in a real browser.

Run from the repository's folder, with Debian's chromium installed::

    python -m benchmarks.pictures [--page comparison.html] [--out datasets/pictures]

Without a page the demonstration is built first. Each picture stays under 150 kB.
"""

from __future__ import annotations

import argparse
import io
import json
from collections.abc import Iterator
from contextlib import contextmanager
from itertools import takewhile
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from PIL import Image

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
COLOURS = (256, 128, 64, 32)
WIDTH_PX = 1000
SHOWN_POINT = "bridge-treble"
"""The point of the walk that is shown, those before it done."""


def small_png(shot: bytes, *, width: int = WIDTH_PX) -> bytes:
    """The screenshot as a PNG of at most 150 kB: scaled to the width, with as many colours as fit.

    Raises
    ------
    ValueError
        it does not get that small
    """
    image = Image.open(io.BytesIO(shot)).convert("RGB")
    image.thumbnail((width, 4 * width))
    for colours in COLOURS:
        out = io.BytesIO()
        image.quantize(colours, method=Image.Quantize.MAXCOVERAGE, dither=Image.Dither.NONE).save(
            out, "PNG", optimize=True
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


def picture_of(html: Path, *, width: int, height: int, part: str = "") -> bytes:
    """What a window of that size shows of a page, or the whole of one part of it."""
    with browser_page(width=width, height=height) as page:
        page.goto(html.resolve().as_uri())
        page.wait_for_timeout(2500)
        return bytes((page.locator(part) if part else page).screenshot(timeout=120_000))


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


LAB_COLOURS = "body { font: 14px/1.5 system-ui, sans-serif; margin: 16px; background: #fff; color: #1c2127; }"
STAND_IN = """
const model = { get: n => state[n], set() {}, on() {}, off() {}, save_changes() {}, send() {}, widget_manager: {} };
widget.render({ model, el: document.getElementById("form") });
"""


def main() -> None:
    """Writes page.png and walk.png."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument(
        "--page", type=Path, help="a comparison page; the demonstration's where none is given"
    )
    parser.add_argument("--out", type=Path, default=Path("datasets/pictures"))
    args = parser.parse_args()
    args.out.mkdir(parents=True, exist_ok=True)
    with TemporaryDirectory() as name:
        page = args.page or demonstration(Path(name))
        shots = {
            "page.png": picture_of(page, width=1180, height=1000),
            "walk.png": picture_of(walk_page(Path(name)), width=900, height=900, part="#form"),
        }
    for file, shot in shots.items():
        data = small_png(shot)
        (args.out / file).write_bytes(data)
        print(f"{args.out / file}: {len(data) / 1000:.0f} kB")


def demonstration(folder: Path) -> Path:
    """The page of the invented shortlist."""
    from pianolab.demo import demo
    from pianolab.workflow import Printer

    return demo(folder / "demo", progress=Printer())


if __name__ == "__main__":
    main()
