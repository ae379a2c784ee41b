"""Commands: demo, listen, export, gather, notebooks. Thin: all work is done by `pianolab.workflow`."""

from __future__ import annotations

import argparse
import os
import sys
import warnings
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, NoReturn, TypeAlias

from pianolab.errors import BadInput, PianolabError
from pianolab.release import VERSION

if TYPE_CHECKING:
    from pianolab.casebook import Casebook
    from pianolab.workflow import Settings

FINE, BAD_INPUT, INTERRUPTED = 0, 2, 130
USUAL = "usual"
"""In place of a file of one's own: the one that comes with pianolab."""

LISTENER = "listening"
"""Who stands in a casebook's log where the command enters a recording."""


class OneLineParser(argparse.ArgumentParser):
    """A parser whose complaints are one line."""

    def error(self, message: str) -> NoReturn:
        raise PianolabError(f"{self.prog}: {message}. {self.prog} --help tells more.")


def casebook_place(text: str) -> str | Path:
    """A folder, or the URL of a casebook on a server as it stands."""
    return text if "://" in text else Path(text)


def words_of(text: str) -> tuple[str, ...]:
    """Words between commas.

    Examples
    --------
    >>> words_of("names, prices")
    ('names', 'prices')
    """
    return tuple(word for part in text.split(",") if (word := part.strip()))


Commands: TypeAlias = "argparse._SubParsersAction[OneLineParser]"


def build_parser() -> argparse.ArgumentParser:
    """The parser of all commands."""
    parser = OneLineParser(prog="pianolab", description="Judge used pianos and compare the shortlist.")
    parser.add_argument("--version", action="version", version=f"pianolab {VERSION}")
    commands = parser.add_subparsers(dest="command", required=True, metavar="COMMAND")
    for add in (_add_demo, _add_listen, _add_export, _add_gather, _add_notebooks):
        add(commands)
    return parser


def _add_demo(commands: Commands) -> None:
    demo = commands.add_parser("demo", help="the whole job on an invented shortlist")
    demo.add_argument(
        "--out", type=Path, default=Path("pianolab-demo"), metavar="DIR", help="default: %(default)s"
    )
    demo.set_defaults(run=run_demo)


def _add_listen(commands: Commands) -> None:
    listen = commands.add_parser("listen", help="measure every key from one recording of the scale")
    listen.add_argument("recording", type=Path, metavar="RECORDING")
    listen.add_argument("--csv", type=Path, required=True, metavar="OUT.csv", help="a row per key")
    listen.add_argument(
        "--json", type=Path, metavar="OUT.json", help="summary, strikes and rows with reasons"
    )
    listen.add_argument(
        "--first-key", type=int, metavar="N", help="lowest key played; A0 = 1, A4 = 49; default: 1"
    )
    listen.add_argument("--last-key", type=int, default=88, metavar="N", help="default: %(default)s")
    listen.add_argument("--a4", type=float, default=440.0, metavar="HZ", help="default: %(default)g")
    listen.add_argument(
        "--stands-at",
        type=float,
        metavar="CENTS",
        help="how far the piano stands from A4 where a fork or a tuner told so: a wrong playback speed then shows",
    )
    listen.add_argument(
        "--into", type=casebook_place, metavar="CASEBOOK", help="keep recording and survey there"
    )
    listen.add_argument("--piano", metavar="NAME", help="with --into: the piano's name or id")
    listen.add_argument(
        "--visit", metavar="DATE", help="with --into: the day, such as 2026-03-14, or the id of a visit"
    )
    listen.add_argument(
        "--left-pedal",
        action="store_true",
        help="with --into: the left pedal was held; compared with the recording without",
    )
    _add_replace(listen)
    listen.set_defaults(run=run_listen)


def _add_export(commands: Commands) -> None:
    export = commands.add_parser("export", help="the comparison page of a casebook")
    export.add_argument("casebook", type=casebook_place, metavar="CASEBOOK")
    export.add_argument("--html", type=Path, metavar="OUT.html", help="the page")
    export.add_argument("--tables", type=Path, metavar="DIR", help="the numbers as CSV tables")
    export.add_argument("--profile", metavar="NAME", help="the buyer; remembered; at first: first piano")
    export.add_argument(
        "--prices", metavar="FILE", help="your own price list (TOML), remembered; usual forgets it"
    )
    export.add_argument(
        "--checklist", metavar="FILE", help="points of your own (TOML), remembered; usual forgets them"
    )
    export.add_argument(
        "--leave-out", type=words_of, default=(), metavar="WHAT", help="any of names,addresses,prices"
    )
    _add_replace(export)
    export.set_defaults(run=run_export)


def _add_gather(commands: Commands) -> None:
    gather = commands.add_parser("gather", help="merge casebooks without losing or doubling anything")
    gather.add_argument("folders", type=casebook_place, nargs="+", metavar="FOLDER")
    gather.add_argument("--into", type=casebook_place, required=True, metavar="CASEBOOK")
    gather.set_defaults(run=run_gather)


def _add_notebooks(commands: Commands) -> None:
    notebooks = commands.add_parser("notebooks", help="copy the template notebooks")
    notebooks.add_argument(
        "--to", type=Path, default=Path("pianolab-notebooks"), metavar="DIR", help="default: %(default)s"
    )
    _add_replace(notebooks)
    notebooks.set_defaults(run=run_notebooks)


