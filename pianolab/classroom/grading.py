"""How alike a class grades: agreement, strict and mild pupils, where a scale's words mislead, against the teacher."""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from scipy.stats import t as student

from pianolab.assess.agreement import Agreement, agreement
from pianolab.classroom.answer_ids import GRADE
from pianolab.classroom.psychometrics import Share, share_of
from pianolab.classroom.strictness import FittedGrades, fit_grades
from pianolab.errors import BadInput
from pianolab.model import Answer
from pianolab.show import Row, Showable

if TYPE_CHECKING:
    from pianolab.classroom.exhibits import Exhibit

LEAST_GRADES = 6
"""So many grades of one sentence are needed before its words are blamed."""

Unit = tuple[str, str]
"""An exhibit: instrument and checklist point."""

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class PupilGrading:
    """One pupil beside the class (``shift``: below 0 strict, above 0 mild) and beside the teacher."""

    pupil: str
    shift: float
    low: float
    high: float
    scatter: float
    scatter_low: float
    scatter_high: float
    as_teacher: Share

    @property
    def stands_out(self) -> bool:
        """Whether this pupil is strict or mild as far as can be told."""
        return self.high < 0.0 or self.low > 0.0

    @property
    def words(self) -> str:
        """Strict, mild, or neither as far as can be told."""
        if self.high < 0.0:
            return "strict"
        return "mild" if self.low > 0.0 else "neither, as far as can be told"


@dataclass(frozen=True, kw_only=True)
class Misread:
    """A sentence of a scale that the class reads otherwise than the teacher."""

    point: str
    reference: int
    read_as: float
    low: float
    high: float
    meant: str
    chosen: str


@dataclass(frozen=True, kw_only=True, repr=False)
class ClassView(Showable):
    """The class's grades seen together."""

    header = ("pupil", "beside the class", "95 %", "scatter", "as the teacher")

    agreement: Agreement
    per_point: dict[str, Agreement]
    pupils: tuple[PupilGrading, ...]
    misread: tuple[Misread, ...]
    against_teacher: float

    def headline(self) -> str:
        side = "milder" if self.against_teacher > 0 else "stricter"
        return f"{len(self.pupils)} pupils; {_alpha_words(self.agreement)}; on average {abs(self.against_teacher):.2f} grades {side} than the teacher"

    def rows(self) -> list[Row]:
        return [
            (
                p.pupil,
                f"{p.shift:+z.2f} ({p.words})",
                f"{p.low:+z.2f} to {p.high:+z.2f}",
                f"{p.scatter:.2f}",
                p.as_teacher.headline(),
            )
            for p in self.pupils
        ]


def agreement_of(units: Sequence[Unit], table: FloatArray, *, what: str) -> Agreement:
    """Agreement of pupils about some exhibits [krippendorff2011]; exhibits of one instrument are resampled together.

    Parameters
    ----------
    units : the exhibits, one per column
    table : array, shape (pupils, exhibits); NaN where nobody graded
    what : its name

    Examples
    --------
    >>> units = [(name, "keys-level") for name in "abcde"]
    >>> agreement_of(units, np.array([[1, 2, 3, 4, 5.0], [1, 2, 3, 4, 5]]), what="Level of the keys").alpha
    1.0
    """
    judged: dict[Hashable, dict[str, int]] = {
        unit: {str(n): int(g) for n, g in enumerate(column) if np.isfinite(g)}
        for unit, column in zip(units, np.asarray(table, float).T, strict=True)
    }
    return agreement(judged, what=what, together={u: u[0] for u in units})


def _unit(lesson: str, instrument: str, point: str) -> Unit:
    return (f"{lesson}: {instrument}" if lesson else instrument, point)


def grade_table(
    answers: Iterable[Answer], *, by_lesson: bool = False
) -> tuple[tuple[str, ...], tuple[Unit, ...], FloatArray]:
    """Pupils, exhibits, and their table of grades, shape (pupils, exhibits); the latest grade of each counts.

    With ``by_lesson`` instruments of one name in two lessons are two.
    """
    latest: dict[tuple[str, Unit], int] = {}
    for answer in answers:
        if answer.kind == GRADE and answer.grade is not None:
            unit = _unit(answer.lesson if by_lesson else "", answer.task, answer.item)
            latest[answer.pupil, unit] = answer.grade
    pupils = tuple(dict.fromkeys(p for p, _ in latest))
    units = tuple(sorted({u for _, u in latest}))
    table = np.full((len(pupils), len(units)), np.nan)
    for (pupil, unit), grade in latest.items():
        table[pupils.index(pupil), units.index(unit)] = grade
    return pupils, units, table


