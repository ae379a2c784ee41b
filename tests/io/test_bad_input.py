"""Files that can't be used are refused with one line: what was found, what is needed, the likely cause."""

import io
import os
import tracemalloc

import numpy as np
import pytest
import soundfile

from pianolab.errors import BadInput
from pianolab.io import read_blocks, read_sound, sound_info
from pianolab.io.containers import _kind_of_mpeg

SECOND = np.zeros((48000, 1), np.float32)


def refusal(source, **settings):
    with pytest.raises(BadInput) as caught:
        read_sound(source, **settings)
    line = str(caught.value)
    assert "\n" not in line
    assert ": got " in line
    assert ", need " in line
    return line


def test_missing_file(tmp_path):
    assert "got no such file" in refusal(tmp_path / "nothing.wav")


def test_impossible_name():
    assert "can't be opened" in refusal("a\0b.wav")


def test_folder(tmp_path):
    assert "got a folder" in refusal(tmp_path)


def test_empty_file(tmp_path):
    (tmp_path / "empty.wav").write_bytes(b"")
    assert refusal(tmp_path / "empty.wav").startswith("empty.wav: got an empty file")


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"hello, this is a shopping list\n" * 20, "got text"),
        ("Grüße\n".encode() * 20, "got text"),
        (b"\x89PNG\r\n\x1a\n" + bytes(200), "a picture"),
        (b"\xff\xd8\xff\xe0" + bytes(200), "a picture"),
        (b"PK\x03\x04" + bytes(200), "a zip archive"),
        (b"%PDF-1.7" + bytes(200), "a PDF document"),
        (bytes(1000), "nothing but zero bytes"),
        (bytes(range(256)) * 10, "no known sound format"),
        (b"RIFF\x10\0\0\0AVI LIST", "a RIFF file without sound"),
        (b"#EXTM3U\nhttp://127.0.0.1:9/a.ts\n", "got text"),
        (b"\xff", "no known sound format"),
    ],
)
def test_other_content_with_a_sound_name(tmp_path, content, said):
    path = tmp_path / "renamed.wav"
    path.write_bytes(content)
    assert said in refusal(path)


@pytest.mark.parametrize(
    "start",
    [
        b"RIFF\x10\0\0\0WAVEfmt ",
        b"fLaC",
        b"OggS",
        b"ID3\x04",
        b"\x1a\x45\xdf\xa3",
        b"\0\0\0\x18ftypmp42",
        b"#!AMR\n",
        b"caff\0\1\0\0",
        b"FORM\0\0\0\0AIFF",
    ],
)
@pytest.mark.parametrize("rest", [b"", b"rubbish " * 100])
def test_a_right_beginning_and_rubbish_after(tmp_path, start, rest):
    path = tmp_path / "broken"
    path.write_bytes(start + rest)
    refusal(path)


SOUNDFILE_FORMATS = [
    ("WAV", "PCM_16"),
    ("AIFF", "PCM_16"),
    ("FLAC", "PCM_16"),
    ("CAF", "PCM_16"),
    ("AU", "PCM_16"),
    ("W64", "PCM_16"),
    ("RF64", "PCM_16"),
    ("OGG", "VORBIS"),
    ("OGG", "OPUS"),
    ("MP3", "MPEG_LAYER_III"),
]


@pytest.mark.parametrize(("form", "subtype"), SOUNDFILE_FORMATS)
@pytest.mark.parametrize("part", [0.35, 0.6, 0.97])
def test_truncated_files(tone, save, form, subtype, part, capfd):
    path = save(tone(48000), 48000, form=form, subtype=subtype)
    data = path.read_bytes()
    path.write_bytes(data[: int(part * len(data))])
    line = refusal(path)
    assert "truncated" in line or "can't be decoded" in line or "damaged" in line
    assert capfd.readouterr().err == ""


@pytest.mark.parametrize(
    ("codec", "container", "options"),
    [
        ("aac", "mp4", {}),
        ("aac", "mp4", {"movflags": "faststart"}),
        ("aac", "mov", {}),
        ("aac", "3gp", {}),
        ("libopus", "webm", {}),
        ("aac", "adts", {}),
    ],
)
@pytest.mark.parametrize("part", [0.35, 0.6, 0.97])
def test_truncated_containers(tone, encode, codec, container, options, part):
    path = encode(tone(48000), 48000, codec=codec, container=container, options=options)
    data = path.read_bytes()
    path.write_bytes(data[: int(part * len(data))])
    line = refusal(path)
    assert "truncated" in line or "can't be decoded" in line
    assert "cut off?" in line


def test_film_without_sound(film_without_sound):
    assert "a film without a sound track" in refusal(film_without_sound)


