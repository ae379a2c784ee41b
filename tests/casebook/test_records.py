"""Every record, with any content, comes back as it went in."""

import dataclasses
from datetime import UTC, date, timedelta, timezone
from decimal import Decimal

import numpy as np
import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from pianolab.casebook import create_casebook, open_casebook
from pianolab.casebook.codec import KINDS, from_json, id_of, kind_of, to_json
from pianolab.errors import BadInput, CasebookError
from pianolab.model import (
    ASPECTS,
    Answer,
    BuyerProfile,
    Examiner,
    Finding,
    Photo,
    Piano,
    Recording,
    Room,
    SurveyRecord,
    TouchOpinion,
    TouchTrial,
    Visit,
)
from tests.casebook.places import Folders, Schemas, server_url

HOSTILE = [
    "<script>alert('x')</script>",
    "'; DROP TABLE record; --",
    "\u202egnp.exe \u2066\u200f",
    "🎹👩🏽‍🔧\U0010ffff",
    "\0\x01\x1b[31m\r\n\t",
    "\ud800 lone surrogate",
    "e\u0301 é",
    '{"id": 1}\\u0000\\',
    "{{ 7*7 }} %s %(x)s ${x}",
    "",
]
any_text = st.one_of(st.sampled_from(HOSTILE), st.text(st.characters(exclude_categories=()), max_size=40))
name_text = any_text.filter(lambda text: bool(text.strip()))
finite = st.floats(allow_nan=False, allow_infinity=False)
money = st.decimals(min_value=0, max_value=10**9, places=2)
rooms = st.builds(
    Room,
    length_m=st.none() | st.floats(0.5, 200.0),
    surfaces=st.lists(any_text, max_size=3).map(tuple),
    note=any_text,
)
moments = st.datetimes(timezones=st.sampled_from([UTC, timezone(timedelta(hours=-9, minutes=-30))]))
weights = st.tuples(st.floats(0.0, 0.5), st.floats(0.5, 1.0))
pianos = st.builds(
    Piano,
    name=name_text,
    kind=st.sampled_from(["grand", "upright"]),
    year=st.none() | st.integers(1700, 2100),
    first_key=st.integers(-8, 1),
    last_key=st.integers(85, 99),
    key_tops=any_text,
    middle_pedal=any_text,
    serial=any_text,
    asking_price=st.none() | money,
    seller=any_text,
    address=any_text,
    note=any_text,
)
examiners = st.builds(Examiner, name=any_text, role=any_text)
checked = st.fixed_dictionaries({"state": st.just("checked"), "reading": finite})
graded = st.fixed_dictionaries(
    {"state": st.just("checked"), "grade": st.integers(1, 5), "count": st.integers(0, 2**70)}
)
unchecked = st.fixed_dictionaries(
    {"state": st.sampled_from(["not checked", "not allowed", "does not apply"]), "reason": name_text}
)


@st.composite
def findings(draw, visit_id="visit"):
    values = draw(st.one_of(checked, graded, unchecked))
    rest = {name: draw(any_text) for name in ("place", "note", "examiner", "point")}
    keys = tuple(draw(st.lists(st.integers(-8, 99), max_size=5)))
    return Finding(visit_id=visit_id, keys=keys, at=draw(st.none() | moments), **values, **rest)


visits = st.builds(
    Visit, piano_id=st.just("piano"), day=st.dates(), examiner=any_text, place=any_text, room=rooms,
    temperature_c=st.none() | finite, humidity_percent=st.none() | finite, note=any_text,
)  # fmt: skip
recordings = st.builds(
    Recording, visit_id=st.just("visit"), media=any_text, original_name=any_text, rate_hz=st.integers(16000, 192000),
    channels=st.integers(1, 8), seconds=finite, first_key=st.integers(-8, 1), last_key=st.integers(85, 99),
    a4_hz=st.floats(400, 480), note=any_text,
)  # fmt: skip
surveys = st.builds(
    SurveyRecord,
    recording_id=st.just("recording"),
    visit_id=st.just("visit"),
    version=any_text,
    survey_json=any_text,
)
photos = st.builds(Photo, visit_id=st.just("visit"), media=any_text, point=any_text, caption=any_text)
profiles = st.builds(
    BuyerProfile,
    name=st.text(st.characters(exclude_categories=("Cs", "Cc")), min_size=1, max_size=30),
    description=any_text,
    weights=st.fixed_dictionaries(dict.fromkeys(ASPECTS, weights)),
    money_weight=weights,
    budget=st.none() | st.decimals(min_value=1, max_value=10**9),
    home_room=rooms,
    years_of_use=finite,
    level=any_text,
    enjoys_projects=st.booleans(),
    moving_cost=st.tuples(money, money),
)
places = st.dictionaries(any_text, st.integers(1, 5), max_size=4)
opinions = st.builds(
    TouchOpinion, visit_id=st.just("visit"), player=name_text, taste=places, faults=places,
    liking=st.none() | st.integers(1, 5), note=any_text, at=st.none() | moments,
)  # fmt: skip
trials = st.builds(
    TouchTrial, player=name_text, piano_id=st.just("piano"), other_piano_id=st.just("other"),
    day=st.none() | st.dates(), note=any_text,
)  # fmt: skip
pupils = st.one_of(
    st.just("Mia"), st.just("17"), st.text("abcäöü🎹 ", min_size=1, max_size=40).filter(str.strip)
)
answers = st.builds(
    Answer, pupil=pupils, lesson=any_text, kind=name_text, task=name_text, item=any_text, given=any_text,
    truth=any_text, correct=st.none() | st.booleans(), grade=st.none() | st.integers(1, 5),
    level=st.none() | finite, unit=any_text, confirmed=any_text, seconds=st.none() | finite,
    at=st.none() | moments,
)  # fmt: skip
records = st.one_of(
    pianos, visits, examiners, findings(), recordings, surveys, photos, profiles, opinions, trials, answers
)