def _add_replace(command: argparse.ArgumentParser) -> None:
    command.add_argument(
        "--replace", action="store_true", help="replace outputs that exist; an input never is"
    )


def run_demo(args: argparse.Namespace) -> None:
    """Build the invented shortlist and its page."""
    from pianolab.demo import demo
    from pianolab.workflow import Printer

    page = demo(args.out, progress=Printer())
    print(f"Open {page} in a browser; the casebook is in {page.parent / 'casebook'}.")
    print(
        "Next: python -m pianolab notebooks copies the notebooks in which you compare a shortlist of your own."
    )


def run_listen(args: argparse.Namespace) -> None:
    """Analyse one recording of the scale."""
    from pianolab.files import own_files, staged
    from pianolab.workflow import Printer, listen_file, survey_csv, survey_json
    from pianolab.workflow.summary import summary_lines

    _check_into(args)
    inputs = [args.recording, *(own_files(args.into) if isinstance(args.into, Path) else ())]
    with staged(args.csv, args.json, inputs=inputs, replace=args.replace) as (csv, json):
        survey = listen_file(
            args.recording,
            first_key=1 if args.first_key is None else args.first_key,
            last_key=args.last_key,
            a4_hz=args.a4,
            expected_offset_cents=args.stands_at,
            first_is_sure=args.first_key is not None,
            progress=Printer(),
        )
        if csv is not None:
            csv.write_text(survey_csv(survey), encoding="utf-8", newline="\n")
        if json is not None:
            json.write_text(survey_json(survey, source=args.recording.name), encoding="utf-8", newline="\n")
        kept = _keep(args, survey)
    print(*(f"written: {p}" for p in (args.csv, args.json) if p is not None), *kept, "", sep="\n")
    print(*summary_lines(survey), sep="\n")


def _check_into(args: argparse.Namespace) -> None:
    """What can be known before the work: the casebook, the piano, the day."""
    from pianolab.workflow.listening import find_visit, visit_named

    given = {"--into": args.into, "--piano": args.piano, "--visit": args.visit}
    missing = [name for name, value in given.items() if value is None]
    if len(missing) == 3 and not args.left_pedal:
        return
    if missing:
        raise BadInput("listen", f"no {missing[0]}", "--into, --piano and --visit together")
    args.visit = visit_named(args.visit)
    from pianolab.casebook import open_casebook

    with open_casebook(args.into) as casebook:
        find_visit(casebook, casebook.piano(args.piano), args.visit, by=LISTENER)


def _keep(args: argparse.Namespace, survey: object) -> list[str]:
    if args.into is None:
        return []
    from pianolab.acoustics import Survey
    from pianolab.casebook import open_casebook
    from pianolab.workflow import keep_survey

    assert isinstance(survey, Survey)
    with open_casebook(args.into) as casebook:
        keep_survey(
            casebook,
            args.recording,
            survey,
            piano=args.piano,
            visit=args.visit,
            by=LISTENER,
            purpose="left pedal" if args.left_pedal else "take",
        )
        return [f"kept: {casebook.name}, {args.piano}, {args.visit}"]


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
    given = {"profile": args.profile, "prices": args.prices, "checklist": args.checklist}
    own = {name: None if value == USUAL and name != "profile" else value for name, value in given.items()}
    return {name: own[name] for name, value in given.items() if value is not None}


def run_gather(args: argparse.Namespace) -> None:
    """Merge casebooks."""
    from pianolab.casebook import gather

    result = gather(args.folders, into=args.into)
    print(result.headline())
    for row in result.rows():
        if row[0] in ("conflict", "problem"):
            print(*(str(cell) for cell in row if cell != ""), sep=": ")


def run_notebooks(args: argparse.Namespace) -> None:
    """Copy the template notebooks."""
    from pianolab.workflow import copy_notebooks

    paths = copy_notebooks(args.to, replace=args.replace)
    print(*paths, sep="\n")
    print(f"Open them with: jupyter lab {args.to}")


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command; the exit code is 0, 2 for bad input (one line on stderr) or 130 when interrupted."""
    if not sys.warnoptions:
        warnings.simplefilter("ignore")
    try:
        args = build_parser().parse_args(argv)
        args.run(args)
        sys.stdout.flush()
    except PianolabError as error:
        return _say(str(error), BAD_INPUT)
    except ModuleNotFoundError as error:
        if (error.name or "").partition(".")[0] == "pianolab":
            raise
        return _say(
            f"pianolab: got no package {error.name}, need it for this command. Install pianolab again.",
            BAD_INPUT,
        )
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
        return FINE
    except OSError as error:
        return _say(f"{error.filename or 'pianolab'}: {(error.strerror or str(error)).lower()}.", BAD_INPUT)
    except MemoryError:
        return _say(
            "pianolab: got too long a recording for this computer's memory, need a shorter one.", BAD_INPUT
        )
    except KeyboardInterrupt:
        return _say("pianolab: interrupted; nothing was left half-written.", INTERRUPTED)
    return FINE


def _say(line: str, code: int) -> int:
    print(" ".join(line.split()), file=sys.stderr)
    return code
