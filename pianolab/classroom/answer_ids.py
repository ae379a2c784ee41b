"""Whose an answer is, and how it lies in a file: its id, its seal, the folder it belongs into.

An id says the class, and by a hash the pupil and the task; so no answer counts for another. Answers in shared folders are
no plain text: what was given, what is true and how it was graded lie in one sealed word. It keeps a pupil who opens a file
from reading, by the way, what is true or what others said. It protects no secret: who has the class's folder and this
library can unseal everything, make a folder in another's name, and make every task anew by the seed in the class's file.
For an examination, keep the folder to yourself until the answers are in.
"""

from __future__ import annotations

import json
import re
from base64 import urlsafe_b64decode, urlsafe_b64encode
from collections.abc import Iterable
from dataclasses import replace
from hashlib import sha256
from typing import Any, Literal

from pianolab.errors import BadInput
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
    told = None if answer.kind == GRADE else answer.given == answer.truth
    own = has_own_id(answer, class_id=class_id)
    return "counts" if own and answer.correct == told else "changed by hand"


def has_own_id(answer: Answer, *, class_id: str) -> bool:
    """Whether an answer, sealed or not, bears the id of its own class, pupil and task.

    Examples
    --------
    >>> own = answer_id("c1", pupil="7", lesson="l", task="t", item="")
    >>> kept = Answer(id=own, pupil="7", lesson="l", kind="same or different", task="t", given="same")
    >>> has_own_id(kept, class_id="c1"), has_own_id(replace(kept, pupil="8"), class_id="c1")
    (True, False)
    """
    if answer.kind == GRADE:
        try:
            answer = unsealed(answer, class_id=class_id)
        except BadInput:
            return False
    item = answer.item if answer.kind == GRADE else ""
    own = answer_id(class_id, pupil=answer.pupil, lesson=answer.lesson, task=place_of(answer.task), item=item)
    return answer.id == own


def desk_name(pupil: str) -> str:
    """Name of a pupil's folder: readable, and another one for every pupil.

    Examples
    --------
    >>> desk_name("Mia"), desk_name("../7")[:4]
    ('Mia-415095', '---7')
    """
    plain = "".join(c if c.isalnum() or c in "-_" else "-" for c in pupil)
    return f"{plain}-{sha256(pupil.encode()).hexdigest()[:6]}"


DESK_NAME = re.compile(r".+-[0-9a-f]{6}")
"""How a pupil's folder is called."""

SEALED = "sealed:"
FIELDS = ("item", "given", "truth", "correct", "level", "unit", "grade", "confirmed")
BLANK: dict[str, Any] = {
    "item": "",
    "truth": "",
    "correct": None,
    "level": None,
    "unit": "",
    "grade": None,
    "confirmed": "",
}


def sealed(answer: Answer, *, class_id: str) -> Answer:
    """The answer as it is kept: the same id, pupil, lesson and task, the rest as one word.

    Examples
    --------
    >>> kept = sealed(Answer(pupil="7", kind="grade", task="t", given="clean", grade=5), class_id="c1")
    >>> kept.given[:7], kept.grade, unsealed(kept, class_id="c1").grade
    ('sealed:', None, 5)
    """
    text = json.dumps({name: getattr(answer, name) for name in FIELDS}).encode()
    word = urlsafe_b64encode(_mixed(text, answer.id, class_id)).decode("ascii")
    return replace(answer, given=SEALED + word, **BLANK)


def unsealed(answer: Answer, *, class_id: str) -> Answer:
    """The answer as it was given; one that isn't sealed stays as it is.

    Raises
    ------
    BadInput : a word that is no sealed answer of this class
    """
    if not answer.given.startswith(SEALED):
        return answer
    try:
        text = _mixed(urlsafe_b64decode(answer.given.removeprefix(SEALED)), answer.id, class_id)
        return replace(answer, **{name: json.loads(text)[name] for name in FIELDS})
    except (ValueError, KeyError, TypeError):
        raise BadInput(
            "answer", "a sealed word that can't be read", "one of this class", "Was it changed by hand?"
        ) from None


def _mixed(text: bytes, answer_id: str, class_id: str) -> bytes:
    blocks = (sha256(f"{class_id}/{answer_id}/{n}".encode()).digest() for n in range(len(text) // 32 + 1))
    return bytes(a ^ b for a, b in zip(text, b"".join(blocks), strict=False))


def letters_for(pupils: Iterable[str], *, class_id: str) -> dict[str, str]:
    """A letter for each pupil, in an order that has nothing to do with their names.

    Examples
    --------
    >>> sorted(letters_for(["Mia", "Leo", "9"], class_id="c1").values())
    ['A', 'B', 'C']
    """
    mixed = sorted(pupils, key=lambda pupil: trace_of(pupil, class_id=class_id))
    return {pupil: _letters(n) for n, pupil in enumerate(mixed)}


def _letters(n: int) -> str:
    return (chr(64 + n // 26) if n >= 26 else "") + chr(65 + n % 26)
