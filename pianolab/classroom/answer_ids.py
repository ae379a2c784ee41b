"""What an answer's id says: the class, and by a hash the pupil and the task; so that no answer counts for another."""

from __future__ import annotations

import json
from hashlib import sha256
from typing import Literal

from pianolab.model import Answer

GRADE = "grade"
"""Kind of an answer that grades an exhibit."""

Standing = Literal["counts", "another class", "changed by hand"]


def mark_of(class_id: str) -> str:
    """How the ids of all answers of a class begin."""
    return f"answer-{class_id}-"


def answer_id(class_id: str, *, pupil: str, lesson: str, task: str, item: str) -> str:
    """Id of an answer, made from what it answers: class, pupil, lesson, the task's place in it."""
    text = json.dumps([class_id, lesson, task, item, pupil])
    return mark_of(class_id) + sha256(text.encode()).hexdigest()[:32]


def trace_of(pupil: str, *, class_id: str) -> str:
    """What stays of a pupil who was removed: enough to know them again, and no name."""
    return sha256(json.dumps([class_id, "removed", pupil]).encode()).hexdigest()


def place_of(task: str) -> str:
    """A task's place in its lesson: its name without the mark that says how it was made.

    Examples
    --------
    >>> place_of("same or different 3 (5d1f0a77)"), place_of("the one in the hall")
    ('same or different 3', 'the one in the hall')
    """
    return task.partition(" (")[0]


def standing_of(answer: Answer, *, class_id: str) -> Standing:
    """Whether an answer counts: its id is that of this class, pupil and task, and right is what agrees with the truth.

    Who changes an answer's words and its truth alike, and knows this rule, is not found out: answers are a matter of
    learning, not of marks.
    """
    if not answer.id.startswith(mark_of(class_id)):
        return "another class"
    graded = answer.kind == GRADE
    task, item = place_of(answer.task), answer.item if graded else ""
    own = answer_id(class_id, pupil=answer.pupil, lesson=answer.lesson, task=task, item=item)
    told = None if graded else answer.given == answer.truth
    return "counts" if answer.id == own and answer.correct == told else "changed by hand"
