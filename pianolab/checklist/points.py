"""One inspection point as a record, and the checklist as their ordered collection."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Literal, get_args

from pianolab.errors import BadInput
from pianolab.model import Piano
from pianolab.show import Fields, Row, Showable

RecordKind = Literal["grade", "yes_no", "count", "reading"]
Nature = Literal["cosmetic", "functional", "structural", "information"]
Access = Literal["anyone", "ask first", "technician only"]
Need = Literal["needed", "keeps value", "looks"]
"""Why a job is done, the strongest first: for use and safety, so that the instrument lasts, for how it looks."""

NEEDS: tuple[Need, ...] = get_args(Need)
JobKind = Literal["work", "carrying", "settling in"]
"""Work on the instrument, bringing it home, and what every piano takes once it is there."""

OLDER_BEFORE = 1970
"""Built before this year, or in an unknown one, a piano may have what later ones no longer have [practice]."""

KNOWN_FACTS = (
    "grand",
    "upright",
    "older",
    "older grand",
    "older upright",
    "ivory",
    "plastic",
    "celluloid",
    "wood",
    "bone",
    "middle pedal: none",
    "middle pedal: sostenuto",
    "middle pedal: practice felt",
    "middle pedal: bass dampers",
    "middle pedal: unknown",
)
"""What a point's ``applies_to`` may name; one that holds is enough."""

ANY_PIANO = "any"
"""In ``may_lack``: a piano of any kind may be without it."""

VALUE_OF: dict[RecordKind, str] = {
    "grade": "grade",
    "yes_no": "answer",
    "count": "count",
    "reading": "reading",
}
"""Which field of a finding holds the value of each kind of point."""


@dataclass(frozen=True, kw_only=True)
class RepairRule:
    """Which job of the price list a bad value proposes.

    ``at_grade`` holds for grades at or under it; ``on_answer`` for that yes/no answer; ``over`` and
    ``under`` for counts and readings beyond them. ``need`` says why the job is done for this value, where that is
    not as the price list has it; ``count`` how many keys or strings it takes where nobody counted them.
    """

    job: str
    at_grade: int | None = None
    on_answer: bool | None = None
    over: float | None = None
    under: float | None = None
    chance: float = 1.0
    need: Need | None = None
    count: int = 0


@dataclass(frozen=True, kw_only=True)
class VetoRule:
    """When a value stops the purchase until it has been settled; conditions as in `RepairRule`.

    ``confirm_by`` is who can settle it, ``final`` says that nobody can make it good again by looking once more,
    ``severity`` (0 to 1) puts the worst stop first.
    """

    reason: str
    at_grade: int | None = None
    on_answer: bool | None = None
    over: float | None = None
    under: float | None = None
    confirm_by: str = "technician"
    severity: float = 0.8
    final: bool = False


@dataclass(frozen=True, kw_only=True)
class SettledBy:
    """What another point must have shown before the part of a point that no look reaches counts as sound.

    ``on_answer`` holds for that yes/no answer, ``within`` for a reading or count from the first to the second number.
    """

    point: str
    on_answer: bool | None = None
    within: tuple[float, float] | None = None


@dataclass(frozen=True, kw_only=True)
class Point(Fields):
    """One thing to look at: why, how, where, what to record, and what it bears on.

    ``anchors`` are the five sentences of the grade scale from 5 (sound) down to 1 (failed); for yes/no
    points ``good_answer`` says which answer is good (None: it is only information), ``yes_means`` and
    ``no_means`` put either answer into a sentence. ``usual`` is the ordinary range of a count or reading;
    from ``failed_under`` down or ``failed_over`` up it counts as failed; outside ``possible`` it is a slip and
    isn't taken (None: as ``data/units.toml`` says for its unit). ``aspects`` maps an aspect to the
    strength (0 to 1) with which the point bears on it. ``applies_to`` lists conditions such as ``grand``,
    ``upright``, ``ivory``, ``older upright``; empty means always. ``may_lack`` lists in the same words (or ``any``)
    the pianos that may be without the part at all, so that "this piano has none" can be true there; empty means
    that every piano has it, and whoever doesn't find it has not looked. ``shows`` says how much of what the point
    judges a look can show (1: all of it); the rest stays in doubt until one of ``settled_by`` holds. ``where`` is the region of the instrument,
    ``position`` how one stands or sits to see it, ``opens`` what has to be opened for it (`load_openings`).
    ``mark`` is the word with which a key is marked on the drawn keyboard. ``question`` is what to ask the
    seller before one travels.
    """

    id: str
    area: str
    title: str
    why: str
    how: str
    where: str = ""
    position: str = ""
    opens: str = ""
    tool: str = ""
    helper: bool = False
    minutes: float = 1.0
    record: RecordKind = "grade"
    anchors: tuple[str, ...] = ()
    good_answer: bool | None = None
    yes_means: str = ""
    no_means: str = ""
    unit: str = ""
    usual: tuple[float, float] | None = None
    possible: tuple[float, float] | None = None
    failed_under: float | None = None
    failed_over: float | None = None
    photo: bool = False
    per_key: bool = False
    mark: str = ""
    applies_to: tuple[str, ...] = ()
    may_lack: tuple[str, ...] = ()
    shows: float = 1.0
    settled_by: tuple[SettledBy, ...] = ()
    aspects: dict[str, float] = field(default_factory=dict)
    nature: Nature = "functional"
    access: Access = "anyone"
    vetoes: tuple[VetoRule, ...] = ()
    repairs: tuple[RepairRule, ...] = ()
    cautions: tuple[str, ...] = ()
    source: str = "practice"
    short_walk: bool = False
    question: str = ""

    def applies(self, piano: Piano) -> bool:
        """Whether this point exists on that piano."""
        return not self.applies_to or bool(facts_of(piano) & set(self.applies_to))

    def can_be_missing(self, piano: Piano) -> bool:
        """Whether that piano may be without this part at all, so that "this piano has none" can be true.

        Examples
        --------
        >>> from pianolab.checklist import load_checklist
        >>> points, upright = load_checklist(), Piano(name="x", kind="upright")
        >>> points["plate-cracks"].can_be_missing(upright), points["plate-pressure-bar"].can_be_missing(upright)
        (False, True)
        """
        return bool((facts_of(piano) | {ANY_PIANO}) & set(self.may_lack))


