"""Many rooms that all fit a description: what nobody said is drawn, the same seed draws the same.

Each thing has a stream of random numbers of its own, so that adding one leaves all others as they were. Half of
the draws come from one set of streams, half from another: comparing two rooms crosswise then gives exactly the
opposite when they change places, and nothing, on the middle, between a description and itself.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from zlib import crc32

import numpy as np

from pianolab.model import PianoKind, Room
from pianolab.rooms.formulas import (
    air_loss_per_m,
    band_power_gain_db,
    eyring_t60,
    level_in_room,
    sabine_t60,
    speed_of_sound,
)
from pianolab.rooms.room_acoustics import RoomDraws
from pianolab.rooms.surfaces import BANDS_HZ, Range, Surface, SurfaceTable
from pianolab.units import FloatArray

HALF = 500
"""Draws in each half."""
BAND_SPREAD = 0.1
"""Part of a coefficient's spread that differs from band to band; own estimate."""
MOST_ALPHA = 0.98
FULLEST = 0.9
"""Most of a floor or of the walls that can be covered by things laid or hung there; own estimate."""


@dataclass(frozen=True, kw_only=True)
class Position:
    """Where a piano stands: ``wall_distance_m`` from its back, or a grand's nearest side, to the wall, m, and whether
    a side wall is near too; None is unknown.
    """

    wall_distance_m: float | None = None
    in_corner: bool | None = None


UNKNOWN_POSITION = Position()


@dataclass(frozen=True, kw_only=True)
class Air:
    """The air of a room: its temperature in °C, -20 to 50, and its relative humidity in %."""

    temperature_c: float = 20.0
    humidity_percent: float = 50.0


INDOORS = Air()


@dataclass(frozen=True, kw_only=True)
class RoomCase:
    """All that is known of one room and the piano in it; None is unknown."""

    room: Room
    size_m: tuple[float, float, float]
    named: tuple[Surface, ...]
    kind: PianoKind
    people: int
    furniture: Mapping[str, int] | None
    position: Position
    lid: str | None
    air: Air
    seed: int

    def rng(self, what: str, stream: int) -> np.random.Generator:
        return np.random.default_rng([self.seed, stream, crc32(what.encode())])

    def uniform(self, what: str, limits: Range, *, shared: bool = False) -> FloatArray:
        """One value in each draw; ``shared`` gives both halves, and every room, the same."""
        streams = (0, 0) if shared else (1, 2)
        part = np.concatenate([self.rng(what, s).random(HALF) for s in streams])
        return np.asarray(limits[0] + (limits[1] - limits[0]) * part)

    def factor(self, what: str, spread: float) -> FloatArray:
        """What a table's value is multiplied by, shape (draws, bands)."""
        drawn = []
        for stream in (1, 2):
            rng = self.rng(f"{what}: table", stream)
            alike, own = rng.standard_normal((HALF, 1)), rng.standard_normal((HALF, len(BANDS_HZ)))
            drawn.append(np.exp(spread * alike + BAND_SPREAD * own))
        return np.concatenate(drawn)

    def choice(self, what: str, count: int) -> FloatArray:
        """In each draw one of ``count`` things: shape (draws, count), 1 for the chosen."""
        drawn = np.concatenate([self.rng(what, s).integers(count, size=HALF) for s in (1, 2)])
        return np.asarray(np.eye(count)[drawn])


def simulate(setting: RoomCase, table: SurfaceTable) -> RoomDraws:
    """All draws of one room."""
    length, width, height = setting.size_m
    volume, surface = length * width * height, 2.0 * (length * width + (length + width) * height)
    absorption = np.minimum(_absorption(setting, table), MOST_ALPHA * surface)
    celsius, humidity = setting.air.temperature_c, setting.air.humidity_percent
    air = air_loss_per_m(BANDS_HZ, temperature_c=celsius, humidity_percent=humidity)
    speed = speed_of_sound(celsius)
    walls = _walls(setting, table)
    shift_db = band_power_gain_db(BANDS_HZ, walls, speed_m_s=speed) - _lid_loss_db(setting, table)
    ear, listener = _distances(setting, table)
    levels = [
        shift_db + level_in_room(d[:, None], absorption, surface, volume, air_per_m=air)
        for d in (ear, listener)
    ]
    return RoomDraws(
        t60_s=eyring_t60(volume, absorption, surface, air_per_m=air, speed_m_s=speed),
        sabine_s=sabine_t60(volume, absorption, air_per_m=air, speed_m_s=speed),
        ear_db=levels[0],
        room_db=levels[1],
        absorption_m2=absorption,
        wall_bass_db=band_power_gain_db([63.0], walls, speed_m_s=speed)[:, 0],
    )


