"""Invented instruments to grade: drawings, readings and sounds of known state, and the teacher's reference.

Of each sound stands beside it whether pianolab's own listening hears the state.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from pianolab.checklist import Checklist, Point, load_checklist
from pianolab.classroom.altering import RATE_HZ
from pianolab.classroom.confirm import APART_CENTS, NOT, by_order
from pianolab.classroom.drawings import DRAWN, where_it_is
from pianolab.classroom.drills import CONFIRMED
from pianolab.classroom.sounds import (
    DrillClip,
    Played,
    Samples,
    equally_loud,
    faded,
    listened,
)
from pianolab.errors import BadInput
from pianolab.html import templates
from pianolab.show import Row, Showable
from pianolab.sound_model import KeyFault, PianoModel, render_note
from pianolab.sound_model.amounts import PLAIN

UNISON_CENTS: dict[int, tuple[float, ...]] = {
    5: (),
    4: (1.4, 1.4),
    3: (3.0, 3.0, 3.0),
    2: (7.0, 7.0, 7.0, 3.5),
    1: (20.0, 20.0, 20.0, 14.0),
}
"""How far the strings of some of the four notes are apart, by grade [practice]; the others stand still."""

CALM_CENTS = 0.15
ONLY_STRINGS_BEAT: dict[str, Any] = {
    name: PLAIN[name] for name in ("aftersound_db", "decay_scatter", "partial_scatter_db")
}
"""Movement along the board beats by itself, by up to a cent, and partials that die very unequally hide beats of the
strings: where unisons are the question, what is heard to beat is the strings."""
ONLY_STRINGS_RING = ONLY_STRINGS_BEAT | {name: PLAIN[name] for name in ("thump_db", "body_db")}
"""The board's own answer to the blow lasts as long as a dead note: where sustain is the question it stays out."""
NOTE_S = 3.5
"""So long lasts each note of a sound to grade: long enough to count slowly until it is gone."""

TUNED = "These notes were tuned just before they were played."
SHORT_NOTES = {5: 0, 4: 1, 3: 3, 2: 6, 1: 7}
UNISON_KEYS, TREBLE_KEYS = (40, 44, 47, 52), tuple(range(56, 63))
SOUNDED = ("tuning-unisons", "each-treble")


def sound_of(point: str, grade: int, *, seed: int) -> DrillClip:
    """A few notes of an invented instrument in that state: unisons in the middle, or the singing octaves."""
    model, keys = _instrument(point, grade, seed=seed)
    return equally_loud({"A": (_one_after_another(model, keys, seed), RATE_HZ)})[0]


def confirm_sound(point: str, grade: int, *, seed: int) -> str:
    """Confirmed where the listening puts the very notes into the same state; else what it hears instead."""
    model, keys = _instrument(point, grade, seed=seed)
    if point == "tuning-unisons":
        return _confirm_unisons(
            model, {k: float(_heard(model, k, seed).row(k)["unison_cents"]) for k in keys}
        )
    heard, sound = (_heard_together(m, keys, seed) for m in (model, replace(model, faults=())))
    short = {k for k in keys if by_order("short_sustain", heard, sound, k) == CONFIRMED}
    if short == {fault.key for fault in model.faults}:
        return CONFIRMED
    return f"{NOT}: {len(short)} of {len(keys)} notes are heard to be short"


def _confirm_unisons(model: PianoModel, measured: dict[int, float]) -> str:
    apart = {fault.key: fault.amount or 0.0 for fault in model.faults}
    off = {k: abs(cents - apart.get(k, 0.0)) for k, cents in measured.items()}
    if all(off[k] < max(APART_CENTS, 0.15 * apart.get(k, 0.0)) for k in measured):
        return CONFIRMED
    return f"{NOT}: strings {', '.join(f'{c:.1f}' for c in measured.values())} cents apart are heard"


def _instrument(point: str, grade: int, *, seed: int) -> tuple[PianoModel, tuple[int, ...]]:
    rng = np.random.default_rng(seed)
    if point == "tuning-unisons":
        sour = rng.permutation(UNISON_KEYS)[: len(UNISON_CENTS[grade])]
        amounts = np.array(UNISON_CENTS[grade]) * rng.uniform(0.9, 1.1, len(sour))
        apart = tuple(
            KeyFault(key=int(k), kind="unison", amount=float(a)) for k, a in zip(sour, amounts, strict=True)
        )
        still = PianoModel(seed=seed, kind="grand", unison_spread_cents=CALM_CENTS, **ONLY_STRINGS_BEAT)
        return replace(still, faults=apart), UNISON_KEYS
    short = rng.choice(TREBLE_KEYS, SHORT_NOTES[grade], replace=False)
    left = 0.2 if grade == 1 else 0.35
    faults = tuple(KeyFault(key=int(k), kind="short_sustain", amount=left) for k in short)
    return PianoModel(
        seed=seed, kind="grand", unison_spread_cents=0.3, faults=faults, **ONLY_STRINGS_RING
    ), TREBLE_KEYS


def _note(model: PianoModel, key: int, seed: int) -> Samples:
    note = render_note(model, key, seconds=NOTE_S, hold_s=NOTE_S - 0.5, rate_hz=RATE_HZ, seed=seed)
    return np.asarray(note, np.float32)


