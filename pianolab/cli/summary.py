"""What one recording tells, in the lines that the command ``listen`` prints; loaded only where it has listened."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from pianolab.acoustics import Survey
from pianolab.acoustics.judging.tuning_need import need_of_table, pitch_words, wide_cents
from pianolab.acoustics.recorder.signal_states import DEAD_CHANNEL
from pianolab.acoustics.survey_result import FAULTS_BY_WEIGHT
from pianolab.keyboard import note_name
from pianolab.units import A4_KEY
from pianolab.words import keys_in_words, listed

IN_TUNE_CENTS = 1.0


def summary_lines(survey: Survey) -> list[str]:
    """What the recording tells, a line each, as a technician would say it.

    First which keys were heard, and with how much of the recorder; then the pitch of the whole and the state of the
    tuning, then faults by weight, then room and recording. What comes before any fault is said once more at the
    end, where a screen of lines leaves the eye; where the reading is doubtful the last line says what settles it.
    """
    s = survey.summary
    said = dict(zip(s.impairments, s.quality, strict=False))
    dead = said.get(DEAD_CHANNEL, "")
    lines = [
        f"keys measured: {s.measured} of {s.last_key - s.first_key + 1}",
        *([f"warning: {dead}"] if dead else []),
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
        *(f"warning: {w}" for w in s.quality if w != dead),
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
