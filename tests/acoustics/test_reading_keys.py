"""Blows read an octave off, put where their neighbours leave a key open; everything else is left as it was read."""

from __future__ import annotations

import numpy as np
import pytest

from pianolab.acoustics.keypath import NO_NOTE, KeyPath
from pianolab.acoustics.reading_keys import octaves_in_place


def path(keys: list[int]) -> KeyPath:
    own = np.array(keys)
    hz = 440.0 * 2.0 ** ((np.where(own == NO_NOTE, 49, own) - 49) / 12)
    return KeyPath(own, hz, np.ones(len(own)), np.full(len(own), 20.0), 0.0, 0)


def read(keys: list[int]) -> list[int]:
    return [int(k) for k in octaves_in_place(path(keys)).keys]


@pytest.mark.parametrize(
    ("keys", "right"),
    [
        ([74, 75, 88, 77, 78], [74, 75, 76, 77, 78]),
        ([74, 75, 88, 78, 79, 88], [74, 75, 76, 78, 79, 88]),
        ([78, 77, 88, 75, 74], [78, 77, 76, 75, 74]),
        ([74, 75, 88, 88, 77], [74, 75, 76, 76, 77]),  # struck twice
        ([10, 11, NO_NOTE, 36, 13], [10, 11, NO_NOTE, 12, 13]),
        ([40, 41, 30, 43, 44], [40, 41, 42, 43, 44]),
    ],
)
def test_an_octave_off_is_put_in_place(keys: list[int], right: list[int]) -> None:
    assert read(keys) == right
    found = octaves_in_place(path(keys))
    struck = np.array(right) != NO_NOTE
    assert found.f1_hz[struck] == pytest.approx(440.0 * 2.0 ** ((np.array(right)[struck] - 49) / 12))


@pytest.mark.parametrize(
    "keys",
    [
        [74, 75, 76, 77, 78],
        [74, 75, 87, 77, 78],  # eleven semitones: not an octave
        [74, 75, 88, 75, 76],  # nothing is missing between
        [20, 30, 52, 60, 70],  # a player who jumps about
        [74, 75, 88, 77, 76],  # the key in between is played later
    ],
)
def test_what_is_no_octave_stays(keys: list[int]) -> None:
    assert read(keys) == keys
