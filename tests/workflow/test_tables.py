"""The survey as CSV and JSON: every column, every gap, nothing lost."""

import csv
import io
import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from pianolab.acoustics import COLUMNS, Survey
from pianolab.cli.summary import summary_lines
from pianolab.io import write_sound
from pianolab.units import key_to_hz
from pianolab.workflow import listening, survey_csv, survey_json
from pianolab.workflow.exporting import other_reading
from pianolab.workflow.listening import _settled


@pytest.fixture
def survey(survey_by_condition: dict[str, Survey]) -> Survey:
    return survey_by_condition["worn but honest"]


@pytest.fixture
def doubtful(survey: Survey) -> Survey:
    """The same recording, had it been impossible to tell the keys from those one below."""
    summary = replace(
        survey.summary, reading="doubtful", other_first_key=0, warnings=("--first-key N settles it",)
    )
    return replace(survey, summary=summary)


def rows_of(survey: Survey) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(survey_csv(survey))))


def test_a_row_for_every_key_and_the_agreed_columns_first(survey) -> None:
    rows = rows_of(survey)
    assert list(rows[0])[: len(COLUMNS)] == list(COLUMNS)
    assert [int(r["key"]) for r in rows] == list(range(1, 89))


def test_numbers_come_back(survey) -> None:
    for column, most in (
        ("cents", 1e-4),
        ("f1_hz", 1e-5),
        ("onset_s", 1e-4),
        ("decay_20_s", 1e-4),
        ("buzz_db", 1e-3),
    ):
        written = np.array([float(r[column] or "nan") for r in rows_of(survey)])
        kept = survey.table[column].to_numpy(float)
        np.testing.assert_allclose(written, kept, atol=0.51 * most, rtol=0, err_msg=column)
    b = np.array([float(r["inharmonicity"] or "nan") for r in rows_of(survey)])
    np.testing.assert_allclose(b, survey.table["inharmonicity"].to_numpy(float), rtol=1e-6)


def test_unknown_is_empty_and_says_why(survey) -> None:
    silent = next(r for r in rows_of(survey) if r["key"] == "43")
    assert silent["status"] == silent["faults"] == "silent"
    assert silent["cents"] == silent["decay_20_s"] == ""
    assert "cents=" in silent["gaps"]
    assert not any(cell.lower() in ("nan", "none", "<na>") for r in rows_of(survey) for cell in r.values())


def test_json_holds_summary_strikes_and_rows(survey) -> None:
    data = json.loads(survey_json(survey, source="scale.wav"), parse_constant=lambda c: pytest.fail(c))
    assert data["summary"]["measured"] == survey.summary.measured
    assert len(data["strikes"]) == len(survey.strikes) >= 87
    assert len(data["rows"]) == 88
    assert data["rows"][42]["cents"] is None
    assert data["rows"][42]["gaps"]
    assert data["other_reading"] is None


def test_the_other_reading_moves_keys_not_pitches(doubtful) -> None:
    other = json.loads(survey_json(doubtful))["other_reading"]
    assert other["first_key"] == 0
    assert other["shift_keys"] == -1
    row = next(r for r in other["rows"] if r["key"] == 48)
    mine = doubtful.table[doubtful.table["key"] == 49].iloc[0]
    assert row["f1_hz"] == pytest.approx(mine["f1_hz"])
    assert row["cents"] == pytest.approx(1200 * np.log2(mine["f1_hz"] / key_to_hz(48)))
    assert other["offset_cents"] == pytest.approx(doubtful.summary.offset_cents + 100.0)


def test_a_clear_reading_has_no_other(survey) -> None:
    assert other_reading(survey) is None
    assert "reading: clear" in summary_lines(survey)


def test_the_last_line_says_what_settles_a_doubtful_reading(doubtful) -> None:
    lines = summary_lines(doubtful)
    assert "reading: doubtful" in lines
    assert "--first-key 1 settles it" in lines[-1]


def test_who_knows_the_first_key_settles_it(doubtful) -> None:
    settled = _settled(doubtful, 1)
    assert settled.summary.reading == "clear"
    assert settled.summary.other_first_key is None
    assert not any("--first-key" in line for line in summary_lines(settled))
    assert _settled(doubtful, 5).summary.reading == "doubtful"


def test_the_summary_names_keys_and_faults(survey) -> None:
    text = "\n".join(summary_lines(survey))
    assert "silent: D#4 (43)" in text
    assert "keys measured: 87 of 88" in text
    assert "flat of A4 = 440 Hz" in text
    assert "reverberation time" in text


def test_what_could_not_be_tested_is_counted_fault_by_fault(survey) -> None:
    rows = survey.key_rows()
    heard = sum(row["status"] == "measured" for row in rows)
    open_at = sum("buzz" in row["not_judged"] for row in rows if row["status"] == "measured")
    assert 0 < open_at < heard
    lines = summary_lines(survey)
    assert any(f"buzz on {open_at}" in line for line in lines if line.startswith("  not told on some keys: "))
    assert "  not told by this recording: voicing" in lines


def test_the_summary_stands_in_the_order_a_technician_speaks(survey) -> None:
    table = survey.table.assign(unison_cents=6.0)
    wide = replace(survey, table=table, summary=replace(survey.summary, offset_cents=-44.0))
    lines = summary_lines(wide)
    begins = ("keys measured:", "pitch:", "tuning:", "faults heard:", "room:", "first of all:")
    places = [next(i for i, line in enumerate(lines) if line.startswith(b)) for b in begins]
    assert places == sorted(places)
    assert "pitch: the piano as a whole is 44.0 cents flat of A4 = 440 Hz" in lines
    assert sum(" unisons are over 2 cents" in line for line in lines) == 1, "one number is said once"
    assert lines[-1] == "first of all: the piano as a whole is 44 cents flat; tune before deciding"


def test_a_tuned_piano_is_not_told_to_be_tuned(survey) -> None:
    tuned = replace(survey, table=survey.table.assign(unison_cents=1.5))
    text = "\n".join(summary_lines(replace(tuned, summary=replace(survey.summary, offset_cents=-3.0))))
    assert "tune before" not in text
    assert "needs tuning" not in text
    assert "first of all" not in text


@pytest.mark.parametrize(("sure", "reading"), [(True, "clear"), (False, "doubtful")])
def test_a_doubtful_file_is_settled_only_by_who_is_sure(
    doubtful, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, sure: bool, reading: str
) -> None:
    path = write_sound(tmp_path / "scale.wav", np.zeros((16000, 1), np.float32), rate_hz=16000)
    monkeypatch.setattr(listening, "check_listenable", lambda _path: None)
    monkeypatch.setattr(listening, "listen", lambda *_args, **_more: doubtful)
    heard = listening.listen_file(path, first_key=1, first_is_sure=sure)
    assert heard.summary.reading == reading
