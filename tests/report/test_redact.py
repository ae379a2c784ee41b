"""Leaving out: nothing private is left in any text that people wrote, and the page's own words stay whole."""

from dataclasses import replace
from decimal import Decimal

import pytest

from pianolab.assess.assessment import Unknown
from pianolab.compare.worth import Adjusted
from pianolab.model import Comparable, Finding
from pianolab.report import csv_tables
from pianolab.report.redact import Content, redact
from pianolab.statements import Money, as_written, statement
from pianolab.words import say
from tests.figures.make import NAMES, make_checklist, make_comparison, make_findings, make_surveys
from tests.report.test_page import make_page, text_of

REASON = "Mr Quill at Lime Row wanted 1.800 first"
PRIVATE = ("Quill", "Lime Row", "1.800", "Lime", "new strings by May", "Ida", "S-077")


def told() -> dict[str, tuple[Finding, ...]]:
    """Findings whose free texts hold the seller's name, the street, the price and a promise."""
    return make_findings() | {
        "p0": (
            Finding(
                visit_id="v", point="plate", grade=2, place="the side of Quill's window", examiner="Ida Stern"
            ),
            Finding(
                visit_id="v",
                point="lid",
                grade=2,
                note="Ida saw it, 1 800 too much",
                promised="new strings by May",
            ),
            Finding(visit_id="v", point="pins", state="not allowed", reason=REASON),
        )
    }


def compared():
    """The usual shortlist; the reason nobody could look stands in what is unknown, too."""
    c = make_comparison()
    first = c.assessments[0]
    unknown = Unknown(
        what=as_written("tuning pins"),
        why=as_written(REASON),
        width=1.0,
        source="pins",
        effort="technician",
        minutes=30,
    )
    aspects = (replace(first.aspects[0], unknown=(unknown,)), *first.aspects[1:])
    return replace(c, assessments=(replace(first, aspects=aspects), *c.assessments[1:]))


def everything(leave_out: tuple[str, ...], **more) -> str:
    given = {"findings": told(), "leave_out": leave_out}
    page = text_of(make_page(compared(), **given, **more))
    tables = csv_tables(
        compared(), surveys=make_surveys(1), checklist=make_checklist(), findings=told(), leave_out=leave_out
    )
    return page + "".join(text for name, text in tables.items() if not name.startswith("survey"))


@pytest.mark.parametrize(
    ("leave_out", "gone", "kept"),
    [
        (("names",), ("Quill", "Ida", "new strings by May", "Seller 0", "S-077"), ("1.800", "Lime Row")),
        (("addresses",), ("Lime Row", "0 Lime Row"), ("Quill", "1.800", "Ida")),
        (("prices",), ("1.800", "1 800", "1,800"), ("Quill", "Lime Row", "Ida")),
        (("names", "addresses", "prices"), PRIVATE, ("wanted", "first")),
        ((), (), ("Quill", "Lime Row", "1.800", "Ida", "Promised: new strings by May")),
    ],
)
def test_what_people_wrote_is_searched(leave_out, gone, kept) -> None:
    text = everything(leave_out)
    for word in gone:
        assert word not in text, word
    for word in kept:
        assert word in text, word


def test_the_words_of_the_page_itself_stay() -> None:
    c = make_comparison()
    pianos = (replace(c.assessments[0].piano, seller="Tone Touch"), *(a.piano for a in c.assessments[1:]))
    c = replace(
        c,
        assessments=tuple(replace(a, piano=p) for a, p in zip(c.assessments, pianos, strict=True)),
    )
    text = text_of(make_page(c, leave_out=("names",)))
    assert "Tone Touch" not in text
    assert "Tone counts" in text


def test_a_name_that_is_a_word_takes_only_itself_away() -> None:
    reason = "may would not allow it"
    found = {
        "p0": (Finding(visit_id="v", point="plate", state="not allowed", reason=reason, examiner="May"),)
    }
    text = text_of(make_page(findings=found, leave_out=("names",)))
    assert "it may be fine, it may not" in text, "the page's own words"
    assert "left out would not allow it" in text
    assert "May" not in text


def test_what_is_named_private_goes_with_the_names() -> None:
    lines = {"Recording of Blue upright": "2026-03-14, quill-parlour.m4a; played by Bo in the parlour"}
    private = ("quill-parlour.m4a", "played by Bo in the parlour")
    gone = text_of(make_page(provenance=lines, private=private, leave_out=("names",)))
    assert "parlour" not in gone
    assert "Recording of Piano A" in gone
    assert "quill-parlour.m4a" in text_of(make_page(provenance=lines, private=private))


