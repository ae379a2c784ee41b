"""What pupils hear and how that changed: goals, shares of right answers, d' and thresholds as parts of a page."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from math import hypot

from pianolab.classroom.answer_ids import GRADE
from pianolab.classroom.interval_chart import SHARE_TICKS, Line, interval_chart
from pianolab.classroom.kinds import LEVELS
from pianolab.classroom.lessons import TURN, Goal, load_lessons
from pianolab.classroom.psychometrics import (
    YES_NO,
    Sensitivity,
    Share,
    sensitivities_by_day,
    sensitivity_of,
    share_of,
    shares_by_day,
    threshold_of,
    thresholds_by_day,
)
from pianolab.classroom.staircase import Threshold, two_figures
from pianolab.model import Answer
from pianolab.report.class_page import PlainTable, Section, SvgDrawing

TOLD_APART = (
    "d' says how well two notes are told apart, whatever one says when in doubt (0: not at all, 1: fairly, 3: nearly "
    "always). The bias says what one says when in doubt: above 0 “same” or “B”, below 0 “different” or “A”. The latest forty answers count."
)
SMALLEST = "The smallest difference that is heard four times out of five, from the latest forty answers."
WANDERING = (
    "Where each has tasks of their own, these grow finer as the answers get better: the share of right answers may then "
    "stand still while the ear improves, and d' and thresholds show it. Their figures come from the latest forty answers "
    "up to each day."
)


Unit = tuple[str, str, str]
"""What was graded: lesson, instrument, point."""


def goals(own: Sequence[Answer], references: Mapping[Unit, int]) -> list[Section]:
    """The goals of the lessons that one pupil has had, and whether they are reached; ``references`` are the teacher's
    grades."""
    held = {a.lesson.partition(TURN)[0] for a in own}
    rows = tuple(
        (lesson.id, lesson.goal.words, goal_standing(lesson.goal, latest_turn(own, lesson.id), references))
        for lesson in load_lessons().values()
        if lesson.id in held
    )
    if not rows:
        return []
    table = PlainTable(caption="Goals", header=("lesson", "goal", "where you stand"), rows=rows)
    return [Section(heading="What you set out to hear and to see", tables=(table,))]


def latest_turn(answers: Sequence[Answer], lesson: str) -> list[Answer]:
    """Answers of a lesson as it was held last; those of earlier turns say what was, not what is."""
    turns = {_turn(a.lesson) for a in answers if a.lesson.partition(TURN)[0] == lesson}
    label = lesson if max(turns, default=1) == 1 else f"{lesson}{TURN}{max(turns)}"
    return [a for a in answers if a.lesson == label]


def _turn(label: str) -> int:
    turn = label.partition(TURN)[2]
    return int(turn) if turn.isdecimal() else 1


def goal_standing(goal: Goal, own: Sequence[Answer], references: Mapping[Unit, int] | None = None) -> str:
    """Whether one pupil has reached a goal, with the figure; "not known yet" where too little was answered.

    Examples
    --------
    >>> goal_standing(Goal(kind="name the fault", figure="share", value=0.6, words=""), [])
    'not known yet: nothing answered yet'
    """
    about = [a for a in own if a.kind == goal.kind]
    if goal.figure == "share":
        found = share_of(*_right_of(about, references or {}))
        value, said = found.share, found.headline()
    elif goal.figure == "d'":
        told = sensitivity_of(about, kind=goal.kind)
        value, said = told.d_prime, told.why_missing or told.headline()
    else:
        fine = threshold_of(about, kind=goal.kind)
        value, said = fine.value, fine.why_missing or fine.headline()
    if value is None:
        return f"not known yet: {said}"
    reached = value <= goal.value if goal.figure == "threshold" else value >= goal.value
    return f"{'reached' if reached else 'not yet'}: {said}"


def _right_of(about: Sequence[Answer], references: Mapping[Unit, int]) -> tuple[int, int]:
    """How many were right, of how many; a grade is right where it is the teacher's."""
    told = [a.correct for a in about if a.correct is not None]
    told += [
        a.grade == wanted
        for a in about
        if a.kind == GRADE
        and a.grade is not None
        and (wanted := references.get((a.lesson, a.task, a.item))) is not None
    ]
    return sum(bool(t) for t in told), len(told)


UNALTERED = "real notes unaltered"


