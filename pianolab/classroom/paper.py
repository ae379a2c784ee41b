"""What was ticked on paper comes into the class: one letter for each task, as it stands beside the boxes."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pianolab.classroom.lessons import sitting
from pianolab.classroom.sheets import LETTERS
from pianolab.errors import BadInput

if TYPE_CHECKING:
    from pianolab.classroom.desk import Desk

LEFT_OPEN = "-"


def enter_paper(desk: Desk, lesson: str, letters: str, *, turn: int = 1) -> int:
    """Enter a pupil's sheet: a letter for each task in order, ``-`` where nothing was ticked; blanks don't count.

    Parameters
    ----------
    desk : the pupil's desk
    lesson : a name of `load_lessons`
    letters : such as ``"abba -cab"``
    turn : as in `sitting`

    Returns
    -------
    int, how many answers were kept

    Raises
    ------
    BadInput : more or fewer letters than tasks are left to answer, or a letter that stands beside no box; nothing is
        kept then
    """
    ticked = [c for c in letters.lower() if not c.isspace()]
    trial = sitting(desk, lesson, turn=turn)
    choices = []
    while not trial.finished:
        choices.append(tuple(trial.view()["choices"]))
        trial.next()
    if len(ticked) != len(choices):
        raise BadInput(
            "letters",
            f"{len(ticked)} letters",
            f"{len(choices)}, one for each task that isn't answered",
            "Use - where nothing was ticked.",
        )
    for number, (letter, offered) in enumerate(zip(ticked, choices, strict=True), start=1):
        if letter != LEFT_OPEN and letter not in LETTERS[: len(offered)]:
            raise BadInput(
                f"letter {number}", repr(letter), f"a to {LETTERS[len(offered) - 1]}, or {LEFT_OPEN}"
            )
    entered, kept = sitting(desk, lesson, turn=turn), 0
    for letter, offered in zip(ticked, choices, strict=True):
        if letter != LEFT_OPEN:
            entered.take(offered[LETTERS.index(letter)])
            kept += 1
        entered.next()
    return kept