def _one_after_another(model: PianoModel, keys: tuple[int, ...], seed: int) -> Samples:
    return np.concatenate([faded(_note(model, k, seed), rate_hz=RATE_HZ) for k in keys])


def _heard_together(model: PianoModel, keys: tuple[int, ...], seed: int) -> Played:
    """Neighbouring keys as the pupil hears them: which key is which is surer than of each alone."""
    whole = _one_after_another(model, keys, seed)
    return listened(whole, keys[0], last_key=keys[-1], rate_hz=RATE_HZ, seed=seed)


def _heard(model: PianoModel, key: int, seed: int) -> Played:
    return listened(_note(model, key, seed), key, rate_hz=RATE_HZ, seed=seed)


GRADED_POINTS = (*DRAWN, *SOUNDED)
"""The checklist's points that can be shown by a drawing, a reading or a sound."""

NAMES = (
    "the one in the hall",
    "the one by the stove",
    "the one from the school",
    "the one under the stairs",
    "the one with the candle holders",
    "the one in the garage",
    "the one of the choir",
    "the one with the new lid",
)


GRADE_KEYS = ["5", "4", "3", "2", "1", "0"]
"""The key of a grade is its number; 0 is for what can't be judged."""

NOT_JUDGEABLE = "not judgeable in this state"
"""What one may answer in place of a grade: where something else has to be done first, or too little is seen or heard."""


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
    basis: str = ""
    made_from: str = "an invented instrument"

    @property
    def confirmed(self) -> str:
        """How the state is known: ``basis`` where it is given, "drawn" for what pianolab drew, and for a sound that it
        made whether its own listening hears it too."""
        if self.basis:
            return self.basis
        if self.clip is None:
            return "drawn"
        if not self.sound_seed:
            return f"{NOT}: nobody has measured this sound"
        return confirm_sound(self.point.id, self.reference, seed=self.sound_seed)

    @property
    def task(self) -> str:
        """Name of the task in a pupil's answers."""
        return f"{self.instrument}"

    def headline(self) -> str:
        return f"{self.instrument}: {self.point.title}"

    @property
    def question(self) -> str:
        """What is asked of it, with the reading where there is one."""
        return " ".join(part for part in (f"{self.headline()}.", self.point.how, self.reading) if part)

    @property
    def choices(self) -> tuple[str, ...]:
        """The sentences of the scale, the best first, and that it can't be judged."""
        return *self.point.anchors, NOT_JUDGEABLE

    def as_task(self) -> dict[str, Any]:
        """What a player shows of it."""
        return {
            "question": self.question,
            "choices": list(self.choices),
            "clips": [self.clip.label] if self.clip else [],
            "made_from": self.made_from,
            "keys": GRADE_KEYS,
            "picture": self.drawing,
            "closing": "",
        }

    def rows(self) -> list[Row]:
        return [(self.instrument, self.point.title, self.reading or "none")]

    def to_html(self) -> str:
        """What a pupil sees: where it is, the drawing, the reading, and the scale in sentences."""
        return templates("pianolab.classroom").get_template("exhibit.html.j2").render(exhibit=self)

    def _repr_html_(self) -> str:
        return self.to_html()


def make_exhibits(
    *,
    seed: int,
    instruments: int = 5,
    points: Sequence[str] = GRADED_POINTS,
    checklist: Checklist | None = None,
) -> tuple[Exhibit, ...]:
    """Invented instruments, every one with every point; a grade comes not at all, once or twice at each.

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
        # Ten grades of which some are left over: who has seen four of five can't tell the last.
        grades = rng.permutation(np.tile(np.arange(1, 6), 2))[:instruments]
        for which in range(instruments):
            own = np.random.default_rng([seed, number, which])
            kind = ("upright", "grand")[which % 2]
            made.append(_exhibit(NAMES[which], kind, known[point], int(grades[which]), own))
    return tuple(sorted(made, key=lambda e: NAMES.index(e.instrument)))


def example_exhibit(point: str, grade: int, *, seed: int) -> Exhibit:
    """One point of an instrument that no set holds, in a known state: to show with its grade.

    Examples
    --------
    >>> example_exhibit("keys-level", 4, seed=1).reference
    4
    """
    rng = np.random.default_rng([seed, GRADED_POINTS.index(point), grade])
    return _exhibit("an example", "upright", load_checklist()[point], grade, rng)


def _exhibit(name: str, kind: str, point: Point, grade: int, rng: np.random.Generator) -> Exhibit:
    drawing, reading, clip, seed = "", "", None, 0
    if point.id in DRAWN:
        drawing, reading = DRAWN[point.id](grade, rng)
    else:
        seed = int(rng.integers(1, 2**31))
        clip = sound_of(point.id, grade, seed=seed)
        reading = TUNED if point.id == "each-treble" else ""
    return Exhibit(
        instrument=name,
        kind=kind,
        point=point,
        drawing=drawing,
        where=where_it_is(kind, point.area),
        reading=reading,
        clip=clip,
        reference=grade,
        sound_seed=seed,
    )
