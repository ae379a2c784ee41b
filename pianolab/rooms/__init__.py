"""Room acoustics by calculation: how long a room rings, how loud it makes a piano, showroom against home."""

from pianolab.rooms.as_found import RoomAsFound, predict_as_found, room_of_visit
from pianolab.rooms.change import HeardTime, RoomChange, compare_rooms
from pianolab.rooms.formulas import (
    air_absorption,
    air_loss_per_m,
    band_power_gain_db,
    critical_distance,
    eyring_t60,
    level_in_room,
    power_gain_db,
    pressure_on_axis_db,
    sabine_t60,
    schroeder_frequency,
    speed_of_sound,
)
from pianolab.rooms.possible_rooms import Air, Position
from pianolab.rooms.predict import predict_room
from pianolab.rooms.preview import listening_preview
from pianolab.rooms.room_acoustics import RoomAcoustics, Span
from pianolab.rooms.surfaces import NOMINAL_HZ, Surface, SurfaceTable, load_surfaces

__all__ = [
    "NOMINAL_HZ",
    "Air",
    "HeardTime",
    "Position",
    "RoomAcoustics",
    "RoomAsFound",
    "RoomChange",
    "Span",
    "Surface",
    "SurfaceTable",
    "air_absorption",
    "air_loss_per_m",
    "band_power_gain_db",
    "compare_rooms",
    "critical_distance",
    "eyring_t60",
    "level_in_room",
    "listening_preview",
    "load_surfaces",
    "power_gain_db",
    "predict_as_found",
    "predict_room",
    "pressure_on_axis_db",
    "room_of_visit",
    "sabine_t60",
    "schroeder_frequency",
    "speed_of_sound",
]
