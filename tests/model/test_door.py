"""Records are checked and brought into their types where they are made; what can't be used is one clear line."""

from __future__ import annotations

import subprocess
import sys
from dataclasses import replace
from datetime import UTC, date, datetime
from decimal import Decimal

import numpy as np
import pytest

from pianolab.errors import BadInput
from pianolab.model import (
    ASPECTS,
    Answer,
    Buyer,
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

RECORDING = {"visit_id": "v", "media": "a.flac", "rate_hz": 48000, "channels": 1, "seconds": 2.0}
NOON = datetime(2026, 3, 14, 12, tzinfo=UTC)


def finding(**values: object) -> Finding:
    return Finding(visit_id="v", point="dip", **values)  # type: ignore[arg-type]


def line_of(make: object, /, **values: object) -> str:
    with pytest.raises(BadInput) as caught:
        make(**values)  # type: ignore[operator]
    line = str(caught.value)
    assert "\n" not in line
    line.encode()
    return line


def test_what_a_script_writes_is_brought_into_the_types_of_the_record() -> None:
    piano = Piano(name=" A ", asking_price=900, year="1978", serial=12345, currency="eur")  # type: ignore[arg-type]
    assert (piano.name, piano.asking_price, piano.year) == ("A", Decimal(900), 1978)
    assert (piano.serial, piano.currency) == ("12345", "EUR")
    assert type(piano.asking_price) is Decimal
    assert Buyer(name="b", budget=5000).budget == Decimal(5000)  # type: ignore[arg-type]
    assert Piano(name="A", asking_price=899.5).asking_price == Decimal("899.5")  # type: ignore[arg-type]


def test_numbers_of_findings() -> None:
    read = finding(reading="25")
    assert (read.reading, type(read.reading)) == (25.0, float)
    graded = finding(grade=4.0)
    assert (graded.grade, type(graded.grade)) == (4, int)
    assert type(finding(reading=10).reading) is float
    assert finding(count=np.int64(3), keys=np.array([40, 41])).keys == (40, 41)
    assert type(finding(reading=np.float32(9.5)).reading) is float
    assert finding(answer=np.bool_(False)).answer is False


def test_lists_become_tuples_and_texts_become_dates() -> None:
    assert finding(grade=3, keys=[1, "2"]).keys == (1, 2)
    assert finding(grade=3, keys=range(1, 4)).keys == (1, 2, 3)
    assert Visit(piano_id="p", day="2026-03-14").day == date(2026, 3, 14)  # type: ignore[arg-type]
    assert Visit(piano_id="p", day=NOON).day == date(2026, 3, 14)
    assert type(Visit(piano_id="p", day=NOON).day) is date
    assert finding(grade=3, at="2026-03-14T12:00:00+00:00").at == NOON
    assert Visit(piano_id="p", day=NOON, room={"length_m": "4.5", "surfaces": ["carpet"]}).room == Room(  # type: ignore[arg-type]
        length_m=4.5, surfaces=("carpet",)
    )
    weights = {aspect: [0.1, "0.2"] for aspect in ASPECTS}
    assert Buyer(name="b", weights=weights).weights["tone"] == (0.1, 0.2)  # type: ignore[arg-type]


def test_a_record_keeps_nothing_that_somebody_else_can_change() -> None:
    weights = dict.fromkeys(ASPECTS, (0.1, 0.2))
    buyer = Buyer(name="b", weights=weights)
    weights["tone"] = (5.0, 6.0)
    assert buyer.weights["tone"] == (0.1, 0.2)


def test_line_ends_of_any_computer_are_one() -> None:
    assert finding(grade=3, note="one\r\ntwo\rthree\tfour").note == "one\ntwo\nthree\tfour"


WRONG = [
    (
        Piano,
        {"name": "A", "asking_price": "cheap"},
        "Piano 'A', asking_price: got 'cheap', need an amount of money",
    ),
    (Piano, {"name": "A", "asking_price": Decimal("1e400")}, "asking_price: got 1E+400"),
    (Piano, {"name": "A", "asking_price": Decimal("NaN")}, "asking_price: got NaN"),
    (Piano, {"name": "A", "asking_price": Decimal("sNaN")}, "asking_price: got sNaN"),
    (Piano, {"name": "A", "asking_price": float("inf")}, "asking_price: got inf"),
    (Piano, {"name": "A", "asking_price": True}, "asking_price: got True"),
    (
        Piano,
        {"name": "A", "asking_price": -5},
        "asking_price: got -5, need an amount of money, 0 to 1,000,000,000. A minus",
    ),
    (
        Piano,
        {"name": "A", "year": "about 1930"},
        "Piano 'A', year: got 'about 1930', need a year from 1700 to 2100",
    ),
    (Piano, {"name": "A", "year": 1978.5}, "year: got 1978.5"),
    (Piano, {"name": "A", "year": 78}, "year: got 78"),
    (Piano, {"name": " "}, "Piano ' ', name: got ' ', need a name"),
    (Piano, {"name": "A\nB"}, "need a name"),
    (Piano, {"name": "x" * 121}, "need a name"),
    (Piano, {"name": "\ud800"}, r"name: got '\ud800', need a name"),
    (Piano, {"name": "A", "note": "\ud800"}, "Piano 'A', note: got '\\ud800', need text without"),
    (Piano, {"name": "A", "note": "\x1b[31m"}, "note: got '\\x1b[31m'"),
    (Piano, {"name": "A", "seller": "\0"}, "seller: got '\\x00'"),
    (Piano, {"name": "A", "note": b"x"}, "note: got b'x'"),
    (Piano, {"name": "A", "note": None}, "note: got None"),
    (Piano, {"name": "A", "kind": "organ"}, "kind: got 'organ', need one of grand, upright"),
    (Piano, {"name": "A", "currency": "euro"}, "currency: got 'euro', need a three-letter code"),
    (
        Piano,
        {"name": "A", "first_key": 88, "last_key": 1},
        "Piano 'A', keys: got 88 to 1, need first below last",
    ),
    (Piano, {"name": "A", "first_key": -20}, "first_key: got -20, need a key from -8 to 99"),
    (
        Visit,
        {"piano_id": "p", "day": "yesterday"},
        "Visit, day: got 'yesterday', need a day such as 2026-03-14",
    ),
    (Visit, {"piano_id": "p", "day": 5}, "day: got 5"),
    (Visit, {"piano_id": "p", "day": "0001-01-01"}, "day: got '0001-01-01'"),
    (Visit, {"piano_id": "p", "day": date(1, 1, 1)}, "day: got datetime.date(1, 1, 1)"),
    (
        Visit,
        {"piano_id": "p", "day": NOON, "humidity_percent": 900},
        "humidity_percent: got 900, need 0 to 100 %",
    ),
    (Visit, {"piano_id": "p", "day": NOON, "temperature_c": 700}, "temperature_c: got 700"),
    (
        Visit,
        {"piano_id": "p", "day": NOON, "room": {"lenght_m": 4}},
        "Visit, room: got 'lenght_m', need one of length_m",
    ),
    (Visit, {"piano_id": "p", "day": NOON, "room": Room}, "room: got"),
    (
        Visit,
        {"piano_id": "p", "day": NOON, "room": {"length_m": 480}},
        "Visit, room, length_m: got 480, need 0.5 to 200 m. Centi",
    ),
    (Visit, {"piano_id": "", "day": NOON}, "piano_id: got ''"),
    (Room, {"surfaces": "carpet"}, "Room, surfaces: got 'carpet', need"),
    (Room, {"surfaces": ("\x07",)}, "Room, surfaces: got '\\x07'"),
    (
        Finding,
        {"visit_id": "v", "point": "dip", "grade": 4.5},
        "Finding 'dip', grade: got 4.5, need 1 (failed) to 5 (sound)",
    ),
    (Finding, {"visit_id": "v", "point": "dip", "grade": 0}, "grade: got 0"),
    (Finding, {"visit_id": "v", "point": "dip", "grade": True}, "grade: got True"),
    (Finding, {"visit_id": "v", "point": "dip", "reading": float("nan")}, "reading: got nan"),
    (Finding, {"visit_id": "v", "point": "dip", "reading": "inf"}, "reading: got 'inf'"),
    (Finding, {"visit_id": "v", "point": "dip", "reading": 10**400}, "reading: got 1000"),
    (Finding, {"visit_id": "v", "point": "dip", "count": -1}, "count: got -1"),
    (Finding, {"visit_id": "v", "point": "dip", "count": 2**70}, "count: got 11805"),
    (
        Finding,
        {"visit_id": "v", "point": "dip", "grade": 3, "keys": (-50,)},
        "Finding 'dip', keys: got -50, need a key from -8",
    ),
    (Finding, {"visit_id": "v", "point": "dip", "grade": 3, "keys": (1, 100)}, "keys: got 100"),
    (Finding, {"visit_id": "v", "point": "dip", "grade": 3, "keys": "12"}, "keys: got '12'"),
    (Finding, {"visit_id": "v", "point": "dip", "grade": 3, "keys": 12}, "keys: got 12"),
    (Finding, {"visit_id": "v", "point": "dip", "grade": 3, "at": 5}, "at: got 5"),
    (Finding, {"visit_id": "v", "point": "dip", "grade": 3, "at": "9999-01-01T00:00:00"}, "at: got '9999"),
    (Finding, {"visit_id": "v", "point": "dip"}, "Finding 'dip': got checked without a value"),
    (Finding, {"visit_id": "v", "point": "dip", "state": "not checked"}, "'not checked' without a reason"),
    (Finding, {"visit_id": "v", "point": "", "grade": 3}, "point: got ''"),
    (Finding, {"visit_id": ["v"], "point": "dip", "grade": 3}, "visit_id: got ['v']"),
    (Recording, {**RECORDING, "seconds": float("inf")}, "Recording 'a.flac', seconds: got inf"),
    (Recording, {**RECORDING, "media": "../../x"}, "media: got '../../x'"),
    (Recording, {**RECORDING, "rate_hz": 0}, "rate_hz: got 0"),
    (Recording, {**RECORDING, "channels": 0}, "channels: got 0"),
    (Recording, {**RECORDING, "a4_hz": 44}, "a4_hz: got 44, need 380 to 500 Hz"),
    (Recording, {**RECORDING, "first_key": 60, "last_key": 40}, "keys: got 60 to 40"),
    (SurveyRecord, {"recording_id": "r", "visit_id": "v", "version": "1", "survey_json": "{"}, "survey_json"),
    (
        SurveyRecord,
        {"recording_id": "r", "visit_id": "v", "version": "1", "survey_json": "[1]"},
        "survey_json",
    ),
    (Photo, {"visit_id": "v", "media": "a/b.jpg"}, "Photo 'a/b.jpg', media"),
    (Examiner, {"id": " ", "name": "Ana"}, "Examiner 'Ana', id: got ' '"),
    (Buyer, {"name": "b", "budget": 0}, "Buyer 'b', budget: got 0, need 0.01 to"),
    (
        Recording,
        {
            "visit_id": "v",
            "media": "a.flac",
            "rate_hz": 48000,
            "channels": 1,
            "seconds": 2.0,
            "capture": {"gaps": [{"begin_s": 1.0}]},
        },
        "got no kind, end_s, lost_s, need all of kind, begin_s, end_s, lost_s",
    ),
    (Buyer, {"name": "b", "budget": "1e-300"}, "Buyer 'b', budget: got '1e-300', need 0.01 to"),
    (Buyer, {"name": "b", "weights": {"tone": (0, 1)}}, "weights: got"),
    (
        Buyer,
        {"name": "b", "weights": {**dict.fromkeys(ASPECTS, (0, 1)), "tone": (0.5, 0.2)}},
        "weight of tone: got 0.5 to 0.2",
    ),
    (
        Buyer,
        {"name": "b", "weights": {**dict.fromkeys(ASPECTS, (0, 1)), "tone": (0.5, 2)}},
        "weights, tone: got 2",
    ),
    (
        Buyer,
        {"name": "b", "weights": {**dict.fromkeys(ASPECTS, (0, 1)), "tone": (0.5,)}},
        "weights, tone: got (0.5,), need 2",
    ),
    (Buyer, {"name": "b", "moving_cost": (5, 2)}, "moving_cost: got 5 to 2"),
    (Buyer, {"name": "b", "moving_cost": 5}, "moving_cost: got 5"),
    (Buyer, {"name": "b", "years_of_use": 0}, "years_of_use: got 0, need 1 to 100 years"),
    (Buyer, {"name": "b", "years_of_use": float("nan")}, "years_of_use: got nan"),
    (Buyer, {"name": "b", "locale": "xx_YY"}, "locale: got 'xx_YY', need a language and country"),
    (Buyer, {"name": "b", "touch_taste": {"weight": (3, 2)}}, "taste of weight: got 3 to 2"),
    (Buyer, {"name": "b", "touch_taste": {"weight": (0, 2)}}, "touch_taste, weight: got 0"),
    (Buyer, {"name": "b", "touch_taste": {5.5: (1, 2)}}, "touch_taste: got 5.5"),
    (TouchOpinion, {"visit_id": "v", "player": ""}, "player: got ''"),
    (
        TouchOpinion,
        {"visit_id": "v", "player": "A", "taste": {"weight": 6}},
        "TouchOpinion 'A', taste, weight: got 6",
    ),
    (TouchOpinion, {"visit_id": "v", "player": "A", "liking": 2.5}, "liking: got 2.5"),
    (TouchTrial, {"player": "A", "piano_id": "p", "other_piano_id": "p"}, "one piano against itself"),
    (Answer, {"pupil": "Mia", "kind": " ", "task": "t"}, "kind: got ' '"),
    (
        Answer,
        {"pupil": "Mia", "kind": "k", "task": "t", "level": float("nan")},
        "Answer 'Mia', level: got nan",
    ),
]


@pytest.mark.parametrize(("kind", "values", "line"), WRONG, ids=range(len(WRONG)))
def test_what_cannot_be_used_is_refused_naming_record_and_field(
    kind: type, values: dict[str, object], line: str
) -> None:
    said = line_of(kind, **values)
    assert line in said
    assert len(said) < 400


def test_a_change_of_a_record_goes_through_the_same_door() -> None:
    with pytest.raises(BadInput, match="year: got 20000"):
        replace(Piano(name="A"), year=20000)
    assert replace(Piano(name="A"), asking_price=12).asking_price == Decimal(12)  # type: ignore[arg-type]


def test_hostile_but_printable_text_is_kept_as_it_is() -> None:
    for text in (
        "<script>alert(1)</script>",
        "🎹👩🏽‍🔧\U0010ffff",
        "'; DROP TABLE record; --",
        "e\u0301",
        "{{ 7*7 }}",
    ):
        assert Piano(name="A", note=text).note == text


def test_one_string_is_no_list_and_a_hidden_object_is_not_called() -> None:
    class Loud:
        def __repr__(self) -> str:
            raise RuntimeError("must not be asked")

    assert "a Loud" in line_of(Piano, name="A", note=Loud())


def test_records_are_light_to_import() -> None:
    code = (
        "import sys, pianolab.model; "
        "heavy = {'numpy', 'pandas', 'sqlalchemy', 'babel'} & set(sys.modules); assert not heavy, heavy"
    )
    subprocess.run([sys.executable, "-c", code], check=True)


def test_the_check_of_imports_has_teeth() -> None:
    code = "import sys, numpy, pianolab.model; assert 'numpy' not in sys.modules"
    assert (
        subprocess.run([sys.executable, "-c", code], check=False, stderr=subprocess.DEVNULL).returncode == 1
    )
