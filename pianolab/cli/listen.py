"""The command ``listen``: one recording of the scale."""

from __future__ import annotations

import argparse
from pathlib import Path

from pianolab.cli.parts import Commands, add_replace, casebook_place, key, number, output
from pianolab.errors import BadInput

LISTENER = "listening"
"""Who stands in a casebook's log where the command enters a recording."""


def add_listen(commands: Commands) -> None:
    listen = commands.add_parser("listen", help="measure every key from one recording of the scale")
    listen.add_argument("recording", type=Path, metavar="RECORDING")
    listen.add_argument("--csv", type=output, required=True, metavar="OUT.csv", help="a row per key")
    listen.add_argument(
        "--json", type=output, metavar="OUT.json", help="summary, strikes and rows with reasons"
    )
    listen.add_argument(
        "--first-key",
        type=key,
        metavar="KEY",
        help="lowest key played, such as 1 or A0 (A4 = 49); default: 1",
    )
    listen.add_argument("--last-key", type=key, default=88, metavar="KEY", help="default: %(default)s")
    listen.add_argument("--a4", type=number, default=440.0, metavar="HZ", help="default: %(default)g")
    listen.add_argument(
        "--stands-at",
        type=number,
        metavar="CENTS",
        help="how far the piano is from A4, where a tuning fork or a tuning device says so: a wrong playback speed then shows",
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
    add_replace(listen)
    listen.set_defaults(run=run_listen)


def run_listen(args: argparse.Namespace) -> None:
    """Analyse one recording of the scale."""
    from pianolab.cli.summary import summary_lines
    from pianolab.files import own_files, staged
    from pianolab.workflow import Printer, listen_file, survey_csv, survey_json

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
