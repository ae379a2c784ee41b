"""A layer at the level that means "off" gives no line at all, and phantoms lie where two partials add up."""

from dataclasses import replace

import numpy as np
import pytest

from pianolab.sound_model import PianoModel
from pianolab.sound_model.amounts import OFF_DB
from pianolab.sound_model.note_modes import longitudinal_lines, phantom_lines

LEVEL = np.array([1.0, 0.5, 0.25])
POLES = -1.0 + 2j * np.pi * np.array([110.0, 220.5, 331.6])


def test_no_movement_along_the_strings_where_it_is_off() -> None:
    model = replace(PianoModel(seed=1), longitudinal_db=OFF_DB, phantom_db=0.0)
    assert longitudinal_lines(model, 20, LEVEL)[0].size == 0
    assert longitudinal_lines(replace(model, longitudinal_db=0.0), 20, LEVEL)[0].size > 1
    assert longitudinal_lines(replace(model, longitudinal_db=0.0, phantom_db=OFF_DB), 20, LEVEL)[0].size == 1


@pytest.mark.parametrize("partials", [2, 3])
def test_a_phantom_is_the_sum_of_two_neighbours(partials: int) -> None:
    """As in the Notes of the function [conklin1999]: from two partials on there is one for each pair."""
    model = replace(PianoModel(seed=1), phantom_db=0.0)
    amplitudes, poles = phantom_lines(model, 20, LEVEL[:partials], POLES[:partials])
    assert len(amplitudes) == partials - 1
    assert poles.imag / (2.0 * np.pi) == pytest.approx([330.5, 552.1][: partials - 1])
    assert phantom_lines(model, 20, LEVEL[:1], POLES[:1])[0].size == 0
    assert phantom_lines(replace(model, phantom_db=OFF_DB), 20, LEVEL, POLES)[0].size == 0
