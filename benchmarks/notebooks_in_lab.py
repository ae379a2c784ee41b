"""Opens every template notebook in JupyterLab in a headless browser, runs it, and says what is wrong with it.

Run from the repository's folder, with Debian's chromium installed::

    python -m benchmarks.notebooks_in_lab --shots DIR [--only decide ...] [--themes light dark] [--width 1100]

It ends with an error where a cell failed, the browser complained, anything is wider than the notebook or too faint to
read. With ``--shots`` it leaves a picture of each whole notebook, to be looked at. The first run makes the
demonstration, which takes some minutes; ``--home`` keeps it for the next.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from pianolab.shipped import shipped
from tests.widgets.notebook_look import charts_drawn, wrong_with
from tests.widgets.widget_lab import Lab, browser, open_notebook, run_all, running_lab, use_theme

NOTEBOOKS = Path(str(shipped("notebooks")))
LONGEST_S = 1200
MOST_PX = 15_000
"""The tallest picture; a longer notebook comes in several."""
FIRST = "compare_a_shortlist"
"""Makes the demonstration that others find."""

SCROLLER = """[...document.querySelectorAll('.jp-NotebookPanel, .jp-NotebookPanel *')]
  .filter(e => getComputedStyle(e).overflowY !== 'visible' && e.querySelector('.jp-Cell'))
  .sort((a, b) => b.scrollHeight - b.clientHeight - a.scrollHeight + a.clientHeight)[0]"""


def in_theme(path: Path, to: Path, theme: str) -> None:
    """A copy whose charts are drawn for that theme."""
    text = path.read_text(encoding="utf-8").replace('theme = \\"light\\"', f'theme = \\"{theme}\\"')
    to.write_text(text, encoding="utf-8")


def look_at(
    context: Any, lab: Lab, name: str, *, theme: str, shots: Path | None, label: str, width: int
) -> list[str]:
    """Runs one notebook and returns what is wrong with it."""
    page, complaints = open_notebook(context, lab, f"{name}.ipynb")
    use_theme(page, theme)
    run_all(page, timeout_s=LONGEST_S)
    page.wait_for_timeout(2500)
    wrong = wrong_with(page)
    if shots:
        photograph(page, shots / f"{name}-{label}", width=width)
    wrong += [f"console: {text}" for text in complaints]
    print(f"{name}, {label}: {charts_drawn(page)} charts drawn; {len(wrong)} wrong", flush=True)
    page.close()
    lab.close_kernels()
    return wrong


def photograph(page: Any, stem: Path, *, width: int) -> None:
    """Pictures of the whole notebook, from top to bottom."""
    tall = int(page.evaluate(f"({SCROLLER}).scrollHeight")) + 120
    page.set_viewport_size({"width": width, "height": min(tall, MOST_PX)})
    page.wait_for_timeout(2500)
    for part in range(-(-tall // MOST_PX)):
        page.evaluate(f"({SCROLLER}).scrollTop = {part * (MOST_PX - 120)}")
        page.wait_for_timeout(400)
        page.screenshot(path=f"{stem}-{part + 1}.png", timeout=120_000)


def main() -> int:
    """Prints one line per notebook and theme, then everything that is wrong."""
    every = sorted(p.stem for p in NOTEBOOKS.glob("*.ipynb"))
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--shots", type=Path, help="folder for the pictures, outside the repository")
    parser.add_argument("--only", nargs="+", choices=every, default=every)
    parser.add_argument("--themes", nargs="+", choices=("light", "dark"), default=("light", "dark"))
    parser.add_argument("--width", type=int, default=1100, help="of the window, px")
    parser.add_argument("--home", type=Path, help="keep the notebooks and what they write here")
    args = parser.parse_args()
    if args.shots:
        args.shots.mkdir(parents=True, exist_ok=True)
    wrong: dict[str, list[str]] = {}
    with TemporaryDirectory() as scratch, running_lab(Path(scratch) / "lab", folder=args.home) as lab:
        for theme in args.themes:
            for name in sorted(args.only, key=lambda n: n != FIRST):
                in_theme(NOTEBOOKS / f"{name}.ipynb", lab.folder / f"{name}.ipynb", theme)
                size = {"width": args.width, "height": 1000}
                label = f"{theme}-{args.width}"
                with browser(Path(scratch) / f"profile-{name}-{label}", viewport=size) as context:
                    wrong[f"{name}, {label}"] = look_at(
                        context, lab, name, theme=theme, shots=args.shots, label=label, width=args.width
                    )
    for where, what in wrong.items():
        for line in what:
            print(f"{where}: {line}")
    return 1 if any(wrong.values()) else 0


if __name__ == "__main__":
    sys.exit(main())
