"""From the room where a piano was heard to the room where it will stand: what that alone will change."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from pianolab.errors import BadInput
from pianolab.model import PianoKind, Room
from pianolab.rooms.advice import caution_words, change_words
from pianolab.rooms.as_found import RoomAsFound, predict_as_found
from pianolab.rooms.predict import predict_room
from pianolab.rooms.room_acoustics import RoomAcoustics, Span, band, mean_over, span_of, span_row
from pianolab.rooms.surfaces import NOMINAL_HZ
from pianolab.show import Fields, Row, Showable
from pianolab.units import FloatArray

BASS_HZ, MIDDLE_HZ, TREBLE_HZ = (125, 250), (500, 1000), (2000, 4000, 8000)
HEARD_HZ = MIDDLE_HZ
"""Bands that the time heard in a recording is held against."""
HEARD_SPREAD = 0.15
"""Uncertainty of a heard and of a calculated time beside the table's, as a natural logarithm; own estimate."""
LEAST_AGREEING = 0.05
"""If fewer of the draws than this agree with the time heard, description and recording contradict each other."""


@dataclass(frozen=True, kw_only=True)
class HeardTime(Fields):
    """The reverberation heard in the recording beside what was calculated for the same room."""

    heard_s: float
    calculated_s: Span | None
    agrees: bool | None
    text: str


@dataclass(frozen=True, kw_only=True, repr=False, eq=False)
class RoomChange(Showable):
    """What changes from the showroom to the home, home minus showroom; one entry for each octave band.

    ``ear_db`` is the level at the player's ear, ``room_db`` where somebody listens; ``brightness_db`` is how
    much more the treble (2 to 8 kHz) changes than the middle (500 Hz and 1 kHz) at the ear; ``t60_s`` the
    change of the reverberation time. All None where a room can't be calculated: ``why_unknown`` says why.
    ``as_heard`` says what the room and the lid did to what was heard, ``not_noted`` what of them nobody noted.
    """

    showroom: RoomAcoustics = field(repr=False)
    home: RoomAcoustics = field(repr=False)
    why_unknown: str = ""
    bands_hz: tuple[int, ...] = NOMINAL_HZ
    ear_db: tuple[Span, ...] | None = None
    room_db: tuple[Span, ...] | None = None
    brightness_db: Span | None = None
    room_brightness_db: Span | None = None
    bass_db: Span | None = None
    middle_db: Span | None = None
    treble_db: Span | None = None
    wall_bass_db: Span | None = None
    t60_s: tuple[Span, ...] | None = None
    t60_middle_s: Span | None = None
    showroom_t60_s: tuple[Span, ...] | None = None
    heard: HeardTime | None = None
    cautions: tuple[str, ...] = ()
    as_heard: tuple[str, ...] = ()
    not_noted: tuple[str, ...] = ()
    header = ("what changes", "low", "middle", "high", "unit", "note")

    @property
    def known(self) -> bool:
        return self.ear_db is not None

    @property
    def sentence(self) -> str:
        """What the buyer can expect, and what the room and the lid did to what was heard, in plain sentences."""
        change = change_words(
            self.bass_db, self.middle_db, self.treble_db, self.t60_middle_s, why=self.why_unknown
        )
        return " ".join((change, *self.as_heard))

    @property
    def preview_note(self) -> str:
        """What has to stand beside a clip made by `listening_preview`."""
        return (
            "An approximation: only the difference of the two rooms as calculated, laid over the recording. It "
            "can't take away echo that the recording has, and says nothing about the piano."
        )

    def headline(self) -> str:
        return self.sentence

    def rows(self) -> list[Row]:
        ear = "at the player's ear"
        rows: list[Row] = [("in words", None, None, None, "", self.sentence)]
        if self.known:
            rows += [
                span_row(f"bass {ear}", self.bass_db, "dB", "125 and 250 Hz"),
                span_row(f"middle {ear}", self.middle_db, "dB", "500 Hz and 1 kHz"),
                span_row(f"treble {ear}", self.treble_db, "dB", "2 to 8 kHz"),
                span_row(f"brightness {ear}", self.brightness_db, "dB", "treble against middle"),
                span_row("brightness in the room", self.room_brightness_db, "dB", "treble against middle"),
                span_row("deep bass from the walls", self.wall_bass_db, "dB", "power gained at 63 Hz"),
            ]
        for title, spans, unit in (
            (f"level {ear}", self.ear_db, "dB"),
            ("level in the room", self.room_db, "dB"),
            ("reverberation time", self.t60_s, "s"),
        ):
            rows += [
                span_row(f"{title}, {band(f)}", s, unit, "")
                for f, s in zip(self.bands_hz, spans or (), strict=False)
            ]
        if self.heard is not None:
            heard = self.heard
            rows.append(("reverberation heard in the recording", None, heard.heard_s, None, "s", heard.text))
        rows += [("not known", None, None, None, "", text) for text in self.not_noted]
        return rows + [("caution", None, None, None, "", text) for text in self.cautions]


