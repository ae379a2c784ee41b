"""What the browser said of a recording, beside what was heard in it: processing that was on, sound that is missing."""

from __future__ import annotations

from dataclasses import replace

from pianolab.acoustics.live.leaving import keys_in_gaps
from pianolab.acoustics.recorder.recorder_states import Impairment, forbid
from pianolab.acoustics.survey_result import Survey, count_faults, rows_of, table_of
from pianolab.model import Capture
from pianolab.statements import Statement, statement
from pianolab.words import say

PROCESSING = ("echo_cancellation", "noise_suppression", "automatic_gain")


def lost_keys(survey: Survey, capture: Capture | None) -> tuple[int, ...]:
    """Keys of a recording in whose first seconds sound is missing; none where nothing is known of gaps.

    Parameters
    ----------
    survey : survey of the recording
    capture : what the browser said of it; None for a file

    Returns
    -------
    tuple of int, keys from 1
    """
    return () if capture is None else keys_in_gaps(survey, [(g.begin_s, g.end_s) for g in capture.gaps])


def capture_says(survey: Survey, capture: Capture) -> tuple[Statement, ...]:
    """What a reader of the survey must know of how it was recorded; nothing where all was off and no sound is missing.

    Parameters
    ----------
    survey : what was heard in that recording
    capture : how the browser took it

    Examples
    --------
    >>> from pianolab.acoustics import listen
    >>> from pianolab.sound_model import PianoModel, render_scale
    >>> scale = render_scale(PianoModel(seed=3), first_key=40, last_key=42, hold_s=0.8, rate_hz=16000)
    >>> heard = listen(scale.samples, rate_hz=16000, first_key=40, last_key=42)
    >>> [s.kind for s in capture_says(heard, Capture(echo_cancellation="on"))]
    ['capture.echo_cancellation', 'capture.unknown']
    """
    out = [statement(f"capture.{name}") for name in PROCESSING if getattr(capture, name) == "on"]
    unknown = [n for n in PROCESSING if getattr(capture, n) == "unknown"]
    if unknown:
        out.append(statement("capture.unknown", what=tuple(statement(f"capture.name.{n}") for n in unknown)))
    keys, lost_s = lost_keys(survey, capture), sum(g.lost_s for g in capture.gaps)
    if keys:
        out.append(statement("capture.missing", keys=keys, seconds=lost_s))
    elif capture.gaps:
        out.append(statement("capture.missing between", seconds=lost_s))
    return tuple(out)


def how_captured(survey: Survey, capture: Capture | None) -> tuple[str, ...]:
    """How a recording was taken, for a list of where things come from; empty for a file from elsewhere.

    Parameters
    ----------
    survey : survey of the recording
    capture : what the browser said of it; None for a file

    Returns
    -------
    tuple of str, a line each
    """
    if capture is None:
        return ()
    device = (say(statement("capture.device", device=capture.device)),) if capture.device else ()
    off = all(getattr(capture, name) == "off" for name in PROCESSING)
    plain = (say(statement("capture.all off")),) if off else ()
    return (*device, *plain, *(say(s) for s in capture_says(survey, capture)))


def with_capture(survey: Survey, capture: Capture | None) -> Survey:
    """The survey with what the browser said among its remarks on the recording; as it was for a file from elsewhere.

    What processing that was on spoils is taken out, with it as the reason.

    Parameters
    ----------
    survey : survey of the recording
    capture : what the browser said of it; None for a file

    Returns
    -------
    Survey
    """
    told = () if capture is None else tuple(say(s) for s in capture_says(survey, capture))
    if capture is None or not told:
        return survey
    s, table, spoiled = survey.summary, survey.table, _spoiled(capture)
    summary = replace(s, quality=(*s.quality, *told), warnings=(*s.warnings, *told))
    if spoiled:
        table = table_of(forbid(rows_of(table), spoiled))
        summary = replace(
            summary,
            impairments=(*s.impairments, *(i.name for i in spoiled)),
            fault_counts=count_faults(table),
            t60_s=None,
            t60_reason=spoiled[0].name,
        )
    return replace(survey, table=table, summary=summary)


def _spoiled(capture: Capture) -> list[Impairment]:
    """Each processing that was on moves the level while a note fades, whether or not that can be heard by itself."""
    on = [n.replace("_", " ") for n in PROCESSING if getattr(capture, n) == "on"]
    return [
        Impairment(
            name=name,
            says="",
            trust="automatic gain" if name == "automatic gain" else "noisy",
            faults=("short_sustain", "damper", "buzz", "voicing"),
            columns=("decay_20_s", "late_db_per_s", "string_db_per_s", "release_20_s", "buzz_db", "level_db"),
        )
        for name in on
    ]
