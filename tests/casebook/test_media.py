"""The media folder: sound kept bit for bit, photos without what the camera knows."""

import io
import subprocess
import sys
import zlib
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from pianolab.casebook import gather, open_casebook
from pianolab.casebook.media import hash_in_name, hash_of, keep_bytes, keep_file
from pianolab.errors import BadInput, CasebookError
from pianolab.io import Sound, read_sound, write_sound
from pianolab.model import Photo

RNG = np.random.default_rng(11)


def noise(bits, shape=(4800, 2)):
    return (RNG.integers(-(2 ** (bits - 1)), 2 ** (bits - 1), shape) / 2.0 ** (bits - 1)).astype(np.float32)


def add(case, sound, **more):
    with case.book.editing(by="Ana") as edit:
        return edit.add_sound(case.visit.id, sound, **more)


@pytest.mark.parametrize(("bits", "subtype"), [(8, "PCM_U8"), (16, "PCM_16"), (24, "PCM_24")])
def test_sound_up_to_24_bits_becomes_flac_bit_for_bit(folder_case, tmp_path, bits, subtype):
    sent = noise(bits)
    path = write_sound(tmp_path / "scale.wav", sent, rate_hz=48000, subtype=subtype)
    recording = add(folder_case, path, first_key=4, last_key=85, a4_hz=442.0, note="lid open")
    assert recording.media.endswith(".flac")
    assert np.array_equal(read_sound(folder_case.book.media_path(recording.media)).samples, sent)
    form = (recording.rate_hz, recording.channels, recording.seconds, recording.original_name)
    assert form == (48000, 2, 0.1, "scale.wav")
    assert (recording.first_key, recording.last_key, recording.a4_hz, recording.note) == (
        4,
        85,
        442.0,
        "lid open",
    )
    assert folder_case.book.recordings(folder_case.visit.id) == (recording,)


@pytest.mark.parametrize(
    ("name", "subtype", "rate_hz"),
    [
        ("a.wav", "FLOAT", 48000),
        ("a.wav", "PCM_32", 48000),
        ("a.ogg", None, 48000),
        ("a.mp3", None, 44100),
        ("a.flac", "PCM_16", 48000),
    ],
)
def test_other_files_are_kept_as_they_are(folder_case, tmp_path, name, subtype, rate_hz):
    path = write_sound(tmp_path / name, 0.5 * noise(24), rate_hz=rate_hz, subtype=subtype)
    recording = add(folder_case, path)
    kept = folder_case.book.media_path(recording.media)
    assert kept.read_bytes() == path.read_bytes()
    assert kept.suffix == path.suffix


@pytest.mark.parametrize(
    ("samples", "suffix", "most_error"),
    [
        (noise(16), ".flac", 0.0),
        (noise(24), ".flac", 0.0),
        (0.1 * noise(24), ".flac", 2.0**-24),
        (np.array([[1.0], [0.5]]), ".flac", 2.0**-23),  # full scale itself doesn't fit into 16 bits
        (3.0 * noise(24), ".wav", 0.0),
    ],
)
def test_sound_from_memory(folder_case, samples, suffix, most_error):
    recording = add(folder_case, Sound(np.float32(samples), 44100, "modelled"))
    path = folder_case.book.media_path(recording.media)
    assert path.suffix == suffix
    assert np.abs(read_sound(path).samples - samples).max() <= most_error


def test_the_name_is_the_hash_and_the_same_sound_is_kept_once(folder_case, tmp_path):
    path = write_sound(tmp_path / "a.wav", noise(16), rate_hz=48000, subtype="PCM_16")
    one, other = add(folder_case, path), add(folder_case, path)
    assert one.media == other.media
    assert one.id != other.id
    kept = folder_case.book.media_path(one.media)
    assert hash_of(kept) == hash_in_name(one.media)
    assert [p.name for p in kept.parent.iterdir()] == [one.media]


