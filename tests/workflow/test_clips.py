"""Clips for the page: the same keys of all, equally loud, cut where the note is."""

import io

import numpy as np
import pytest

from pianolab.acoustics import listen
from pianolab.io import Sound, a_weight_db, read_sound
from pianolab.sound_model import PianoModel, render_scale
from pianolab.workflow.clips import (
    LONGEST_S,
    PEAK,
    TELLING_KEYS,
    Cut,
    clip_keys,
    cut_note,
    loudness_db,
    make_clips,
)


def tone(level: float, *, f_hz: float = 1000.0, rate_hz: int = 44100, channels: int = 1) -> Cut:
    t = np.arange(2 * rate_hz) / rate_hz
    wave = (level * np.sin(2 * np.pi * f_hz * t) * np.exp(-t)).astype(np.float32)
    return Cut(key=40, samples=np.repeat(wave[:, None], channels, axis=1), rate_hz=rate_hz)


def decoded(clip) -> Cut:
    sound = read_sound(io.BytesIO(clip.data))
    return Cut(key=clip.key, samples=sound.samples, rate_hz=sound.rate_hz)


@pytest.mark.parametrize(
    ("f_hz", "db"), [(31.6228, -39.4), (100.0, -19.1), (1000.0, 0.0), (3981.07, 1.0), (7943.28, -1.1)]
)
def test_a_weighting(f_hz: float, db: float) -> None:
    """Rounded values of the standard's table [iec61672], from memory."""
    assert a_weight_db(f_hz) == pytest.approx(db, abs=0.06)


def test_a_full_tone_has_the_level_of_its_power() -> None:
    t = np.arange(44100) / 44100
    full = Cut(key=49, samples=np.sin(2 * np.pi * 1000 * t, dtype=np.float32)[:, None], rate_hz=44100)
    assert loudness_db(full) == pytest.approx(-3.01, abs=0.05)


@pytest.mark.parametrize("rate_hz", [44100, 96000])
def test_clips_of_one_key_are_equally_loud(rate_hz: int) -> None:
    cuts = {
        "loud": (tone(0.8, rate_hz=rate_hz),),
        "soft": (tone(0.01, f_hz=300.0, channels=2, rate_hz=rate_hz),),
    }
    clips = make_clips(dict.fromkeys(cuts), cuts)
    levels = [loudness_db(decoded(own[0])) for own in clips.values()]
    assert abs(levels[0] - levels[1]) < 0.7
    assert abs(loudness_db(cuts["loud"][0]) - loudness_db(cuts["soft"][0])) > 20.0
    assert all(np.abs(decoded(own[0]).samples).max() <= PEAK + 0.1 for own in clips.values())


@pytest.mark.slow
def test_clips_of_the_demonstration(demo_book) -> None:
    from pianolab.workflow import decide

    clips = decide(demo_book).clips
    assert len(clips) == 4
    assert len({tuple(c.key for c in own) for own in clips.values()}) == 1
    assert len(next(iter(clips.values()))) >= 4
    assert all(0.5 < c.seconds <= LONGEST_S + 0.2 for own in clips.values() for c in own)
    assert sum(len(c.data) for own in clips.values() for c in own) < 3e6
    levels = [loudness_db(decoded(own[0])) for own in clips.values()]
    assert max(levels) - min(levels) < 1.5


def test_keys_that_not_all_have_are_replaced_by_neighbours(survey_by_condition) -> None:
    surveys = dict(survey_by_condition)
    keys = clip_keys(surveys)
    assert set(keys) <= {k + d for k in TELLING_KEYS for d in (-2, -1, 0, 1, 2)}
    for survey in surveys.values():
        measured = set(survey.table.loc[survey.table["status"] == "measured", "key"])
        assert set(keys) <= measured


def test_no_surveys_no_keys() -> None:
    assert clip_keys({}) == ()


def test_a_cut_holds_its_note_and_not_the_next() -> None:
    scale = render_scale(PianoModel(seed=4), first_key=47, last_key=50, hold_s=1.0, gap_s=0.5, snr_db=50.0)
    survey = listen(scale.samples, rate_hz=scale.rate_hz, first_key=47, last_key=50)
    cut = cut_note(Sound(scale.samples[:, None], scale.rate_hz), survey, key=48)
    spectrum = np.abs(np.fft.rfft(cut.samples[:, 0] * np.hanning(len(cut.samples)), 1 << 18))
    f_hz = np.fft.rfftfreq(1 << 18, 1 / cut.rate_hz)

    def level(key: int) -> float:
        near = np.abs(f_hz / (440.0 * 2 ** ((key - 49) / 12)) - 1) < 0.006
        return float(20 * np.log10(spectrum[near].max()))

    assert level(48) > level(49) + 25.0
    assert level(48) > level(47) + 15.0
