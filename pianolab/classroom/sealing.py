"""Answers in shared folders are no plain text: what was given, what is true and how it was graded lie in one sealed word.

It keeps a pupil who opens a file from reading, by the way, what is true or what others said. It protects no secret: who
has the class's folder and this library can unseal everything, and the seed in the class's file makes every task anew.
For an examination, keep the folder to yourself until the answers are in.
"""

from __future__ import annotations

import json
from base64 import urlsafe_b64decode, urlsafe_b64encode
from dataclasses import replace
from hashlib import sha256
from typing import Any

from pianolab.errors import BadInput
from pianolab.model import Answer

MARK = "sealed:"
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
    text = json.dumps({name: getattr(answer, name) for name in FIELDS}, ensure_ascii=False).encode()
    word = urlsafe_b64encode(_mixed(text, answer.id, class_id)).decode("ascii")
    return replace(answer, given=MARK + word, **BLANK)


def unsealed(answer: Answer, *, class_id: str) -> Answer:
    """The answer as it was given; one that isn't sealed stays as it is.

    Raises
    ------
    BadInput : a word that is no sealed answer of this class
    """
    if not answer.given.startswith(MARK):
        return answer
    try:
        text = _mixed(urlsafe_b64decode(answer.given.removeprefix(MARK)), answer.id, class_id)
        return replace(answer, **{name: json.loads(text)[name] for name in FIELDS})
    except (ValueError, KeyError, TypeError):
        raise BadInput(
            "answer", "a sealed word that can't be read", "one of this class", "Was it changed by hand?"
        ) from None


def _mixed(text: bytes, answer_id: str, class_id: str) -> bytes:
    blocks = (sha256(f"{class_id}/{answer_id}/{n}".encode()).digest() for n in range(len(text) // 32 + 1))
    return bytes(a ^ b for a, b in zip(text, b"".join(blocks), strict=False))
