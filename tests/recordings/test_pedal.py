"""The left pedal: level and colour by register, and what a grand and an upright say."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from pianolab.acoustics import Survey, listen
from pianolab.errors import BadInput
from pianolab.recordings import left_pedal
from pianolab.recordings.left_pedal import _level_words
from pianolab.sound_model import PianoModel, render_scale

KEYS = (28, 51)


@cache
def dry(hardness_db: float) -> tuple[np.ndarray, int]:
    made = render_scale(
        PianoModel(seed=8, hardness_db=hardness_db),
        first_key=KEYS[0],
        last_key=KEYS[1],
        hold_s=0.8,
        rate_hz=16000,
    )
    return made.samples, made.rate_hz


@cache
def recorded(gain: float = 1.0, hardness_db: float = 0.0, recorder: float = 1.0) -> Survey:
    """The piano softer by ``gain``, the microphone's noise as before, all through a recorder's gain."""
    sound, rate_hz = dry(hardness_db)
    noise = 1e-4 * np.random.default_rng(3).standard_normal(sound.shape)
    return listen(recorder * (gain * sound + noise), rate_hz=rate_hz, first_key=KEYS[0], last_key=KEYS[1])


@pytest.mark.slow
def test_softer_by_six_decibels_and_of_the_same_colour() -> None:
    told = left_pedal(recorded(), recorded(gain=0.5), kind="upright")
    assert told.one_gain
    for r in told.registers:
        assert r.level_db == pytest.approx(-6.02, abs=0.2)
        assert r.brightness_db == pytest.approx(0.0, abs=0.3)
    assert "nothing of their wear" in told.statements[1]


@pytest.mark.slow
def test_a_turned_recorder_is_not_taken_for_a_softer_piano() -> None:
    told = left_pedal(recorded(), recorded(recorder=0.5), kind="grand")
    assert told.one_gain is False
    assert {r.level_db for r in told.registers} == {None}
    assert "another gain" in told.registers[0].why


@pytest.mark.slow
def test_a_grand_that_turns_dark_points_to_the_hammers_and_one_that_does_not_does_not() -> None:
    dark = left_pedal(recorded(), recorded(hardness_db=-8.0), kind="grand")
    assert "clearly darker" in dark.statements[1]
    assert "common practice" in dark.statements[1]
    same = left_pedal(recorded(), recorded(gain=0.9), kind="grand")
    assert "little change of colour" in same.statements[1]


def test_bad_input_is_one_line() -> None:
    with pytest.raises(BadInput, match="grand or upright"):
        left_pedal(recorded(), recorded(gain=0.5), kind="square")  # type: ignore[arg-type]
    none = replace(recorded(), table=recorded().table.head(2))
    with pytest.raises(BadInput, match="or more in a register"):
        left_pedal(none, none, kind="grand")


def test_what_is_said_of_the_level_where_it_hardly_changes() -> None:
    assert _level_words([0.1, -0.1], [-6.0, -5.0], "") == "as loud as before, only darker"
    assert _level_words([0.1, -0.1], [0.2], "").startswith("next to no change")
    assert _level_words([-6.0, -4.0], [], "") == "softer by 5 dB"
    assert _level_words([], [], "too few keys") == "how much softer can't be told (too few keys)"
