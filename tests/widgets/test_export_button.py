"""The export button: writes what is asked for, says where, and fails in words."""

from dataclasses import replace
from pathlib import Path

import pytest

import pianolab
from pianolab.errors import BadInput
from pianolab.files import write_files
from pianolab.widgets.export_button import ExportButton, Outcome


@pytest.fixture
def calls() -> list[tuple[str, tuple[str, ...]]]:
    return []


def make(calls, *, fail: Exception | None = None) -> ExportButton:
    def writer(name: str):
        def write(leave_out, replace, tell) -> Outcome:
            assert not replace
            calls.append((name, tuple(leave_out)))
            tell("working", 0.5)
            if fail is not None:
                raise fail
            return Outcome(Path(name), ("mind <this>",))

        return write

    return ExportButton(page=writer("page.html"), tables=writer("tables"), target="<page>.html")


def test_a_click_writes_with_what_is_ticked(calls) -> None:
    form = make(calls)
    form.choices["prices"].value = True
    form.page_button.click()
    form.tables_button.click()
    assert calls == [("page.html", ("prices",)), ("tables", ("prices",))]
    assert "tables" in form.said.value
    assert form.said.value.endswith(" Mind &lt;this&gt;.")
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


def writing_to(target: Path) -> ExportButton:
    def write(leave_out, replace, _) -> Outcome:
        write_files({target: f"left out: {leave_out}".encode()}, replace=replace)
        return Outcome(target)

    return ExportButton(page=write, target=target)


def test_what_is_there_is_not_replaced_before_the_box_is_ticked(tmp_path: Path) -> None:
    form = writing_to(tmp_path / "page.html")
    (tmp_path / "page.html").write_text("somebody's own")
    for _ in range(2):
        form.page_button.click()
        assert (tmp_path / "page.html").read_text() == "somebody's own"
        assert form.said.value.startswith("Nothing written: ")
        assert "is there already" in form.said.value
        assert "replace what is there already" in form.said.value
    form.replace.value = True
    form.page_button.click()
    assert (tmp_path / "page.html").read_text() == "left out: ()"
    assert form.said.value.startswith("Written: ")


def test_a_tick_stands_for_one_time(tmp_path: Path) -> None:
    form = writing_to(tmp_path / "page.html")
    form.replace.value = True
    form.page_button.click()
    assert not form.replace.value
    (tmp_path / "page.html").write_text("somebody's own")
    form.page_button.click()
    assert (tmp_path / "page.html").read_text() == "somebody's own"


def test_a_button_made_later_says_what_is_there(tmp_path: Path) -> None:
    writing_to(tmp_path / "page.html").page_button.click()
    form = writing_to(tmp_path / "page.html")
    assert "is there already" in form.said.value
    assert "It stays, unless" in form.said.value
    (tmp_path / "page.html").unlink()
    form.page_button.click()
    assert (tmp_path / "page.html").exists()


def test_of_a_casebook_it_writes_beside_its_folder_and_says_what_hinders_it(visit_and_book) -> None:
    casebook, _ = visit_and_book
    form = pianolab.forms.export_button(casebook)
    assert Path(form.page_button.tooltip) == casebook.folder.parent / "comparison.html"
    assert Path(form.tables_button.tooltip) == casebook.folder.parent / "comparison-tables"
    form = pianolab.forms.export_button(casebook, settings=pianolab.Settings(profile="my uncle"))
    form.page_button.click()
    assert form.said.value.startswith("Not written. ")
    assert "my uncle" in form.said.value
    assert {p.name for p in casebook.folder.parent.iterdir()} == {casebook.folder.name}


def test_without_a_price_list_in_the_pianos_currency_it_writes_and_says_so(visit_and_book) -> None:
    casebook, _ = visit_and_book
    with casebook.editing(by="me") as edit:
        edit.change(replace(casebook.pianos()[0], currency="SEK"))
    form = pianolab.forms.export_button(casebook)
    form.page_button.click()
    assert form.said.value.startswith("Written: ")
    assert "Compared without money: " in form.said.value
    assert "SEK" in form.said.value
    assert (casebook.folder.parent / "comparison.html").exists()


def test_the_twin_is_escaped(calls) -> None:
    form = make(calls)
    assert "<page>" not in form.to_html()
    assert "left out: nothing" in form.to_html()
