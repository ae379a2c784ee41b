"""Photos, whole areas, lids that stay shut, taking back after a restart, two people at one visit."""

from __future__ import annotations

import io
import re
import sys
from dataclasses import replace
from typing import Any

import pytest
from PIL import Image
from widget_driver import Driver
from widget_small import CHECKLIST, HEIC

from pianolab.casebook import Casebook, open_casebook
from pianolab.checklist import Checklist, load_checklist
from pianolab.model import Visit
from pianolab.widgets import FindingsForm

Opened = tuple[Casebook, Visit]


def picture(colour: str = "brown", *, form: str = "JPEG", **more: Any) -> bytes:
    room = io.BytesIO()
    Image.new("RGB", (900, 600), colour).save(room, form, **more)
    return room.getvalue()


def photo(driver: Driver, data: bytes, *, name: str = "pins.jpg", point: str = "grooves") -> dict[str, Any]:
    return driver.send(do="photo", point=point, name=name, buffers=[memoryview(data)])


def test_a_photo_belongs_to_its_point_and_is_shown_small(driver: Driver, visit_and_book: Opened) -> None:
    casebook, visit = visit_and_book
    driver.go("grooves")
    assert photo(driver, picture())["line"].startswith("Photo saved at ")
    (kept,) = casebook.photos(visit.id)
    assert (kept.point, driver.point["photos"]) == ("grooves", [kept.id])
    small = driver.form.pictures[kept.id]
    assert small.startswith("data:image/jpeg;base64,")
    assert len(small) < 20_000
    assert [c.by for c in casebook.log(kept.id)] == ["Ana"]


def test_where_and_with_what_it_was_taken_stays_behind(driver: Driver, visit_and_book: Opened) -> None:
    casebook, visit = visit_and_book
    details = Image.Exif()
    details[0x010F] = "Telltale camera"
    photo(driver, picture(exif=details.tobytes()))
    with Image.open(casebook.media_path(casebook.photos(visit.id)[0].media)) as kept:
        assert dict(kept.getexif()) == {}
    with Image.open(io.BytesIO(picture(exif=details.tobytes()))) as sent:
        assert 0x010F in sent.getexif(), "the test's own photo has no details"


@pytest.mark.parametrize(
    ("data", "line"),
    [(b"", "got 0 bytes"), (b"not a picture", "content that is no picture"), (picture()[:500], "damaged")],
    ids=["empty", "text", "cut off"],
)
def test_what_is_no_photo_gives_one_line(driver: Driver, data: bytes, line: str) -> None:
    answer = photo(driver, data, name="../../<b>evil</b>\n.jpg")
    assert not answer["ok"]
    assert line in answer["line"]
    assert "\n" not in answer["line"]
    assert driver.form._walk.photos == ()


def test_a_photo_can_be_taken_out_and_brought_back(driver: Driver, visit_and_book: Opened) -> None:
    casebook, visit = visit_and_book
    photo(driver, picture())
    (kept,) = casebook.photos(visit.id)
    assert driver.send(do="drop photo", photo=kept.id)["ok"]
    assert casebook.photos(visit.id) == ()
    assert not driver.send(do="drop photo", photo=kept.id)["ok"]
    driver.send(do="take back")
    assert casebook.photos(visit.id) == (kept,)


def test_photos_stand_on_the_twin(driver: Driver) -> None:
    photo(driver, picture())
    html = driver.form.to_html()
    assert '<img src="data:image/jpeg;base64,' in html
    assert "Depth of the grooves</li>" in html


def test_a_lost_photo_is_named_but_not_shown(driver: Driver, visit_and_book: Opened) -> None:
    casebook, visit = visit_and_book
    photo(driver, picture())
    casebook.media_path(casebook.photos(visit.id)[0].media).unlink()
    driver.send(do="look")
    assert driver.form.pictures == {}
    assert "can&#x27;t be shown" in driver.form.to_html() or "can't be shown" in driver.form.to_html()


def test_a_whole_area_on_one_screen(driver: Driver) -> None:
    driver.go("patched")
    assert driver.view["cards"] == []
    driver.send(do="mode", mode="area")
    assert [c["id"] for c in driver.view["cards"]] == ["grooves", "patched"]
    for card in driver.view["cards"]:
        value = 4 if card["id"] == "grooves" else 0
        assert driver.send(do="value", point=card["id"], record=card["record"], value=value)["ok"]
    assert [(f.point, f.grade, f.count) for f in driver.saved] == [("grooves", 4, None), ("patched", None, 0)]
    driver.send(do="next")
    assert [c["id"] for c in driver.view["cards"]] == ["dip"]
    driver.send(do="back")
    driver.send(do="back")
    assert driver.view["first"]
    assert [c["id"] for c in driver.view["cards"]] == ["serial"]
    driver.send(do="mode", mode="point")
    assert driver.view["cards"] == []
    assert not driver.send(do="mode", mode="sideways")["ok"]


SHUT = Checklist(
    tuple(replace(p, opens="lid", access="ask first") if p.area == "hammers" else p for p in CHECKLIST)
)


