"""The command ``export``: the comparison page of a casebook, and its tables."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from pianolab.cli.parts import Commands, add_replace, casebook_place, output, words_of
from pianolab.errors import BadInput, PianolabError

if TYPE_CHECKING:
    from pianolab.casebook import Casebook
    from pianolab.workflow import Settings

USUAL = "usual"
"""In place of a file of one's own: the one that comes with pianolab."""


def add_export(commands: Commands) -> None:
    export = commands.add_parser("export", help="the comparison page of a casebook")
    export.add_argument("casebook", type=casebook_place, metavar="CASEBOOK")
    export.add_argument("--html", type=output, metavar="OUT.html", help="the page")
    export.add_argument("--tables", type=Path, metavar="DIR", help="the numbers as CSV tables")
    export.add_argument("--profile", metavar="NAME", help="the buyer; remembered; at first: first piano")
    export.add_argument(
        "--prices", metavar="FILE", help="your own price list (TOML), remembered; usual forgets it"
    )
    export.add_argument(
        "--checklist", metavar="FILE", help="points of your own (TOML), remembered; usual forgets them"
    )
    export.add_argument(
        "--plans",
        metavar="FILE",
        help="what hiring, a new piano or a sale would come to (TOML), remembered; usual forgets it",
    )
    export.add_argument(
        "--leave-out", type=words_of, default=(), metavar="WHAT", help="any of names,addresses,prices"
    )
    add_replace(export)
    export.set_defaults(run=run_export)


def run_export(args: argparse.Namespace) -> None:
    """Write the comparison page of a casebook, or its tables, or both."""
    from pianolab.casebook import open_casebook
    from pianolab.workflow import Printer, Settings, export

    if args.html is None and args.tables is None:
        raise BadInput("pianolab export", "nothing to write", "--html OUT.html or --tables DIR, or both")
    with open_casebook(args.casebook) as casebook:
        given = _given_settings(args)
        settings = Settings.of(casebook, **given)
        written = export(
            casebook,
            args.html,
            tables=args.tables,
            leave_out=args.leave_out,
            replace=args.replace,
            settings=settings,
            progress=Printer(),
        )
        kept = _kept(settings, casebook) if given else ""
    for path in written.replaced:
        print(f"replaced: {path}")
    for note in written.notes:
        print(f"note: {note}")
    if kept:
        print(f"note: not remembered, {kept}")
    elif own := settings.own_words():
        print(f"{'remembered from now on' if given else 'as this casebook remembers'}: {own}")
    if args.tables is not None:
        print(f"The tables are in {args.tables}.")
    if args.html is not None:
        print(f"Open {args.html} in a browser; it needs no network.")


def _kept(settings: Settings, casebook: Casebook) -> str:
    """Have the casebook remember; empty, or why a page that is written already will not be made so again by itself."""
    try:
        settings.keep(casebook)
    except PianolabError as error:
        return str(error)
    return ""


def _given_settings(args: argparse.Namespace) -> dict[str, object]:
    """Settings that stand on the command line; ``usual`` takes back what was remembered."""
    names = ("profile", "prices", "checklist", "plans")
    given = {name: getattr(args, name) for name in names}
    own = {name: None if value == USUAL and name != "profile" else value for name, value in given.items()}
    return {name: own[name] for name, value in given.items() if value is not None}
