"""Choosing keys and what is known of them; no browser."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pandas as pd
import pytest
import traitlets
from widget_small import CHECKLIST

from pianolab.casebook import create_casebook
from pianolab.errors import BadInput
from pianolab.keyboard import is_black
from pianolab.model import Finding, Piano, Visit
from pianolab.report.twin_keyboard import KeyMark, keyboard_layout, keyboard_twin, read_keys
from pianolab.widgets import KeyboardPicker, key_marks
from pianolab.words import keys_in_words


class Heard:
    """The one thing the marks read of a survey: its table."""

    table = pd.DataFrame({"key": [1, 2, 3], "faults": ["unison;off_pitch", "", "silent"]})


def finding(**values: object) -> Finding:
    return Finding(**{"visit_id": "v", "point": "chips", **values})  # type: ignore[arg-type]


def test_marks_of_findings_and_survey() -> None:
    marks = key_marks(
        findings=[finding(grade=2, keys=(3, 40), note="left edge", promised="filed")],
        survey=Heard(),
        checklist=CHECKLIST,
    )  # type: ignore[arg-type]
    assert sorted(marks) == [1, 3, 40]
    assert [(m.shape, m.text) for m in marks[1]] == [("circle", "heard: unison, off pitch")]
    assert [m.shape for m in marks[3]] == ["triangle", "cross"]
    assert marks[40][0].text == "Chipped key tops: A sharp chip. (grade 2 of 5), left edge; promised: filed"


def test_what_is_sound_or_was_not_looked_at_makes_no_mark() -> None:
    fine = [
        finding(grade=5, keys=(4,)),
        finding(count=0, keys=(5,)),
        finding(point="serial", answer=True, keys=(6,)),
        finding(state="not checked", reason="no time", keys=(7,)),
    ]
    assert key_marks(findings=fine, checklist=CHECKLIST) == {}
    assert sorted(
        key_marks(findings=[finding(point="serial", answer=False, keys=(6,))], checklist=CHECKLIST)
    ) == [6]


@pytest.mark.parametrize(("first", "last"), [(1, 88), (1, 85), (-8, 99), (-3, 88)])
def test_the_picker_draws_the_keys_the_piano_has(first: int, last: int) -> None:
    picker = KeyboardPicker(Piano(name="p", first_key=first, last_key=last))
    keys = picker.keyboard["keys"]
    assert [k["key"] for k in keys] == list(range(first, last + 1))
    assert [k["black"] for k in keys] == [is_black(k) for k in range(first, last + 1)]


def test_whites_lie_side_by_side_and_blacks_between_their_neighbours() -> None:
    layout = {k.key: k for k in keyboard_layout(1, 88)}
    whites = [k for k in layout.values() if not k.black]
    assert [k.left for k in whites] == list(range(52))
    for k in layout.values():
        if k.black:
            middle = k.left + k.width / 2
            assert layout[k.key - 1].left < middle < layout[k.key + 1].left + 1
            assert abs(middle - layout[k.key + 1].left) < 0.2


def test_chosen_keys_are_checked() -> None:
    picker = KeyboardPicker(Piano(name="p", last_key=85))
    picker.chosen = [44, 40, 40]
    assert picker.chosen == (40, 44)
    with pytest.raises(traitlets.TraitError, match="keys from A0 to A7"):
        picker.chosen = (86,)
    assert picker.chosen == (40, 44)
    with pytest.raises(BadInput, match="need keys from A0 to A7"):
        KeyboardPicker(Piano(name="p", last_key=85), chosen=(88,))


@pytest.mark.parametrize(
    ("text", "keys"),
    [
        ("", ()),
        ("C4", (40,)),
        ("a4 bb3", (38, 49)),
        ("C4 – E4", (40, 41, 42, 43, 44)),
        ("1;88", (1, 88)),
        ("F♯5", (58,)),
    ],
)
def test_keys_are_read_as_people_write_them(text: str, keys: tuple[int, ...]) -> None:
    assert read_keys(text) == keys


def test_keys_in_words_are_read_back() -> None:
    for keys in [(1, 2), (1, 2, 3), (5, 40, 41, 42, 43, 88), tuple(range(1, 89))]:
        assert read_keys(keys_in_words(keys, most=None)) == keys


def test_extra_bass_keys_are_read_by_number_and_name() -> None:
    assert read_keys("-3, F0", first_key=-8, last_key=99) == (-3,)


def test_the_twin_is_escaped_and_shows_marks_in_words() -> None:
    piano = Piano(name="<script>x</script>")
    picker = KeyboardPicker(
        piano, findings=[finding(grade=1, keys=(40,), note="<img src=x>")], chosen=(49,), checklist=CHECKLIST
    )
    html = picker.to_html()
    assert "<script" not in html
    assert "<img" not in html
    assert "C4 (key 40): Chipped key tops: Tops missing. (grade 1 of 5), &lt;img src=x&gt;" in html
    assert "Chosen: A4" in html
    assert html.count("<rect") == 88
    assert picker._repr_mimebundle_()[0]["text/html"] == html


def test_each_mark_has_a_shape_of_its_own() -> None:
    drawn = [
        keyboard_twin(first_key=1, last_key=88, marks={40: [KeyMark(shape=s, text="t")]})
        for s in ("triangle", "circle", "cross")
    ]  # type: ignore[arg-type]
    assert len(set(drawn)) == 3


@pytest.mark.parametrize("keys", [2.5, True, {"a": 1}, "49", 10**30])
def test_a_message_that_names_no_list_of_keys_is_one_line(keys: object, tmp_path: Path) -> None:
    with create_casebook(tmp_path / "book") as book:
        with book.editing(by="Ana") as edit:
            piano = edit.add(Piano(name="p"))
            visit = edit.add(Visit(piano_id=piano.id, day=date(2026, 3, 14), examiner="Ana"))
        picker = KeyboardPicker(piano, casebook=book, visit_id=visit.id, examiner="Ana")
        picker.receive({"do": "mark", "point": "keys-chips", "keys": keys, "on": True})
        assert picker.line.startswith("Not done. keys: got ")
        assert "need a list of keys" in picker.line
        assert book.findings() == ()
        picker.receive({"do": "mark", "point": "keys-chips", "keys": [49], "on": True})
        assert [f.keys for f in book.findings()] == [(49,)]