def before_and_after(answers: Sequence[Answer]) -> list[Section]:
    """What was heard on notes to which nothing was done before the course and after it, for who did both; the interval of
    the difference is Newcombe's, from those of the two shares [newcombe1998]."""
    rows = []
    for pupil in in_order(a.pupil for a in answers if a.lesson == UNALTERED):
        own = [a for a in answers if a.pupil == pupil]
        now = latest_turn(own, UNALTERED)
        if now and now[0].lesson != UNALTERED:
            before, after = (
                share_of(*_right_of(part, {})) for part in ([a for a in own if a.lesson == UNALTERED], now)
            )
            rows.append((pupil, before.headline(), after.headline(), _change(before, after)))
    if not rows:
        return []
    table = PlainTable(
        caption="Notes to which nothing was done",
        header=("pupil", "before", "after", "difference, points in a hundred (95 %)"),
        rows=tuple(rows),
    )
    said = "What a course has taught shows here: nothing was altered, and no task was asked twice. An interval that holds 0 tells no change."
    return [Section(heading="Before the course and after it", paragraphs=(said,), tables=(table,))]


def _change(before: Share, after: Share) -> str:
    """The difference of two shares with its interval.

    Examples
    --------
    >>> _change(share_of(8, 16), share_of(14, 16))
    '+38 (+5 to +61)'
    """
    (p, p_low, p_high), (q, q_low, q_high) = (
        (s.share or 0.0, s.low or 0.0, s.high or 0.0) for s in (before, after)
    )
    low = q - p - hypot(q - q_low, p_high - p)
    high = q - p + hypot(q_high - q, p - p_low)
    return f"{100 * (q - p):+.0f} ({100 * low:+.0f} to {100 * high:+.0f})"


def in_order(pupils: Iterable[str]) -> list[str]:
    """Names by the alphabet, numbers by their size.

    Examples
    --------
    >>> in_order(["10", "Mia", "9", "Mia"])
    ['9', '10', 'Mia']
    """
    return sorted(set(pupils), key=lambda p: (not p.isdecimal(), int(p) if p.isdecimal() else 0, p))


def share_section(
    heading: str,
    shares: dict[str, Share],
    *,
    what: str,
    said: tuple[str, ...] = (),
    chance: float | None = None,
) -> Section:
    """Shares of right answers as a chart and, folded, in numbers; without content where there are none."""
    lines = [
        Line(
            label=name,
            value=s.share,
            low=s.low,
            high=s.high,
            words=f"{s.right} of {s.answers}",
            stands_out=s.high is not None and s.high < 0.75,
        )
        for name, s in shares.items()
    ]
    rows = tuple(
        (n, s.right, s.answers, percent(s.share), f"{percent(s.low)} to {percent(s.high)}")
        for n, s in shares.items()
    )
    if not rows:
        return Section(heading=heading)
    chart = SvgDrawing(
        svg=interval_chart(lines, low=0.0, high=1.0, ticks=SHARE_TICKS, unit="share right", mark_at=chance),
        words=f"{heading}: share of right answers; squares are surely under three quarters.",
    )
    table = PlainTable(
        folded=True,
        caption=f"{heading}, in numbers",
        header=(what, "right", "answers", "share", "95 %"),
        rows=rows,
    )
    return Section(heading=heading, paragraphs=said, drawings=(chart,), tables=(table,))


def percent(value: float | None) -> str:
    """A share in words.

    Examples
    --------
    >>> percent(0.5), percent(None)
    ('50%', 'not known')
    """
    return "not known" if value is None else f"{value:.0%}"


def yes_no(answers: Sequence[Answer]) -> Section:
    """d' and bias of each pupil."""
    rows = tuple(
        (pupil, kind, *_told_apart(sensitivity_of(own, kind=kind)))
        for kind in YES_NO
        for pupil, own in _by_pupil(answers, kind)
    )
    if not rows:
        return Section(heading="Telling apart")
    table = PlainTable(
        caption="Sensitivity and bias",
        header=("pupil", "task", "d'", "95 %", "bias", "95 %"),
        rows=rows,
    )
    return Section(heading="Telling apart", paragraphs=(TOLD_APART,), tables=(table,))


def thresholds(answers: Sequence[Answer]) -> Section:
    """The threshold of each pupil."""
    rows = tuple(
        (pupil, kind, *_threshold(threshold_of(own, kind=kind)))
        for kind in LEVELS
        for pupil, own in _by_pupil(answers, kind)
    )
    if not rows:
        return Section(heading="Thresholds")
    table = PlainTable(
        folded=True,
        caption="Thresholds, in numbers",
        header=("pupil", "task", "threshold", "95 %", "answers"),
        rows=rows,
    )
    return Section(
        heading="Thresholds", paragraphs=(SMALLEST,), drawings=tuple(_by_kind(answers)), tables=(table,)
    )


