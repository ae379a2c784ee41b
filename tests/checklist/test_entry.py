"""What is entered at a point fits that point and that piano, or is refused naming both."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import pytest

from pianolab.checklist import load_checklist
from pianolab.checklist.entry import check_finding, possible_at
from pianolab.errors import BadInput
from pianolab.model import Finding, Piano

CHECKLIST = load_checklist()
PIANO = Piano(name="by the window", last_key=85)


def check(point: str, **values: object) -> None:
    check_finding(Finding(visit_id="v", point=point, **values), CHECKLIST, PIANO)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("point", "values", "line"),
    [
        (
            "plait-cracks",
            {"grade": 3},
            "by the window: got 'plait-cracks', need the id of a checklist point.",
        ),
        ("plate-crack", {"grade": 3}, "Did you mean plate-cracks?"),
        (
            "action-dip",
            {"reading": 102},
            "by the window, Key dip (action-dip): got 102 mm, need 2 to 25 mm. A decimal point",
        ),
        ("state-humidity", {"reading": 0.5e9}, "need 0 to 100 % relative humidity"),
        ("state-humidity", {"reading": -1}, "(state-humidity): got -1 % relative humidity"),
        ("keys-chips", {"count": 86}, "(keys-chips): got 86 keys, need 0 to 85 keys"),
        (
            "keys-chips",
            {"count": 3, "keys": (84, 86)},
            "(keys-chips): got key 86, need keys 1 to 85, the keys of this piano",
        ),
        ("keys-chips", {"grade": 3}, "(keys-chips): got a grade, need a count"),
        (
            "action-dip",
            {"reading": 10, "answer": True},
            "(action-dip): got an answer and a reading, need a reading",
        ),
    ],
)
def test_what_does_not_fit_names_piano_and_point(point: str, values: dict[str, object], line: str) -> None:
    with pytest.raises(BadInput) as caught:
        check(point, **values)
    assert line in str(caught.value)
    assert "\n" not in str(caught.value)


def test_what_fits_passes() -> None:
    check("action-dip", reading=10.2, keys=(40,))
    check("keys-chips", count=85)
    check("plate-cracks", state="not checked", reason="no time")
    check("tuning-pitch", reading=-120)


GRAND = Piano(name="in the hall", kind="grand", year=1990)


@pytest.mark.parametrize(
    ("point", "piano", "possible"),
    [
        ("plate-cracks", PIANO, False),
        ("pinblock-cracks", GRAND, False),
        ("each-recorded", PIANO, False),
        ("pedal-middle", PIANO, True),
        ("plate-pressure-bar", PIANO, True),
        ("action-knuckles", GRAND, False),
        ("action-knuckles", replace(GRAND, year=1890), True),
        ("pedal-lyre", GRAND, False),
        ("pedal-lyre", PIANO, True),  # an upright has no lyre: the point itself isn't for it
    ],
)
def test_no_piano_is_said_to_lack_what_every_such_piano_has(point: str, piano: Piano, possible: bool) -> None:
    """Which pianos lack what: common practice."""
    finding = Finding(visit_id="v", point=point, state="does not apply", reason="this piano has none")
    unseen = replace(finding, state="not checked", reason="no time")
    check_finding(unseen, CHECKLIST, piano)
    if possible:
        check_finding(finding, CHECKLIST, piano)
        return
    with pytest.raises(BadInput) as caught:
        check_finding(finding, CHECKLIST, piano)
    line = str(caught.value)
    assert line.startswith(
        f'{piano.name}, {CHECKLIST[point].title} ({point}): got "does not apply", need what was'
    )
    assert f"Such {piano.kind}s all have it" in line
    assert "\n" not in line


def test_a_point_of_ones_own_says_which_pianos_lack_it(tmp_path: Path) -> None:
    text = """
    [[point]]
    id = "own.lamp"
    area = "Case and finish"
    title = "Lamp on the music desk"
    why = "w"
    how = "h"
    record = "yes_no"
    """
    path = tmp_path / "own.toml"
    none = Finding(visit_id="v", point="own.lamp", state="does not apply", reason="no lamp")
    path.write_text(text)
    with pytest.raises(BadInput, match=r"\(own.lamp\): got .*may_lack"):
        check_finding(none, load_checklist(path), PIANO)
    path.write_text(text + 'may_lack = ["upright"]')
    check_finding(none, load_checklist(path), PIANO)
    with pytest.raises(BadInput, match="Such grands all have it"):
        check_finding(none, load_checklist(path), GRAND)


@pytest.mark.parametrize(
    "point", [p for p in CHECKLIST if p.record in ("count", "reading")], ids=lambda p: p.id
)
def test_every_number_has_a_range_that_holds_what_is_usual_and_what_is_failed(point) -> None:
    low, high = possible_at(point, PIANO)
    known = [*(point.usual or ()), *(x for x in (point.failed_under, point.failed_over) if x is not None)]
    assert -math.inf < low < high < math.inf
    assert low <= min(known)
    assert max(known) <= high


def test_a_unit_nobody_knows_has_no_range_unless_its_point_says_one(tmp_path: Path) -> None:
    text = """
    [[point]]
    id = "own.felt"
    area = "Hammers"
    title = "Felt"
    why = "w"
    how = "h"
    record = "reading"
    unit = "layers"
    """
    path = tmp_path / "own.toml"
    path.write_text(text)
    own = load_checklist(path)["own.felt"]
    assert possible_at(own, PIANO) == (-math.inf, math.inf)
    path.write_text(text + "possible = [0, 40]")
    assert possible_at(load_checklist(path)["own.felt"], PIANO) == (0.0, 40.0)
    path.write_text(text + "possible = [40, 0]")
    with pytest.raises(
        BadInput, match=r"own.toml: own.felt: possible: got \[40, 0\], need two numbers, the smaller first"
    ):
        load_checklist(path)


def test_the_compass_is_that_of_the_piano_asked_about() -> None:
    finding = Finding(visit_id="v", point="keys-chips", count=1, keys=(88,))
    check_finding(finding, CHECKLIST, replace(PIANO, last_key=88))
    with pytest.raises(BadInput, match="key 88"):
        check_finding(finding, CHECKLIST, PIANO)
