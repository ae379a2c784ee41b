"""One room calculated from its description."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from pianolab.errors import BadInput
from pianolab.model import PianoKind, Room
from pianolab.rooms.formulas import critical_distance, schroeder_frequency
from pianolab.rooms.possible_rooms import INDOORS, UNKNOWN_POSITION, Air, Position, RoomCase, simulate
from pianolab.rooms.room_acoustics import RoomAcoustics, RoomDraws, Span, mean_over, span_of
from pianolab.rooms.surfaces import Surface, SurfaceTable, load_surfaces
from pianolab.units import FloatArray

LEAST_SIZE_M = (1.6, 1.2, 1.6)
"""Longer side, shorter side and height under which no piano and player fit in; own estimate."""
MOST_PEOPLE_PER_M2 = 4.0


def predict_room(
    room: Room,
    *,
    kind: PianoKind = "upright",
    lid: str | None = None,
    position: Position = UNKNOWN_POSITION,
    people: int = 0,
    furniture: Sequence[str] | Mapping[str, int] | None = None,
    air: Air = INDOORS,
    seed: int = 0,
) -> RoomAcoustics:
    """Calculate how a room treats a piano, with the range that all unknowns leave.

    Read it as: how long the room rings, how loud it makes the piano at the player's ear and further away, what
    the wall behind adds in the bass. What nobody said is drawn many times from what is usual, and said so.

    Parameters
    ----------
    room : size in m and the names of its surfaces (see `load_surfaces`)
    kind : ``upright`` or ``grand``
    lid : ``open``, ``closed`` or None
    position : where the piano stands, as far as anybody said
    people : how many sit in it besides the player
    furniture : names of pieces, or names with counts; empty: nothing stands in it; None: nobody said
    air : its temperature and humidity
    seed : int; the same seed gives the same result

    Returns
    -------
    RoomAcoustics; with a reason instead of values where length, width or height isn't known

    Raises
    ------
    BadInput
        For a room that no piano fits into, too many people, furniture the table doesn't know, or a distance,
        a lid or an air that can't be.

    Notes
    -----
    Statistical acoustics: rough in small furnished rooms, void below the Schroeder frequency. Ranges are
    10 to 90 % of 1000 draws. [sabine1922] [eyring1930] [iso9613] [waterhouse1955]
    [barron1988] [vorlander2008]

    Examples
    --------
    >>> home = predict_room(Room(length_m=5, width_m=4, height_m=2.5, surfaces=("parquet", "plaster")))
    >>> home.known, home.volume_m3, home.t60_s[3].low < home.t60_s[3].middle
    (True, 50.0, True)
    >>> predict_room(Room(length_m=5)).why_unknown
    'width and height of the room are not known'
    """
    table = load_surfaces()
    counts = _count(furniture, table)
    size = _size(room)
    named, strange = _understood(room, table)
    _check(people, lid, kind, position.wall_distance_m, size)
    if size is None:
        return RoomAcoustics(room=room, kind=kind, why_unknown=_missing(room), assumed=strange)
    setting = RoomCase(
        room=room,
        size_m=size,
        named=named,
        kind=kind,
        people=people,
        furniture=counts,
        position=position,
        lid=lid,
        air=air,
        seed=seed,
    )
    return _result(setting, simulate(setting, table), (*strange, *_assumptions(setting)))


def _size(room: Room) -> tuple[float, float, float] | None:
    size = (room.length_m, room.width_m, room.height_m)
    if any(side is None for side in size):
        return None
    length, width, height = (float(side) for side in size if side is not None)
    least = LEAST_SIZE_M
    if max(length, width) < least[0] or min(length, width) < least[1] or height < least[2]:
        got = f"{length:g} x {width:g} x {height:g} m"
        need = f"at least {least[0]:g} x {least[1]:g} m and {least[2]:g} m high for a piano and its player"
        raise BadInput("room", got, need, "Feet, or two sides mixed up with the height?")
    return length, width, height


def _missing(room: Room) -> str:
    names = [n for n in ("length", "width", "height") if getattr(room, f"{n}_m") is None]
    listed = " and ".join(filter(None, [", ".join(names[:-1]), names[-1]]))
    return f"{listed} of the room {'are' if len(names) > 1 else 'is'} not known"


def _understood(room: Room, table: SurfaceTable) -> tuple[tuple[Surface, ...], tuple[str, ...]]:
    found = {word: table.surface(word) for word in room.surfaces}
    named = {s.name: s for s in found.values() if s is not None}
    strange = tuple(
        f"{word!r} is not in the table of surfaces: treated as unknown"
        for word, s in found.items()
        if s is None
    )
    return tuple(named.values()), strange


def _count(furniture: Sequence[str] | Mapping[str, int] | None, table: SurfaceTable) -> dict[str, int] | None:
    if furniture is None:
        return None
    pairs = furniture.items() if isinstance(furniture, Mapping) else [(word, 1) for word in furniture]
    counts: dict[str, int] = {}
    for word, count in pairs:
        if count < 0:
            raise BadInput(f"furniture {word}", count, "0 or more")
        name = table.piece(word).name
        counts[name] = counts.get(name, 0) + count
    return counts


def _check(
    people: int, lid: str | None, kind: str, wall_m: float | None, size: tuple[float, float, float] | None
) -> None:
    if lid not in (None, "open", "closed"):
        raise BadInput("lid", repr(lid), "'open', 'closed' or None")
    if kind not in ("upright", "grand"):
        raise BadInput("kind", repr(kind), "'upright' or 'grand'")
    most = 1000 if size is None else int(MOST_PEOPLE_PER_M2 * size[0] * size[1])
    if not 0 <= people <= most:
        raise BadInput("people", people, f"0 to {most} in this room")
    furthest = 50.0 if size is None else max(size[:2])
    if wall_m is not None and not 0.0 <= wall_m <= furthest:
        raise BadInput("wall_distance_m", wall_m, f"0 to {furthest:g} m", "Centimetres instead of metres?")


def _assumptions(setting: RoomCase) -> tuple[str, ...]:
    parts = {s.part for s in setting.named}
    said = [
        f"the {part} {'are' if part == 'walls' else 'is'} not described: drawn from what is usual"
        for part in ("floor", "walls", "ceiling")
        if part not in parts
    ]
    if setting.furniture is None:
        said.append("nobody said what furniture stands in it: from almost none to a good deal")
    if setting.position.wall_distance_m is None:
        said.append(
            f"the wall behind is as near as is usual for {'an' if setting.kind == 'upright' else 'a'} {setting.kind}"
        )
    if setting.position.in_corner is None:
        said.append("it may stand in a corner or along a wall")
    if setting.lid is None:
        said.append("the lid may be open or closed")
    return tuple(said)


def _spans(values: FloatArray) -> tuple[Span, ...]:
    return tuple(span_of(values[:, i]) for i in range(values.shape[1]))


def _result(setting: RoomCase, draws: RoomDraws, assumed: tuple[str, ...]) -> RoomAcoustics:
    length, width, height = setting.size_m
    volume = length * width * height
    return RoomAcoustics(
        room=setting.room,
        kind=setting.kind,
        volume_m3=volume,
        surface_m2=2.0 * (length * width + (length + width) * height),
        t60_s=_spans(draws.t60_s),
        sabine_s=_spans(draws.sabine_s),
        ear_db=_spans(draws.ear_db),
        room_db=_spans(draws.room_db),
        critical_distance_m=_spans(np.asarray(critical_distance(draws.absorption_m2))),
        schroeder_hz=span_of(schroeder_frequency(mean_over(draws.t60_s, (500, 1000)), volume)),
        wall_bass_db=span_of(draws.wall_bass_db),
        assumed=assumed,
        draws=draws,
    )
