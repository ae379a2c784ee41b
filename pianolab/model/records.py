"""Records of a casebook: Piano, Comparable, Visit, Examiner, Finding, Recording, SurveyRecord, Photo, Room.

Every record has a stable ``id`` made where it is first written, so that casebooks of several people can
be merged. Money is `decimal.Decimal` with a currency code beside it. What a field may be is its annotation
(`pianolab.model.quantities`), and `pianolab.model.door` sees to it.
"""

from __future__ import annotations

import uuid
from dataclasses import dataclass, field
from typing import Literal

from pianolab.model.door import Checked
from pianolab.model.quantities import (
    FIRST_KEY,
    LAST_KEY,
    AgeYears,
    Celsius,
    Channels,
    Count,
    Currency,
    Day,
    Grade,
    Id,
    JsonTable,
    Key,
    Kilograms,
    Line,
    LongSideCm,
    MediaName,
    Metres,
    Moment,
    Money,
    Name,
    Percent,
    PitchA4,
    PricePaid,
    Reading,
    SampleRate,
    Seconds,
    Text,
    TuningsIncluded,
    WarrantyYears,
    YearBuilt,
)
from pianolab.model.quantities import GRADE_BEST as GRADE_BEST
from pianolab.model.quantities import GRADE_WORST as GRADE_WORST

PianoKind = Literal["grand", "upright"]
SellerKind = Literal["private", "dealer"]
StorageKind = Literal["steady air", "lived-in room", "beside heat", "unheated", "damp"]
"""Where an instrument stood for the last years, by what the air did there."""

Condition = Literal["very good", "good", "worn", "poor"]
"""How an advertisement describes a sound instrument that can be played."""

FindingState = Literal["checked", "not checked", "not allowed", "does not apply"]
RecordingPurpose = Literal["take", "left pedal", "damper pedal", "repeated note", "held chord", "hand clap"]
Processing = Literal["off", "on", "unknown"]
GapKind = Literal["never came", "silence put in", "clock jumped"]
VALUES = ("grade", "answer", "count", "reading")
"""The fields of a finding one of which holds what was found."""


def new_id() -> str:
    """A fresh id that no other machine will make."""
    return uuid.uuid4().hex


@dataclass(frozen=True, kw_only=True)
class Room(Checked):
    """A room by its size (m) and surfaces; an unknown stays None or empty."""

    length_m: Metres | None = None
    width_m: Metres | None = None
    height_m: Metres | None = None
    surfaces: tuple[Line, ...] = ()
    note: Text = ""


@dataclass(frozen=True, kw_only=True)
class Piano(Checked):
    """One instrument on the shortlist; ``name`` is what the buyer calls it, never how it is judged.

    What is not known stays None or empty. ``size_cm`` is the height of an upright, the length of a grand.
    ``seller_kind`` is who sells it; ``warranty_years``, ``tunings_included`` and ``delivery_included`` are what the
    asking price holds beside the piano, by the seller's own offer. ``storage`` says in words where it stood for the
    last years, ``storage_kind`` what the air did there.

    Examples
    --------
    >>> Piano(name="by the window", asking_price=900, year="1978").asking_price
    Decimal('900')
    """

    known_by = "name"

    id: Id = field(default_factory=new_id)
    name: Name
    kind: PianoKind = "upright"
    year: YearBuilt | None = None
    first_key: Key = 1
    last_key: Key = 88
    key_tops: Line = "unknown"
    middle_pedal: Line = "unknown"
    serial: Line = ""
    asking_price: Money | None = None
    currency: Currency = "EUR"
    seller: Line = ""
    address: Text = ""
    note: Text = ""
    make: Line = ""
    model: Line = ""
    size_cm: LongSideCm | None = None
    weight_kg: Kilograms | None = None
    seller_kind: SellerKind | None = None
    warranty_years: WarrantyYears | None = None
    tunings_included: TuningsIncluded | None = None
    delivery_included: bool | None = None
    storage: Text = ""
    storage_kind: StorageKind | None = None

    def _together(self) -> None:
        if self.first_key >= self.last_key:
            need = f"first below last, within {FIRST_KEY} to {LAST_KEY}"
            raise self._refuse("keys", f"{self.first_key} to {self.last_key}", need, "A4 is key 49.")


@dataclass(frozen=True, kw_only=True)
class Comparable(Checked):
    """What a like instrument was offered or sold for: sound, in playing order, of the same kind.

    ``piano_id`` names the piano for which it was looked up; None: it may stand beside every piano of its kind.
    ``age_years`` is its age when it was seen. ``sold`` says whether ``price`` was paid (True) or asked (False).
    ``warranty_years``, ``tunings_included`` and ``delivery_included`` are what that price held beside the piano.
    What is not known stays None or empty.

    Examples
    --------
    >>> Comparable(kind="upright", price=1900, age_years=33, condition="good", seller_kind="private").price
    Decimal('1900')
    """

    id: Id = field(default_factory=new_id)
    piano_id: Id | None = None
    kind: PianoKind = "upright"
    price: PricePaid
    currency: Currency = "EUR"
    age_years: AgeYears | None = None
    condition: Condition | None = None
    place: Line = ""
    seller_kind: SellerKind | None = None
    warranty_years: WarrantyYears | None = None
    tunings_included: TuningsIncluded | None = None
    delivery_included: bool | None = None
    sold: bool | None = None
    seen_on: Day | None = None
    note: Text = ""