@pytest.mark.slow
def test_a_buyer_of_ones_own_is_not_named_but_those_that_come_with_it_are() -> None:
    c = make_comparison()
    own = replace(c, profile=replace(c.profile, name="Lena, nine", description="Lena plays at home"))
    assert "Lena" not in text_of(make_page(own, leave_out=("names",)))
    assert "this buyer" in text_of(make_page(own, leave_out=("names",)))
    known = replace(c, profile=replace(c.profile, name="first piano"))
    assert "first piano" in text_of(make_page(known, leave_out=("names",)))


def test_promises_are_kept_for_those_who_may_see_them() -> None:
    def content() -> Content:
        return Content(comparison=make_comparison(), findings=told(), provenance={})

    assert [f.promised for f in redact(content(), ()).findings["p0"]][1] == "new strings by May"
    assert not any(f.promised for f in redact(content(), ("names",)).findings["p0"])
    dear = replace(told()["p0"][1], promised="1,800 back")
    priced = replace(content(), findings={"p0": (dear,)})
    assert redact(priced, ("prices",)).findings["p0"][0].promised == "[amount left out] back"


def test_small_prices_take_no_other_numbers_away() -> None:
    c = make_comparison()
    cheap = replace(c.assessments[0].piano, asking_price=Decimal(20))
    c = replace(c, assessments=(replace(c.assessments[0], piano=cheap), *c.assessments[1:]))
    found = {"p0": (Finding(visit_id="v", point="plate", grade=2, note="20 dark lines"),)}
    assert "20 dark lines" in text_of(make_page(c, findings=found, leave_out=("prices",)))


def test_names_of_pianos_that_are_parts_of_others() -> None:
    names = ("Mill", "Mill Lane", *NAMES[2:])
    text = text_of(make_page(make_comparison(names), leave_out=("names",)))
    assert "Mill" not in text
    assert "Piano A Lane" not in text


def test_amounts_and_names_go_out_of_what_is_said_and_its_own_words_stay() -> None:
    """A seller called Less takes nothing out of the words "less so much"; the kind and what it is about stay."""
    c = make_comparison()
    job = as_written(f"{NAMES[0]}: Less wrote 2.000")
    work = statement("price.work", "regulation", job=job)
    said = statement("price.less", "p0", amount=Money(Decimal(1650), "EUR"), why=work)
    seller = replace(c.assessments[0].piano, seller="Less")
    c = replace(
        c,
        assessments=(replace(c.assessments[0], piano=seller), *c.assessments[1:]),
        verdict=replace(c.verdict, reasons=(said,)),
    )
    content = Content(comparison=c, findings={}, provenance={})
    (left,) = redact(content, ("names", "prices")).comparison.verdict.reasons
    assert (left.kind, left.subject) == (said.kind, said.subject)
    assert say(left).startswith("less [amount left out]: piano A: left out wrote ")
    (kept,) = redact(content, ("addresses",)).comparison.verdict.reasons
    assert kept == said


def test_promises_go_with_the_names_wherever_they_are_said() -> None:
    """In the findings and in what is said of the price."""
    words = "Our Joost files them."
    c = make_comparison()
    promise = statement("promise", "grooves", title="Grooves", words=words)
    price = replace(c.standings[0].price, promises=(statement("price.promise", "grooves", promise=promise),))
    c = replace(
        c,
        assessments=(replace(c.assessments[0], promises=(promise,)), *c.assessments[1:]),
        standings=(replace(c.standings[0], price=price), *c.standings[1:]),
    )
    found = {"p0": (Finding(visit_id="v", point="grooves", grade=3, promised=f" {words} "),)}
    full = Content(comparison=c, findings=found, provenance={})
    assert words in say(redact(full, ("addresses",)).comparison.standings[0].price.promises[0])
    left = redact(full, ("names",)).comparison
    assert words not in say(left.standings[0].price.promises[0])
    assert words not in say(left.assessments[0].promises[0])


def test_prices_of_others_tell_no_place_and_no_note() -> None:
    seen = Comparable(
        price=Decimal(900), place="Quay Street", note="from Joost", condition="good", seller_kind="dealer"
    )
    adjusted = Adjusted(comparable=seen, moves={}, amount=900.0, spread=0.1)
    c = make_comparison()
    price = replace(c.standings[0].price, adjusted=(adjusted,))
    c = replace(c, comparables=(seen,), standings=(replace(c.standings[0], price=price), *c.standings[1:]))
    left = redact(Content(comparison=c, findings={}, provenance={}), ("names",)).comparison
    for kept in (left.comparables[0], left.standings[0].price.adjusted[0].comparable):
        assert kept == replace(seen, place="", note="")