def _absorption(setting: RoomCase, table: SurfaceTable) -> FloatArray:
    """Absorption area of everything, shape (draws, bands), m²."""
    length, width, height = setting.size_m
    floor, walls = length * width, 2.0 * (length + width) * height
    alpha = {s.name: _alpha(setting, s) for s in table.surfaces.values()}
    total = np.zeros_like(next(iter(alpha.values())))
    for part, area in (("floor", floor), ("walls", walls), ("ceiling", floor)):
        shares = _covering_shares(setting, table, part)
        on_top = _shares_on(setting, table, part)
        left = 1.0 - sum(on_top.values(), np.zeros(2 * HALF))
        for name, share in shares.items():
            total += (area * share * left)[:, None] * alpha[name]
        for name, share in on_top.items():
            total += (area * share)[:, None] * alpha[name]
    return total + _pieces(setting, table, floor, alpha["upholstery"])


def _alpha(setting: RoomCase, surface: Surface) -> FloatArray:
    return np.minimum(np.array(surface.alpha) * setting.factor(surface.name, surface.spread), MOST_ALPHA)


def _covering_shares(setting: RoomCase, table: SurfaceTable, part: str) -> dict[str, FloatArray]:
    """How floor, walls or ceiling are divided among what covers them."""
    named = [s for s in setting.named if s.part == part]
    if named:
        parts = {s.name: setting.uniform(f"{s.name}: part", (0.5, 1.5)) for s in named}
        whole = sum(parts.values(), np.zeros(2 * HALF))
        return {name: np.asarray(share / whole) for name, share in parts.items()}
    usual = [s.name for s in table.surfaces.values() if s.part == part and s.usual]
    chosen = setting.choice(f"unnamed {part}", len(usual))
    return {name: chosen[:, i] for i, name in enumerate(usual)}


def _shares_on(setting: RoomCase, table: SurfaceTable, part: str) -> dict[str, FloatArray]:
    """What part of floor or walls is covered by things laid, hung or put there."""
    named = {s.name for s in setting.named}
    shares = {}
    for s in (s for s in table.surfaces.values() if s.part == f"on {part}"):
        limits = s.share if s.name in named else s.unnamed
        if limits is not None and not setting.named and s.name not in named:
            limits = (limits[0], s.share[1])
        if limits is not None:
            shares[s.name] = setting.uniform(f"{s.name}: share", limits)
    too_full = np.maximum(1.0, sum(shares.values(), np.zeros(2 * HALF)) / FULLEST)
    return {name: np.asarray(share / too_full) for name, share in shares.items()}


def _pieces(setting: RoomCase, table: SurfaceTable, floor_m2: float, upholstery: FloatArray) -> FloatArray:
    counts = dict(setting.furniture or {})
    counts["person"] = counts.get("person", 0) + setting.people + 1  # the player
    total = np.zeros((2 * HALF, len(BANDS_HZ)))
    for name, count in counts.items():
        piece = table.pieces[name]
        total += count * np.array(piece.area_m2) * setting.factor(f"piece {name}", piece.spread)
    if setting.furniture is None and "upholstery" not in {s.name for s in setting.named}:
        low, high = table.unknown_upholstery
        limits = (low * floor_m2, max(low * floor_m2, min(high * floor_m2, table.most_upholstery_m2)))
        total += setting.uniform("unknown furniture", limits)[:, None] * upholstery
    return total


def _walls(setting: RoomCase, table: SurfaceTable) -> Sequence[FloatArray]:
    """Distances of the soundboard's middle from the floor, the wall behind and the nearer side wall, m."""
    where, position = table.placing[setting.kind], setting.position
    back = setting.uniform("wall distance", where.unknown_wall_m)
    if position.wall_distance_m is not None:
        back = np.full(2 * HALF, position.wall_distance_m)
    corner = setting.uniform("corner", where.corner_m)
    side = setting.uniform("free", where.free_m)
    if position.in_corner is None:
        side = np.where(setting.uniform("which", (0.0, 1.0)) < 0.5, corner, side)
    elif position.in_corner:
        side = corner
    half_width = 0.5 * max(setting.size_m[:2])
    return (
        setting.uniform("height", where.height_m, shared=True),
        back + setting.uniform("behind back", where.behind_back_m, shared=True),
        np.minimum(side, half_width),
    )


def _lid_loss_db(setting: RoomCase, table: SurfaceTable) -> FloatArray:
    """What the lid takes away, shape (draws, bands): nothing when open, some of it when nobody says."""
    limits = np.array(table.lid_closed_db[setting.kind])
    closed = limits[:, 0] + np.outer(
        setting.uniform("lid", (0.0, 1.0), shared=True), limits[:, 1] - limits[:, 0]
    )
    if setting.lid is None:
        return np.asarray(closed * setting.uniform("how far open", (0.0, 1.0))[:, None])
    return np.asarray(closed if setting.lid == "closed" else 0.0 * closed)


def _distances(setting: RoomCase, table: SurfaceTable) -> tuple[FloatArray, FloatArray]:
    """Ear of the player, and somebody in the room, who can't sit further away than the room is long."""
    ear = setting.uniform("ear", table.placing[setting.kind].ear_m, shared=True)
    listener = setting.uniform("listener", table.listener_m, shared=True)
    return ear, np.minimum(listener, 0.8 * max(setting.size_m[:2]))