def compare_rooms(
    showroom: RoomAcoustics | Room | RoomAsFound,
    home: RoomAcoustics | Room,
    *,
    kind: PianoKind = "upright",
    heard_t60_s: float | None = None,
) -> RoomChange:
    """How the same piano will sound at home against where it was heard, by the two rooms alone.

    Parameters
    ----------
    showroom : the room where it was heard, calculated by `predict_room`, only described, or as a visit found it
        (`room_of_visit`); how the lid stood there is taken to stay so at home
    home : the room where it will stand
    kind : ``upright`` or ``grand``, for rooms that are only described
    heard_t60_s : reverberation time heard in the recording there, s; where it fits the description it
        narrows the range, where it doesn't that is said and it isn't used

    Returns
    -------
    RoomChange

    Raises
    ------
    BadInput
        For a heard time that isn't above 0, or two rooms calculated for different kinds of piano.

    Examples
    --------
    >>> hall = Room(length_m=11, width_m=7, height_m=4.2, surfaces=("tiles", "plaster", "glass"))
    >>> home = Room(length_m=5, width_m=4, height_m=2.5, surfaces=("carpet", "plaster", "curtains"))
    >>> change = compare_rooms(hall, home)
    >>> change.t60_middle_s.middle < -0.5
    True
    >>> compare_rooms(hall, Room()).sentence
    'How it will sound at home nobody can say yet: home: length, width and height of the room are not known.'
    """
    if isinstance(showroom, RoomAsFound):
        here, lid = predict_as_found(showroom, kind=kind), showroom.lid
        there = home if isinstance(home, RoomAcoustics) else predict_room(home, kind=kind, lid=lid)
        change = compare_rooms(here, there, kind=kind, heard_t60_s=heard_t60_s)
        return replace(change, as_heard=showroom.says(kind), not_noted=showroom.not_known())
    here = showroom if isinstance(showroom, RoomAcoustics) else predict_room(showroom, kind=kind)
    there = home if isinstance(home, RoomAcoustics) else predict_room(home, kind=kind)
    if here.kind != there.kind:
        raise BadInput(
            "home", f"calculated for {there.kind}", f"the same piano as in the showroom ({here.kind})"
        )
    if heard_t60_s is not None and not 0.02 <= heard_t60_s <= 20.0:
        raise BadInput("heard_t60_s", heard_t60_s, "0.02 to 20 s")
    if here.draws is None or there.draws is None:
        return _unknown(here, there, heard_t60_s)
    weights, heard = _weigh(here, heard_t60_s)
    return _change(here, there, weights, heard)


def _unknown(here: RoomAcoustics, there: RoomAcoustics, heard_t60_s: float | None) -> RoomChange:
    reasons = [f"{n}: {r.why_unknown}" for n, r in (("showroom", here), ("home", there)) if not r.known]
    heard = None
    longer = None
    if heard_t60_s is not None:
        _, heard = _weigh(here, heard_t60_s)
        if there.draws is not None:
            heard_s = heard_t60_s * np.exp(
                HEARD_SPREAD * np.random.default_rng(0).standard_normal(len(there.draws.t60_s))
            )
            longer = span_of(mean_over(there.draws.t60_s, HEARD_HZ) - heard_s)
    return RoomChange(
        showroom=here, home=there, why_unknown="; ".join(reasons), heard=heard, t60_middle_s=longer
    )


def _weigh(here: RoomAcoustics, heard_t60_s: float | None) -> tuple[FloatArray | None, HeardTime | None]:
    """How well each draw of the showroom agrees with the time heard there."""
    if heard_t60_s is None:
        return None, None
    if here.draws is None:
        text = "nothing to hold it against: the size of that room is not known"
        return None, HeardTime(heard_s=heard_t60_s, calculated_s=None, agrees=None, text=text)
    times = mean_over(here.draws.t60_s, HEARD_HZ)
    off = np.log(times / heard_t60_s) / HEARD_SPREAD
    weights = np.exp(-0.5 * off**2)
    calculated = span_of(times)
    agrees = bool(np.mean(np.abs(off) < 2.0) >= LEAST_AGREEING)
    if agrees:
        text = f"agrees with the calculation, {calculated} s, and narrows it"
        return weights, HeardTime(heard_s=heard_t60_s, calculated_s=calculated, agrees=True, text=text)
    way = "longer" if heard_t60_s > calculated.middle else "shorter"
    text = (
        f"{way} than calculated, {calculated} s: size or surfaces of that room are not as described, or the "
        "recording heard something else; not used"
    )
    return None, HeardTime(heard_s=heard_t60_s, calculated_s=calculated, agrees=False, text=text)


def _change(
    here: RoomAcoustics, there: RoomAcoustics, weights: FloatArray | None, heard: HeardTime | None
) -> RoomChange:
    assert here.draws is not None
    assert there.draws is not None
    half = len(here.draws.t60_s) // 2

    def less(name: str) -> FloatArray:
        """Home minus showroom, each half of one against the other half of the other."""
        home = np.roll(getattr(there.draws, name), half, axis=0)
        return np.asarray(home - getattr(here.draws, name))

    def spans(values: FloatArray) -> tuple[Span, ...]:
        return tuple(span_of(values[:, i], weights) for i in range(values.shape[1]))

    ear, room, t60 = less("ear_db"), less("room_db"), less("t60_s")
    return RoomChange(
        showroom=here,
        home=there,
        ear_db=spans(ear),
        room_db=spans(room),
        brightness_db=span_of(mean_over(ear, TREBLE_HZ) - mean_over(ear, MIDDLE_HZ), weights),
        room_brightness_db=span_of(mean_over(room, TREBLE_HZ) - mean_over(room, MIDDLE_HZ), weights),
        bass_db=span_of(mean_over(ear, BASS_HZ), weights),
        middle_db=span_of(mean_over(ear, MIDDLE_HZ), weights),
        treble_db=span_of(mean_over(ear, TREBLE_HZ), weights),
        wall_bass_db=span_of(less("wall_bass_db"), weights),
        t60_s=spans(t60),
        t60_middle_s=span_of(mean_over(t60, MIDDLE_HZ), weights),
        showroom_t60_s=spans(here.draws.t60_s),
        heard=heard,
        cautions=caution_words(here, there),
    )
