"""Keys, note names, registers, and what a key usually has: strings and a damper.

String counts and the end of the dampers differ from design to design; the values here are common
practice [practice] and only tell the listening what to expect, never what is right.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
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


def keys_in_words(keys: Iterable[int], *, most: int | None = 8, numbers: bool = False) -> str:
    """Keys as a sentence lists them, by note names; three neighbours and more are drawn together.

    Parameters
    ----------
    keys : in any order; one that comes twice counts once
    most : how many names and ranges are told before the rest is only counted; None: all of them
    numbers : whether key numbers stand beside the names

    Returns
    -------
    str; "" where there are no keys

    Examples
    --------
    >>> keys_in_words([49, 40]), keys_in_words(range(40, 47)), keys_in_words([1, 3, 5, 7], most=2)
    ('C4 and A4', 'C4-F#4', 'A0, B0 and 2 more')
    >>> keys_in_words([1, 2, 3, 49], numbers=True)
    'A0-B0 (1-3) and A4 (49)'
    """
    runs = [
        run for whole in _neighbours(keys) for run in ([whole] if len(whole) > 2 else [[k] for k in whole])
    ]
    told = runs if most is None else runs[:most]
    words = [_run_in_words(run, numbers=numbers) for run in told]
    if left := sum(len(run) for run in runs[len(told) :]):
        words.append(f"{left} more")
    return " and ".join(filter(None, [", ".join(words[:-1]), *words[-1:]]))


def _neighbours(keys: Iterable[int]) -> list[list[int]]:
    """Keys in rising order, those that lie side by side together."""
    runs: list[list[int]] = []
    for key in sorted(set(keys)):
        if runs and key == runs[-1][-1] + 1:
            runs[-1].append(key)
        else:
            runs.append([key])
    return runs


def _run_in_words(run: list[int], *, numbers: bool) -> str:
    ends = run if len(run) == 1 else [run[0], run[-1]]
    beside = f" ({'-'.join(map(str, ends))})" if numbers else ""
    return "-".join(note_name(k) for k in ends) + beside


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
