"""The room of a visit from what was found there: size, hardness, wall and lid, beside what the visit's record says.

The walk asks for the room at its last stop (``checklist/data/16_room_and_way.toml``); here its findings become a room
that can be calculated, and a few words about what that room did to what was heard.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from functools import cache
from importlib.resources import files
from typing import Any, Literal

from pianolab.model import Finding, PianoKind, Room
from pianolab.rooms.possible_rooms import Position
from pianolab.rooms.predict import predict_room
from pianolab.rooms.room_acoustics import RoomAcoustics
from pianolab.rooms.surfaces import NOMINAL_HZ, load_surfaces

SIZES = {"room-length": "length_m", "room-width": "width_m", "room-height": "height_m"}
SOFT, BARE, WALL, LID = "room-soft", "room-bare", "room-wall", "room-lid"
TREBLE_FROM_HZ = 2000


@dataclass(frozen=True, kw_only=True)
class RoomAsFound:
    """A room with a piano in it as a visit tells of it; what nobody noted is None.

    ``room`` is its description, ``hardness`` how it answers a clap, ``against_wall`` whether the piano stood at a wall
    or in a corner (False: free), ``lid`` how its lid stood while somebody listened.
    """

    room: Room
    hardness: Literal["dull", "bare", "ordinary"] | None = None
    against_wall: bool | None = None
    lid: Literal["open", "closed"] | None = None
    contradicts: bool = False

    def says(self, kind: PianoKind) -> tuple[str, ...]:
        """What the room and the lid did to what was heard, in sentences; only what is known.

        Examples
        --------
        >>> RoomAsFound(room=Room(), hardness="bare").says("upright")
        ('It was heard in a bare, hard room, which throws the treble back: the piano may be duller than it seemed there.',)
        """
        parts = (HARDNESS.get(self.hardness or ""), WALLS.get(self.against_wall), self._lid(kind))
        return tuple(part for part in parts if part)

    def not_known(self) -> tuple[str, ...]:
        """What of it nobody noted, and what that leaves open."""
        open_ = []
        if self.contradicts:
            open_.append("the room was noted as dull and as bare at once: how bright the piano is stays open")
        elif self.hardness is None and not self.room.surfaces:
            open_.append("nobody noted whether the room was dull or bare: how bright the piano is stays open")
        if self.lid is None:
            open_.append("nobody noted how the lid stood: in the treble that alone is several dB")
        if self.against_wall is None:
            open_.append("nobody noted whether it stood at a wall: how strong its bass is stays open")
        return tuple(open_)

    def _lid(self, kind: PianoKind) -> str:
        if self.lid is None:
            return ""
        bands = load_surfaces().lid_closed_db[kind]
        treble = [span for f, span in zip(NOMINAL_HZ, bands, strict=True) if f >= TREBLE_FROM_HZ]
        low, high = (sum(span[end] for span in treble) / len(treble) for end in (0, 1))
        return LIDS[self.lid].format(low=low, high=high)


HARDNESS = {
    "bare": "It was heard in a bare, hard room, which throws the treble back: the piano may be duller than it seemed there.",
    "dull": "It was heard in a dull room of carpet and curtains, which swallows the treble: the piano may be brighter than it seemed there.",
}
WALLS: Mapping[bool | None, str] = {
    True: "It stood against a wall or in a corner, which strengthens the bass.",
    False: "It stood free, which gives less bass than a wall behind it will.",
}
LIDS = {
    "open": "Its lid stood open; closed, the treble is {low:.0f} to {high:.0f} dB softer.",
    "closed": "Its lid was closed; open, the treble is {low:.0f} to {high:.0f} dB louder.",
}


def room_of_visit(room: Room, findings: Iterable[Finding] = ()) -> RoomAsFound:
    """What a visit tells of its room: the record's own description, and the walk's findings where that says nothing.

    Parameters
    ----------
    room : as it was described by itself, `Room()` where it wasn't
    findings : what was found on the walk, at any points, earlier ones first; of several at one point the last counts

    Returns
    -------
    RoomAsFound

    Examples
    --------
    >>> found = [Finding(visit_id="v", point="room-length", reading=5.0), Finding(visit_id="v", point="room-lid", answer=True)]
    >>> as_found = room_of_visit(Room(width_m=4.0), found)
    >>> as_found.room.length_m, as_found.room.width_m, as_found.lid
    (5.0, 4.0, 'open')
    """
    last = {f.point: f for f in findings if f.state == "checked"}
    sizes: dict[str, Any] = {
        name: last[point].reading
        for point, name in SIZES.items()
        if point in last and getattr(room, name) is None and (last[point].reading or 0) > 0
    }
    soft, bare, wall, lid = (last[p].answer if p in last else None for p in (SOFT, BARE, WALL, LID))
    return RoomAsFound(
        room=replace(room, **sizes),
        hardness=_hardness(soft, bare),
        against_wall=wall,
        lid=None if lid is None else "open" if lid else "closed",
        contradicts=bool(soft and bare),
    )


def _hardness(soft: bool | None, bare: bool | None) -> Literal["dull", "bare", "ordinary"] | None:
    if soft and bare:
        return None
    if soft or bare:
        return "dull" if soft else "bare"
    return "ordinary" if soft is False and bare is False else None


def predict_as_found(found: RoomAsFound, *, kind: PianoKind) -> RoomAcoustics:
    """Calculate a room as a visit found it; named surfaces count before the clap.

    Parameters
    ----------
    found : what a visit noted of the room
    kind : grand or upright, for how it radiates

    Returns
    -------
    RoomAcoustics

    Examples
    --------
    >>> size = Room(length_m=6, width_m=5, height_m=3)
    >>> dull, bare = (predict_as_found(RoomAsFound(room=size, hardness=h), kind="upright") for h in ("dull", "bare"))
    >>> dull.t60_s[3].middle < 0.7 * bare.t60_s[3].middle
    True
    """
    data = _walk_data()
    told: Mapping[str, Any] = {}
    if not found.room.surfaces and found.hardness in data:
        told = data[found.hardness]
    room = replace(found.room, surfaces=tuple(told.get("surfaces", found.room.surfaces)))
    return predict_room(
        room,
        furniture=told.get("furniture"),
        position=Position(
            wall_distance_m=_wall(found, kind, data["wall"]),
            in_corner=False if found.against_wall is False else None,
        ),
        lid=found.lid,
        kind=kind,
    )


def _wall(found: RoomAsFound, kind: PianoKind, data: Mapping[str, Any]) -> float | None:
    """The distance to the wall behind; a piano that stands free stands in the middle of a small room at most."""
    if found.against_wall is None:
        return None
    if found.against_wall:
        return float(data["against"][kind])
    widths = [side for side in (found.room.length_m, found.room.width_m) if side is not None]
    return min([float(data["free"][kind]), *(0.5 * side for side in widths)])


@cache
def _walk_data() -> dict[str, Any]:
    return tomllib.loads((files("pianolab.rooms") / "data" / "walk.toml").read_text(encoding="utf-8"))