def _by_kind(answers: Sequence[Answer]) -> list[SvgDrawing]:
    """A chart of all pupils' thresholds for each kind of which one is known; who isn't known stands below."""
    charts = []
    for kind, (_, high) in LEVELS.items():
        found = {pupil: threshold_of(own, kind=kind) for pupil, own in _by_pupil(answers, kind)}
        lines = [_line(pupil, t) for pupil, t in sorted(found.items(), key=lambda x: x[1].value or 1e9)]
        if any(line.value is not None for line in lines):
            svg = interval_chart(
                lines, low=0.0, high=high, ticks=_ticks(high), unit=next(iter(found.values())).unit
            )
            charts.append(
                SvgDrawing(
                    svg=svg,
                    words=f"Smallest difference heard four times out of five, “{kind}”, the finest ear first.",
                )
            )
    return charts


def _line(label: str, t: Threshold) -> Line:
    words = "not known" if t.value is None else f"{two_figures(t.value)} {t.unit}"
    return Line(label=label, value=t.value, low=t.low, high=t.high, words=words)


def _ticks(high: float) -> list[float]:
    return [0.0, high / 4, high / 2, 3 * high / 4, high]


def over_time(answers: Sequence[Answer]) -> list[Section]:
    """Shares, d' and thresholds day by day."""
    shares = {str(day): s for day, s in shares_by_day(answers).items()}
    apart = tuple(
        (pupil, kind, str(day), *_told_apart(s))
        for kind in YES_NO
        for pupil, own in _by_pupil(answers, kind)
        for day, s in sensitivities_by_day(own, kind=kind).items()
    )
    heard = tuple(
        (pupil, kind, str(day), *_threshold(t))
        for kind in LEVELS
        for pupil, own in _by_pupil(answers, kind)
        for day, t in thresholds_by_day(own, kind=kind).items()
    )
    tables = []
    if heard:
        columns = ("threshold", "95 %", "answers")
        tables.append(_by_day("Thresholds, day by day", columns, heard))
    if apart:
        tables.append(_by_day("Sensitivity, day by day", ("d'", "95 %", "bias", "95 %"), apart))
    section = share_section("Day by day", shares, what="day", said=(WANDERING,))
    drawn = _threshold_charts(answers) if len({a.pupil for a in answers}) == 1 else []
    return [replace(section, drawings=(*section.drawings, *drawn), tables=(*section.tables, *tables))]


def _threshold_charts(answers: Sequence[Answer]) -> list[SvgDrawing]:
    """One pupil's thresholds day by day, a chart for each kind of which one is known."""
    charts = []
    for kind, (_, high) in LEVELS.items():
        found = thresholds_by_day(answers, kind=kind)
        lines = [_line(str(day), t) for day, t in found.items()]
        if any(line.value is not None for line in lines):
            unit = next(iter(found.values())).unit
            svg = interval_chart(lines, low=0.0, high=high, ticks=_ticks(high), unit=unit)
            words = f"Smallest difference heard four times out of five, “{kind}”: the further left, the finer the ear."
            charts.append(SvgDrawing(svg=svg, words=words))
    return charts


def _by_day(caption: str, columns: Sequence[str], rows: Sequence[tuple[object, ...]]) -> PlainTable:
    header = ("pupil", "task", "day", *columns)
    return PlainTable(folded=True, caption=caption, header=header, rows=tuple(rows))


def _by_pupil(answers: Sequence[Answer], kind: str) -> list[tuple[str, list[Answer]]]:
    names = in_order(a.pupil for a in answers if a.kind == kind)
    return [(name, [a for a in answers if a.pupil == name and a.kind == kind]) for name in names]


def _told_apart(s: Sensitivity) -> tuple[str, str, str, str]:
    if s.d_prime is None:
        return "not known", s.why_missing, "not known", s.why_missing
    return (
        f"{s.d_prime:z.2f}",
        f"{s.d_low:z.2f} to {s.d_high:z.2f}",
        f"{s.bias:+z.2f}",
        f"{s.bias_low:+z.2f} to {s.bias_high:+z.2f}",
    )


def _threshold(t: Threshold) -> tuple[str, str, int]:
    value = "not known" if t.value is None else f"{two_figures(t.value)} {t.unit}"
    return value, t.why_missing or f"{two_figures(t.low)} to {two_figures(t.high)}", t.answers
