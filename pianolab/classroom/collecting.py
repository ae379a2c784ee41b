"""Bringing pupils' folders together: each by itself, so that a damaged one stops nobody else's."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING
from uuid import uuid4

from pianolab.casebook import Casebook, create_casebook, gather, open_casebook
from pianolab.casebook.codec import from_json
from pianolab.casebook.engine import DATABASE_NAME
from pianolab.classroom.answer_ids import DESK_NAME, desk_name, has_own_id, mark_of
from pianolab.errors import BadInput, CasebookError
from pianolab.model import Answer, Record

if TYPE_CHECKING:
    from pianolab.casebook import Conflict, GatherResult

COUNTS = ("sources", "added", "updated", "changes", "media", "purged")


def make_sure(place: Path) -> None:
    """Make a casebook where there is none. Two may do so at once, and one may be killed meanwhile: all of it is there, or nothing."""
    if (place / DATABASE_NAME).exists():
        return
    draft = place.with_name(f".{place.name}.{uuid4().hex}.part")
    try:
        place.parent.mkdir(parents=True, exist_ok=True)
        create_casebook(draft).close()
        draft.rename(place)
    except OSError as error:
        if not (place / DATABASE_NAME).exists():
            got = f"a place where no folder can be made ({error.strerror})"
            raise BadInput(
                str(place), got, "permission to write there", "Is something else of that name there?"
            ) from None
    finally:
        shutil.rmtree(draft, ignore_errors=True)


def note_removed(file: Path, trace: str) -> None:
    """Add a trace to a class's list of pupils who were removed; the list is whole at every moment."""
    known = file.read_text(encoding="utf-8").split() if file.is_file() else []
    draft = file.with_name(f".{file.name}.{uuid4().hex}.part")
    draft.write_text("".join(f"{t}\n" for t in dict.fromkeys([*known, trace])), encoding="utf-8")
    draft.replace(file)


def owner_of(place: Path, *, class_id: str) -> Callable[[Record], bool]:
    """What is a folder's own: answers of the pupil whose name it bears, each under that pupil's own id. A folder that was
    named otherwise, such as a stick's, is of the one pupil whose answers lie in it.

    Raises
    ------
    CasebookError : answers of another class lie in it
    """
    held = _held(place)
    strange = [a for a in held if not a.id.startswith(mark_of(class_id))]
    if strange:
        raise CasebookError(
            f"{place}: {len(strange)} answers of another class, nothing of it was taken in. The folder of another class?"
        )
    pupils = {a.pupil for a in held}
    only = pupils if len(pupils) == 1 and not DESK_NAME.fullmatch(place.name) else set()

    def owns(record: Record) -> bool:
        return (
            isinstance(record, Answer)
            and (desk_name(record.pupil) == place.name or record.pupil in only)
            and has_own_id(record, class_id=class_id)
        )

    return owns


def _held(place: Path) -> tuple[Answer, ...]:
    try:
        with open_casebook(place) as book:
            return book.answers()
    except CasebookError:
        return ()  # Gathering says what is the matter with it.


def gather_each(
    places: Sequence[Path], *, into: str | Path, class_id: str
) -> tuple[list[GatherResult], list[str]]:
    """Gather folder by folder, of each what is its own; what was done, and why some could not be read.

    Raises
    ------
    CasebookError : none of them could
    """
    done: list[GatherResult] = []
    refused: list[CasebookError] = []
    for place in places:
        try:
            done.append(gather(place, into=into, owns=owner_of(place, class_id=class_id)))
        except CasebookError as error:
            refused.append(error)
    if not done:
        raise refused[0]
    return done, [str(error) for error in refused]


def first_counts(book: Casebook, *, mark: str, by: str) -> list[str]:
    """Settle answers that were given on two machines, the earlier one counts; says which."""
    told = []
    for conflict in book.conflicts():
        if conflict.kind != "Answer" or not conflict.record_id.startswith(mark):
            continue
        first = from_json("Answer", json.dumps(conflict.versions[0].after))
        if isinstance(first, Answer):
            with book.editing(by=by) as edit:
                edit.settle(first)
            told.append(f"{first.pupil} answered {first.task!r} on two machines; the first answer counts")
    return told


def together(
    done: Sequence[GatherResult], *, conflicts: tuple[Conflict, ...], problems: Sequence[str]
) -> GatherResult:
    """What was gathered folder by folder, as one result."""
    counts = {name: sum(getattr(d, name) for d in done) for name in COUNTS}
    found = (*(p for d in done for p in d.problems), *problems)
    return replace(done[-1], **counts, conflicts=conflicts, problems=found)
