"""The buyer's form: every change that can be used is saved, one that can't is refused in one line."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from decimal import Decimal
from pathlib import Path

import pytest

from pianolab.casebook import Casebook, create_casebook, open_casebook
from pianolab.errors import BadInput
from pianolab.model import ASPECTS, Buyer, Room, load_profiles
from pianolab.report.twins import profile_twin
from pianolab.widgets.profile_form import ProfileForm


@pytest.fixture
def book(tmp_path: Path) -> Iterator[Casebook]:
    with create_casebook(tmp_path / "book") as book:
        yield book


def test_nothing_is_written_before_a_change(book: Casebook) -> None:
    form = ProfileForm(book, "first piano")
    assert form.profile == load_profiles()["first piano"]
    assert book.profiles() == ()
    assert "Every change is saved" in form.line.value


def test_each_change_is_in_the_casebook_at_once_and_after_a_restart(book: Casebook, tmp_path: Path) -> None:
    form = ProfileForm(book, "my pupil", like="first piano", examiner="Ana")
    form.controls["tone"].value = (0.12, 0.25)
    assert form.line.value.startswith("Saved at ")
    form.controls["budget"].value = "4500"
    form.controls["projects"].value = True
    form.controls["taste weight"].value = (2, 4)
    form.controls["length"].value = "5,2 m"
    form.controls["surfaces"].value = ("carpet",)
    (kept,) = book.profiles()
    assert kept == form.profile
    assert kept.name == "my pupil"
    assert kept.weights["tone"] == (0.12, 0.25)
    assert kept.budget == Decimal(4500)
    assert kept.enjoys_projects
    assert kept.touch_taste == {"weight": (2, 4)}
    assert kept.home_room.length_m == 5.2
    assert kept.home_room.surfaces == ("carpet",)
    assert [c.by for c in book.log()] == ["Ana"] * 6
    book.close()
    with open_casebook(tmp_path / "book") as again:
        assert ProfileForm(again, "my pupil").profile == kept


def test_weights_that_exclude_each_other_are_refused_and_nothing_changes(book: Casebook) -> None:
    form = ProfileForm(book, "first piano")
    form.controls["tone"].value = (0.12, 0.25)
    before = book.profiles()
    form.controls["touch"].value = (0.9, 0.95)
    assert form.line.value.startswith("<b>Not saved.</b> weights of first piano: got 1")
    assert "exclude each other: lower some of the low ends" in form.line.value
    assert "\n" not in form.line.value
    assert book.profiles() == before
    assert form.profile == before[0]
    form.controls["touch"].value = (0.1, 0.2)
    assert form.line.value.startswith("Saved at ")


@pytest.mark.parametrize(
    ("field", "value", "line"),
    [
        ("budget", "a lot", "budget: got &#x27;a lot&#x27;, need 0.01 to"),
        ("budget", "-3", "budget: got &#x27;-3&#x27;, need 0.01 to"),
        ("moving low", "9000", "moving_cost: got 9000 to 400, need the low end not above the high one"),
        ("length", "big", "length_m: got &#x27;big&#x27;, need 0.5 to 200 m"),
        ("height", "250", "height_m: got &#x27;250&#x27;, need 0.5 to 200 m. Centimetres instead of metres?"),
    ],
)
def test_what_cannot_be_used_gives_one_line(book: Casebook, field: str, value: str, line: str) -> None:
    form = ProfileForm(book, "first piano")
    form.controls[field].value = value
    assert line in form.line.value
    assert book.profiles() == ()


def test_an_empty_budget_is_no_limit(book: Casebook) -> None:
    form = ProfileForm(book, "first piano")
    form.controls["budget"].value = ""
    assert book.profiles()[0].budget is None


def test_a_buyer_that_cannot_be_used_is_opened_and_says_so(book: Casebook) -> None:
    heavy = Buyer(name="heavy", weights=dict.fromkeys(ASPECTS, (0.4, 0.5)))
    with book.editing(by="Ana") as edit:
        edit.add(heavy)
    assert "can't be used yet" in ProfileForm(book, "heavy").line.value


def test_unknown_model_buyer(book: Casebook) -> None:
    with pytest.raises(BadInput, match="like: got 'nobody', need one of conservatoire candidate"):
        ProfileForm(book, "me", like="nobody")


HOSTILE = "<script>alert(1)</script>"


def test_the_twin_holds_everything_and_escapes_it(book: Casebook) -> None:
    buyer = Buyer(
        name=HOSTILE,
        description=HOSTILE,
        level=HOSTILE,
        touch_taste={HOSTILE: (2, 3)},
        home_room=Room(length_m=5.0, surfaces=(HOSTILE,)),
    )
    html = profile_twin(buyer)
    assert "<script" not in html
    assert html.count("&lt;script&gt;alert(1)&lt;/script&gt;") == 5
    assert "5 x ? x ? m" in html
    form = ProfileForm(book, "conservatoire candidate")
    bundle = form._repr_mimebundle_()
    found = bundle[0] if isinstance(bundle, tuple) else bundle
    assert found["text/html"] == form.to_html()
    assert "18% to 31%" in found["text/html"]
    assert "€12,000" in found["text/html"]


def test_scales_left_at_both_ends_are_all_the_same(book: Casebook) -> None:
    form = ProfileForm(book, "first piano")
    form.controls["taste weight"].value = (1, 5)
    assert book.profiles()[0].touch_taste == {}
    assert "all the same" in form.to_html()


def behind_its_back(book: Casebook, **values: object) -> None:
    with book.editing(by="Ben") as edit:
        edit.change(replace(book.profiles()[0], **values))  # type: ignore[arg-type]


def test_what_another_changed_meanwhile_is_not_set_back(book: Casebook) -> None:
    form = ProfileForm(book, "first piano", examiner="Ana")
    form.controls["budget"].value = "4500"
    there = book.profiles()[0]
    behind_its_back(book, weights={**there.weights, "tone": (0.2, 0.25)}, level="advanced")
    form.controls["touch"].value = (0.11, 0.22)
    (kept,) = book.profiles()
    assert (kept.weights["tone"], kept.weights["touch"], kept.level) == (
        (0.2, 0.25),
        (0.11, 0.22),
        "advanced",
    )
    assert form.line.value.startswith("Saved at ")
    assert "changed elsewhere meanwhile" in form.line.value
    assert (form.controls["tone"].value, form.controls["level"].value) == ((0.2, 0.25), "advanced")


@pytest.mark.parametrize(("button", "budget"), [("mine", 4000), ("theirs", 6000)])
def test_what_both_changed_is_asked_with_both_values(book: Casebook, button: str, budget: int) -> None:
    form = ProfileForm(book, "first piano", examiner="Ana")
    form.controls["budget"].value = "4500"
    behind_its_back(book, budget=Decimal(6000), level="advanced")
    form.controls["budget"].value = "4000"
    assert book.profiles()[0].budget == 6000
    assert "Saved" not in form.line.value
    assert "budget: <b>4000</b> from you, <b>6000</b> from Ben" in form.asking.words.value
    getattr(form.asking, button).click()
    (kept,) = book.profiles()
    assert (kept.budget, kept.level) == (budget, "advanced")
    assert form.controls["budget"].value == str(budget)


def test_a_buyer_that_two_forms_enter_at_once(book: Casebook) -> None:
    one, other = ProfileForm(book, "first piano"), ProfileForm(book, "first piano", examiner="Ben")
    one.controls["budget"].value = "4500"
    other.controls["level"].value = "advanced"
    (kept,) = book.profiles()
    assert (kept.budget, kept.level) == (Decimal(4500), "advanced")
