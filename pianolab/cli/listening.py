"""The command ``listen``: one recording of the scale."""

from __future__ import annotations

import argparse
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from pianolab.acoustics import Survey
from pianolab.acoustics.judging.tuning_need import need_of_table, pitch_words, wide_cents
from pianolab.acoustics.results import FAULTS_BY_WEIGHT
from pianolab.cli.parts import Commands, add_replace, casebook_place, key, number, output
from pianolab.errors import BadInput
from pianolab.keyboard import note_name
from pianolab.units import A4_KEY
from pianolab.words import keys_in_words, listed

IN_TUNE_CENTS = 1.0
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


def summary_lines(survey: Survey) -> list[str]:
    """What the recording tells, a line each, as a technician would say it.

    First which keys were heard, then the pitch of the whole and the state of the tuning, then faults by weight, then
    room and recording. What comes before any fault is said once more at the end, where a screen of lines leaves the
    eye; where the reading is doubtful the last line says what settles it.
    """
    s = survey.summary
    lines = [
        f"keys measured: {s.measured} of {s.last_key - s.first_key + 1}",
        f"reading: {s.reading}",
        f"pitch: {_pitch(survey)}",
        f"evenness of the tuning: {_or_unknown(s.tuning_spread_cents, 'cents around its own curve')}",
        f"tuning: {_tuning(survey)}",
        f"hidden by the tuning: {_hidden(survey)}",
        *_faults(survey),
        f"silent: {_keys(s.silent)}",
        f"skipped: {_keys(s.skipped)}",
        f"unclear: {_keys(s.unclear)}",
        f"room: {_room(survey)}",
        f"recording: {s.seconds:.0f} s, {s.rate_hz / 1000:g} kHz, {s.channels} channel{'s' * (s.channels > 1)}",
        *(f"warning: {w}" for w in s.quality),
        *_first_of_all(survey),
    ]
    return lines + ([_settle(survey)] if s.reading == "doubtful" else [])


def _tuning(survey: Survey) -> str:
    """The state of the unisons in one statement with its number."""
    need = need_of_table(survey.table)
    if need.needed:
        return f"needs tuning: {need.why()}"
    if not need.judged:
        return "unknown, no unison measured"
    return f"{need.wide} of {need.judged} unisons are over {wide_cents():g} cents"


def _first_of_all(survey: Survey) -> list[str]:
    """What stands before any fault, without its numbers' reasons; nothing where the tuning is as it should be."""
    said = [w for w in (pitch_words(survey.summary.offset_cents), need_of_table(survey.table).advice()) if w]
    return [f"first of all: {'; '.join(said)}"] if said else []


def _pitch(survey: Survey) -> str:
    s = survey.summary
    if s.offset_cents is None:
        return "unknown"
    side = "flat of" if s.offset_cents < 0 else "sharp of"
    if abs(s.offset_cents) < IN_TUNE_CENTS:
        side = "from"
    return f"the piano as a whole is {abs(s.offset_cents):.1f} cents {side} A{(A4_KEY - 1) // 12} = {s.a4_hz:g} Hz"


def _or_unknown(value: float | None, unit: str) -> str:
    return "unknown, too few keys" if value is None else f"{value:.1f} {unit}"


def _hidden(survey: Survey) -> str:
    s = survey.summary
    if not s.sustain_hidden:
        return "nothing"
    return f"how long {s.sustain_hidden} of {s.sustain_heard} notes sing"


def _keys(keys: Sequence[int]) -> str:
    """All of them, with numbers: whoever sits at the piano has to find them."""
    return keys_in_words(keys, most=None, numbers=True, none="none")


def _room(survey: Survey) -> str:
    s = survey.summary
    if s.t60_s is None:
        return f"reverberation unknown: {s.t60_reason or 'not heard'}"
    return f"reverberation time {s.t60_s:.2f} s" + (f" ({s.t60_reason})" if s.t60_reason else "")


def _faults(survey: Survey) -> list[str]:
    rows = survey.key_rows()
    at = {f: [int(row["key"]) for row in rows if f in row["faults"]] for f in FAULTS_BY_WEIGHT}
    lines = [f"  {fault.replace('_', ' ')}: {_keys(keys)}" for fault, keys in at.items() if keys]
    untested = _untested(rows)
    none = " none where they could be told" if untested else " none"
    return ["faults heard:" + ("" if lines else none), *lines, *untested]


def _untested(rows: Sequence[Mapping[str, Any]]) -> list[str]:
    """What could not be tested: on no key at all, and on some of the keys that sound."""
    heard = [row for row in rows if row["status"] == "measured"]
    left = {f: sum(f in row["not_judged"] for row in heard) for f in FAULTS_BY_WEIGHT}
    never = [f.replace("_", " ") for f, n in left.items() if n == len(heard) > 0]
    some = [f"{f.replace('_', ' ')} on {n}" for f, n in left.items() if 0 < n < len(heard)]
    lines = [f"  not told on some keys: {listed(some)}; the table says why"] if some else []
    return lines + ([f"  not told by this recording: {listed(never)}"] if never else [])


def _settle(survey: Survey) -> str:
    table = survey.table
    low = int(table.loc[table["status"] == "measured", "key"].min())
    other = survey.summary.other_first_key
    assert other is not None
    return (
        f"If the lowest key played was {note_name(low)}, --first-key {low} settles it; "
        f"if it was {note_name(other)}, --first-key {other} does."
    )
