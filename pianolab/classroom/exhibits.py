"""Invented instruments to grade: drawings, readings and sounds of known state, and the teacher's reference."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from html import escape

import numpy as np

from pianolab.checklist import Checklist, Point, load_checklist
from pianolab.classroom.drawings import DRAWN, where_it_is
from pianolab.classroom.sounds import HOLD_S, RATE_HZ, DrillClip, Samples, equally_loud, faded
from pianolab.errors import BadInput
from pianolab.show import Row, Showable
from pianolab.sound_model import KeyFault, PianoModel, render_note

UNISON_CENTS = {5: 0.3, 4: 1.3, 3: 3.0, 2: 7.0, 1: 20.0}
SHORT_NOTES = {5: 0, 4: 1, 3: 3, 2: 6, 1: 7}
TREBLE_KEYS = tuple(range(56, 63))
SOUNDED = ("tuning-unisons", "each-treble")
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
    drawing, reading, clip = "", "", None
    if point.id in DRAWN:
        drawing, reading = DRAWN[point.id](grade, rng)
    else:
        clip = sound_of(point.id, grade, seed=int(rng.integers(1, 2**31)))
    return Exhibit(
        instrument=name, kind=kind, point=point, drawing=drawing, where=where_it_is(kind, point.area), reading=reading, clip=clip,
        reference=grade,
    )  # fmt: skip


def sound_of(point: str, grade: int, *, seed: int) -> DrillClip:
    """A few notes of an invented instrument in that state: unisons in the middle, or the singing octaves."""
    if point == "tuning-unisons":
        spread = UNISON_CENTS[grade]
        model = PianoModel(seed=seed, kind="grand", unison_spread_cents=spread)
        keys: tuple[int, ...] = (40, 44, 47, 52)
    else:
        short = np.random.default_rng(seed).choice(TREBLE_KEYS, SHORT_NOTES[grade], replace=False)
        left = 0.15 if grade == 1 else 0.35
        faults = tuple(KeyFault(key=int(k), kind="short_sustain", amount=left) for k in short)
        model = PianoModel(seed=seed, kind="grand", unison_spread_cents=0.3, faults=faults)
        keys = TREBLE_KEYS
    notes = [
        render_note(model, k, seconds=HOLD_S, hold_s=HOLD_S - 0.5, rate_hz=RATE_HZ, seed=seed) for k in keys
    ]
    whole: Samples = np.concatenate([faded(n, rate_hz=RATE_HZ) for n in notes])
    return equally_loud({"A": (whole, RATE_HZ)})[0]