def facts_of(piano: Piano) -> set[str]:
    """What is known of a piano, in the words of ``applies_to``; what is unknown is not ruled out.

    Examples
    --------
    >>> sorted(facts_of(Piano(name="x", kind="grand", year=1990, key_tops="plastic", middle_pedal="none")))
    ['grand', 'middle pedal: none', 'plastic']
    """
    facts = {piano.kind, piano.key_tops, f"middle pedal: {piano.middle_pedal}"}
    if piano.key_tops == "unknown":
        facts.add("ivory")
    if piano.year is None or piano.year < OLDER_BEFORE:
        facts |= {"older", f"older {piano.kind}"}
    return facts


@dataclass(frozen=True, repr=False)
class Checklist(Showable):
    """All points in the order in which one walks; ``areas`` in that order too."""

    points: tuple[Point, ...]
    header = ("point", "area", "what to look at", "minutes")

    def __iter__(self) -> Iterator[Point]:
        return iter(self.points)

    def __len__(self) -> int:
        return len(self.points)

    @property
    def areas(self) -> tuple[str, ...]:
        return tuple(dict.fromkeys(p.area for p in self.points))

    def __getitem__(self, point_id: str) -> Point:
        for point in self.points:
            if point.id == point_id:
                return point
        raise BadInput(
            "point", repr(point_id), "the id of a checklist point", "Misspelt, or from another checklist?"
        )

    def get(self, point_id: str) -> Point | None:
        """The point of that id, or None where this checklist has none."""
        return next((p for p in self.points if p.id == point_id), None)

    def __contains__(self, point_id: object) -> bool:
        return any(p.id == point_id for p in self.points)

    def for_piano(self, piano: Piano, *, short: bool = False) -> Checklist:
        """The points that exist on this piano; ``short`` keeps the twenty-minute walk."""
        return Checklist(tuple(p for p in self.points if p.applies(piano) and (p.short_walk or not short)))

    def questions(self) -> tuple[str, ...]:
        """What to ask the seller by telephone before one travels."""
        return tuple(p.question for p in self.points if p.question)

    def kit(self) -> tuple[str, ...]:
        """What to take along: the tools of all points that are not a technician's."""
        tools = [
            tool.strip() for p in self.points if p.access != "technician only" for tool in p.tool.split(",")
        ]
        return tuple(dict.fromkeys(tool for tool in tools if tool))

    def headline(self) -> str:
        return f"{len(self.points)} points in {len(self.areas)} areas, {sum(p.minutes for p in self.points):.0f} min"

    def rows(self) -> list[Row]:
        return [(p.id, p.area, p.title, p.minutes) for p in self.points]


@dataclass(frozen=True)
class Spot:
    """A file, and the entry in it.

    Examples
    --------
    >>> print(Spot("own.toml", "keys-chips").bad("minutes", -1, "0 or more"))
    own.toml: keys-chips: minutes: got -1, need 0 or more.
    """

    file: str
    point: str = ""

    def bad(self, field: str, got: object, need: str, hint: str = "") -> BadInput:
        name = ": ".join(part for part in (self.file, self.point, field) if part)
        return BadInput(name, got, need, hint)