@pytest.mark.parametrize("rate_hz", [8000, 11025])
def test_telephone_quality(save, rate_hz):
    line = refusal(save(SECOND, rate_hz, form="WAV", subtype="PCM_U8"))
    assert "telephone quality" in line
    assert "16 kHz or more" in line


def test_telephone_quality_of_phone_codecs(tmp_path):
    """From memory of RFC 4867: a mark, then frames of 20 ms, here of the lowest rate (not every build can write them)."""
    path = tmp_path / "message.amr"
    path.write_bytes(b"#!AMR\n" + (b"\x04" + bytes(range(12))) * 100)
    assert "8 kHz, telephone quality" in refusal(path)


def test_the_lowest_rate_and_8_bits_are_taken(save):
    sound = read_sound(save(SECOND, 16000, form="WAV", subtype="PCM_U8"))
    assert (sound.rate_hz, sound.bits) == (16000, "8 bit")


def test_absurd_rate(save):
    assert "192 kHz or less" in refusal(save(SECOND, 384000, form="WAV", subtype="PCM_16"))


@pytest.mark.parametrize(("form", "subtype"), [("WAV", "PCM_16"), ("AU", "PCM_16"), ("AIFF", "PCM_16")])
def test_no_sound_at_all(save, form, subtype):
    assert "0 s of sound" in refusal(save(SECOND[:0], 48000, form=form, subtype=subtype))


def test_unfinished_wav(save):
    path = save(SECOND, 48000, form="WAV", subtype="PCM_16")
    data = bytearray(path.read_bytes())
    at = data.index(b"data")
    data[at + 4 : at + 8] = bytes(4)
    path.write_bytes(data)
    assert "switched off before it had finished" in refusal(path)


@pytest.mark.parametrize("bad", [np.nan, np.inf])
def test_samples_that_are_no_numbers(save, bad):
    samples = SECOND.copy()
    samples[30000] = bad
    path = save(samples, 48000, form="WAV", subtype="FLOAT")
    assert "no numbers" in refusal(path)
    with pytest.raises(BadInput, match="no numbers"):
        list(read_blocks(path, block_s=0.1))


def test_too_long(save):
    path = save(SECOND, 48000, form="WAV", subtype="PCM_16")
    line = refusal(path, max_seconds=0.5)
    assert "1 s of 1-channel sound" in line
    assert "read_blocks" in line


def test_too_long_where_the_header_does_not_tell(tone, encode):
    path = encode(tone(48000, seconds=3.0), 48000, codec="libopus", container="webm")
    assert "0.5 s or less" in refusal(path, max_seconds=0.5)


def test_a_header_that_announces_hours_takes_no_memory(tmp_path):
    # Three hours of 192 kHz stereo: a sparse file, as large on paper as the header says.
    path = tmp_path / "long.wav"
    room = io.BytesIO()
    soundfile.write(room, np.zeros((1, 2)), 192000, format="RF64", subtype="PCM_24")
    data = bytearray(room.getvalue())
    size = 3 * 3600 * 192000 * 6
    data[20:28] = (size + len(data) - 8).to_bytes(8, "little")
    data[28:36] = size.to_bytes(8, "little")
    path.write_bytes(data)
    os.truncate(path, len(data) + size)
    tracemalloc.start()
    line = refusal(path, max_seconds=1e9)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert "3 h 0 min of 2-channel sound at 192 kHz" in line
    assert peak < 5e6
    assert sound_info(path).seconds == pytest.approx(10800, abs=0.1)
    blocks = read_blocks(path, block_s=1.0)
    assert next(blocks).samples.shape == (192000, 2)
    blocks.close()


def test_blocks_take_bounded_memory(tmp_path):
    path = tmp_path / "minutes.flac"
    soundfile.write(path, np.zeros((48000 * 240, 1), np.int16), 48000)
    tracemalloc.start()
    total = sum(len(block.samples) for block in read_blocks(path, block_s=1.0))
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert total == 48000 * 240
    assert peak < 4e6  # a block of 1 s is 0.19 MB; the whole would be 46 MB


@pytest.mark.parametrize(
    ("head", "kind"),
    [
        ("fffb90", "mp3"),
        ("fff390", "mp3"),
        ("fffbf0", None),
        ("fffb9c", None),
        ("ffeb90", None),
        ("fffd90", None),
        ("fff150", "aac"),
    ],
)
def test_the_head_of_a_compressed_frame_tells_what_it_is(head: str, kind: str | None) -> None:
    """From memory of ISO 11172-3: eleven set bits, version, layer 3; a bit rate or a sample rate of all ones is none."""
    assert _kind_of_mpeg(bytes.fromhex(head + "00")) == kind
