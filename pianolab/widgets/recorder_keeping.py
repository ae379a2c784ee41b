"""From what arrived, or a file, to a recording of the casebook that has been listened to."""

from __future__ import annotations

import contextlib
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pianolab.acoustics import Recorded, Survey, listen
from pianolab.acoustics.live.leaving import Leaving, before_leaving
from pianolab.acoustics.short import chord_fall, pedal_noise, repetition, room_by_clap
from pianolab.casebook.arrived import Arrived, file_away
from pianolab.casebook.arriving import About
from pianolab.errors import BadInput
from pianolab.figures.recording_plan import plan_recording
from pianolab.io import read_sound, sound_info
from pianolab.keyboard import note_name
from pianolab.model import Capture, Recording, SoundGap, SurveyRecord
from pianolab.recordings import lost_keys, merge_takes, with_capture
from pianolab.release import code_version
from pianolab.report.twin_recording import recording_picture
from pianolab.show import Showable
from pianolab.words import say

if TYPE_CHECKING:
    from pianolab.casebook import Casebook

Tell = Callable[[str, float], None]

SHORTEST_PICTURE_S = 0.5
SAME_S = 0.01
SCALES = ("take", "left pedal")
"""Purposes of recordings in which keys are played one after another."""


@dataclass(frozen=True)
class Kept:
    """A recording that is in the casebook: what was heard in it, if anything was to be, and what to play again."""

    recording: Recording
    survey: Survey | None
    leaving: Leaving | None
    says: str = ""
    picture: str = ""

    @property
    def gaps(self) -> tuple[SoundGap, ...]:
        """What the microphone did not hear of it, as far as anybody knows."""
        return self.recording.capture.gaps if self.recording.capture else ()


@dataclass(frozen=True)
class Order:
    """What is asked of the listening: which keys were to be played, who enters it."""

    asked: tuple[int, ...]
    by: str
    tell: Tell


def keep_arrived(
    casebook: Casebook, arrived: Arrived, order: Order, *, compass: tuple[int, int] | None = None
) -> Kept:
    """File what arrived, then listen to it; it stays filed whatever becomes of the listening."""
    recording = file_away(
        casebook,
        arrived,
        by=order.by,
        keys=compass,
        progress=lambda what, share: order.tell(what, 0.1 * share),
    )
    if recording.purpose not in SCALES:
        return Kept(recording, None, None, _measured(casebook, recording))
    try:
        survey = _listen(casebook.media_path(recording.media), _Form.of(recording), order)
        survey = with_capture(survey, recording.capture)
    except BadInput as error:
        return Kept(recording, None, None, f"the recording; but nothing could be measured. {error}")
    with casebook.editing(by=order.by) as edit:
        edit.add(_record(recording, survey))
    return _kept(casebook, recording, survey, order)


def keep_file(casebook: Casebook, path: Path, about: About, order: Order) -> Kept:
    """Listen to a sound file and keep it at a visit; one in which nothing can be heard is not kept."""
    _check_new(casebook, path)
    form = _Form(about.first_key, about.last_key, about.a4_hz)
    survey = _listen(path, form, order) if about.purpose in SCALES else None
    order.tell("keeping the file", 0.96)
    kept = casebook.keep_sound(path)
    with casebook.editing(by=order.by) as edit:
        recording = edit.add_sound(
            about.visit_id,
            kept,
            first_key=form.first_key,
            last_key=form.last_key,
            a4_hz=form.a4_hz,
            purpose=about.purpose,
            note=about.note,
        )
        if survey is not None:
            edit.add(_record(recording, survey))
    if survey is None:
        return Kept(recording, None, None, _measured(casebook, recording))
    return _kept(casebook, recording, survey, order)


def _check_new(casebook: Casebook, path: Path) -> None:
    """A file of one name and one length is kept once."""
    seconds = sound_info(path).seconds
    mine = [r.seconds for r in casebook.recordings() if r.original_name == path.name]
    if seconds is not None and any(abs(known - seconds) < SAME_S for known in mine):
        got = "a recording that is in the casebook already"
        raise BadInput(path.name, got, "another one", "Kept before?")


@dataclass(frozen=True)
class _Form:
    first_key: int
    last_key: int
    a4_hz: float

    @classmethod
    def of(cls, recording: Recording) -> _Form:
        return cls(recording.first_key, recording.last_key, recording.a4_hz)


def _listen(path: Path, form: _Form, order: Order) -> Survey:
    sound = read_sound(path)
    return listen(
        sound.samples,
        rate_hz=sound.rate_hz,
        first_key=form.first_key,
        last_key=form.last_key,
        a4_hz=form.a4_hz,
        recorded=Recorded(lossy=sound.lossy),
        progress=lambda what, share: order.tell(what, 0.1 + 0.85 * share),
    )


