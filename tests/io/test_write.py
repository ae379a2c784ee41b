"""Writing: complete or not at all, and clips for a page."""

import io
import resource
import subprocess
import sys

import numpy as np
import pytest
import soundfile

from pianolab.errors import BadInput
from pianolab.io import clip_bytes, read_sound, write_sound

NOISE = (0.1 * np.random.default_rng(5).normal(size=(44100, 2))).clip(-1, 1).astype(np.float32)


@pytest.mark.parametrize(("suffix", "bits"), [(".wav", "24 bit"), (".flac", "24 bit")])
def test_lossless_round_trip(tmp_path, suffix, bits):
    path = write_sound(tmp_path / f"a{suffix}", NOISE, rate_hz=44100)
    sound = read_sound(path)
    assert sound.bits == bits
    assert np.abs(sound.samples - NOISE).max() <= 2.0**-23


def test_float_round_trip_is_exact(tmp_path):
    loud = 3.0 * NOISE
    path = write_sound(tmp_path / "a.wav", loud, rate_hz=44100, subtype="FLOAT")
    assert np.array_equal(read_sound(path).samples, loud)


@pytest.mark.parametrize(("suffix", "rate_hz"), [(".ogg", 44100), (".mp3", 44100), (".opus", 48000)])
def test_lossy_formats_have_the_right_length(tmp_path, suffix, rate_hz):
    sound = read_sound(write_sound(tmp_path / f"a{suffix}", NOISE, rate_hz=rate_hz))
    assert sound.samples.shape == NOISE.shape
    assert sound.lossy


def test_mono_as_a_plain_row(tmp_path):
    assert read_sound(write_sound(tmp_path / "a.flac", NOISE[:, 0], rate_hz=48000)).channels == 1


def test_a_long_lossy_file(tmp_path):
    # The encoders of lossy formats overrun their stack on one very long write.
    path = write_sound(tmp_path / "long.ogg", np.zeros(10_000_000, np.float32), rate_hz=16000)
    assert len(read_sound(path).samples) == 10_000_000


@pytest.mark.parametrize(
    ("name", "samples", "rate_hz", "said"),
    [
        ("a.xyz", NOISE, 44100, "suffix '.xyz'"),
        ("a.wav", 20 * NOISE, 44100, "a peak of"),
        ("a.wav", np.full((10, 1), np.nan), 44100, "no numbers"),
        ("a.wav", np.zeros((0, 1)), 44100, "samples of shape"),
        ("a.opus", NOISE, 44100, "44100 Hz, 2 channel"),
        ("no_folder/a.wav", NOISE, 44100, "a folder that doesn't exist"),
    ],
)
def test_refusals_leave_nothing_behind(tmp_path, name, samples, rate_hz, said):
    with pytest.raises(BadInput, match=said.replace("(", "\\(")):
        write_sound(tmp_path / name, samples, rate_hz=rate_hz)
    assert list(tmp_path.iterdir()) == []


def test_an_old_file_survives_a_failed_write(tmp_path):
    path = write_sound(tmp_path / "a.wav", NOISE, rate_hz=44100)
    before = path.read_bytes()
    with pytest.raises(BadInput):
        write_sound(path, 20 * NOISE, rate_hz=44100, replace=True)
    assert path.read_bytes() == before


@pytest.mark.slow
def test_a_full_disk_leaves_the_old_file(tmp_path):
    path = write_sound(tmp_path / "a.wav", NOISE[:1000], rate_hz=44100)
    before = path.read_bytes()
    code = (
        "import resource, sys, numpy as np; from pianolab.io import write_sound\n"
        "from pianolab.errors import BadInput\n"
        "resource.setrlimit(resource.RLIMIT_FSIZE, (100_000, 100_000))\n"
        "try: write_sound(sys.argv[1], np.zeros(500_000), rate_hz=44100, replace=True)\n"
        "except BadInput as error: print(error)\n"
    )
    done = subprocess.run([sys.executable, "-c", code, str(path)], capture_output=True, text=True, check=True)
    assert "room on the disk" in done.stdout
    assert path.read_bytes() == before
    assert [p.name for p in tmp_path.iterdir()] == ["a.wav"]


def test_the_limit_of_that_test_is_real():
    assert hasattr(resource, "RLIMIT_FSIZE")


@pytest.mark.parametrize(
    ("form", "mime", "start"),
    [
        ("ogg", "audio/ogg; codecs=vorbis", b"OggS"),
        ("opus", "audio/ogg; codecs=opus", b"OggS"),
        ("flac", "audio/flac", b"fLaC"),
        ("mp3", "audio/mpeg", None),
        ("wav", "audio/wav", b"RIFF"),
    ],
)
@pytest.mark.parametrize("rate_hz", [44100, 48000])
def test_clips(form, mime, start, rate_hz):
    clip = clip_bytes(NOISE, rate_hz=rate_hz, format=form)
    assert clip.mime == mime
    assert start is None or clip.data.startswith(start)
    sound = read_sound(io.BytesIO(clip.data))
    assert sound.rate_hz == (48000 if form == "opus" else rate_hz)
    assert sound.seconds == pytest.approx(len(NOISE) / rate_hz, abs=2e-4)


def test_an_opus_clip_sounds_at_the_same_pitch_and_level():
    t = np.arange(44100 * 2) / 44100
    clip = clip_bytes(0.3 * np.sin(2 * np.pi * 440 * t), rate_hz=44100, format="opus")
    sound = read_sound(io.BytesIO(clip.data))
    steady = sound.samples[24000:72000, 0]
    assert np.argmax(np.abs(np.fft.rfft(steady))) == 440
    assert np.sqrt(2 * np.mean(steady**2)) == pytest.approx(0.3, rel=0.02)
    assert len(clip.data) < 60_000


def test_unknown_clip_format():
    with pytest.raises(BadInput, match="one of opus, ogg"):
        clip_bytes(NOISE, rate_hz=44100, format="aiff")


def test_clip_in_a_format_that_cannot_hold_it():
    with pytest.raises(BadInput, match="3 channel"):
        clip_bytes(np.zeros((4800, 3)), rate_hz=48000, format="mp3")


def test_soundfile_reads_what_was_written(tmp_path):
    path = write_sound(tmp_path / "a.flac", NOISE, rate_hz=44100, subtype="PCM_16")
    assert soundfile.info(path).subtype == "PCM_16"
