"""The export button: writes what is asked for, says where, and fails in words."""

from dataclasses import replace
from pathlib import Path

import pytest

import pianolab
from pianolab.errors import BadInput
from pianolab.widgets.export_button import ExportButton


@pytest.fixture
def calls() -> list[tuple[str, tuple[str, ...]]]:
    return []


def make(calls, *, fail: Exception | None = None) -> ExportButton:
    def writer(name: str):
        def write(leave_out, tell) -> Path:
            calls.append((name, tuple(leave_out)))
            tell("working", 0.5)
            if fail is not None:
                raise fail
            return Path(name)

        return write

    return ExportButton(page=writer("page.html"), tables=writer("tables"), target="<page>.html")


def test_a_click_writes_with_what_is_ticked(calls) -> None:
    form = make(calls)
    form.choices["prices"].value = True
    form.page_button.click()
    form.tables_button.click()
    assert calls == [("page.html", ("prices",)), ("tables", ("prices",))]
    assert "tables" in form.said.value
    assert not form.page_button.disabled
    assert form.bar.layout.visibility == "hidden"


@pytest.mark.parametrize("fail", [BadInput("<x>", "a folder", "a file"), KeyboardInterrupt()])
def test_a_failure_is_said_in_words(calls, fail) -> None:
    form = make(calls, fail=fail)
    form.page_button.click()
    assert form.said.value.startswith(
        ("Not written. &lt;x&gt;: got a folder", "Stopped; nothing was written.")
    )
    assert not form.page_button.disabled


def written_twice(tmp_path: Path) -> ExportButton:
    target = tmp_path / "page.html"

    def write(leave_out, _) -> Path:
        target.write_text(f"left out: {leave_out}")
        return target

    return ExportButton(page=write, target=target)


def test_what_is_there_is_not_replaced_before_the_button_says_so(tmp_path: Path) -> None:
    form = written_twice(tmp_path)
    (tmp_path / "page.html").write_text("somebody's own")
    assert form.page_button.description == "Write the page"
    form.page_button.click()
    assert (tmp_path / "page.html").read_text() == "somebody's own"
    assert "is there already" in form.said.value
    assert form.page_button.description == "Replace the page"
    form.page_button.click()
    assert (tmp_path / "page.html").read_text() == "left out: ()"


def test_a_button_made_later_says_what_it_will_replace(tmp_path: Path) -> None:
    written_twice(tmp_path).page_button.click()
    form = written_twice(tmp_path)
    assert form.page_button.description == "Replace the page"
    assert "The button replaces it." in form.said.value
    (tmp_path / "page.html").unlink()
    form.page_button.click()
    assert (tmp_path / "page.html").exists()


def test_of_a_casebook_it_writes_beside_its_folder_and_says_what_hinders_it(visit_and_book) -> None:
    casebook, _ = visit_and_book
    form = pianolab.export_button(casebook)
    assert Path(form.page_button.tooltip) == casebook.folder.parent / "comparison.html"
    assert Path(form.tables_button.tooltip) == casebook.folder.parent / "comparison-tables"
    with casebook.editing(by="me") as edit:
        edit.change(replace(casebook.pianos()[0], currency="SEK"))
    form.page_button.click()
    assert form.said.value.startswith("Not written. ")
    assert "SEK" in form.said.value
    assert {p.name for p in casebook.folder.parent.iterdir()} == {casebook.folder.name}


def test_the_twin_is_escaped(calls) -> None:
    form = make(calls)
    assert "<page>" not in form.to_html()
    assert "left out: nothing" in form.to_html()
