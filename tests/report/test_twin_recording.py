"""The picture of a recording: what is loud where, which keys are marked, and that nothing is fetched or executed."""

from __future__ import annotations

import re
from types import SimpleNamespace
from typing import Any

import numpy as np
import pandas as pd
import pytest

from pianolab.errors import BadInput
from pianolab.figures.recording_plan import RANGE_DB, plan_recording
from pianolab.report import twin_recording
from pianolab.report.twin_recording import recording_picture

RATE = 16000


def two_tones() -> np.ndarray:
    """A4 in the first half, A5 ten dB softer in the second."""
    t = np.arange(2 * RATE) / RATE
    return np.concatenate([np.sin(2 * np.pi * 440 * t), 10**-0.5 * np.sin(2 * np.pi * 880 * t)])


def table() -> pd.DataFrame:
    return pd.DataFrame(
        {
            "key": [49, 61, 62],
            "status": ["measured", "measured", "skipped"],
            "onset_s": [0.0, 2.0, np.nan],
            "f1_hz": [440.0, np.nan, np.nan],
        }
    )


def test_a_tone_stands_at_its_pitch_and_time() -> None:
    plan = plan_recording(two_tones(), rate_hz=RATE)
    for time_s, hz, level_db in ((1.0, 440.0, 0.0), (3.0, 880.0, -10.0)):
        row = plan.level_db[int(np.argmin(np.abs(plan.time_s - time_s)))]
        at = int(np.nanargmax(row))
        assert abs(12 * np.log2(plan.hz[at] / hz)) <= 0.5
        # a tone between two bins of a Hann window reads up to 1.42 dB low (F. J. Harris, 1978, from memory)
        assert row[at] == pytest.approx(level_db, abs=1.45)
    assert np.nanmin(plan.level_db) >= -RANGE_DB - 1e-3
    assert np.isnan(plan.level_db[:, plan.hz > 0.52 * RATE]).all()


def test_only_what_was_read_is_marked_and_a_pitch_nobody_knows_has_no_ring() -> None:
    plan = plan_recording(two_tones(), rate_hz=RATE, table=table(), gaps_s=((1.0, 1.01),))
    assert [(s.note, s.f1_hz) for s in plan.struck] == [("A4", 440.0), ("A5", None)]
    picture = str(recording_picture(plan, title="<b>hall</b>"))
    assert re.findall(r">(A[45])</text>", picture) == ["A4", "A5"]
    assert picture.count("<circle") == 1
    assert picture.count("<rect") == 1
    assert "&lt;b&gt;hall" in picture
    assert "http" not in picture


def test_a_long_recording_stays_small() -> None:
    plan = plan_recording(np.random.default_rng(1).normal(0, 0.1, 60 * RATE), rate_hz=RATE)
    assert len(plan.time_s) <= 1201
    assert len(str(recording_picture(plan))) < 600_000


def test_too_little_sound_is_refused() -> None:
    with pytest.raises(BadInput, match=r"recording: got 0\.10 s"):
        plan_recording(np.zeros(1600), rate_hz=RATE)


def test_a_moment_lies_where_its_share_of_the_time_is_and_never_outside() -> None:
    plan: Any = SimpleNamespace(time_s=np.array([1.0, 2.0, 3.0]))
    places = [twin_recording._x(plan, t) for t in (0.0, 1.0, 1.5, 2.0, 3.0, 9.0)]
    left, wide = twin_recording.LEFT, twin_recording.WIDE
    assert places == pytest.approx([left + wide * s for s in (0.0, 0.0, 0.25, 0.5, 1.0, 1.0)], abs=0.05)
