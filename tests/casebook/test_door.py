"""The casebook's door: names, points, ranges and media are looked at when a record is entered."""

from dataclasses import replace
from datetime import date

import pytest

from pianolab.casebook import KeptSettings, OwnFile, keep_settings
from pianolab.checklist import read_checklist
from pianolab.errors import BadInput
from pianolab.model import (
    Buyer,
    Comparable,
    Finding,
    Photo,
    Piano,
    Recording,
    SurveyRecord,
    TouchOpinion,
    Visit,
)

OWN = """
[[point]]
id = "own.idea"
area = "Keys"
title = "An idea"
why = "w"
how = "h"
record = "reading"
unit = "mm"
possible = [1, 2]
"""


def refused(book, record, *, change=False, checklist=None):
    before = book.log()
    with pytest.raises(BadInput) as caught, book.editing(by="Ben", checklist=checklist) as edit:
        edit.change(record) if change else edit.add(record)
    assert book.log() == before
    return str(caught.value)


@pytest.mark.parametrize("name", ["by the window", "By The  Window", " by the window"])
def test_no_two_pianos_of_one_name(case, name):
    line = refused(case.book, Piano(name=name))
    assert line.startswith(
        f"Piano {' '.join(name.split())!r}: got the name of another piano in this casebook, need a name"
    )
    with case.book.editing(by="Ben") as edit:
        other = edit.add(Piano(name="in the cellar"))
        edit.change(replace(case.piano, seller="M"))
    assert "the name of another piano" in refused(case.book, replace(other, name=name), change=True)
    with case.book.editing(by="Ben") as edit:
        edit.remove(other.id)
        edit.add(Piano(name="in the cellar"))


def test_points_unknown_to_the_checklist_are_refused_naming_piano_and_point(case):
    line = refused(case.book, Finding(visit_id=case.visit.id, point="bridge-trebel", grade=3))
    assert line.startswith(
        "by the window: got 'bridge-trebel', need the id of a checklist point. Did you mean bridge-treble?"
    )
    photo = Photo(visit_id=case.visit.id, media="a.jpg", point="bridge-trebel")
    assert "got 'bridge-trebel', need the id of a checklist point" in refused(case.book, photo)


def test_numbers_and_keys_that_cannot_be_are_refused_naming_piano_and_point(case):
    for values, words in (
        ({"point": "action-dip", "reading": 102}, "by the window, Key dip (action-dip): got 102 mm"),
        ({"point": "keys-chips", "count": 1, "keys": (89,)}, "(keys-chips): got key 89"),
        ({"point": "bridge-treble", "count": 1}, "(bridge-treble): got a count, need a grade"),
    ):
        assert words in refused(case.book, Finding(visit_id=case.visit.id, **values))
    with case.book.editing(by="Ben") as edit:
        dip = edit.add(Finding(visit_id=case.visit.id, point="action-dip", reading=10.2))
    assert "got 102 mm" in refused(case.book, replace(dip, reading=102), change=True)


def test_a_visit_added_in_the_same_block_counts(case):
    with case.book.editing(by="Ben") as edit:
        piano = edit.add(Piano(name="short", last_key=85))
        visit = edit.add(Visit(piano_id=piano.id, day=date(2026, 5, 2)))
        with pytest.raises(BadInput, match=r"short.*got key 88, need keys 1 to 85"):
            edit.add(Finding(visit_id=visit.id, point="keys-chips", count=1, keys=(88,)))


def test_own_points_that_the_casebook_keeps_or_that_are_given(case):
    own = Finding(visit_id=case.visit.id, point="own.idea", reading=1.5)
    assert "own.idea" in refused(case.book, own)
    given = read_checklist(OWN, file="own.toml")
    with case.book.editing(by="Ben", checklist=given) as edit:
        entered = edit.add(own)
    assert "got 3 mm, need 1 to 2 mm" in refused(case.book, replace(own, id="x", reading=3), checklist=given)
    assert "own.idea" in refused(case.book, replace(own, id="y"))
    # What is there already may be said more of, whatever the checklist is by now.
    with case.book.editing(by="Ben") as edit:
        edit.change(replace(entered, note="more"))
    keep_settings(case.book, KeptSettings(checklist=OwnFile("own.toml", OWN)))
    assert "own.idea" in case.book.checklist()
    with case.book.editing(by="Ben") as edit:
        edit.add(replace(own, id="z"))


