"""What calculating a room gives: values with the range that everything unknown leaves open."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike

from pianolab.errors import BadInput
from pianolab.model import PianoKind, Room
from pianolab.rooms.surfaces import BANDS_HZ, NOMINAL_HZ
from pianolab.show import Fields, Row, Showable
from pianolab.units import FloatArray

LOW_SHARE, HIGH_SHARE = 0.1, 0.9


@dataclass(frozen=True)
class Span(Fields):
    """A value with its range: 10, 50 and 90 % of the simulated cases lie under these."""

    low: float
    middle: float
    high: float

    def __str__(self) -> str:
        return f"{self.middle:.3g} ({self.low:.3g} to {self.high:.3g})"


def span_of(values: ArrayLike, weights: ArrayLike | None = None) -> Span:
    """The span of simulated values, shape (draws,), each counted by its weight.

    Examples
    --------
    >>> span_of([1.0, 2.0, 3.0, 4.0, 5.0])
    Span(low=1.0, middle=3.0, high=5.0)
    """
    x = np.asarray(values, dtype=float)
    w = np.ones_like(x) if weights is None else np.asarray(weights, dtype=float)
    order = np.argsort(x, kind="stable")
    rank = (np.cumsum(w[order]) - 0.5 * w[order]) / np.sum(w)
    low, middle, high = np.interp((LOW_SHARE, 0.5, HIGH_SHARE), rank, x[order])
    return Span(float(low), float(middle), float(high))


@dataclass(frozen=True, kw_only=True, repr=False, eq=False)
class RoomDraws:
    """The simulated cases behind a `RoomAcoustics`: the first half of the draws is independent of the second.

    ``t60_s``, ``sabine_s``, ``ear_db``, ``room_db`` and ``absorption_m2`` have shape (draws, bands);
    ``wall_bass_db``, the power gained from the walls at 63 Hz, has shape (draws,).
    """

    t60_s: FloatArray
    sabine_s: FloatArray
    ear_db: FloatArray
    room_db: FloatArray
    absorption_m2: FloatArray
    wall_bass_db: FloatArray


@dataclass(frozen=True, kw_only=True, repr=False, eq=False)
class RoomAcoustics(Showable):
    """A room with a piano in it, calculated; tuples have one entry for each octave band of ``bands_hz``.

    Where the size isn't known, everything calculated is None and ``why_unknown`` says why. ``t60_s`` is by
    Eyring, ``sabine_s`` by Sabine; ``ear_db`` and ``room_db`` are the level at the player's ear and in the
    room against the same piano in the open at 1 m; ``assumed`` says what was drawn because nobody said it.
    """

    room: Room
    kind: PianoKind
    why_unknown: str = ""
    bands_hz: tuple[int, ...] = NOMINAL_HZ
    volume_m3: float | None = None
    surface_m2: float | None = None
    t60_s: tuple[Span, ...] | None = None
    sabine_s: tuple[Span, ...] | None = None
    ear_db: tuple[Span, ...] | None = None
    room_db: tuple[Span, ...] | None = None
    critical_distance_m: tuple[Span, ...] | None = None
    schroeder_hz: Span | None = None
    wall_bass_db: Span | None = None
    assumed: tuple[str, ...] = ()
    draws: RoomDraws | None = field(default=None, repr=False)
    header = ("quantity", "low", "middle", "high", "unit", "note")

    @property
    def known(self) -> bool:
        return self.draws is not None

    def headline(self) -> str:
        if self.t60_s is None or self.volume_m3 is None:
            return f"a room that can't be calculated: {self.why_unknown}"
        middle = self.t60_s[self.bands_hz.index(1000)]
        return f"a room of {self.volume_m3:.0f} m³ that rings for {middle} s at 1 kHz"

    def rows(self) -> list[Row]:
        if not self.known:
            return [("room", None, None, None, "", self.why_unknown)]
        rows: list[Row] = [
            ("volume", None, self.volume_m3, None, "m³", ""),
            ("all surfaces", None, self.surface_m2, None, "m²", ""),
            span_row("Schroeder frequency", self.schroeder_hz, "Hz", "below it single resonances decide"),
            span_row("bass from the walls", self.wall_bass_db, "dB", "power gained at 63 Hz"),
        ]
        for title, spans, unit in (
            ("reverberation time (Eyring)", self.t60_s, "s"),
            ("reverberation time (Sabine)", self.sabine_s, "s"),
            ("critical distance", self.critical_distance_m, "m"),
            ("level at the player's ear", self.ear_db, "dB"),
            ("level in the room", self.room_db, "dB"),
        ):
            for f, span in zip(self.bands_hz, spans or (), strict=True):
                rows.append(span_row(f"{title}, {band(f)}", span, unit, ""))
        return rows + [("assumed", None, None, None, "", text) for text in self.assumed]


def span_row(what: str, span: Span | None, unit: str, note: str) -> Row:
    """A row of a table with a range; empty where it isn't known."""
    values = (None, None, None) if span is None else (span.low, span.middle, span.high)
    return (what, *values, unit, note)


def band(f_hz: int) -> str:
    """An octave band in words.

    Examples
    --------
    >>> band(500), band(4000)
    ('500 Hz', '4 kHz')
    """
    return f"{f_hz // 1000} kHz" if f_hz >= 1000 else f"{f_hz} Hz"


def mean_over(values: FloatArray, bands_hz: tuple[int, ...]) -> FloatArray:
    """The mean over some octave bands, shape (draws, bands) -> (draws,)."""
    if missing := set(bands_hz) - set(NOMINAL_HZ):
        raise BadInput("bands_hz", sorted(missing), "octave bands from 125 to 8000 Hz")
    columns = [NOMINAL_HZ.index(f) for f in bands_hz]
    return np.asarray(np.mean(values[:, columns], axis=1))


assert len(BANDS_HZ) == len(NOMINAL_HZ)
