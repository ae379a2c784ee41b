"""Short recordings at the piano: a clap for the room, a chord held, one note repeated, the damper pedal."""

from pianolab.acoustics.short.clap import RoomByClap, room_by_clap
from pianolab.acoustics.short.moves import (
    ChordFall,
    PedalNoise,
    Repetition,
    chord_fall,
    pedal_noise,
    repetition,
)

__all__ = [
    "ChordFall",
    "PedalNoise",
    "Repetition",
    "RoomByClap",
    "chord_fall",
    "pedal_noise",
    "repetition",
    "room_by_clap",
]