def test_what_was_not_opened_is_not_allowed(visit_and_book: Opened) -> None:
    casebook, visit = visit_and_book
    driver = Driver(FindingsForm(casebook, visit.id, checklist=SHUT))
    driver.go("grooves")
    driver.value(4)
    driver.go("patched")
    assert driver.point["not_opened"] == {
        "opens": "lid",
        "text": "The lid was not opened: 1 points not allowed",
    }
    assert driver.point["reasons"][0]["value"] == "allowed"
    assert driver.point["cautions"][0].startswith("Ask first")
    assert driver.send(do="not opened", opens="lid")["ok"]
    found = {f.point: (f.state, f.reason, f.grade) for f in driver.saved}
    assert found == {
        "grooves": ("checked", "", 4),
        "patched": ("not allowed", "the lid was not opened", None),
    }
    assert not driver.send(do="not opened", opens="cellar")["ok"]


def test_taking_back_after_a_restart(driver: Driver, visit_and_book: Opened) -> None:
    casebook, visit = visit_and_book
    driver.go("grooves")
    driver.value(3)
    driver.value(1)
    with open_casebook(casebook.folder) as later:
        again = Driver(FindingsForm(later, visit.id, checklist=CHECKLIST))
        assert again.view["can_take_back"]
        assert again.send(do="take back")["line"].startswith("Taken back at ")
        assert [f.grade for f in again.saved] == [3]
        assert again.point["id"] == "grooves"
        again.send(do="take back")
        assert again.saved == ()
    assert [c.action for c in casebook.log() if c.kind == "Finding"] == ["add", "change", "undo", "undo"]


def test_taking_back_passes_over_what_was_entered_elsewhere_since(
    driver: Driver, visit_and_book: Opened
) -> None:
    casebook, visit = visit_and_book
    driver.go("grooves")
    driver.value(3)
    with casebook.editing(by="Ana", checklist=driver.form._walk.checklist) as edit:
        edit.change(replace(visit, note="the neighbour drilled"))
        other = edit.add(Visit(piano_id=visit.piano_id, day=visit.day))
        edit.add(replace(driver.saved[0], id="elsewhere", visit_id=other.id, grade=1))
    assert driver.send(do="take back")["line"].startswith("Taken back at ")
    assert driver.saved == ()
    assert [f.grade for f in casebook.findings(other.id)] == [1]
    assert casebook.visit(visit.id).note == "the neighbour drilled"


def test_the_visit_itself_is_never_taken_back(driver: Driver, visit_and_book: Opened) -> None:
    casebook, visit = visit_and_book
    answer = driver.send(do="take back")
    assert not answer["ok"]
    assert "a change of this visit" in answer["line"]
    assert casebook.visit(visit.id) == visit


def test_taking_back_is_refused_where_another_changed_it_and_both_are_shown(
    driver: Driver, visit_and_book: Opened
) -> None:
    casebook, _ = visit_and_book
    driver.go("dip")
    driver.value("9.1")
    with casebook.editing(by="Ben") as edit:
        edit.change(replace(driver.saved[0], reading=10.4))
    answer = driver.send(do="take back")
    assert not answer["ok"]
    assert "9.1 mm" in answer["line"]
    assert "10.4 mm" in answer["line"]
    assert "from Ben" in answer["line"]
    assert [f.reading for f in driver.saved] == [10.4]


def test_of_several_that_another_changed_the_one_entered_last_is_shown(
    driver: Driver, visit_and_book: Opened
) -> None:
    casebook, _ = visit_and_book
    for point, entered in (("grooves", 3), ("dip", "9.1")):
        driver.go(point)
        assert driver.value(entered)["ok"]
    with casebook.editing(by="Ben") as edit:
        for finding in driver.saved:
            changed = {"grade": 1} if finding.point == "grooves" else {"reading": 10.4}
            edit.change(replace(finding, **changed))
    answer = driver.send(do="take back")
    assert not answer["ok"]
    assert "9.1 mm" in answer["line"]
    assert "10.4 mm" in answer["line"]


@pytest.mark.parametrize("changed", [{"note": "two more"}, {"keys": (40, 41)}, {"promised": "filed by May"}])
def test_a_refusal_says_what_differs_where_the_grade_does_not(
    driver: Driver, visit_and_book: Opened, changed: dict[str, Any]
) -> None:
    casebook, _ = visit_and_book
    driver.go("grooves")
    driver.value(3)
    with casebook.editing(by="Ben") as edit:
        edit.change(replace(driver.saved[0], **changed))
    line = driver.send(do="take back")["line"]
    mine, theirs = re.findall('"(.*?)"', line)[:2]
    assert theirs.startswith(f"{mine}; ")
    assert theirs != mine


