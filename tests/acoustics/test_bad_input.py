"""What can't be heard is refused in one clear line; what can still be heard is."""

import numpy as np
import pytest

from pianolab.acoustics import listen
from pianolab.errors import BadInput
from pianolab.sound_model import PianoModel, render_scale, room

RATE_HZ = 44100
RANDOM = np.random.default_rng(3)


def speech_like() -> np.ndarray:
    """Gliding harmonic syllables with noise bursts."""
    t = np.arange(12 * RATE_HZ) / RATE_HZ
    pitch = 130.0 * 2.0 ** (0.35 * np.sin(2 * np.pi * 0.45 * t) + 0.1 * np.sin(2 * np.pi * 2.3 * t))
    phase = 2 * np.pi * np.cumsum(pitch) / RATE_HZ
    voice = sum(np.sin(n * phase) / n for n in range(1, 16))
    syllable = np.clip(np.sin(2 * np.pi * 3.1 * t), 0, 1) ** 0.5
    hiss = RANDOM.standard_normal(len(t)) * np.clip(np.sin(2 * np.pi * 1.3 * t + 1), 0, 1) ** 8
    return 0.2 * voice * syllable + 0.1 * hiss


def scale(**changes: object) -> np.ndarray:
    made = render_scale(
        PianoModel(seed=9), room=room("home"), snr_db=40.0, hold_s=1.2, gap_s=0.4, seed=9, **changes
    )  # type: ignore[arg-type]
    return made.samples


@pytest.mark.parametrize(
    ("samples", "says"),
    [
        (np.zeros(5 * RATE_HZ), "got silence, need a recording of notes"),
        (0.1 * RANDOM.standard_normal(8 * RATE_HZ), "got no piano notes"),
        (speech_like(), "got no piano notes"),
        (np.zeros(0), "got no sound"),
        (np.zeros(100), "s of sound, need 0.6 s or more"),
        (np.full(5 * RATE_HZ, np.nan), "samples that are no numbers"),
    ],
    ids=["silence", "noise", "speech", "empty", "short", "not numbers"],
)
def test_no_notes(samples: np.ndarray, says: str) -> None:
    with pytest.raises(BadInput, match=says) as caught:
        listen(samples, rate_hz=RATE_HZ)
    assert "\n" not in str(caught.value)


def test_telephone_rate() -> None:
    with pytest.raises(BadInput, match="sampling rate of 8000 Hz, need 16000"):
        listen(np.ones(80000), rate_hz=8000)


@pytest.mark.slow
@pytest.mark.parametrize(("first_key", "last_key"), [(60, 80), (42, 62), (28, 48)])
def test_wrong_first_key_names_what_was_played(first_key: int, last_key: int) -> None:
    samples = scale(first_key=30, last_key=50)
    with pytest.raises(BadInput, match=r"sound like keys 30 .* Is it --first-key 30"):
        listen(samples, rate_hz=RATE_HZ, first_key=first_key, last_key=last_key)


def test_one_note_alone_is_not_another_key() -> None:
    samples = scale(first_key=49, last_key=49)
    assert listen(samples, rate_hz=RATE_HZ, first_key=49, last_key=49).summary.measured == 1
    with pytest.raises(BadInput, match="keys 49"):
        listen(samples, rate_hz=RATE_HZ, first_key=56, last_key=56)


def test_one_note_in_a_whole_compass_marks_the_rest() -> None:
    survey = listen(scale(first_key=49, last_key=49), rate_hz=RATE_HZ)
    assert survey.summary.measured == 1
    assert survey.table.set_index("key")["status"][49] == "measured"
    assert (survey.table["status"] == "skipped").sum() == 87


@pytest.mark.slow
def test_clipped_keys_are_measured_but_not_judged_by_level() -> None:
    samples = np.clip(4.0 * scale(first_key=40, last_key=60), -0.9, 0.9)
    survey = listen(samples, rate_hz=RATE_HZ, first_key=40, last_key=60)
    assert survey.summary.measured == 21
    assert len(survey.summary.clipped_keys) >= 5
    row = survey.table.set_index("key").loc[survey.summary.clipped_keys[0]]
    assert row["sustain_trust"] in ("clipped", "masked by unison")
    assert "voicing=clipped" in row["not_judged"]
    assert any("clipped" in w for w in survey.summary.warnings)
