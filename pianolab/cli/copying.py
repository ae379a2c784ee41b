"""The commands ``demo`` and ``notebooks``: what comes with pianolab."""

from __future__ import annotations

import argparse
from pathlib import Path

from pianolab.cli.parts import Commands, add_replace


def add_demo(commands: Commands) -> None:
    demo = commands.add_parser("demo", help="the whole job on an invented shortlist")
    demo.add_argument(
        "--out", type=Path, default=Path("pianolab-demo"), metavar="DIR", help="default: %(default)s"
    )
    demo.set_defaults(run=run_demo)


def add_notebooks(commands: Commands) -> None:
    notebooks = commands.add_parser("notebooks", help="copy the template notebooks")
    notebooks.add_argument(
        "--to", type=Path, default=Path("pianolab-notebooks"), metavar="DIR", help="default: %(default)s"
    )
    add_replace(notebooks)
    notebooks.set_defaults(run=run_notebooks)


def run_demo(args: argparse.Namespace) -> None:
    """Build the invented shortlist and its page."""
    from pianolab.demo import demo
    from pianolab.workflow import Printer

    page = demo(args.out, progress=Printer())
    print(f"Open {page} in a browser; the casebook is in {page.parent / 'casebook'}.")
    print(
        "Next: python -m pianolab notebooks copies the notebooks in which you compare a shortlist of your own."
    )


def run_notebooks(args: argparse.Namespace) -> None:
    """Copy the template notebooks."""
    from pianolab.workflow import copy_notebooks

    paths = copy_notebooks(args.to, replace=args.replace)
    print(*paths, sep="\n")
    print(f"Open them with: jupyter lab {args.to}")