def test_both_hashes_are_recorded(folder_case, tmp_path):
    path = write_sound(tmp_path / "a.wav", noise(16), rate_hz=48000, subtype="PCM_16")
    recording = add(folder_case, path)
    with folder_case.book._engine.connect() as connection:
        row = connection.exec_driver_sql("SELECT name, size, original_sha256 FROM media").one()
    assert row == (
        recording.media,
        folder_case.book.media_path(recording.media).stat().st_size,
        hash_of(path),
    )


def test_sound_kept_before_the_edit(folder_case, tmp_path):
    kept = folder_case.book.keep_sound(write_sound(tmp_path / "a.wav", noise(16), rate_hz=48000))
    assert add(folder_case, kept).media == kept.stored.name


def test_unusable_sound_adds_nothing(folder_case, tmp_path):
    (tmp_path / "text.wav").write_text("no sound at all, but some words")
    with pytest.raises(BadInput, match=r"text.wav: got text"):
        add(folder_case, tmp_path / "text.wav")
    path = write_sound(tmp_path / "a.wav", noise(16), rate_hz=48000)
    path.write_bytes(path.read_bytes()[:-100])
    with pytest.raises(BadInput, match="truncated"):
        add(folder_case, path)
    with folder_case.book.editing(by="Ana") as edit, pytest.raises(BadInput, match="Visit 'nowhere'"):
        edit.add_sound("nowhere", path)
    assert folder_case.book.recordings() == ()
    assert list((folder_case.book.folder / "media").iterdir()) == []


def test_lost_and_changed_media_are_found(folder_case, tmp_path):
    recording = add(folder_case, write_sound(tmp_path / "a.wav", noise(16), rate_hz=48000))
    path = folder_case.book.media_path(recording.media)
    (path.parent / "stray.txt").write_text("?")
    assert folder_case.book.verify().ok
    assert folder_case.book.verify().unused_media == ("stray.txt",)
    path.write_bytes(path.read_bytes() + b"x")
    assert folder_case.book.verify().problems == (f"media {recording.media}: content changed",)
    path.unlink()
    assert folder_case.book.verify().problems == (f"media {recording.media}: missing",)
    with pytest.raises(CasebookError, match="no such file in the media folder"):
        folder_case.book.media_path(recording.media)


@pytest.mark.parametrize(
    "name", ["../casebook.sqlite", "/etc/passwd", "a/b.flac", "..", "", ".x", "a.b.c", "C:\\a.flac"]
)
def test_media_names_do_not_lead_out(folder_case, name):
    with pytest.raises(BadInput, match="the name of a file in the media folder"):
        folder_case.book.media_path(name)


