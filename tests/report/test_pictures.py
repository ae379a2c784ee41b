"""Photos: small, upright, without the place where they were taken."""

import io
import re
from dataclasses import replace
from datetime import date

import pytest
from PIL import Image

from pianolab.errors import BadInput
from pianolab.model import Finding
from pianolab.report import Picture, scaled_picture
from tests.report.test_page import make_page, outline, text_of


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


@pytest.mark.slow
def test_photos_stand_with_their_piano_and_go_with_the_names() -> None:
    photo = Picture(caption='<b onclick="x">bridge</b>', mime="image/jpeg", data=b"jpeg", point="plate")
    html = make_page(photos={"p0": (photo,)})
    sheet, behind = html.split('<section id="stop"')
    images = [a for tag, a in outline(sheet) if tag == "img"]
    assert [(a["src"], a["alt"]) for a in images] == [(photo.uri, photo.caption)]
    assert html.count(photo.uri) == 1, "each photo is inside once"
    lid = replace(photo, data=b"lid", point="lid")
    _, behind = make_page(photos={"p0": (photo, lid)}).split('<section id="stop"')
    assert [a["src"] for tag, a in outline(behind) if tag == "img"] == [lid.uri]
    assert not [
        a for tag, a in outline(make_page(photos={"p0": (photo,)}, leave_out=("names",))) if tag == "img"
    ]


@pytest.mark.slow
def test_photos_of_one_place_from_two_visits_stand_beside_each_other_with_their_days_and_the_finding() -> (
    None
):
    old, new = (
        Picture(caption="pins", mime="image/jpeg", data=day.isoformat().encode(), point="plate", day=day)
        for day in (date(2026, 3, 14), date(2026, 5, 2))
    )
    whole = Picture(caption="all of it", mime="image/jpeg", data=b"whole", day=new.day)
    finding = Finding(visit_id="v", point="plate", grade=2)
    html = make_page(photos={"p0": (whole, new, old)}, findings={"p0": (finding,)})
    (pair,) = re.findall(r'<li class="then-and-now">.*?</li>', html, re.DOTALL)
    assert pair.index(old.uri) < pair.index(new.uri)
    said = text_of(pair)
    assert said.index("2026-03-14") < said.index("2026-05-02") < said.index("poor (2 of 5)")
    assert "then-and-now" not in html.replace(".then-and-now", "").replace(pair, "")
    once = make_page(photos={"p0": (whole, new)}, findings={"p0": (finding,)})
    assert '<li class="then-and-now">' not in once
