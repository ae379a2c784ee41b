"""A note cut out of a recording: where it begins and ends, and that it begins and ends softly."""

from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pandas as pd
import pytest

from pianolab.errors import BadInput
from pianolab.io import Sound, write_sound
from pianolab.report.photos_and_clips import AFTER_S, BEFORE_S
from pianolab.widgets import one_key
from pianolab.workflow.clips import cut_note

RATE = 8000


def recording(seconds: float) -> Sound:
    """Every sample tells its own place."""
    samples = np.repeat(np.arange(round(seconds * RATE), dtype=np.float32)[:, None], 2, axis=1)
    return Sound(samples=samples, rate_hz=RATE)


def survey(**onset_and_hold: tuple[float, float]) -> Any:
    rows = [{"key": int(k[1:]), "onset_s": t, "hold_s": h} for k, (t, h) in onset_and_hold.items()]
    return SimpleNamespace(table=pd.DataFrame(rows))


def span_s(sound: Sound, survey: Any, **more: Any) -> tuple[float, float]:
    """First and last moment of the cut, read off the middle of it."""
    cut = cut_note(sound, survey, **more)
    middle = len(cut.samples) // 2
    first = (cut.samples[middle, 0] - middle) / RATE
    return first, first + len(cut.samples) / RATE


def test_it_goes_from_before_the_blow_to_after_the_release() -> None:
    found = span_s(recording(6.0), survey(k40=(1.0, 0.5), k41=(4.0, 0.5)), key=40)
    assert found == pytest.approx((1.0 - BEFORE_S, 1.5 + AFTER_S), abs=1e-3)


def test_it_ends_before_the_next_blow() -> None:
    found = span_s(recording(6.0), survey(k40=(1.0, 2.0), k41=(2.0, 0.5)), key=40)
    assert found == pytest.approx((1.0 - BEFORE_S, 2.0 - BEFORE_S), abs=1e-3)


def test_the_last_one_ends_with_the_sound_or_where_it_is_long_enough() -> None:
    found = survey(k40=(1.0, float("nan")))
    assert span_s(recording(1.8), found, key=40)[1] == pytest.approx(1.8, abs=1e-3)
    assert span_s(recording(6.0), found, key=40, longest_s=0.7)[1] == pytest.approx(1.7, abs=1e-3)


def test_it_comes_and_goes_softly_and_is_whole_between() -> None:
    sound = recording(6.0)
    sound.samples[:] = 1.0
    cut = cut_note(sound, survey(k40=(1.0, 0.5)), key=40).samples[:, 0]
    assert (cut[0], cut[-1]) == (0.0, 0.0)
    assert (cut[len(cut) // 2], cut.max()) == (1.0, 1.0)
    assert np.all(np.diff(cut[: len(cut) // 4]) >= 0.0)


def test_a_part_of_a_file_is_the_same_whichever_blocks_it_lies_in(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(one_key, "BLOCK_S", 0.5)
    samples = np.random.default_rng(2).uniform(-0.5, 0.5, (3 * RATE * 2, 1))
    path = write_sound(tmp_path / "long.wav", samples, rate_hz=RATE * 2, subtype="FLOAT")
    for start_s, stop_s in ((0.1, 0.3), (1.2, 1.4), (0.9, 2.3)):
        part, rate_hz = one_key._part(path, start_s, stop_s)
        assert rate_hz == RATE * 2
        assert np.allclose(part, samples[round(start_s * rate_hz) : round(stop_s * rate_hz)], atol=1e-6)


def test_a_key_that_was_not_recorded_has_no_note() -> None:
    heard = survey(k40=(1.0, 0.5), k41=(float("nan"), float("nan")))
    for key, name in ((41, "C#4"), (60, "G#5")):
        with pytest.raises(BadInput, match=f"{name}: got no sound of this key in the recording"):
            cut_note(recording(6.0), heard, key=key)
    assert len(cut_note(recording(6.0), heard, key=40).samples)
