"""The demonstration's drawings: the same every time, each of a condition and a point that exist, on its page."""

from __future__ import annotations

import re
from hashlib import sha256
from pathlib import Path

import pytest
from PIL import Image

from pianolab.casebook import Casebook
from pianolab.checklist import load_checklist, load_scenario
from pianolab.demo.drawn_photos import HEIGHT_PX, SUBJECTS, WIDTH_PX, draw_picture, load_pictures


@pytest.mark.parametrize("subject", SUBJECTS)
def test_a_subject_is_drawn_and_always_the_same(subject: str, tmp_path: Path) -> None:
    first, second = (draw_picture(subject, tmp_path / f"{n}.png") for n in (1, 2))
    assert first.read_bytes() == second.read_bytes()
    with Image.open(first) as image:
        assert image.size == (WIDTH_PX, HEIGHT_PX)
        assert len(image.convert("P", palette=Image.Palette.ADAPTIVE).getcolors() or ()) > 8


def test_no_two_look_alike(tmp_path: Path) -> None:
    drawn = {sha256(draw_picture(s, tmp_path / "a.png").read_bytes()).hexdigest() for s in SUBJECTS}
    assert len(drawn) == len(SUBJECTS)


def test_conditions_points_and_subjects_exist() -> None:
    checklist = load_checklist()
    conditions = set(load_scenario(checklist).conditions)
    pictures = load_pictures()
    assert {p.condition for p in pictures} == conditions
    assert {p.point for p in pictures} <= {p.id for p in checklist}
    assert {p.subject for p in pictures} <= set(SUBJECTS)
    assert all(p.caption.startswith("Drawing: ") for p in pictures), "never taken for a photo"


def test_they_stand_on_the_page_with_the_whole_piano_on_the_sheet(
    demo_folder: Path, demo_book: Casebook
) -> None:
    assert [len(demo_book.photos(v.id)) for v in demo_book.visits()] == [2] * 4
    html = (demo_folder / "comparison.html").read_text(encoding="utf-8")
    sheet, behind = html.split('<section id="stop"')
    assert re.findall(r'<img src="data:image/jpeg[^"]*" alt="([^"]*)"', sheet) == [
        "Drawing: Mill Lane grand, which doesn&#39;t exist"
    ]
    # each once: the one on the sheet is not shown again
    assert len(re.findall(r'<img src="data:image/jpeg', behind)) == 7


def test_the_crack_runs_along_the_bridge_from_pin_to_pin(tmp_path: Path) -> None:
    with Image.open(draw_picture("split bridge", tmp_path / "a.png")) as image:
        dark = image.convert("L").point(lambda grey: 255 if grey < 40 else 0)
        left, _, right, _ = dark.getbbox() or (0, 0, 0, 0)
    assert right - left > WIDTH_PX / 3, "over many pins"
    assert left > WIDTH_PX / 10, "not from the picture's corner"
