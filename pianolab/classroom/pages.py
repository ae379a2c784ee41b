"""What a class has learnt, as pages: one for the class, one for each pupil; and how it is said in sentences."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from pianolab.classroom.answer_ids import GRADE, letters_for
from pianolab.classroom.drills import CONFIRMED
from pianolab.classroom.feedback import FAULT_NAMES
from pianolab.classroom.grading import ClassView, class_view
from pianolab.classroom.interval_chart import SHARE_TICKS, Line, interval_chart
from pianolab.classroom.lessons import exhibits_of
from pianolab.classroom.progress_page import (
    before_and_after,
    goals,
    in_order,
    over_time,
    share_section,
    thresholds,
    yes_no,
)
from pianolab.classroom.psychometrics import share_of, shares_by_fault, shares_by_kind
from pianolab.classroom.talking import talk_sections
from pianolab.errors import BadInput
from pianolab.files import check_outputs
from pianolab.model import Answer
from pianolab.report import write_page
from pianolab.report.class_page import PlainTable, Section, SvgDrawing, class_page

if TYPE_CHECKING:
    from pianolab.classroom.exhibits import Exhibit
    from pianolab.classroom.folder import SchoolClass


def write_class_page(
    school: SchoolClass,
    path: str | Path,
    *,
    exhibits: Sequence[Exhibit] | None = None,
    names: bool = False,
    replace: bool = False,
) -> Path:
    """The class's page as one HTML file, from all that was gathered.

    Parameters
    ----------
    school : the class
    path : where to write it
    exhibits : what was graded, with the teacher's reference; None takes those of the lessons that come with pianolab
    names : whether pupils stand there by name; else by letters that tell nobody who is who, not even by their order
    replace : whether a file that is there may be replaced

    Raises
    ------
    BadInput : nobody has answered yet, or a file of that name is there
    """
    check_outputs(Path(path), inputs=school.own_files(), replace=replace)
    answers = school.answers()
    if not answers:
        raise BadInput(school.name, "no answers", "answers of one pupil at least", "Gather them first?")
    if exhibits is None:
        exhibits = exhibits_of(school, (a.lesson for a in answers if a.kind == GRADE))
    doubtful = [a for a, why in school.left_out() if why == "changed by hand"]
    if not names:
        letters = letters_for({a.pupil for a in (*answers, *doubtful)}, class_id=school.id)
        answers = tuple(dataclasses.replace(a, pupil=letters[a.pupil]) for a in answers)
        doubtful = [dataclasses.replace(a, pupil=letters[a.pupil]) for a in doubtful]
    sections = class_sections(answers, exhibits=exhibits)
    if doubtful:
        sections.append(_left_out(doubtful))
    html = class_page(f"Class {school.name}", sections, lead=_lead(answers))
    return write_page(path, html, replace=replace, inputs=school.own_files())


def write_progress_page(school: SchoolClass, pupil: str, path: str | Path, *, replace: bool = False) -> Path:
    """One pupil's progress as one HTML file.

    Parameters
    ----------
    pupil : name or number
    school, path, replace : as in `write_class_page`

    Returns
    -------
    Path, that of the file

    Raises
    ------
    BadInput : this pupil has not answered anything, or a file of that name is there and not ``replace``
    """
    own = [a for a in school.answers() if a.pupil == pupil]
    if not own:
        raise BadInput(
            "pupil",
            repr(pupil),
            "one of " + (", ".join(school.pupils()) or "nobody yet"),
            "Not gathered yet?",
        )
    shown = exhibits_of(school, (a.lesson for a in own if a.kind == GRADE))
    references = {(e.lesson, e.instrument, e.point.id): e.reference for e in shown}
    sections = [*goals(own, references), *pupil_sections(own), *_own_strictness(school, pupil)]
    html = class_page(f"{pupil}: what you hear by now", sections, lead=_lead(own))
    return write_page(path, html, replace=replace, inputs=school.own_files())


def _lead(answers: Sequence[Answer]) -> str:
    pupils = len({a.pupil for a in answers})
    days = sorted({a.at.date() for a in answers if a.at is not None})
    when = f", {days[0]} to {days[-1]}" if len(days) > 1 else f", {days[0]}" if days else ""
    return f"{len(answers)} answers by {pupils} pupil{'s' if pupils > 1 else ''}{when}. Bars are 95 % intervals: the fewer answers, the wider."


def class_sections(answers: Sequence[Answer], *, exhibits: Sequence[Exhibit] = ()) -> list[Section]:
    """Parts of the class's page, as plain data."""
    drills = [a for a in answers if a.correct is not None]
    sections = []
    if drills:
        sections += [
            _by_pupil(drills),
            _by_kind(drills),
            _by_fault(drills),
            yes_no(answers),
            thresholds(answers),
            *before_and_after(answers),
            *over_time(answers),
        ]
        sections += talk_sections(answers)
    if exhibits and any(a.kind == GRADE for a in answers):
        sections += _grading(answers, exhibits)
    unconfirmed = [a for a in drills if a.confirmed != CONFIRMED]
    sections.append(_how(drills, unconfirmed))
    return [s for s in sections if s.tables or s.paragraphs]


