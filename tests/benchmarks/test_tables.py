"""The script that writes the tables of the narrow generators: places, cells, and no trace of one machine or day."""

from pathlib import Path

import pandas as pd
import pytest

from benchmarks import tables
from benchmarks.tables import BEGIN, END, into_file, markdown


def test_tables_stand_between_the_marks_and_nothing_else_changes(tmp_path: Path) -> None:
    page = tmp_path / "page.md"
    page.write_text(f"# a\n\n{BEGIN}\n\nold\n\n{END}\n\n## b\n", encoding="utf-8")
    for _ in range(2):
        into_file("| new |\n", path=page)
    assert page.read_text(encoding="utf-8") == f"# a\n\n{BEGIN}\n\n| new |\n\n{END}\n\n## b\n"
    assert [p.name for p in tmp_path.iterdir()] == ["page.md"]


@pytest.mark.parametrize("text", ["no marks", f"{END}\n{BEGIN}\n", f"{BEGIN}\n{BEGIN}\n{END}\n"])
def test_without_marks_nothing_is_written(tmp_path: Path, text: str) -> None:
    page = tmp_path / "page.md"
    page.write_text(text, encoding="utf-8")
    with pytest.raises(SystemExit, match=r"page\.md: needs one line"):
        into_file("new", path=page)
    assert page.read_text(encoding="utf-8") == text


def test_the_kept_file_has_the_marks() -> None:
    text = tables.KEPT.read_text(encoding="utf-8")
    assert text.count(BEGIN) == text.count(END) == 1


def test_a_table_in_markdown() -> None:
    assert markdown([["1", "2"]], ["a", "b"]) == "| a | b |\n| --- | --- |\n| 1 | 2 |"


@pytest.mark.slow
def test_a_scale_of_the_models_own_in_cells() -> None:
    rows = tables.accuracy_rows("model", "dry", (101,), keys=(46, 50))
    cells = tables._cells(tables.measure_row(rows))
    assert len(cells) == len(tables.MEASURES)
    assert cells[0] == "100"
    wrong = tables._cells(tables.measure_row(rows.assign(cents_error=rows["cents_error"] + 3.0)))
    right_median, wrong_median = (float(c[1].split(" / ")[0]) for c in (cells, wrong))
    assert right_median < 0.5, cells
    assert wrong_median > 2.5, "an error of 3 cents shows in its cell"


def test_the_size_of_errors_is_a_standard_deviation() -> None:
    errors = pd.Series([-0.67449, 0.67449, 0.2, 2.0] * 50)
    assert tables._middle_size(errors) == pytest.approx(1.0, rel=1e-3)
