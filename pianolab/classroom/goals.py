"""The goals of lessons, and whether a pupil has reached them."""

from __future__ import annotations

from collections.abc import Sequence

from pianolab.classroom.lessons import TURN, Goal, load_lessons
from pianolab.classroom.measures import sensitivity_of, share_of, threshold_of
from pianolab.model import Answer
from pianolab.report.class_page import PlainTable, Section


def goals(own: Sequence[Answer]) -> list[Section]:
    """The goals of the lessons that were held, and whether they are reached."""
    held = {a.lesson.partition(TURN)[0] for a in own}
    rows = tuple(
        (lesson.id, lesson.goal.words, goal_standing(lesson.goal, own))
        for lesson in load_lessons().values()
        if lesson.id in held and lesson.kinds
    )
    if not rows:
        return []
    table = PlainTable(caption="Goals", header=("lesson", "goal", "where you stand"), rows=rows)
    return [Section(heading="What you set out to hear", tables=(table,))]


def goal_standing(goal: Goal, own: Sequence[Answer]) -> str:
    """Whether one pupil has reached a goal, with the figure; "not known yet" where too little was answered.

    Examples
    --------
    >>> goal_standing(Goal(kind="name the fault", figure="share", value=0.6, words=""), [])
    'not known yet: nothing answered yet'
    """
    about = [a for a in own if a.kind == goal.kind and a.correct is not None]
    if goal.figure == "share":
        found = share_of(sum(bool(a.correct) for a in about), len(about))
        value, said = found.share, found.headline()
    elif goal.figure == "d'":
        told = sensitivity_of(about, kind=goal.kind)
        value, said = told.d_prime, told.headline()
    else:
        fine = threshold_of(about, kind=goal.kind)
        value, said = fine.value, fine.headline()
    if value is None:
        return f"not known yet: {said}"
    reached = value <= goal.value if goal.figure == "threshold" else value >= goal.value
    return f"{'reached' if reached else 'not yet'}: {said}"
