"""The CSV set: numbers as numbers, unknown as nothing, formulas as text."""

import csv
import io
from dataclasses import replace

import pytest

from pianolab.errors import BadInput
from pianolab.files import AlreadyThere
from pianolab.model import Finding
from pianolab.report import ALWAYS, csv_tables, write_tables
from pianolab.report.csv_tables import cell
from tests.figures.make import NAMES, make_checklist, make_comparison, make_findings, make_surveys


def make_tables(comparison=None, **more) -> dict[str, str]:
    given = {"surveys": make_surveys(2), "findings": make_findings(), "checklist": make_checklist()}
    return csv_tables(comparison or make_comparison(), **(given | more))


def read(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text)))


def test_numbers_are_the_results() -> None:
    c, tables = make_comparison(), make_tables()
    rows = read(tables["shortlist.csv"])
    assert [float(r["first_choice_share"]) for r in rows] == [s.rank_shares[0] for s in c.standings]
    assert rows[3]["asking_price"] == rows[3]["total_p50"] == ""
    assert len(read(tables["aspects.csv"])) == 24
    assert len(read(tables["survey_A.csv"])) == 88
    assert "survey_C.csv" not in tables


def test_points_nobody_looked_at_are_in_the_table() -> None:
    rows = [r for r in read(make_tables()["unknown.csv"]) if r["what"] == "Pedals"]
    assert [r["letter"] for r in rows] == ["A", "B", "C", "D"]
    assert all(r["reason"] for r in rows)


@pytest.mark.parametrize("text", ["=1+1", "+1", "-cmd", "@sum", "\t=1", "\r=1", " =1", "\n=2"])
def test_formulas_are_neutralised(text) -> None:
    assert cell(text).startswith("'")
    findings = {"p0": (Finding(visit_id="v", point="plate", grade=2, note=text),)}
    notes = [r["note"] for r in read(make_tables(findings=findings)["findings.csv"])]
    assert notes == ["'" + text.replace("\r", "\n")]  # line ends of any computer are one in a record


def test_names_are_neutralised_too() -> None:
    tables = make_tables(make_comparison(("=HYPERLINK(1)", *NAMES[1:])))
    for name, text in tables.items():
        for row in read(text):
            assert not any(v.startswith("=") for v in row.values()), name


def test_negative_numbers_stay_numbers() -> None:
    assert cell(-3.5) == "-3.5"
    assert read(make_tables()["survey_A.csv"])[0]["cents"].startswith("-")


def test_leaving_out_prices_and_names() -> None:
    tables = make_tables(leave_out=("prices", "names"))
    assert "repairs.csv" not in tables
    everything = "".join(text for name, text in tables.items() if not name.startswith("survey"))
    for word in ("Blue upright", "Ana", "EUR", "1650"):
        assert word not in everything, word


def test_written_tables_open_in_a_spreadsheet(tmp_path) -> None:
    folder = write_tables(tmp_path / "tables", make_tables())
    data = (folder / "shortlist.csv").read_bytes()
    assert data.startswith(b"\xef\xbb\xbf"), "the mark that tells spreadsheets it is UTF-8"
    assert sorted(p.name for p in folder.iterdir()) == sorted(make_tables())


def test_no_next_step_gives_a_header_only() -> None:
    assert make_tables(replace(make_comparison(), next_steps=()))["next_steps.csv"].count("\n") == 1


def test_tables_are_replaced_only_where_asked_and_other_files_never(tmp_path) -> None:
    (tmp_path / "findings.csv").write_text("what,I\nfound,myself\n", encoding="utf-8")
    (tmp_path / "own.csv").write_text("mine")
    with pytest.raises(AlreadyThere, match=r"findings\.csv"):
        write_tables(tmp_path, make_tables())
    assert sorted(p.name for p in tmp_path.iterdir()) == ["findings.csv", "own.csv"], "none was written"
    assert (tmp_path / "findings.csv").read_text(encoding="utf-8") == "what,I\nfound,myself\n"
    write_tables(tmp_path, make_tables(leave_out=("names",)), replace=True)
    assert "Blue upright" not in (tmp_path / "shortlist.csv").read_text(encoding="utf-8-sig")
    assert (tmp_path / "findings.csv").read_text(encoding="utf-8-sig").startswith("letter,")
    assert (tmp_path / "own.csv").read_text() == "mine"


def test_the_tables_that_are_always_written() -> None:
    own = {name for name in make_tables(leave_out=("prices",)) if not name.startswith("survey_")}
    assert own == set(ALWAYS)


def test_a_file_is_no_folder(tmp_path) -> None:
    (tmp_path / "a").write_text("")
    with pytest.raises(BadInput, match="got a file"):
        write_tables(tmp_path / "a", make_tables())
