"""What is said after an answer, and at the end of a sitting; and how sounds go to the page."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from pianolab.classroom.drills import Drill
from pianolab.classroom.faults import FAULT_WORDS
from pianolab.classroom.kinds import LEVELS
from pianolab.classroom.psychometrics import YES_NO, sensitivity_of, threshold_of
from pianolab.classroom.sounds import DrillClip
from pianolab.io import clip_bytes
from pianolab.model import Answer

EncodedSound = tuple[str, bytes, str]
"""Label, bytes, media type."""

NOTHING_ASKED: dict[str, Any] = {
    "question": "",
    "choices": [],
    "clips": [],
    "made_from": "",
    "picture": "",
}
"""What a view shows of a task where none is left."""


def asked_of(drill: Drill) -> dict[str, Any]:
    """What a view shows of a task before its answer: question, choices, names of the sounds."""
    return {
        "question": drill.question,
        "choices": list(drill.choices),
        "clips": [c.label for c in drill.clips],
        "made_from": drill.made_from,
        "picture": "",
        "closing": "",
    }


FAULT_NAMES: dict[str, str] = {str(k): w.choice for k, w in FAULT_WORDS.items()}


def encoded(clip: DrillClip) -> EncodedSound:
    """A clip for the page: label, bytes and media type; all are coded alike, in as many bytes, without words."""
    data, mime = clip_bytes(clip.samples, rate_hz=clip.rate_hz, format="mp3", constant=True)
    return clip.label, data, mime


@dataclass(frozen=True, kw_only=True)
class Feedback:
    """What is said after an answer: right (None: nothing is right or wrong), the truth in words, chart, sound."""

    right: bool | None
    headline: str
    explanation: str
    answer: str = ""
    credit: str = ""
    begins: tuple[float, float] = (0.0, 0.0)
    counts: tuple[int, ...] | None = None
    curves: tuple[dict[str, Any], ...] = ()
    chart_words: str = ""
    sound: EncodedSound | None = None


def told_of(drill: Drill, choice: str, *, before: str = "", sound: EncodedSound | None = None) -> Feedback:
    """What is said after an answer: the truth, and where it was another, what one would have heard with that one."""
    truth, right = drill.truth, drill.is_right(choice)
    how = "pianolab's own listening hears it too" if truth.is_confirmed else truth.confirmed
    instead = (
        ""
        if right or choice not in truth.tells
        else f" You said “{choice}”. With that: {truth.tells[choice]}"
    )
    credit = (
        f"Sound: {truth.credit}; {'altered as said' if truth.fault or truth.unit else 'nothing altered'}."
        if truth.credit
        else ""
    )
    return Feedback(
        right=right,
        headline=f"{before}{'Right' if right else 'Not so'}: {truth.answer}.",
        answer=truth.answer,
        begins=truth.begins_s,
        explanation=f"{truth.explanation}{instead} Made from {truth.made_from}; {how}.",
        credit=credit,
        curves=tuple(
            {"label": c.label, "x": c.x, "level_db": c.level_db, "x_unit": c.x_unit} for c in truth.curves
        ),
        chart_words="Level over "
        + ("time" if truth.curves and truth.curves[0].x_unit == "s" else "pitch")
        + ": "
        + " beside ".join(c.label for c in truth.curves),
        sound=sound,
    )


def closing_words(own: Sequence[Answer]) -> str:
    """How many were right, what was missed most, and how fine one hears by now.

    Examples
    --------
    >>> closing_words([])
    'All tasks are answered.'
    """
    drills = [a for a in own if a.correct is not None]
    if not drills:
        return "All tasks are answered."
    said = [f"All tasks are answered: {sum(bool(a.correct) for a in drills)} of {len(drills)} right."]
    missed = Counter(
        FAULT_NAMES.get(a.item, "nothing wrong, where something was heard") for a in drills if not a.correct
    )
    if missed:
        what, times = missed.most_common(1)[0]
        said.append(f"Missed most: {what} ({times}).")
    for kind in dict.fromkeys(a.kind for a in drills):
        if kind in LEVELS:
            said.append(f"“{kind}”: {threshold_of(drills, kind=kind).headline()}.")
        elif kind in YES_NO:
            said.append(f"“{kind}”: {sensitivity_of(drills, kind=kind).headline()}.")
    return " ".join(said)
