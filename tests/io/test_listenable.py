"""An hour without notes is refused from its blocks; whatever holds a blow somewhere passes."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import soundfile

from pianolab.errors import BadInput
from pianolab.io import check_listenable, listenable, read_real_note
from pianolab.io.listenable import something_begins
from pianolab.workflow import listen_file

RATE_HZ = 16000


def recording(
    path: Path, minutes: int, *, level: float, note_at_min: float | None = None, red: float = 0.0
) -> Path:
    """Noise of a level (``red`` turns it to low frequencies), with one note of a real piano where asked."""
    from scipy.signal import lfilter

    rng = np.random.default_rng(8)
    with soundfile.SoundFile(path, "w", RATE_HZ, 1, "PCM_16") as file:
        for minute in range(minutes):
            part = level * lfilter([1.0], [1.0, -red], rng.standard_normal(60 * RATE_HZ))
            if note_at_min is not None and int(note_at_min) == minute:
                note = read_real_note(49)
                tone = note.samples[:: note.rate_hz // RATE_HZ, 0][: 5 * RATE_HZ]
                begin = int((note_at_min % 1) * 60 * RATE_HZ)
                part[begin : begin + len(tone)] += 10 * level * tone / np.abs(tone).max()
            file.write(part.astype(np.float32))
    return path


@pytest.mark.parametrize(
    ("level", "red", "words"),
    [(0.0, 0.0, "silence"), (0.01, 0.0, "steady noise"), (0.003, 0.98, "steady noise")],
)
def test_a_long_recording_without_notes_is_one_line(
    tmp_path: Path, level: float, red: float, words: str
) -> None:
    path = recording(tmp_path / "long.wav", 8, level=level, red=red)
    with pytest.raises(BadInput, match=words) as caught:
        listen_file(path)
    assert "\n" not in str(caught.value)
    assert "8 min" in str(caught.value)


@pytest.mark.parametrize("red", [0.0, 0.98])
@pytest.mark.parametrize("at", [0.4, 5.0, 7.9])
def test_one_note_anywhere_passes(tmp_path: Path, at: float, red: float) -> None:
    check_listenable(recording(tmp_path / "long.wav", 8, level=0.003, note_at_min=at, red=red))


def test_a_short_one_is_not_asked(tmp_path: Path) -> None:
    check_listenable(recording(tmp_path / "short.wav", 4, level=0.01))


def test_keys_played_fast_and_close_begin() -> None:
    """Three blows a second, all in one octave and never a pause: the densest that could be called a scale."""
    rng = np.random.default_rng(2)
    t = np.arange(RATE_HZ // 3) / RATE_HZ
    hz = 220.0 * 2.0 ** (np.arange(180) % 12 / 12)
    tones = [np.exp(-3 * t) * sum(np.sin(2 * np.pi * f * n * t) / n for n in range(1, 8)) for f in hz]
    samples = 0.1 * np.concatenate(tones)[:, None] + 0.001 * rng.standard_normal((180 * len(t), 1))
    assert something_begins(samples.astype(np.float32), rate_hz=RATE_HZ)


@pytest.mark.slow
def test_an_hour_takes_little_memory(tmp_path: Path) -> None:
    """Read whole, it would be 691 MB of samples alone; the limit of 600 MB is this project's own."""
    rng = np.random.default_rng(1)
    minute = (0.01 * rng.standard_normal(60 * 48000)).astype(np.float32)
    path = tmp_path / "hour.wav"
    with soundfile.SoundFile(path, "w", 48000, 1, "PCM_16") as file:
        for _ in range(60):
            file.write(minute)
    code = f"from pianolab.cli import main\nassert main(['listen', {str(path)!r}, '--csv', {str(tmp_path / 'x.csv')!r}]) == 2"
    done = subprocess.run(
        [sys.executable, "-c", code + "\nfrom benchmarks.fuzz import peak_mb; print(peak_mb())"],
        capture_output=True,
        text=True,
        check=True,
    )
    assert "1 h 0 min of steady noise" in done.stderr
    assert float(done.stdout.split()[-1]) < 600
    assert not (tmp_path / "x.csv").exists()


def test_without_the_look_noise_is_read_whole(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The twin: the same check that asks from an hour on lets eight minutes of noise by."""
    monkeypatch.setattr(listenable, "ASK_FROM_S", 3600.0)
    check_listenable(recording(tmp_path / "long.wav", 8, level=0.01))


def test_silence_that_lasts_as_long_as_it_must_to_be_asked_about_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(listenable, "ASK_FROM_S", 60.0)
    with pytest.raises(BadInput, match="silence"):
        check_listenable(recording(tmp_path / "minute.wav", 1, level=0.0))
    monkeypatch.setattr(listenable, "ASK_FROM_S", 60.1)
    check_listenable(tmp_path / "minute.wav")
