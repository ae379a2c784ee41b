"""Photos: small, upright, without the place where they were taken."""

import io

import pytest
from PIL import Image

from pianolab.errors import BadInput
from pianolab.report import Picture, scaled_picture
from tests.report.test_page import make_page, outline


def test_a_photo_is_scaled_turned_and_stripped(tmp_path) -> None:
    exif = Image.Exif()
    exif[0x0112] = 6  # orientation: turned by a quarter; exif tag number from memory
    exif[0x010E] = "12 Lime Row"
    Image.new("RGB", (3000, 2000), "red").save(tmp_path / "a.jpg", exif=exif)
    picture = scaled_picture(tmp_path / "a.jpg", caption="bridge")
    image = Image.open(io.BytesIO(picture.data))
    assert image.size == (667, 1000)
    assert b"Lime Row" not in picture.data
    assert len(picture.data) < 60_000


def test_not_a_picture(tmp_path) -> None:
    (tmp_path / "a.jpg").write_text("no picture")
    with pytest.raises(BadInput, match="need a photo"):
        scaled_picture(tmp_path / "a.jpg")
    with pytest.raises(BadInput, match="mime: got 'image/svg"):
        Picture(caption="", mime="image/svg+xml", data=b"<svg/>")


def test_photos_stand_with_their_piano_and_go_with_the_names() -> None:
    photo = Picture(caption='<b onclick="x">bridge</b>', mime="image/jpeg", data=b"jpeg", point="plate")
    html = make_page(photos={"p0": (photo,)})
    sheet, behind = html.split('<section id="stop"')
    for part in (sheet, behind):
        images = [a for tag, a in outline(part) if tag == "img"]
        assert [(a["src"], a["alt"]) for a in images] == [(photo.uri, photo.caption)]
    assert not [
        a for tag, a in outline(make_page(photos={"p0": (photo,)}, leave_out=("names",))) if tag == "img"
    ]
