"""The commands on whole casebooks and folders: ``export``, ``gather``, ``check``, ``restore``, ``demo``, ``notebooks``."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from pianolab.cli.parts import Commands, add_replace, casebook_place, output, words_of
from pianolab.errors import BadInput, PianolabError
from pianolab.show import Showable

if TYPE_CHECKING:
    from pianolab.casebook import Casebook
    from pianolab.workflow import Settings


def add_gather(commands: Commands) -> None:
    gather = commands.add_parser("gather", help="merge casebooks without losing or doubling anything")
    gather.add_argument("folders", type=casebook_place, nargs="+", metavar="FOLDER")
    gather.add_argument("--into", type=casebook_place, required=True, metavar="CASEBOOK")
    gather.set_defaults(run=run_gather)


def add_check(commands: Commands) -> None:
    """``check``, with ``--repair``."""
    check = commands.add_parser("check", help="look through a casebook: is everything there and sound?")
    check.add_argument("casebook", type=casebook_place, metavar="CASEBOOK")
    check.add_argument(
        "--repair",
        action="store_true",
        help="remove leftovers; where the database is damaged, make it anew from all that can be read",
    )
    check.set_defaults(run=run_check)


def add_restore(commands: Commands) -> None:
    """``restore``, from a copy."""
    restore = commands.add_parser("restore", help="go back to a copy in backups/; the present state is kept")
    restore.add_argument("casebook", type=casebook_place, metavar="CASEBOOK")
    restore.add_argument("--copy", default="", metavar="NAME", help="default: the newest sound one")
    restore.set_defaults(run=run_restore)


def run_gather(args: argparse.Namespace) -> None:
    """Merge casebooks."""
    from pianolab.casebook import gather

    result = gather(args.folders, into=args.into)
    print(result.headline())
    for row in result.rows():
        if row[0] in ("conflict", "problem"):
            print(*(str(cell) for cell in row if cell != ""), sep=": ")


def run_check(args: argparse.Namespace) -> None:
    """Look through a casebook, and repair it where that is asked for."""
    from pianolab.casebook import check_casebook, repair_casebook

    if args.repair:
        repair = repair_casebook(args.casebook)
        _print(repair)
        left = repair.after
    else:
        left = check_casebook(args.casebook)
        _print(left)
    if not left.ok:
        hint = "" if args.repair else " --repair saves what can be saved."
        raise PianolabError(f"{left.place}: got {left.state}, need a sound casebook.{hint}")


def run_restore(args: argparse.Namespace) -> None:
    """Put a copy in the place of a casebook's database."""
    from pianolab.casebook import restore_casebook

    _print(restore_casebook(args.casebook, copy=args.copy))


def _print(result: Showable) -> None:
    print(result.headline())
    for row in result.rows():
        print(*(str(cell) for cell in row if cell != ""), sep=": ")


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
