"""Measures of learning: share of right answers, sensitivity and bias, thresholds, each with its interval.

Every measure says from how many answers it comes, and stays unknown where there are too few; nothing is
filled in for tasks that weren't answered.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from math import sqrt
from typing import TypeVar

from scipy.stats import binomtest, norm

from pianolab.classroom.kinds import LEVELS, UNITS
from pianolab.classroom.staircase import Ladder, Threshold
from pianolab.errors import BadInput
from pianolab.model import Answer
from pianolab.show import Row, Showable

Sort = TypeVar("Sort", str, date)

Z95 = float(norm.ppf(0.975))
SQRT_2 = sqrt(2.0)
YES_NO: dict[str, str] = {
    "same or different": "different",
    "which is further out": "A",
    "which dies sooner": "A",
    "which room rings longer": "A",
    "which has the left pedal down": "A",
    "which of two real notes dies sooner": "A",
}
"""Kinds with two answers, and the one that counts as "yes": for d' and bias. Where two sounds are compared and one of
them has it, d' is that of one sound: smaller by the square root of two [macmillan2005]; their bias is towards A.

"Same or different" is taken as one question, whether there is a beating note. A listener who compares the two notes
as equals hears more than this d' says [macmillan2005]; over time and between pupils it compares all the same.
"""

RECENT = 40
"""So many answers tell what a pupil hears at present: older ones are of the past."""


@dataclass(frozen=True, kw_only=True, repr=False)
class Share(Showable):
    """A share of right answers with its 95 % interval; None where nothing was answered."""

    right: int
    answers: int
    share: float | None
    low: float | None
    high: float | None

    def headline(self) -> str:
        if self.share is None:
            return "nothing answered yet"
        return f"{self.right} of {self.answers} right: {self.share:.0%} ({self.low:.0%} to {self.high:.0%})"

    def rows(self) -> list[Row]:
        note = "nothing answered yet" if self.share is None else f"95 %: {self.low:.3f} to {self.high:.3f}"
        return [("share right", self.share, "", note), ("answers", self.answers, "", "")]


def share_of(right: int, answers: int) -> Share:
    """Share of right answers with Wilson's interval [wilson1927].

    Parameters
    ----------
    right : how many answers are right
    answers : how many there are

    Returns
    -------
    Share

    Examples
    --------
    >>> share_of(8, 10)
    <Share 8 of 10 right: 80% (49% to 94%)>
    >>> share_of(0, 0)
    <Share nothing answered yet>
    """
    if not 0 <= right <= answers:
        raise BadInput("right answers", right, f"0 to {answers}")
    if answers == 0:
        return Share(right=0, answers=0, share=None, low=None, high=None)
    interval = binomtest(right, answers).proportion_ci(method="wilson")
    return Share(
        right=right,
        answers=answers,
        share=right / answers,
        low=float(interval.low),
        high=float(interval.high),
    )


@dataclass(frozen=True, kw_only=True, repr=False)
class Sensitivity(Showable):
    """How well two things are told apart (d'), and which answer is given when in doubt (bias c).

    ``bias`` above 0: says "nothing there" when in doubt; below 0: hears faults everywhere.
    """

    d_prime: float | None
    d_low: float | None
    d_high: float | None
    bias: float | None
    bias_low: float | None
    bias_high: float | None
    answers: int
    why_missing: str = ""

    def headline(self) -> str:
        if self.d_prime is None:
            return f"sensitivity not known: {self.why_missing}"
        return f"d' {self.d_prime:z.2f} ({self.d_low:z.2f} to {self.d_high:z.2f}), bias {self.bias:+z.2f}"

    def rows(self) -> list[Row]:
        if self.d_prime is None:
            return [("d'", None, "", self.why_missing)]
        return [
            ("d'", self.d_prime, "", f"95 %: {self.d_low:z.2f} to {self.d_high:z.2f}"),
            ("bias c", self.bias, "", f"95 %: {self.bias_low:+z.2f} to {self.bias_high:+z.2f}"),
        ]


def sensitivity(*, hits: int, signals: int, false_alarms: int, noises: int) -> Sensitivity:
    """d' and bias of a yes/no task, counts made log-linear so that 0 and 1 stay finite [stanislaw1999].

    Parameters
    ----------
    hits, signals : how often "yes" was right, of how many where something was there
    false_alarms, noises : how often "yes" was wrong, of how many where nothing was

    Notes
    -----
    Intervals from the large-sample variance [gourevitch1967]; with few answers they are rough.

    Examples
    --------
    >>> sensitivity(hits=82, signals=100, false_alarms=46, noises=100)
    <Sensitivity d' 1.00 (0.63 to 1.38), bias -0.40>
    """
    if not (0 <= hits <= signals and 0 <= false_alarms <= noises):
        raise BadInput(
            "counts", f"{hits} of {signals}, {false_alarms} of {noises}", "no more answers than tasks"
        )
    if signals == 0 or noises == 0:
        why = "tasks of both sorts are needed, something there and nothing there"
        return Sensitivity(
            d_prime=None,
            d_low=None,
            d_high=None,
            bias=None,
            bias_low=None,
            bias_high=None,
            answers=signals + noises,
            why_missing=why,
        )
    h, f = (hits + 0.5) / (signals + 1.0), (false_alarms + 0.5) / (noises + 1.0)
    z_h, z_f = float(norm.ppf(h)), float(norm.ppf(f))
    variance = sum(
        p * (1.0 - p) / (n * norm.pdf(z) ** 2) for p, n, z in ((h, signals, z_h), (f, noises, z_f))
    )
    half = Z95 * sqrt(variance)
    d, c = z_h - z_f, -0.5 * (z_h + z_f)
    return Sensitivity(
        d_prime=d,
        d_low=d - half,
        d_high=d + half,
        bias=c,
        bias_low=c - 0.5 * half,
        bias_high=c + 0.5 * half,
        answers=signals + noises,
    )


def shares_by_kind(answers: Iterable[Answer]) -> dict[str, Share]:
    """Share right of each kind of task; grades (without right and wrong) are left out.

    Parameters
    ----------
    answers : in any order

    Returns
    -------
    dict of `Share` by kind of task
    """
    return _shares(answers, lambda answer: answer.kind)


def shares_by_fault(answers: Iterable[Answer]) -> dict[str, Share]:
    """Share right by what was to be heard: which fault is still missed.

    Parameters
    ----------
    answers : in any order

    Returns
    -------
    dict of `Share` by fault
    """
    return _shares(answers, lambda answer: answer.item)


def shares_by_day(answers: Iterable[Answer]) -> dict[date, Share]:
    """Share right of each day on which something was answered, in order.

    Parameters
    ----------
    answers : in any order

    Returns
    -------
    dict of `Share` by day
    """
    shares = _shares(answers, lambda answer: answer.at.date() if answer.at is not None else None)
    return {day: shares[day] for day in sorted(shares)}


def _shares(answers: Iterable[Answer], of: Callable[[Answer], Sort | None]) -> dict[Sort, Share]:
    """Share right by what is asked ``of`` each answer; left out where that is nothing or nobody knows what is right."""
    counts: dict[Sort, list[bool]] = {}
    for answer in answers:
        if answer.correct is not None and (sort := of(answer)):
            counts.setdefault(sort, []).append(answer.correct)
    return {sort: share_of(sum(told), len(told)) for sort, told in counts.items()}


def recent(answers: Iterable[Answer], *, kind: str) -> list[Answer]:
    """One pupil's latest answers to tasks of one kind, in order of time."""
    own = [a for a in answers if a.kind == kind and a.correct is not None]
    own.sort(key=lambda a: a.at.timestamp() if a.at is not None else 0.0)
    return own[-RECENT:]


def sensitivity_of(answers: Iterable[Answer], *, kind: str = "same or different") -> Sensitivity:
    """d' and bias of one pupil's latest answers to a yes/no kind of task.

    Parameters
    ----------
    answers : one pupil's, in order
    kind : as in `sensitivities_by_day`

    Returns
    -------
    Sensitivity
    """
    yes = YES_NO[kind]
    own = [a for a in recent(answers, kind=kind) if a.truth]
    signals = [a for a in own if a.truth == yes]
    noises = [a for a in own if a.truth != yes]
    found = sensitivity(
        hits=sum(a.given == yes for a in signals),
        signals=len(signals),
        false_alarms=sum(a.given == yes for a in noises),
        noises=len(noises),
    )
    return found if yes == "different" or found.d_prime is None else _of_one_sound(found)


def _of_one_sound(found: Sensitivity) -> Sensitivity:
    """d' where one of two sounds had it and both were heard."""
    smaller = {name: getattr(found, name) / SQRT_2 for name in ("d_prime", "d_low", "d_high")}
    return replace(found, **smaller)


def threshold_of(answers: Sequence[Answer], *, kind: str) -> Threshold:
    """Threshold of one pupil in cents or dB/s, from the latest answers to tasks of that kind.

    Parameters
    ----------
    answers : one pupil's, in order
    kind : a kind whose difference has a size

    Returns
    -------
    Threshold

    Raises
    ------
    BadInput : a kind whose difference has no size
    """
    ladder = ladder_of(answers, kind=kind)
    return ladder.result({str(k): u for k, u in UNITS.items()}[kind])


def ladder_of(answers: Iterable[Answer], *, kind: str) -> Ladder:
    """The procedure where a pupil's latest answers have left it, so that it goes on another day."""
    levels = {str(k): v for k, v in LEVELS.items()}
    if kind not in levels:
        raise BadInput(
            "kind", repr(kind), "one of " + ", ".join(levels), "Only these have a level of their own."
        )
    ladder = Ladder.start(*levels[kind])
    for answer in recent((a for a in answers if a.level is not None), kind=kind):
        ladder = ladder.answered(answer.level or 0.0, right=bool(answer.correct))
    return ladder


def sensitivities_by_day(
    answers: Sequence[Answer], *, kind: str = "same or different"
) -> dict[date, Sensitivity]:
    """One pupil's d' and bias as they stood at the end of each day on which that kind was asked.

    Parameters
    ----------
    answers : one pupil's, in order
    kind : a kind with two answers, one of which says that there is a difference

    Returns
    -------
    dict of `Sensitivity` by day
    """
    return {day: sensitivity_of(so_far, kind=kind) for day, so_far in _days(answers, kind).items()}


def thresholds_by_day(answers: Sequence[Answer], *, kind: str) -> dict[date, Threshold]:
    """One pupil's threshold as it stood at the end of each day on which that kind was asked.

    Parameters
    ----------
    answers : one pupil's, in order
    kind : a kind whose difference has a size

    Returns
    -------
    dict of `Threshold` by day
    """
    return {day: threshold_of(so_far, kind=kind) for day, so_far in _days(answers, kind).items()}


def _days(answers: Sequence[Answer], kind: str) -> dict[date, list[Answer]]:
    dated = [(a.at.date(), a) for a in answers if a.kind == kind and a.at is not None]
    return {day: [a for at, a in dated if at <= day] for day in sorted({at for at, _ in dated})}
