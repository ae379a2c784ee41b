"""What no microphone gives: runs of exact zeros are marked from where they begin to where sound comes again."""

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from pianolab.widgets.recorder_session import LEAST_ZEROS_S, Session

RATE = 1000


def gaps_of(*pieces: list[float]) -> list[tuple[float, float]]:
    found: list[tuple[float, float]] = []
    session: Any = SimpleNamespace(
        about=SimpleNamespace(rate_hz=RATE),
        listener=SimpleNamespace(mark_gap=lambda begin, end: found.append((begin, end))),
        _at=0,
        _zeros=0,
    )
    for piece in pieces:
        Session._mark_zeros(session, np.array(piece, np.float32)[:, None])
        session._at += len(piece)
    return found


LONG = [0.0] * (2 * round(LEAST_ZEROS_S * RATE) + 2)
SHORT = [0.0] * max(1, round(LEAST_ZEROS_S * RATE) // 2)


def test_a_long_run_is_marked_and_a_short_one_is_sound() -> None:
    sound = [0.1] * 100
    ((begin, end),) = gaps_of(sound + LONG + sound + SHORT + sound)
    assert (begin, end) == pytest.approx((100 / RATE, (100 + len(LONG)) / RATE))


def test_a_run_over_two_pieces_is_one() -> None:
    sound = [0.1] * 50
    half = len(LONG) // 2
    ((begin, end),) = gaps_of(sound + LONG[:half], LONG[half:] + sound)
    assert (begin, end) == pytest.approx((50 / RATE, (50 + len(LONG)) / RATE))


def test_silence_before_the_first_sound_is_no_gap() -> None:
    assert gaps_of(LONG + [0.1] * 50) == []