def pupil_sections(answers: Sequence[Answer]) -> list[Section]:
    """Parts of one pupil's page, as plain data."""
    drills = [a for a in answers if a.correct is not None]
    sections = (
        [
            *before_and_after(answers),
            *over_time(answers),
            _by_kind(drills),
            _by_fault(drills),
            yes_no(answers),
            thresholds(answers),
        ]
        if drills
        else []
    )
    graded = sum(a.kind == GRADE for a in answers)
    if graded:
        sections.append(
            Section(
                heading="Grading",
                paragraphs=(
                    f"You graded {graded} exhibits. How the others graded them you talk about in class.",
                ),
            )
        )
    return [s for s in sections if s.tables or s.paragraphs]


def _own_strictness(school: SchoolClass, pupil: str) -> list[Section]:
    """How one pupil grades beside the class, for their own eyes; nothing where too few have graded."""
    graded = [a for a in school.answers() if a.kind == GRADE]
    exhibits = exhibits_of(school, (a.lesson for a in graded))
    graded = [a for a in graded if a.lesson in {e.lesson for e in exhibits}]
    if pupil not in {a.pupil for a in graded} or len({a.pupil for a in graded}) < 2:
        return []
    own = next(p for p in class_view(graded, exhibits).pupils if p.pupil == pupil)
    line = Line(
        label="you", value=own.shift, low=own.low, high=own.high, words=own.words, stands_out=own.stands_out
    )
    chart = SvgDrawing(
        svg=interval_chart(
            [line], low=-2.0, high=2.0, ticks=(-2, -1, 0, 1, 2), unit="grades beside the class", mark_at=0
        ),
        words="Strict to the left, mild to the right of the class.",
    )
    said = (
        f"Beside the class you are {own.words}: {own.shift:+z.2f} grades ({own.low:+z.2f} to {own.high:+z.2f}).",
        f"Your grade was the teacher's in {own.as_teacher.headline().replace(' right', '')}.",
        "Strict is no fault and mild is no virtue. This page is yours; the class's page shows it under no name.",
    )
    return [Section(heading="Strict or mild", paragraphs=said, drawings=(chart,))]


def _by_pupil(drills: Sequence[Answer]) -> Section:
    shares = {}
    for pupil in in_order(a.pupil for a in drills):
        told = [bool(a.correct) for a in drills if a.pupil == pupil]
        shares[pupil] = share_of(sum(told), len(told))
    return share_section(
        "Who hears how much",
        shares,
        what="pupil",
        said=(
            "Pupils who had drills of their own had harder ones as they got better: shares then say little, thresholds more.",
        ),
    )


def _by_kind(drills: Sequence[Answer]) -> Section:
    return share_section("By kind of task", shares_by_kind(drills), what="task")


def _by_fault(drills: Sequence[Answer]) -> Section:
    found = {FAULT_NAMES.get(k, k): s for k, s in shares_by_fault(drills).items()}
    return share_section(
        "What is heard and what is missed",
        dict(sorted(found.items(), key=lambda x: x[1].share or 0.0)),
        what="fault",
    )


def _grading(answers: Sequence[Answer], exhibits: Sequence[Exhibit]) -> list[Section]:
    if len({a.pupil for a in answers if a.kind == GRADE}) < 2:
        return [
            Section(
                heading="Grading alike", paragraphs=("Only one pupil has graded: agreement is not known.",)
            )
        ]
    view = class_view(answers, exhibits)
    return [_alike(view, exhibits), _strict(view), _words(view, exhibits)]


