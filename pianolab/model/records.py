"""Records of a casebook: Piano, Visit, Examiner, Finding, Recording, SurveyRecord, Photo, Room.

Every record has a stable ``id`` made where it is first written, so that casebooks of several people can
be merged. Money is `decimal.Decimal` with a currency code beside it.
"""

from __future__ import annotations

import uuid
from dataclasses import dataclass, field
from datetime import date, datetime
from decimal import Decimal
from typing import Literal

from pianolab.errors import BadInput
from pianolab.show import Fields

PianoKind = Literal["grand", "upright"]
FindingState = Literal["checked", "not checked", "not allowed", "does not apply"]

GRADE_WORST, GRADE_BEST = 1, 5


def new_id() -> str:
    """A fresh id that no other machine will make."""
    return uuid.uuid4().hex


def _one_of(name: str, value: object, allowed: tuple[str, ...]) -> None:
    if value not in allowed:
        raise BadInput(name, repr(value), "one of " + ", ".join(allowed))


@dataclass(frozen=True, kw_only=True)
class Room(Fields):
    """A room by its size (m) and surfaces; an unknown stays None or empty."""

    length_m: float | None = None
    width_m: float | None = None
    height_m: float | None = None
    surfaces: tuple[str, ...] = ()
    note: str = ""

    def __post_init__(self) -> None:
        for name in ("length_m", "width_m", "height_m"):
            value = getattr(self, name)
            if value is not None and not 0.5 <= value <= 200.0:
                raise BadInput(name, value, "0.5 to 200 m", "Centimetres instead of metres?")


@dataclass(frozen=True, kw_only=True)
class Piano(Fields):
    """One instrument on the shortlist; ``name`` is what the buyer calls it, never how it is judged."""

    id: str = field(default_factory=new_id)
    name: str
    kind: PianoKind = "upright"
    year: int | None = None
    first_key: int = 1
    last_key: int = 88
    key_tops: str = "unknown"
    middle_pedal: str = "unknown"
    serial: str = ""
    asking_price: Decimal | None = None
    currency: str = "EUR"
    seller: str = ""
    address: str = ""
    note: str = ""

    def __post_init__(self) -> None:
        if not self.name.strip():
            raise BadInput("name", "an empty name", "a name to tell this piano from the others")
        _one_of("kind", self.kind, ("grand", "upright"))
        if self.asking_price is not None and not (self.asking_price.is_finite() and self.asking_price >= 0):
            raise BadInput("asking_price", self.asking_price, "0 or more", "A minus sign by mistake?")
        if len(self.currency) != 3 or not self.currency.isalpha():
            raise BadInput("currency", repr(self.currency), "a three-letter code such as EUR")
        if self.year is not None and not 1700 <= self.year <= 2100:
            raise BadInput("year", self.year, "a year from 1700 to 2100")
        if not -8 <= self.first_key < self.last_key <= 99:
            raise BadInput(
                "keys",
                f"{self.first_key} to {self.last_key}",
                "first below last, within -8 to 99",
                "A4 is key 49.",
            )


@dataclass(frozen=True, kw_only=True)
class Examiner(Fields):
    """Somebody who looks, listens or plays; a first name or a number is enough."""

    id: str = field(default_factory=new_id)
    name: str
    role: str = ""


@dataclass(frozen=True, kw_only=True)
class Visit(Fields):
    """One visit to one piano."""

    id: str = field(default_factory=new_id)
    piano_id: str
    day: date
    examiner: str = ""
    place: str = ""
    room: Room = field(default_factory=Room)
    temperature_c: float | None = None
    humidity_percent: float | None = None
    note: str = ""


@dataclass(frozen=True, kw_only=True)
class Finding(Fields):
    """What was found at one checklist point, at one place of the instrument, by one examiner.

    ``state`` says whether it was looked at at all; anything but ``checked`` needs a ``reason``. A checked
    finding holds one of: ``grade`` (5 sound … 1 failed, the point's anchor sentences say what each means),
    ``answer`` (yes/no), ``count``, or ``reading`` (in the point's unit). ``keys`` names the keys concerned,
    ``place`` the section of the instrument. ``promised`` is what the seller said will be put right about it,
    in their words; empty where nothing was promised.
    """

    id: str = field(default_factory=new_id)
    visit_id: str
    point: str
    state: FindingState = "checked"
    reason: str = ""
    grade: int | None = None
    answer: bool | None = None
    count: int | None = None
    reading: float | None = None
    keys: tuple[int, ...] = ()
    place: str = ""
    note: str = ""
    examiner: str = ""
    at: datetime | None = None
    promised: str = ""

    def __post_init__(self) -> None:
        _one_of("state", self.state, ("checked", "not checked", "not allowed", "does not apply"))
        values = (self.grade, self.answer, self.count, self.reading)
        given = sum(v is not None for v in values)
        if self.state == "checked" and given == 0:
            raise BadInput(self.point, "checked without a value", "a grade, an answer, a count or a reading")
        if self.state != "checked" and given:
            raise BadInput(self.point, f"a value with state {self.state!r}", "state 'checked', or no value")
        if self.state != "checked" and not self.reason.strip():
            raise BadInput(self.point, f"{self.state!r} without a reason", "why it was not looked at")
        if self.grade is not None and not GRADE_WORST <= self.grade <= GRADE_BEST:
            raise BadInput(self.point, f"grade {self.grade}", "1 (failed) to 5 (sound)")
        if self.count is not None and self.count < 0:
            raise BadInput(self.point, f"count {self.count}", "0 or more")


@dataclass(frozen=True, kw_only=True)
class Recording(Fields):
    """One sound file in the casebook's media folder, by the hash of its content."""

    id: str = field(default_factory=new_id)
    visit_id: str
    media: str
    original_name: str = ""
    rate_hz: int
    channels: int
    seconds: float
    first_key: int = 1
    last_key: int = 88
    a4_hz: float = 440.0
    note: str = ""


@dataclass(frozen=True, kw_only=True)
class SurveyRecord(Fields):
    """The measured survey of one recording, as JSON text (`pianolab.acoustics.Survey.to_json`)."""

    id: str = field(default_factory=new_id)
    recording_id: str
    visit_id: str
    version: str
    survey_json: str


@dataclass(frozen=True, kw_only=True)
class Photo(Fields):
    """One picture in the casebook's media folder, belonging to a visit and perhaps to a point."""

    id: str = field(default_factory=new_id)
    visit_id: str
    media: str
    point: str = ""
    caption: str = ""