@dataclass(frozen=True, kw_only=True)
class Examiner(Checked):
    """Somebody who looks, listens or plays; a first name or a number is enough."""

    known_by = "name"

    id: Id = field(default_factory=new_id)
    name: Line
    role: Line = ""


@dataclass(frozen=True, kw_only=True)
class Visit(Checked):
    """One visit to one piano."""

    id: Id = field(default_factory=new_id)
    piano_id: Id
    day: Day
    examiner: Line = ""
    place: Line = ""
    room: Room = field(default_factory=Room)
    temperature_c: Celsius | None = None
    humidity_percent: Percent | None = None
    note: Text = ""


@dataclass(frozen=True, kw_only=True)
class Finding(Checked):
    """What was found at one checklist point, at one place of the instrument, by one examiner.

    ``state`` says whether it was looked at at all; anything but ``checked`` needs a ``reason``. A checked
    finding holds one of: ``grade`` (5 sound … 1 failed, the point's anchor sentences say what each means),
    ``answer`` (yes/no), ``count``, or ``reading`` (in the point's unit). ``keys`` names the keys concerned,
    ``place`` the section of the instrument. ``promised`` is what the seller said will be put right about it,
    in their words; empty where nothing was promised.
    """

    known_by = "point"

    id: Id = field(default_factory=new_id)
    visit_id: Id
    point: Id
    state: FindingState = "checked"
    reason: Text = ""
    grade: Grade | None = None
    answer: bool | None = None
    count: Count | None = None
    reading: Reading | None = None
    keys: tuple[Key, ...] = ()
    place: Line = ""
    note: Text = ""
    examiner: Line = ""
    at: Moment | None = None
    promised: Text = ""

    def _together(self) -> None:
        given = [name for name in VALUES if getattr(self, name) is not None]
        if self.state == "checked" and not given:
            need = "a grade, an answer, a count or a reading"
            raise self._refuse("", "checked without a value", need)
        if self.state != "checked" and given:
            got = f"a value with state {self.state!r}"
            raise self._refuse("", got, "state 'checked', or no value")
        if self.state != "checked" and not self.reason.strip():
            raise self._refuse("", f"{self.state!r} without a reason", "why it was not looked at")


@dataclass(frozen=True, kw_only=True)
class SoundGap(Checked):
    """A stretch of a recording that is not what the microphone heard, in s from its beginning.

    ``lost_s`` is how much sound is missing there: of ``clock jumped`` nothing stands in the sound for it.

    Examples
    --------
    >>> SoundGap(kind="never came", begin_s=2.0, end_s=2.25, lost_s=0.25).lost_s
    0.25
    """

    kind: GapKind
    begin_s: Seconds
    end_s: Seconds
    lost_s: Seconds

    def _together(self) -> None:
        if self.begin_s > self.end_s:
            raise self._refuse("begin_s", f"{self.begin_s} s", f"no later than its end, {self.end_s} s")


@dataclass(frozen=True, kw_only=True)
class Capture(Checked):
    """What the browser said of itself while it recorded, and what of the sound it lost (s).

    ``device`` is the microphone by the browser's name. Each kind of processing was asked to be off and read back;
    what the browser doesn't tell is unknown, not off.

    Examples
    --------
    >>> Capture(echo_cancellation="off").noise_suppression
    'unknown'
    """

    device: Line = ""
    echo_cancellation: Processing = "unknown"
    noise_suppression: Processing = "unknown"
    automatic_gain: Processing = "unknown"
    gaps: tuple[SoundGap, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Recording(Checked):
    """One sound file in the casebook's media folder, by the hash of its content.

    ``purpose`` says what it was made for: a ``take`` is judged, one with the ``left pedal`` held is only compared.
    ``capture`` says how a browser took it; None for a file from elsewhere, of which nobody knows.
    """

    known_by = "media"

    id: Id = field(default_factory=new_id)
    visit_id: Id
    media: MediaName
    original_name: Text = ""
    rate_hz: SampleRate
    channels: Channels
    seconds: Seconds
    first_key: Key = 1
    last_key: Key = 88
    a4_hz: PitchA4 = 440.0
    purpose: RecordingPurpose = "take"
    note: Text = ""
    capture: Capture | None = None

    def _together(self) -> None:
        if self.first_key > self.last_key:
            need = "first not above last"
            raise self._refuse("keys", f"{self.first_key} to {self.last_key}", need, "A4 is key 49.")


@dataclass(frozen=True, kw_only=True)
class SurveyRecord(Checked):
    """The measured survey of one recording, as JSON text (`pianolab.acoustics.Survey.to_json`)."""

    id: Id = field(default_factory=new_id)
    recording_id: Id
    visit_id: Id
    version: Line
    survey_json: JsonTable


@dataclass(frozen=True, kw_only=True)
class Photo(Checked):
    """One picture in the casebook's media folder, belonging to a visit and perhaps to a point."""

    known_by = "media"

    id: Id = field(default_factory=new_id)
    visit_id: Id
    media: MediaName
    point: Line = ""
    caption: Text = ""