def class_view(answers: Iterable[Answer], exhibits: Sequence[Exhibit]) -> ClassView:
    """The whole class's grades: how alike, who is strict, which words mislead.

    Parameters
    ----------
    answers : answers of kind ``grade``; ``task`` names the instrument, ``item`` the point
    exhibits : what was graded, with the teacher's reference; where they name their lesson, grades of other lessons
        are left aside

    Raises
    ------
    BadInput : grades of exhibits that aren't there, or of fewer than two pupils
    """
    by_lesson = bool(exhibits) and all(e.lesson for e in exhibits)
    lessons = {e.lesson for e in exhibits}
    about = [a for a in answers if not by_lesson or a.lesson in lessons]
    pupils, units, table = grade_table(about, by_lesson=by_lesson)
    reference = {
        _unit(e.lesson if by_lesson else "", e.instrument, e.point.id): e.reference for e in exhibits
    }
    if stray := sorted(set(units) - set(reference)):
        raise BadInput(
            "grades",
            f"of {stray[0][0]}, {stray[0][1]}",
            "grades of the exhibits given",
            "Another set of exhibits?",
        )
    if len(pupils) < 2:
        raise BadInput("grades", f"of {len(pupils)} pupils", "two pupils at least")
    fit = fit_grades(table)
    wanted = np.array([reference[u] for u in units], float)
    points = dict.fromkeys(point for _, point in units)
    titles = {e.point.id: e.point.title for e in exhibits}
    sentences = {e.point.id: e.point.anchors for e in exhibits}
    return ClassView(
        agreement=agreement_of(units, table, what="All points together"),
        per_point={p: _at_point(p, units, table, title=titles[p]) for p in points},
        pupils=tuple(_pupil(name, n, fit, table, wanted) for n, name in enumerate(pupils)),
        misread=_misread(units, table, fit, reference=reference, sentences=sentences),
        against_teacher=float(np.nanmean(table - wanted)),
    )


def _at_point(point: str, units: Sequence[Unit], table: FloatArray, *, title: str) -> Agreement:
    columns = [i for i, u in enumerate(units) if u[1] == point]
    return agreement_of([units[i] for i in columns], table[:, columns], what=title)


def _alpha_words(found: Agreement) -> str:
    if found.alpha is None:
        return f"agreement not known: {found.why_unknown}"
    return f"alpha {found.alpha:.2f} ({found.low:.2f} to {found.high:.2f})"


def _pupil(name: str, n: int, fit: FittedGrades, table: FloatArray, wanted: FloatArray) -> PupilGrading:
    low, high = fit.shift_interval()[n]
    given = np.isfinite(table[n])
    alike = int(np.sum(table[n][given] == wanted[given]))
    return PupilGrading(
        pupil=name,
        shift=float(fit.shift[n]),
        low=float(low),
        high=float(high),
        scatter=float(fit.scatter[n]),
        scatter_low=float(fit.scatter_low[n]),
        scatter_high=float(fit.scatter_high[n]),
        as_teacher=share_of(alike, int(given.sum())),
    )


def _misread(
    units: Sequence[Unit],
    table: FloatArray,
    fit: FittedGrades,
    *,
    reference: Mapping[Unit, int],
    sentences: Mapping[str, Sequence[str]],
) -> tuple[Misread, ...]:
    """Sentences that the class, its strictness taken out, puts elsewhere: the interval leaves the half grade around it."""
    found = []
    level = table - fit.shift[:, None]
    for point, grade in sorted({(u[1], reference[u]) for u in units}):
        columns = [i for i, u in enumerate(units) if u[1] == point and reference[u] == grade]
        # One value per pupil: grades of one pupil go together.
        own = np.array([np.nanmean(row) for row in level[:, columns] if np.isfinite(row).any()])
        if own.size < LEAST_GRADES:
            continue
        middle, half = (
            float(own.mean()),
            float(student.ppf(0.975, own.size - 1) * own.std(ddof=1) / np.sqrt(own.size)),
        )
        if middle - half > grade + 0.5 or middle + half < grade - 0.5:
            chosen = int(np.clip(round(middle), 1, 5))
            words = sentences[point]
            found.append(
                Misread(
                    point=point,
                    reference=grade,
                    read_as=middle,
                    low=middle - half,
                    high=middle + half,
                    meant=words[5 - grade],
                    chosen=words[5 - chosen],
                )
            )
    return tuple(found)
