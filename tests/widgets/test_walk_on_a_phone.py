"""The walk's page in a browser as narrow as a phone, light and dark; no notebook around it."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest
from walk_page import small_targets
from widget_driver import Driver
from widget_lab import CHROMIUM, browser
from widget_small import CHECKLIST

from benchmarks.pictures import write_widget
from pianolab.casebook import Casebook
from pianolab.figures.look import contrast
from pianolab.model import Finding, Visit
from pianolab.widgets import FindingsForm

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(not CHROMIUM.exists(), reason="needs Debian's chromium"),
]

LONG = (
    "all hammers filed and the whole piano raised to pitch before we come back, Donaudampfschiff" + "x" * 60
)
COLOURS = """input => {
  const own = getComputedStyle(input), label = input.closest('label').querySelector('.pl-label');
  const card = getComputedStyle(input.closest('.pl-card')).backgroundColor;
  return [[own.color, own.backgroundColor], [getComputedStyle(input, '::placeholder').color, own.backgroundColor],
    [getComputedStyle(label).color, card]];
}"""


def hex_of(colour: str) -> str:
    return "#" + "".join(f"{int(c):02X}" for c in re.findall(r"\d+", colour)[:3])


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("promised", ["", LONG], ids=["empty", "long"])
def test_the_promise_at_phone_width(driver: Driver, tmp_path: Path, scheme: str, promised: str) -> None:
    driver.go("grooves")
    driver.value(2)
    driver.enter("promise", promised=promised)
    page_file = write_widget(driver.form, tmp_path / "walk.html")
    options: dict[str, Any] = {"viewport": {"width": 360, "height": 740}, "color_scheme": scheme}
    with browser(tmp_path / "profile", **options) as context:
        page = context.new_page()
        page.goto(page_file.resolve().as_uri())
        field = page.get_by_role("textbox", name="The seller promises", exact=True)
        assert field.input_value() == promised
        assert field.get_attribute("placeholder") == "what, and by when"
        wide = "[document.documentElement, ...document.querySelectorAll('.pl-walk, .pl-walk *')]"
        assert page.evaluate(wide + ".filter(e => e.getBoundingClientRect().right > 360).length") == 0
        assert small_targets(page, ".pl-walk") == []
        pairs = field.evaluate(COLOURS)
        assert len(pairs) == 3
        for ink, paper in pairs:
            assert contrast(hex_of(ink), hex_of(paper)) >= 4.5, (ink, paper)
        assert field.evaluate("input => input.scrollHeight <= input.clientHeight"), "part of it is hidden"


def test_looking_at_a_promise_written_elsewhere_does_not_change_it(
    visit_and_book: tuple[Casebook, Visit], tmp_path: Path
) -> None:
    """A text field drops some line breaks by itself; that must not count as typing."""
    casebook, visit = visit_and_book
    with casebook.editing(by="Ana", checklist=CHECKLIST) as edit:
        promised = "filed\r\nby May"
        edit.add(Finding(visit_id=visit.id, point="grooves", grade=2, examiner="Ana", promised=promised))
    driver = Driver(FindingsForm(casebook, visit.id, checklist=CHECKLIST))
    driver.go("grooves")
    page_file = write_widget(driver.form, tmp_path / "walk.html")
    with browser(tmp_path / "profile", viewport={"width": 360, "height": 740}) as context:
        page = context.new_page()
        page.goto(page_file.resolve().as_uri())
        field = page.get_by_role("textbox", name="The seller promises", exact=True)
        field.focus()
        field.blur()
        assert page.locator(".pl-status").inner_text() == "All changes so far are saved"
        field.fill("filed by June")
        field.blur()
        assert page.locator(".pl-status").inner_text() == "Saving"
