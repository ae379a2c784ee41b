"""Files with bytes changed, cut out or put in: a sound comes back or one clear line, never anything else."""

import random

import numpy as np
import pytest

from pianolab.errors import BadInput
from pianolab.io import read_sound

KINDS = [
    "WAV PCM_16",
    "WAV FLOAT",
    "FLAC PCM_16",
    "OGG VORBIS",
    "OGG OPUS",
    "MP3 MPEG_LAYER_III",
    "AIFF PCM_16",
    "CAF ALAC_16",
    "AU PCM_16",
    "W64 PCM_16",
    "RF64 PCM_16",
    "aac ipod",
    "aac 3gp",
    "aac adts",
    "libopus webm",
    "alac ipod",
    "pcm_s16le mov",
]
TRIES = 25


def damaged(data: bytes, rng: random.Random) -> bytes:
    result = bytearray(data)
    for _ in range(rng.choice([1, 1, 3, 20])):
        place = rng.randrange(min(len(result), rng.choice([64, 300, len(result)])))
        result[place] = rng.choice([0, 255, rng.randrange(256)])
    if rng.random() < 0.2:
        del result[rng.randrange(len(result)) :]
    if rng.random() < 0.1:
        place = rng.randrange(len(result) + 1)
        result[place:place] = rng.randbytes(rng.randrange(200))
    return bytes(result)


@pytest.mark.parametrize("kind", KINDS)
def test_damaged_files_give_sound_or_one_line(tmp_path, save, encode, kind, capfd):
    first, second = kind.split()
    sent = (0.1 * np.random.default_rng(0).normal(size=(9600, 1))).astype(np.float32)
    if first.isupper():
        path = save(sent, 48000, form=first, subtype=second)
    else:
        path = encode(sent, 48000, codec=first, container=second)
    data, rng = path.read_bytes(), random.Random(kind)
    bad = tmp_path / "bad"
    lines = []
    for _ in range(TRIES):
        bad.write_bytes(damaged(data, rng))
        try:
            sound = read_sound(bad, max_seconds=600.0)
        except BadInput as error:
            lines.append(str(error))
        else:
            assert np.isfinite(sound.samples).all()
            assert len(sound.samples)
    assert lines
    assert all("\n" not in line and ": got " in line for line in lines)
    assert capfd.readouterr().err == ""