def _alike(view: ClassView, exhibits: Sequence[Exhibit]) -> Section:
    titles = {e.point.id: e.point.title for e in exhibits}
    named = {"All together": view.agreement, **{titles[p]: a for p, a in view.per_point.items()}}
    lines = [
        Line(
            label=n,
            value=a.alpha,
            low=a.low,
            high=a.high,
            words="not known" if a.alpha is None else f"{a.alpha:.2f}",
        )
        for n, a in named.items()
    ]
    rows = tuple(
        (
            n,
            "not known" if a.alpha is None else f"{a.alpha:.2f}",
            a.why_unknown or f"{a.low:.2f} to {a.high:.2f}",
            a.units,
        )
        for n, a in named.items()
    )
    chart = SvgDrawing(
        svg=interval_chart(lines, low=0.0, high=1.0, ticks=SHARE_TICKS, unit="Krippendorff's alpha"),
        words="Agreement of the class on each point: 1 is all alike, 0 as by chance.",
    )
    table = PlainTable(
        folded=True, caption="Agreement, in numbers", header=("point", "alpha", "95 %", "exhibits"), rows=rows
    )
    return Section(
        heading="Grading alike", paragraphs=(view.headline() + ".",), drawings=(chart,), tables=(table,)
    )


def _strict(view: ClassView) -> Section:
    lines = [
        Line(label=p.pupil, value=p.shift, low=p.low, high=p.high, words=p.words, stands_out=p.stands_out)
        for p in sorted(view.pupils, key=lambda p: p.shift)
    ]
    rows = tuple(
        (
            p.pupil,
            f"{p.shift:+z.2f}",
            f"{p.low:+z.2f} to {p.high:+z.2f}",
            p.words,
            f"{p.scatter:.2f}",
            p.as_teacher.headline(),
        )
        for p in sorted(view.pupils, key=lambda p: p.shift)
    )
    chart = SvgDrawing(
        svg=interval_chart(
            lines, low=-2.0, high=2.0, ticks=(-2, -1, 0, 1, 2), unit="grades beside the class", mark_at=0
        ),
        words="Strict to the left, mild to the right; squares surely differ from the class.",
    )
    table = PlainTable(
        folded=True,
        caption="Pupils' grades",
        header=("pupil", "beside the class", "95 %", "in words", "scatter", "as the teacher"),
        rows=rows,
    )
    said = "Strict is no fault and mild is no virtue: what counts is to know it of oneself. Scatter says how far one's grades lie about one's own line."
    return Section(heading="Strict and mild", paragraphs=(said,), drawings=(chart,), tables=(table,))


def _words(view: ClassView, exhibits: Sequence[Exhibit]) -> Section:
    titles = {e.point.id: e.point.title for e in exhibits}
    if not view.misread:
        return Section(
            heading="Where the words mislead",
            paragraphs=(
                "No sentence was read otherwise than the teacher reads it, as far as these grades tell.",
            ),
        )
    rows = tuple(
        (
            titles[m.point],
            m.meant,
            m.chosen,
            f"{m.reference}",
            f"{m.read_as:.1f} ({m.low:.1f} to {m.high:.1f})",
        )
        for m in view.misread
    )
    table = PlainTable(
        caption="Sentences read otherwise",
        header=("point", "the teacher chose", "the class chose", "teacher", "class"),
        rows=rows,
    )
    return Section(
        heading="Where the words mislead",
        paragraphs=("Talk about these sentences, or write them anew in a checklist of your own.",),
        tables=(table,),
    )


def _left_out(answers: Sequence[Answer]) -> Section:
    rows = tuple((a.pupil, a.lesson, a.task, a.given) for a in answers)
    said = "These answers were changed after they were given, or belong to another pupil; they are counted nowhere."
    table = PlainTable(caption="Not counted", header=("pupil", "lesson", "task", "answer"), rows=rows)
    return Section(heading="What does not count", paragraphs=(said,), tables=(table,))


def _how(drills: Sequence[Answer], unconfirmed: Sequence[Answer]) -> Section:
    said = [
        'Answers are kept under a first name or a number, on the machines of this class only. A pupil\'s answers can be removed for good: remove("name").'
    ]
    if drills:
        said.append(
            f"The truth of {len(drills) - len(unconfirmed)} of {len(drills)} answered drills was confirmed by pianolab's own listening; of the others it is known only because it was put there."
        )
    return Section(heading="How this was made", paragraphs=tuple(said))