def _record(recording: Recording, survey: Survey) -> SurveyRecord:
    return SurveyRecord(
        recording_id=recording.id,
        visit_id=recording.visit_id,
        version=code_version("acoustics"),
        survey_json=survey.to_json(),
    )


def _kept(casebook: Casebook, recording: Recording, survey: Survey, order: Order) -> Kept:
    """With what to play again, the visit's other takes taken into account: what one of them tells is told."""
    asked, whole = set(order.asked), survey
    clipped, good = set[int](), set[int]()
    others = _other_takes(casebook, recording) if recording.purpose == "take" else []
    takes = [(survey, recording.capture), *others]
    lost = [set(lost_keys(take, capture)) for take, capture in takes]
    for (take, _), missing in zip(takes, lost, strict=True):
        clipped |= set(take.summary.clipped_keys)
        good |= _well_heard(take) - missing
    for other, _ in others:
        asked |= set(range(other.summary.first_key, other.summary.last_key + 1))
    if others:
        with contextlib.suppress(BadInput):  # takes that don't go together: the last one stands alone
            whole = merge_takes([take for take, _ in takes], lost=lost)
    leaving = before_leaving(
        whole, asked=sorted(asked), lost=set().union(*lost) - good, clipped=clipped - good
    )
    return Kept(recording, survey, leaving, survey.headline())


def _well_heard(survey: Survey) -> set[int]:
    """Keys that this take has measured and not cut off at the top."""
    table = survey.table
    return set(table.loc[table["status"] == "measured", "key"].astype(int)) - set(survey.summary.clipped_keys)


def _other_takes(casebook: Casebook, recording: Recording) -> list[tuple[Survey, Capture | None]]:
    takes = {
        r.id: r for r in casebook.recordings(recording.visit_id) if r.purpose == "take" and r != recording
    }
    piano = casebook.visit(recording.visit_id).piano_id
    return [
        (Survey.from_json(s.survey_json), takes[s.recording_id].capture)
        for s in casebook.surveys(piano)
        if s.recording_id in takes
    ]


SHORT: dict[str, Callable[..., Showable]] = {
    "damper pedal": pedal_noise,
    "repeated note": repetition,
    "held chord": chord_fall,
    "hand clap": room_by_clap,
}


def short_measure(casebook: Casebook, recording: Recording) -> Showable:
    """What a short recording of a casebook says, measured from its sound.

    Raises
    ------
    BadInput
        a recording of keys, or one in which there is too little
    """
    if recording.purpose not in SHORT:
        raise BadInput("recording", f"one of keys ({recording.purpose})", "one of " + ", ".join(SHORT))
    sound = read_sound(casebook.media_path(recording.media))
    return SHORT[recording.purpose](sound.samples, rate_hz=sound.rate_hz)


def _measured(casebook: Casebook, recording: Recording) -> str:
    try:
        return short_measure(casebook, recording).headline()
    except BadInput as error:
        return f"the recording; but nothing could be measured. {error}"


def with_picture(casebook: Casebook, kept: Kept) -> Kept:
    """With a still picture of what was recorded, the keys that were read marked on it."""
    sound = read_sound(casebook.media_path(kept.recording.media))
    if sound.seconds < SHORTEST_PICTURE_S:
        return kept
    plan = plan_recording(
        sound.samples,
        rate_hz=sound.rate_hz,
        table=None if kept.survey is None else kept.survey.table,
        gaps_s=tuple((g.begin_s, g.end_s) for g in kept.gaps),
    )
    return replace(kept, picture=str(recording_picture(plan)))


def leaving_view(kept: Kept) -> dict[str, Any]:
    """What the screen shows of what to play again."""
    if kept.leaving is None:
        return {"parts": [], "keys": [], "seconds": 0.0, "says": kept.says}
    parts = [
        {"keys": [{"key": k, "note": note_name(k)} for k in part.keys], "text": say(part.says)}
        for part in kept.leaving.again
    ]
    warnings = list(kept.survey.summary.warnings) if kept.survey is not None else []
    return {
        "parts": parts,
        "keys": list(kept.leaving.keys),
        "seconds": kept.leaving.seconds,
        "says": kept.says,
        "warnings": warnings,
        "gaps": [_gap_view(g) for g in kept.gaps],
    }


def _gap_view(gap: SoundGap) -> dict[str, Any]:
    return {"kind": gap.kind, "at_s": gap.begin_s, "lost_s": gap.lost_s}