def photo(path, *, size=(60, 40), mode="RGB", exif=None, **more):
    image = Image.new(mode, size, "red" if mode != "P" else 1)
    image.paste("blue", (0, 0, size[0] // 2, size[1])) if mode == "RGB" else None
    image.save(path, **({"exif": exif} if exif else {}), **more)
    return path


def camera_data():
    exif = Image.Exif()
    exif[0x010F], exif[0x0110], exif[0x0112] = "Camera maker", "Camera model", 6
    exif.get_ifd(0x8825)[2] = (48.0, 12.0, 30.0)
    exif[0x8825] = {1: "N", 2: (48.0, 12.0, 30.0)}
    return exif


def add_photo(case, path, **more):
    with case.book.editing(by="Ana") as edit:
        added = edit.add_photo(case.visit.id, path, point="bridge-treble", caption="crack?", **more)
    return added, case.book.media_path(added.media)


def test_place_and_device_stay_behind(folder_case, tmp_path):
    path = photo(tmp_path / "a.jpg", exif=camera_data(), comment=b"taken at home")
    assert b"Camera maker" in path.read_bytes()
    added, kept = add_photo(folder_case, path)
    assert (added.point, added.caption, kept.suffix) == ("bridge-treble", "crack?", ".jpg")
    for word in (b"Camera", b"taken at home", b"Exif"):
        assert word not in kept.read_bytes()
    with Image.open(kept) as image:
        assert not image.getexif()
        assert image.size == (40, 60)  # turned upright, as the camera said
    assert folder_case.book.photos(folder_case.visit.id) == (added,)


def test_details_are_kept_when_asked(folder_case, tmp_path):
    _, kept = add_photo(folder_case, photo(tmp_path / "a.jpg", exif=camera_data()), keep_details=True)
    with Image.open(kept) as image:
        assert image.getexif()[0x0110] == "Camera model"
        assert image.size == (40, 60)
        assert image.getexif().get(0x0112, 1) == 1


@pytest.mark.parametrize(
    ("name", "mode", "kept_as"),
    [
        ("a.png", "RGB", ".png"),
        ("a.png", "RGBA", ".png"),
        ("a.png", "P", ".png"),
        ("a.webp", "RGB", ".jpg"),
        ("a.gif", "P", ".jpg"),
        ("a.tif", "L", ".jpg"),
        ("a.bmp", "RGB", ".jpg"),
        ("a.jpg", "CMYK", ".jpg"),
    ],
)
def test_formats_of_photos(folder_case, tmp_path, name, mode, kept_as):
    _, kept = add_photo(folder_case, photo(tmp_path / name, mode=mode))
    assert kept.suffix == kept_as
    with Image.open(kept) as image:
        assert image.size == (60, 40)
        assert image.format == {".jpg": "JPEG", ".png": "PNG"}[kept_as]


def test_large_photos_are_scaled_down(folder_case, tmp_path):
    _, kept = add_photo(folder_case, photo(tmp_path / "a.png", size=(8192, 2048)))
    with Image.open(kept) as image:
        assert image.size == (4096, 1024)


def png_of_size(width, height):
    """A PNG that is small on the disk and huge when unpacked."""
    import struct
    import zlib

    def chunk(name, content):
        return (
            struct.pack(">I", len(content)) + name + content + struct.pack(">I", zlib.crc32(name + content))
        )

    head = struct.pack(">IIBBBBB", width, height, 1, 0, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n"
        + chunk(b"IHDR", head)
        + chunk(b"IDAT", zlib.compress(bytes(1000)))
        + chunk(b"IEND", b"")
    )


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (png_of_size(10_000, 10_000), "10000 x 10000 pixels"),
        (png_of_size(100_000, 100_000), "unpacks to a huge size"),
        (png_of_size(500, 500), "a damaged picture"),
        (b"\xff\xd8\xff\xe0 no picture", "a damaged picture"),
        (b"", "a file of 0 bytes"),
        (b"<svg xmlns='http://www.w3.org/2000/svg'></svg>", "no picture"),
        (b"%!PS-Adobe-3.0 EPSF-3.0\n%%BoundingBox: 0 0 1 1\n", "no picture"),
    ],
)
def test_unusable_photos(folder_case, tmp_path, content, said):
    (tmp_path / "a.jpg").write_bytes(content)
    with pytest.raises(BadInput, match=said) as caught:
        add_photo(folder_case, tmp_path / "a.jpg")
    assert "\n" not in str(caught.value)
    assert folder_case.book.photos() == ()
    assert list((folder_case.book.folder / "media").iterdir()) == []


def test_a_truncated_photo(folder_case, tmp_path):
    room = io.BytesIO()
    Image.effect_noise((200, 200), 60).save(room, "JPEG")
    (tmp_path / "a.jpg").write_bytes(room.getvalue()[:3000])
    with pytest.raises(BadInput, match="a damaged picture"):
        add_photo(folder_case, tmp_path / "a.jpg")


def test_missing_photo(folder_case, tmp_path):
    for name in ("nothing.jpg", "."):
        with pytest.raises(BadInput, match="a folder" if name == "." else "no such file"):
            add_photo(folder_case, tmp_path / name)