def test_two_forms_of_one_examiner_never_overwrite_unseen(driver: Driver, visit_and_book: Opened) -> None:
    """A tablet and a laptop: the second is told what the first has entered meanwhile."""
    casebook, visit = visit_and_book
    driver.go("dip")
    driver.value("9.1")
    with open_casebook(casebook.folder) as other:
        tablet = Driver(FindingsForm(other, visit.id, checklist=CHECKLIST))
        tablet.go("dip")
        tablet.value("9.9")
    answer = driver.value("9.2")
    assert not answer["ok"]
    assert "9.2 mm" in answer["line"]
    assert "9.9 mm" in answer["line"]
    assert [f.reading for f in driver.saved] == [9.9]
    assert driver.point["number"] == "9.9"
    assert driver.value("9.2")["ok"]
    assert [f.reading for f in driver.saved] == [9.2]


def test_a_finding_taken_back_elsewhere_is_a_conflict_too(driver: Driver, visit_and_book: Opened) -> None:
    casebook, visit = visit_and_book
    driver.go("dip")
    driver.value("9.1")
    with open_casebook(casebook.folder) as other:
        tablet = Driver(FindingsForm(other, visit.id, checklist=CHECKLIST))
        tablet.send(do="take back")
    answer = driver.value("9.3")
    assert not answer["ok"]
    assert "taken back" in answer["line"]
    assert driver.saved == ()
    assert driver.value("9.3")["ok"]
    assert [f.reading for f in driver.saved] == [9.3]


def test_two_people_write_in_turn_and_nothing_is_lost(driver: Driver, visit_and_book: Opened) -> None:
    casebook, visit = visit_and_book
    with open_casebook(casebook.folder) as other:
        ben = Driver(FindingsForm(other, visit.id, checklist=CHECKLIST, examiner="Ben"))
        for grade in (1, 2, 3, 4, 5):
            for who in (driver, ben):
                who.go("grooves")
                assert who.value(grade)["ok"]
        photo(ben, picture())
        driver.send(do="look")
        assert len(driver.point["others"]) == 1
        assert len(driver.point["photos"]) == 1
        ben.send(do="take back")
        ben.send(do="take back")
    findings = casebook.findings(visit.id)
    assert sorted((f.examiner, f.grade) for f in findings) == [("Ana", 5), ("Ben", 4)]


def test_the_whole_real_checklist_makes_a_view(visit_and_book: Opened) -> None:
    casebook, visit = visit_and_book
    driver = Driver(FindingsForm(casebook, visit.id, checklist=load_checklist()))
    driver.send(do="go area", area=load_checklist().areas[0])
    driver.send(do="mode", mode="area")
    seen: list[str] = []
    for _ in driver.view["areas"]:
        seen += [c["id"] for c in driver.view["cards"]]
        assert all(["Position", p] in c["facts"] for c in driver.view["cards"] for p in [_position(c["id"])])
        driver.send(do="next")
    assert seen == [p.id for p in load_checklist().for_piano(casebook.pianos()[0])]


def _position(point_id: str) -> str:
    return load_checklist()[point_id].position


CORNERS = {(0.2, 0.2): "blue", (0.8, 0.2): "red", (0.2, 0.8): "white", (0.8, 0.8): "green"}
COLOURS = {"red": (220, 30, 30), "green": (30, 200, 30), "blue": (30, 30, 220), "white": (240, 240, 240)}


def seen_in(picture: Image.Image) -> dict[tuple[float, float], str]:
    found = {}
    for x, y in CORNERS:
        pixel = picture.getpixel((int(x * picture.width), int(y * picture.height)))
        assert isinstance(pixel, tuple)
        found[x, y] = min(
            COLOURS, key=lambda c: sum(abs(a - b) for a, b in zip(COLOURS[c], pixel, strict=True))
        )
    return found


def test_a_telephones_own_format_is_kept_upright_as_jpeg(driver: Driver, visit_and_book: Opened) -> None:
    casebook, visit = visit_and_book
    answer = driver.send(do="photo", point="serial", name="IMG_0001.HEIC", buffers=[HEIC])
    assert answer["line"].startswith("Photo saved at ")
    (photo,) = casebook.photos(visit.id)
    with Image.open(casebook.media_path(photo.media)) as kept:
        assert (kept.format, kept.size, len(kept.getexif())) == ("JPEG", (48, 64), 0)
        assert seen_in(kept) == CORNERS
        assert seen_in(kept.transpose(Image.Transpose.ROTATE_90)) != CORNERS, "one that lies would be seen"
    assert driver.form.pictures


@pytest.mark.parametrize("cut", [80, 200, len(HEIC) - 50])
def test_a_damaged_one_is_refused_in_one_line(driver: Driver, cut: int) -> None:
    answer = driver.send(do="photo", point="serial", name="IMG_0001.HEIC", buffers=[HEIC[:cut]])
    assert answer["line"].startswith("Not saved. IMG_0001.HEIC: got a HEIC picture that can't be read")
    assert driver.form._walk.photos == ()


def test_without_its_reader_it_is_said_how_to_get_a_jpeg(
    driver: Driver, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "pi_heif", None)
    answer = driver.send(do="photo", point="serial", name="IMG_0001.HEIC", buffers=[HEIC])
    assert "got a HEIC picture, need a JPEG. Share it as JPEG" in answer["line"]
    assert driver.form._walk.photos == ()