@given(records)
@example(Examiner(name="x" * 1_000_000))
@settings(deadline=None)
def test_any_record_survives_the_text_form(record):
    text = to_json(record)
    assert text.isascii()
    back = from_json(kind_of(record), text)
    assert back == record
    assert type(back) is type(record)
    for field in dataclasses.fields(record):
        assert type(getattr(back, field.name)) is type(getattr(record, field.name))


def test_every_kind_of_record_is_tried():
    tried = (
        Piano,
        Visit,
        Examiner,
        Finding,
        Recording,
        SurveyRecord,
        Photo,
        BuyerProfile,
        TouchOpinion,
        TouchTrial,
        Answer,
    )
    assert set(KINDS.values()) == set(tried)


@pytest.fixture(scope="module", params=["sqlite", "postgresql"])
def shelf(request, tmp_path_factory):
    folders = Folders(tmp_path_factory.mktemp("shelf"))
    places = folders if request.param == "sqlite" else Schemas(server_url())
    with create_casebook(places.new("case")) as book:
        with book.editing(by="Ana") as edit:
            edit.add(Piano(id="piano", name="one"))
            edit.add(Piano(id="other", name="two"))
            edit.add(Visit(id="visit", piano_id="piano", day=date(2026, 1, 1)))
            edit.add(
                Recording(
                    id="recording", visit_id="visit", media="a.flac", rate_hz=48000, channels=1, seconds=1.0
                )
            )
        yield book
    places.close()


READERS = {
    Piano: "pianos", Visit: "visits", Examiner: "examiners", Finding: "findings", Recording: "recordings",
    SurveyRecord: "surveys", Photo: "photos", BuyerProfile: "profiles",
    TouchOpinion: "touch_opinions", TouchTrial: "touch_trials", Answer: "answers",
}  # fmt: skip


@given(record=records)
@settings(deadline=None, max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_any_record_survives_the_database(shelf, record):
    with shelf.editing(by="Ana") as edit:
        known = {id_of(p) for p in shelf.profiles()}
        edit.change(record) if id_of(record) in known else edit.add(record)
    found = {id_of(r): r for r in getattr(shelf, READERS[type(record)])()}
    assert found[id_of(record)] == record
    assert from_json(kind_of(record), to_json(found[id_of(record)])) == record


def test_a_megabyte_of_hostile_text_after_reopening(case):
    text = "<script>😀\u202e" * 100_000
    with case.book.editing(by="Ana") as edit:
        edit.change(dataclasses.replace(case.piano, note=text))
    case.book.close()
    with open_casebook(case.place) as again:
        assert again.piano("by the window").note == text


def test_numbers_of_numpy_are_taken_as_plain_numbers():
    finding = Finding(visit_id="v", point="dip", reading=np.float64(9.5), keys=(np.int64(40),))
    back = from_json("Finding", to_json(finding))
    assert (back.reading, back.keys) == (9.5, (40,))
    assert type(back.keys[0]) is int


def test_decimals_keep_their_places():
    assert (
        str(from_json("Piano", to_json(Piano(name="a", asking_price=Decimal("1200.50")))).asking_price)
        == "1200.50"
    )


def test_no_number_is_refused():
    with pytest.raises(BadInput, match="NaN or infinite"):
        to_json(Finding(visit_id="v", point="dip", reading=float("nan")))


@pytest.mark.parametrize("bad", ["", "  ", "a\0b", "x" * 201, "\ud800"])
def test_ids_that_no_column_holds(bad):
    with pytest.raises(BadInput, match="id: got"):
        id_of(Examiner(id=bad, name="a"))


@pytest.mark.parametrize(
    "text", ["[]", "{", '{"name": ""}', '{"name": "a", "unknown": 1}', '{"name": "a", "kind": "organ"}']
)
def test_a_body_that_is_no_piano(text):
    with pytest.raises(CasebookError, match="can't be read"):
        from_json("Piano", text)


def test_unknown_kind():
    with pytest.raises(CasebookError, match="unknown to this version"):
        from_json("Organ", "{}")
    with pytest.raises(BadInput, match="record: got str"):
        to_json("text")
