"""Every format a phone, a recorder or a browser makes comes back as it was recorded."""

import numpy as np
import pytest

from pianolab.io import read_blocks, read_sound, sound_info

SOUNDFILE = [  # container, coding, rate, bits in words, lossy, codec; level within dB (8-bit steps, lossy codecs)
    ("WAV", "PCM_16", 44100, "16 bit", False, "PCM", 0.01),
    ("WAV", "PCM_U8", 44100, "8 bit", False, "PCM", 0.1),
    ("WAV", "PCM_24", 192000, "24 bit", False, "PCM", 0.01),
    ("WAV", "PCM_32", 88200, "32 bit", False, "PCM", 0.01),
    ("WAV", "FLOAT", 48000, "32 bit float", False, "PCM", 0.01),
    ("WAV", "DOUBLE", 48000, "64 bit float", False, "PCM", 0.01),
    ("WAV", "ULAW", 16000, "coded", True, "mu-law", 0.1),
    ("WAVEX", "PCM_24", 48000, "24 bit", False, "PCM", 0.01),
    ("RF64", "PCM_16", 44100, "16 bit", False, "PCM", 0.01),
    ("W64", "PCM_16", 44100, "16 bit", False, "PCM", 0.01),
    ("AIFF", "PCM_16", 44100, "16 bit", False, "PCM", 0.01),
    ("AU", "PCM_16", 44100, "16 bit", False, "PCM", 0.01),
    ("CAF", "PCM_24", 44100, "24 bit", False, "PCM", 0.01),
    ("CAF", "ALAC_16", 44100, "16 bit", False, "ALAC", 0.01),
    ("FLAC", "PCM_16", 16000, "16 bit", False, "FLAC", 0.01),
    ("FLAC", "PCM_24", 96000, "24 bit", False, "FLAC", 0.01),
    ("OGG", "VORBIS", 44100, "coded", True, "Vorbis", 0.15),
    ("OGG", "OPUS", 48000, "coded", True, "Opus", 0.15),
    ("OGG", "OPUS", 24000, "coded", True, "Opus", 0.15),
    ("MP3", "MPEG_LAYER_III", 44100, "coded", True, "MP3", 0.15),
    ("MP3", "MPEG_LAYER_III", 32000, "coded", True, "MP3", 0.15),
]
CONTAINERS = [  # codec, container, rate, film, bits, lossy, codec name
    ("aac", "ipod", 44100, False, "coded", True, "AAC"),
    ("aac", "mp4", 48000, True, "coded", True, "AAC"),
    ("aac", "mp4", 96000, False, "coded", True, "AAC"),
    ("aac", "mov", 32000, True, "coded", True, "AAC"),
    ("aac", "3gp", 16000, False, "coded", True, "AAC"),
    ("aac", "3gp", 16000, True, "coded", True, "AAC"),
    ("alac", "ipod", 44100, False, "24 bit", False, "ALAC"),
    ("pcm_s16le", "mov", 96000, True, "16 bit", False, "PCM"),
    ("libopus", "webm", 48000, False, "coded", True, "Opus"),
    ("libopus", "webm", 48000, True, "coded", True, "Opus"),
    ("libopus", "matroska", 48000, False, "coded", True, "Opus"),
]