@pytest.mark.slow
def test_a_disk_that_fills_up_while_media_are_kept(folder_case, tmp_path):
    path = write_sound(tmp_path / "a.wav", noise(24, (200_000, 2)), rate_hz=48000)
    folder_case.book.close()
    code = (
        "import resource, sys\n"
        "from pianolab.casebook import open_casebook\nfrom pianolab.errors import PianolabError\n"
        "book = open_casebook(sys.argv[1])\n"
        "kept = resource.getrlimit(resource.RLIMIT_FSIZE)\n"
        "resource.setrlimit(resource.RLIMIT_FSIZE, (300_000, kept[1]))\n"
        "try:\n"
        "    with book.editing(by='Ana') as edit: edit.add_sound(book.visits()[0].id, sys.argv[2])\n"
        "except PianolabError as error: print(error)\n"
        "print(len(book.recordings()), book.verify())\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, str(folder_case.book.folder), str(path)],
        capture_output=True,
        text=True,
        check=True,
    )
    assert "room on the disk" in done.stdout
    assert "0 Verification(problems=(), unused_media=())" in done.stdout
    assert [Path(p).name for p in (folder_case.book.folder / "media").iterdir()] == []


def bomb(path, side=100_000):
    """A PNG whose head promises far more pixels than anybody can hold."""
    Image.new("1", (8, 8)).save(path)
    data = bytearray(path.read_bytes())
    data[16:24] = side.to_bytes(4, "big") * 2
    data[29:33] = zlib.crc32(data[12:29]).to_bytes(4, "big")
    path.write_bytes(data)
    return path


def test_a_picture_bomb_is_refused_at_every_door(folder_case, tmp_path):
    from pianolab.workflow import export

    book, path = folder_case.book, bomb(tmp_path / "bomb.png")
    with book.editing(by="Ana") as edit, pytest.raises(BadInput, match="pixels"):
        edit.add_photo(folder_case.visit.id, path)
    # In a casebook that another program wrote it is named, left out where casebooks are gathered, and no page fails.
    stored = keep_file(book.folder, path, suffix=".png")
    with book.editing(by="Ana") as edit:
        edit._register(stored)
        photo = edit.add(Photo(visit_id=folder_case.visit.id, media=stored.name))
    assert any("pixels" in problem for problem in book.verify().problems)
    assert export(book, tmp_path / "page.html").paths
    result = gather([book.folder], into=tmp_path / "all")
    assert any(photo.id in problem and "pixels" in problem for problem in result.problems)
    with open_casebook(tmp_path / "all") as together:
        assert together.photos() == (photo,)
        assert not list((tmp_path / "all" / "media").iterdir())


def test_a_cut_off_picture_is_left_out_where_casebooks_are_gathered(folder_case, tmp_path):
    Image.effect_noise((600, 400), 80).save(tmp_path / "a.jpg")
    stored = keep_bytes(folder_case.book.folder, (tmp_path / "a.jpg").read_bytes()[:9000], suffix=".jpg")
    with folder_case.book.editing(by="Ana") as edit:
        edit._register(stored)
        edit.add(Photo(visit_id=folder_case.visit.id, media=stored.name))
    (problem,) = gather([folder_case.place], into=tmp_path / "all").problems
    assert "damaged picture" in problem


@pytest.mark.parametrize(
    ("name", "kept_as"),
    [
        ("a.OGG", ".ogg"),
        ("a", ".ogg"),
        ("a.-ogg", ".ogg"),
        ("a.ogg~", ".ogg"),
        ("a.öga", ".ogg"),
        ("a.x", ".x"),
    ],
)
def test_an_ending_of_letters_and_digits_is_kept_and_any_other_is_that_of_the_sound(
    folder_case, tmp_path, name, kept_as
):
    path = write_sound(tmp_path / "sent.ogg", 0.5 * noise(24), rate_hz=48000).rename(tmp_path / name)
    media = add(folder_case, path).media
    assert media[media.index(".") :] == kept_as
