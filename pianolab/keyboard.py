"""Keys, note names, registers, and what a key usually has: strings and a damper.

String counts and the end of the dampers differ from design to design; the values here are common
practice [practice] and only tell the listening what to expect, never what is right.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from pianolab.errors import BadInput
from pianolab.units import MIDI_OF_KEY_0

NOTE_NAMES = ("C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B")
LOWEST_KEY, HIGHEST_KEY = -8, 99
"""C0 to B8: the widest compass built (108 keys)."""

FIRST_KEY, LAST_KEY = 1, 88

SOMETIMES_UNDAMPED_FROM, NEVER_DAMPED_FROM = 65, 74
"""Dampers usually end between keys 65 (C#6) and 73 (A6); a key from 74 up has none [practice]."""


@dataclass(frozen=True)
class Register:
    """A stretch of the keyboard that is judged together."""

    name: str
    first_key: int
    last_key: int


REGISTERS = (
    Register("bass", LOWEST_KEY, 27),
    Register("tenor", 28, 39),
    Register("middle", 40, 51),
    Register("treble", 52, 75),
    Register("top", 76, HIGHEST_KEY),
)


def check_key(key: int, *, name: str = "key") -> int:
    """The key itself, or `BadInput` where no keyboard has it."""
    if not LOWEST_KEY <= key <= HIGHEST_KEY:
        raise BadInput(
            name,
            key,
            f"a key from {LOWEST_KEY} (C0) to {HIGHEST_KEY} (B8)",
            "Keys count from A0 = 1; A4 is 49.",
        )
    return int(key)


def note_name(key: int) -> str:
    """Scientific pitch name of a key, with sharps.

    Examples
    --------
    >>> note_name(1), note_name(49), note_name(88), note_name(0)
    ('A0', 'A4', 'C8', 'G#0')
    """
    midi = check_key(key) + MIDI_OF_KEY_0
    return f"{NOTE_NAMES[midi % 12]}{midi // 12 - 1}"


def key_of(note: str) -> int:
    """Key number of a note name; flats are read too.

    Examples
    --------
    >>> key_of("A4"), key_of("C#6"), key_of("Bb3")
    (49, 65, 38)
    """
    match = re.fullmatch(r"([A-Ga-g])([#b♯♭]?)(\d)", note.strip())
    if not match:
        raise BadInput(
            "note", repr(note), "a name such as A4 or C#6", "Letter, optional sharp or flat, octave."
        )
    letter, accidental, octave = match.groups()
    step = NOTE_NAMES.index(letter.upper()) + {"": 0, "#": 1, "♯": 1, "b": -1, "♭": -1}[accidental]
    return check_key(step + 12 * (int(octave) + 1) - MIDI_OF_KEY_0)


def is_black(key: int) -> bool:
    """Whether a key is a raised (black) key.

    Examples
    --------
    >>> is_black(1), is_black(2)
    (False, True)
    """
    return "#" in note_name(key)


def register_of(key: int) -> str:
    """Name of the register a key belongs to.

    Examples
    --------
    >>> [register_of(k) for k in (1, 30, 45, 60, 88)]
    ['bass', 'tenor', 'middle', 'treble', 'top']
    """
    check_key(key)
    return next(r.name for r in REGISTERS if r.first_key <= key <= r.last_key)


def usual_strings(key: int) -> int:
    """How many strings the key usually has: 1 in the low bass, 2 in the upper bass, 3 above.

    Examples
    --------
    >>> usual_strings(5), usual_strings(20), usual_strings(60)
    (1, 2, 3)
    """
    check_key(key)
    return 1 if key <= 10 else 2 if key <= 28 else 3


def usually_damped(key: int) -> bool | None:
    """Whether the key usually has a damper; None where designs differ.

    Examples
    --------
    >>> usually_damped(49), usually_damped(70), usually_damped(80)
    (True, None, False)
    """
    check_key(key)
    if key >= NEVER_DAMPED_FROM:
        return False
    return None if key >= SOMETIMES_UNDAMPED_FROM else True