def level_db(samples, column, rate_hz):
    """Level of the steady sine in dB against its known amplitude of 0.3."""
    steady = samples[rate_hz : rate_hz + rate_hz // 2, column]
    return 20 * np.log10(np.sqrt(2 * np.mean(steady.astype(float) ** 2)) / 0.3)


def strongest_hz(samples, column, rate_hz):
    steady = samples[rate_hz : rate_hz + rate_hz // 2, column]
    return np.argmax(np.abs(np.fft.rfft(steady))) * rate_hz / len(steady)


def shift_frames(sent, got):
    size = 1 << (len(sent) + len(got)).bit_length()
    both = np.fft.irfft(np.fft.rfft(got, size) * np.conj(np.fft.rfft(sent, size)))
    best = int(np.argmax(both))
    return best - size if best > size // 2 else best


def check(sound, sent, rate_hz, *, within_db):
    assert sound.samples.dtype == np.float32
    assert sound.samples.shape == sent.shape
    assert sound.rate_hz == rate_hz
    for column in range(sent.shape[1]):
        assert abs(level_db(sound.samples, column, rate_hz)) < within_db
        assert strongest_hz(sound.samples, column, rate_hz) == pytest.approx(440 + 110 * column, abs=2.0)


@pytest.mark.parametrize(("form", "subtype", "rate_hz", "bits", "lossy", "codec", "within_db"), SOUNDFILE)
@pytest.mark.parametrize("channels", [1, 2])
def test_soundfile_formats(tone, save, form, subtype, rate_hz, bits, lossy, codec, within_db, channels):
    sent = tone(rate_hz, channels)
    path = save(sent, rate_hz, form=form, subtype=subtype)
    sound = read_sound(path)
    check(sound, sent, rate_hz, within_db=within_db)
    assert (sound.bits, sound.lossy, sound.codec, sound.name) == (bits, lossy, codec, "made")


@pytest.mark.parametrize(("codec", "container", "rate_hz", "film", "bits", "lossy", "codec_name"), CONTAINERS)
@pytest.mark.parametrize("channels", [1, 2])
def test_containers(tone, encode, codec, container, rate_hz, film, bits, lossy, codec_name, channels):
    sent = tone(rate_hz, channels)
    sound = read_sound(encode(sent, rate_hz, codec=codec, container=container, film=film))
    check(sound, sent, rate_hz, within_db=0.05)
    assert (sound.bits, sound.lossy, sound.codec) == (bits, lossy, codec_name)


def test_the_level_check_has_teeth(tone):
    sent = tone(44100, 2)
    assert abs(level_db(0.98 * sent, 0, 44100)) > 0.15
    assert strongest_hz(sent[:, ::-1], 0, 44100) != pytest.approx(440, abs=2.0)


@pytest.mark.parametrize(
    ("codec", "container"), [("aac", "ipod"), ("aac", "mov"), ("aac", "3gp"), ("libopus", "webm")]
)
def test_what_a_codec_adds_in_front_is_taken_off(hiss, encode, codec, container):
    sent = hiss(48000)
    sound = read_sound(encode(sent, 48000, codec=codec, container=container))
    assert shift_frames(sent[:, 0], sound.samples[:, 0]) == 0
    assert len(sound.samples) == len(sent)


@pytest.mark.parametrize(("form", "subtype"), [("OGG", "VORBIS"), ("OGG", "OPUS"), ("MP3", "MPEG_LAYER_III")])
@pytest.mark.parametrize("rate_hz", [16000, 24000, 48000])
def test_no_shift_through_soundfile(hiss, save, form, subtype, rate_hz):
    sent = hiss(rate_hz)
    sound = read_sound(save(sent, rate_hz, form=form, subtype=subtype))
    assert abs(shift_frames(sent[:, 0], sound.samples[:, 0])) <= 1
    assert len(sound.samples) == len(sent)


def test_raw_aac_keeps_its_unannounced_delay(hiss, encode):
    # An AAC stream without a container has no place to announce the encoder's delay of one packet (1024).
    sent = hiss(44100)
    sound = read_sound(encode(sent, 44100, codec="aac", container="adts"))
    assert shift_frames(sent[:, 0], sound.samples[:, 0]) == 1024


@pytest.mark.parametrize(("form", "subtype"), [("WAV", "PCM_16"), ("FLAC", "PCM_24"), ("CAF", "PCM_24")])
def test_lossless_formats_keep_every_bit(save, form, subtype):
    step = 2.0 ** (1 - int(subtype[4:]))
    sent = (np.random.default_rng(1).integers(-30000, 30000, (5000, 3)) * step).astype(np.float32)
    sound = read_sound(save(sent, 48000, form=form, subtype=subtype))
    assert np.array_equal(sound.samples, sent)
    assert sound.channels == 3


def test_float_files_keep_samples_beyond_full_scale(save):
    sent = np.array([[0.0], [1.7], [-2.5], [1e-20]], np.float32)
    assert np.array_equal(read_sound(save(sent, 48000, form="WAV", subtype="FLOAT")).samples, sent)


@pytest.mark.parametrize("suffix", [".txt", ".mp3", ".jpg", ""])
def test_content_decides_not_the_name(tone, save, suffix):
    path = save(tone(44100), 44100, form="FLAC", subtype="PCM_16", name=f"scale{suffix}")
    assert read_sound(path).codec == "FLAC"


@pytest.mark.parametrize("kind", ["soundfile", "container", "webm"])
def test_blocks_are_the_whole(tone, save, encode, kind):
    sent = tone(48000, 2, seconds=1.3)
    path = {
        "soundfile": lambda: save(sent, 48000, form="OGG", subtype="VORBIS"),
        "container": lambda: encode(sent, 48000, codec="aac", container="ipod"),
        "webm": lambda: encode(sent, 48000, codec="libopus", container="webm"),
    }[kind]()
    blocks = list(read_blocks(path, block_s=0.25))
    assert [len(block.samples) for block in blocks] == [12000] * 5 + [2400]
    assert {(block.rate_hz, block.channels) for block in blocks} == {(48000, 2)}
    assert np.array_equal(np.concatenate([block.samples for block in blocks]), read_sound(path).samples)


def test_info_without_reading(tone, save, encode):
    info = sound_info(save(tone(44100, 2), 44100, form="WAV", subtype="PCM_16"))
    assert (info.seconds, info.channels, info.rate_hz, info.bits) == (2.0, 2, 44100, "16 bit")
    assert "2 s, 44.1 kHz, stereo, PCM" in repr(info)
    browser = sound_info(encode(tone(48000), 48000, codec="libopus", container="webm"))
    assert browser.seconds is None
    assert "unknown length" in repr(browser)


@pytest.mark.parametrize("total", [0, 1])
def test_wav_written_without_knowing_its_length(tone, save, total):
    path = save(tone(44100), 44100, form="WAV", subtype="PCM_16")
    data = bytearray(path.read_bytes())
    at = data.index(b"data")
    data[at + 4 : at + 8] = b"\xff\xff\xff\xff"
    if total:
        data[4:8] = b"\xff\xff\xff\xff"
    path.write_bytes(data)
    assert read_sound(path).seconds == 2.0


def test_flac_written_without_knowing_its_length(tone, save):
    sent = tone(44100)
    path = save(sent, 44100, form="FLAC", subtype="PCM_16")
    data = bytearray(path.read_bytes())
    data[21] &= 0xF0  # the 36-bit total of frames in the first block: 0 means unknown
    data[22:26] = bytes(4)
    path.write_bytes(data)
    sound = read_sound(path)
    assert (len(sound.samples), sound.bits) == (len(sent), "16 bit")


def test_a_file_object_is_read_like_a_path(tone, save):
    path = save(tone(44100), 44100, form="FLAC", subtype="PCM_16")
    with path.open("rb") as file:
        assert np.array_equal(read_sound(file).samples, read_sound(path).samples)
