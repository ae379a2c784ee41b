"""Invented instruments to grade: drawings, readings and sounds of known state, and the teacher's reference."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from html import escape

import numpy as np

from pianolab.checklist import Checklist, Point, load_checklist
from pianolab.classroom.drawings import DRAWN, where_it_is
from pianolab.classroom.exhibit_sounds import SOUNDED, confirm_sound, sound_of
from pianolab.classroom.sounds import DrillClip
from pianolab.errors import BadInput
from pianolab.show import Row, Showable

GRADED_POINTS = (*DRAWN, *SOUNDED)
"""The checklist's points that can be shown by a drawing, a reading or a sound."""

NAMES = (
    "the one in the hall", "the one by the stove", "the one from the school", "the one under the stairs", "the one with the candle holders",
    "the one in the garage", "the one of the choir", "the one with the new lid",
)  # fmt: skip


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Exhibit(Showable):
    """One point of one invented instrument; ``reference`` is the teacher's grade and is shown to nobody else.

    ``lesson``: grades of this lesson only are about it; empty for those of any.
    """

    header = ("instrument", "point", "reading")

    instrument: str
    kind: str
    point: Point
    drawing: str
    where: str
    reading: str
    clip: DrillClip | None = None
    reference: int = field(default=5)
    lesson: str = ""
    sound_seed: int = 0

    @property
    def confirmed(self) -> str:
        """How pianolab knows the state: "drawn" for what is seen, for a sound whether its own listening hears it too."""
        return confirm_sound(self.point.id, self.reference, seed=self.sound_seed) if self.clip else "drawn"

    @property
    def task(self) -> str:
        """Name of the task in a pupil's answers."""
        return f"{self.instrument}"

    def headline(self) -> str:
        return f"{self.instrument}: {self.point.title}"

    def rows(self) -> list[Row]:
        return [(self.instrument, self.point.title, self.reading or "none")]

    def to_html(self) -> str:
        """What a pupil sees: where it is, the drawing, the reading, and the scale in sentences."""
        scale = "".join(
            f"<li value='{5 - n}'>{escape(text)}</li>" for n, text in enumerate(self.point.anchors)
        )
        listen = "<p>Listen to the sound.</p>" if self.clip else ""
        reading = f"<p>{escape(self.reading)}</p>" if self.reading else ""
        return (
            f"<section><h3>{escape(self.headline())}</h3><p>{escape(self.point.how)}</p>"
            f"<div>{self.where}{self.drawing}</div>{listen}{reading}<ol reversed>{scale}</ol></section>"
        )

    def _repr_html_(self) -> str:
        return self.to_html()


def make_exhibits(
    *,
    seed: int,
    instruments: int = 5,
    points: Sequence[str] = GRADED_POINTS,
    checklist: Checklist | None = None,
) -> tuple[Exhibit, ...]:
    """Invented instruments, every one with every point, all grades about equally often.

    Parameters
    ----------
    seed : the same seed gives the same instruments on every machine
    instruments : 2 to 8
    points : ids of `GRADED_POINTS`

    Raises
    ------
    BadInput : a point that can't be shown, or too few or many instruments

    Examples
    --------
    >>> exhibits = make_exhibits(seed=3, instruments=2, points=["keys-level"])
    >>> [e.headline() for e in exhibits]
    ['the one in the hall: Level of the keys', 'the one by the stove: Level of the keys']
    """
    if not 2 <= instruments <= len(NAMES):
        raise BadInput("instruments", instruments, f"2 to {len(NAMES)}")
    if seed < 0:
        raise BadInput("seed", seed, "a whole number from 0 on")
    if unknown := [p for p in points if p not in GRADED_POINTS]:
        raise BadInput(
            "points", ", ".join(unknown), "of " + ", ".join(GRADED_POINTS), "Others can't be drawn or heard."
        )
    known = checklist or load_checklist()
    made = []
    for number, point in enumerate(points):
        rng = np.random.default_rng([seed, number])
        grades = rng.permutation(np.resize(rng.permutation(np.arange(1, 6)), instruments))
        for which in range(instruments):
            own = np.random.default_rng([seed, number, which])
            kind = ("upright", "grand")[which % 2]
            made.append(_exhibit(NAMES[which], kind, known[point], int(grades[which]), own))
    return tuple(sorted(made, key=lambda e: NAMES.index(e.instrument)))


def _exhibit(name: str, kind: str, point: Point, grade: int, rng: np.random.Generator) -> Exhibit:
    drawing, reading, clip, seed = "", "", None, 0
    if point.id in DRAWN:
        drawing, reading = DRAWN[point.id](grade, rng)
    else:
        seed = int(rng.integers(1, 2**31))
        clip = sound_of(point.id, grade, seed=seed)
    return Exhibit(
        instrument=name, kind=kind, point=point, drawing=drawing, where=where_it_is(kind, point.area), reading=reading, clip=clip,
        reference=grade, sound_seed=seed,
    )  # fmt: skip