def test_media_that_the_casebook_does_not_hold(case):
    photo = Photo(visit_id=case.visit.id, media="abc.jpg")
    assert "Photo 'abc.jpg': got no such file in this casebook, need edit.add_photo" in refused(
        case.book, photo
    )
    recording = Recording(visit_id=case.visit.id, media="abc.flac", rate_hz=44100, channels=1, seconds=1)
    assert "Recording 'abc.flac': got no such file in this casebook, need edit.add_sound" in refused(
        case.book, recording
    )


def test_a_survey_that_nothing_can_read(case, sound_file):
    with case.book.editing(by="Ben") as edit:
        recording = edit.add_sound(case.visit.id, sound_file)
    record = SurveyRecord(
        recording_id=recording.id, visit_id=case.visit.id, version="1", survey_json='{"table": 3}'
    )
    assert "SurveyRecord: got text that is no survey, need what Survey.to_json makes" in refused(
        case.book, record
    )
    with case.book.editing(by="Ben") as edit:
        second = edit.add(Visit(piano_id=case.piano.id, day=date(2026, 5, 2)))
    assert "visit_id: got another visit than its recording's" in refused(
        case.book, replace(record, visit_id=second.id)
    )


def test_a_file_name_that_no_page_could_show(case, sound_file):
    strange = sound_file.with_name("scale \udcff.wav")
    strange.write_bytes(sound_file.read_bytes())
    with case.book.editing(by="Ben") as edit:
        assert edit.add_sound(case.visit.id, strange).original_name == "scale \ufffd.wav"


def test_years_and_days_that_cannot_both_be(case):
    assert "year: got 2027 built, need 2026 or earlier" in refused(
        case.book, replace(case.piano, year=2027), change=True
    )
    with case.book.editing(by="Ben") as edit:
        piano = edit.add(Piano(name="young", year=2020))
    line = refused(case.book, Visit(piano_id=piano.id, day=date(2019, 5, 1)))
    assert "Visit to young, day: got 2019-05-01, need a day from 2020 on" in line
    with case.book.editing(by="Ben") as edit:
        visit = edit.add(Visit(piano_id=piano.id, day=date(2020, 5, 1)))
    assert "day: got 2019-05-01" in refused(case.book, replace(visit, day=date(2019, 5, 1)), change=True)


def test_scales_of_touch_that_nobody_knows(case):
    opinion = TouchOpinion(visit_id=case.visit.id, player="Ana", faults={"eveness": 3})
    assert "TouchOpinion 'Ana', faults: got 'eveness', need one of" in refused(case.book, opinion)
    assert "taste: got 'evenness'" in refused(case.book, replace(opinion, taste={"evenness": 3}, faults={}))
    buyer = Buyer(name="b", touch_taste={"wait": (1, 2)})
    assert "Buyer 'b', touch_taste: got 'wait', need one of weight" in refused(case.book, buyer)


def test_taking_back_a_removal_does_not_make_two_pianos_of_one_name(case):
    with case.book.editing(by="Ben") as edit:
        edit.add(Piano(id="old", name="in the cellar"))
    with case.book.editing(by="Ben") as edit:
        edit.remove("old")
    with case.book.editing(by="Ana") as edit:
        edit.add(Piano(id="new", name="In the cellar"))
    with pytest.raises(BadInput, match="the name of another piano in this casebook"):
        case.book.undo(by="Ben")
    with case.book.editing(by="Ana") as edit:
        edit.remove("new")
    case.book.undo(by="Ben")
    assert case.book.piano("in the cellar").id == "old"


def test_a_price_of_another_kind_or_currency_than_the_piano_it_was_looked_up_for(case):
    with case.book.editing(by="Ana") as edit:
        shop = edit.add(Piano(name="shop", kind="grand", asking_price=9000, currency="CHF"))
    line = refused(case.book, Comparable(piano_id=shop.id, kind="grand", price=8000, currency="EUR"))
    assert line == (
        "Comparable, currency: got EUR, need CHF. Enter it in that currency, by the rate you trust."
    )
    line = refused(case.book, Comparable(kind="grand", price=8000, currency="USD"))
    assert line.startswith("Comparable, currency: got USD, need CHF")
    line = refused(case.book, Comparable(piano_id=shop.id, kind="upright", price=8000, currency="CHF"))
    assert line == "Comparable for shop, kind: got upright, need grand."
    with case.book.editing(by="Ana") as edit:
        edit.add(Comparable(piano_id=shop.id, kind="grand", price=8000, currency="CHF"))
        edit.add(Comparable(kind="upright", price=800))
    assert len(case.book.comparables(shop.id)) == 1
    assert len(case.book.comparables()) == 2
