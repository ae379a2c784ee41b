"""An edit says what it was based on: what one side changed is merged, what both changed is asked."""

from dataclasses import replace
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pianolab.casebook import Clash
from pianolab.casebook.based_on import merged
from pianolab.casebook.troubles import ChangedSince
from pianolab.model import Buyer, Finding, Piano, Room

WAS = Piano(id="p", name="A", seller="M", address="old lane", asking_price=Decimal(900))


def merge(yours, theirs, was=WAS):
    return merged(yours, was=was, theirs=theirs, by="Ben")


def test_fields_that_only_one_side_changed_are_merged():
    both = merge(replace(WAS, address="new lane"), replace(WAS, seller="N", year=1950))
    assert both == replace(WAS, address="new lane", seller="N", year=1950)


def test_the_same_change_twice_is_no_conflict():
    assert merge(replace(WAS, seller="N"), replace(WAS, seller="N")) == replace(WAS, seller="N")


def test_what_both_changed_is_a_conflict_with_both_values():
    with pytest.raises(Clash) as caught:
        merge(replace(WAS, seller="mine", address="x"), replace(WAS, seller="theirs", year=1950))
    clash = caught.value
    (field,) = clash.fields
    assert (field.names, field.was, field.yours, field.theirs) == (
        ("seller",),
        ("M",),
        ("mine",),
        ("theirs",),
    )
    assert clash.settled(mine=True) == replace(WAS, seller="mine", address="x", year=1950)
    assert clash.settled(mine=False) == replace(WAS, seller="theirs", address="x", year=1950)
    line = str(clash)
    assert line.startswith(
        "Piano 'A', seller: got 'mine' from you and meanwhile 'theirs' from Ben, need one of the two."
    )
    assert "Nothing was changed" in line
    assert "\n" not in line


def test_what_belongs_together_is_one_field():
    was = Finding(id="f", visit_id="v", point="p", grade=4)
    with pytest.raises(Clash) as caught:
        merge(replace(was, grade=2), replace(was, grade=None, state="not checked", reason="dark"), was)
    assert caught.value.settled(mine=False).state == "not checked"
    assert caught.value.settled(mine=True).grade == 2
    noted = merge(
        replace(was, grade=2, at="2026-01-02T00:00:00"), replace(was, note="n", at="2026-01-01T00:00:00"), was
    )
    assert (noted.grade, noted.note, noted.at.day) == (2, "n", 2)


def test_weights_and_rooms_are_merged_inside():
    was = Buyer(name="b", home_room=Room(length_m=4))
    yours = replace(was, weights={**was.weights, "tone": (0.1, 0.2)}, home_room=Room(length_m=4, width_m=3))
    theirs = replace(
        was,
        weights={**was.weights, "touch": (0.2, 0.3)},
        home_room=Room(length_m=5),
        touch_taste={"weight": (1, 2)},
    )
    both = merge(yours, theirs, was)
    assert (both.weights["tone"], both.weights["touch"]) == ((0.1, 0.2), (0.2, 0.3))
    assert both.home_room == Room(length_m=5, width_m=3)
    assert both.touch_taste == {"weight": (1, 2)}
    assert merge(replace(both, touch_taste={}), replace(both, level="x"), both) == replace(
        both, touch_taste={}, level="x"
    )


def test_a_merge_that_no_record_can_hold_is_a_conflict():
    with pytest.raises(Clash) as caught:
        merge(replace(WAS, first_key=80), replace(WAS, last_key=60))
    assert {name for field in caught.value.fields for name in field.names} == {"first_key", "last_key"}


values = st.fixed_dictionaries(
    {
        "seller": st.sampled_from("MNO"),
        "address": st.sampled_from("abc"),
        "year": st.sampled_from([None, 1950, 1960]),
    }
)


@given(yours=values, theirs=values)
@settings(deadline=None, max_examples=200)
def test_the_merge_is_that_of_each_field_by_itself(yours, theirs):
    """Against the textbook rule of a three-way merge, field by field."""
    was = {"seller": "M", "address": "a", "year": None}
    base = replace(WAS, **was)
    both = {n for n in was if was[n] != yours[n] != theirs[n] != was[n]}
    if both:
        with pytest.raises(Clash) as caught:
            merge(replace(base, **yours), replace(base, **theirs), base)
        assert {name for field in caught.value.fields for name in field.names} == both
    else:
        found = merge(replace(base, **yours), replace(base, **theirs), base)
        assert {n: getattr(found, n) for n in was} == {
            n: theirs[n] if yours[n] == was[n] else yours[n] for n in was
        }


def test_in_the_casebook(case):
    seen = case.piano
    with case.book.editing(by="Ben") as edit:
        edit.change(replace(seen, seller="N"))
    with case.book.editing(by="Ana") as edit:
        kept = edit.change(replace(seen, note="heavy"), was=seen)
    assert kept == replace(seen, seller="N", note="heavy") == case.book.pianos()[0]
    with pytest.raises(Clash) as caught, case.book.editing(by="Ana") as edit:
        edit.change(replace(seen, seller="O"), was=seen)
    clash = caught.value
    assert (clash.by, clash.theirs) == ("Ben", kept)
    assert case.book.pianos() == (kept,)
    with case.book.editing(by="Ana") as edit:
        edit.change(clash.settled(mine=True), was=clash.theirs)
    assert case.book.pianos()[0].seller == "O"


def test_what_was_removed_meanwhile(case):
    with case.book.editing(by="Ben") as edit:
        edit.remove(case.finding.id)
    with pytest.raises(Clash, match="removed by Ben") as caught, case.book.editing(by="Ana") as edit:
        edit.change(replace(case.finding, note="x"), was=case.finding)
    assert caught.value.theirs is None
    assert case.book.findings() == ()


def test_what_another_changed_since_is_not_removed(case):
    with case.book.editing(by="Ben") as edit:
        kept = edit.change(replace(case.finding, note="three more behind the panel"), was=case.finding)
    with pytest.raises(ChangedSince, match="changes by Ben") as caught, case.book.editing(by="Ana") as edit:
        edit.remove(case.finding.id, was=case.finding)
    assert "Finding" in str(caught.value)
    assert case.book.findings() == (kept,)
    with case.book.editing(by="Ana") as edit:
        edit.remove(kept.id, was=kept)
    assert case.book.findings() == ()


@pytest.mark.slow
def test_every_form_says_what_its_edit_was_based_on():
    """Nothing in the library changes a record without saying what it had read."""
    import ast
    from pathlib import Path

    import pianolab

    found = []
    for path in Path(pianolab.__file__).parent.rglob("*.py"):
        calls = (n for n in ast.walk(ast.parse(path.read_text(encoding="utf-8"))) if isinstance(n, ast.Call))
        for call in calls:
            if ast.unparse(call.func) in ("edit.change", "edit.remove"):
                found.append((path.name, any(k.arg == "was" for k in call.keywords)))
    assert len(found) >= 5
    # A pupil's answer of a second try replaces the first on purpose; a photo is known by its id and never changes.
    assert {name for name, based in found if not based} <= {"desk.py", "desk_parts.py"}
