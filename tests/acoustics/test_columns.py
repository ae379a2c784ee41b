"""A column is declared once and seen everywhere; what a declaration forgets is refused by name; every gap has a reason."""

import csv
import io
import json
from collections.abc import Iterator
from dataclasses import replace
from functools import cache

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pianolab.acoustics import COLUMNS, Survey, columns, listen
from pianolab.acoustics.columns import Column, ColumnChart, Listened, checked, declared, is_empty
from pianolab.acoustics.named_reasons import join_names, join_reasons, split_names, split_reasons
from pianolab.acoustics.recorder.recorder_states import Impairment, forbid
from pianolab.acoustics.survey_result import rows_of
from pianolab.errors import BadInput
from pianolab.figures import draw_over_keys, plan_column
from pianolab.recordings import merge_takes
from pianolab.report.csv_tables import csv_tables
from pianolab.sound_model import KeyFault, ModelledScale, PianoModel, render_scale
from pianolab.workflow import survey_csv
from tests.figures.make import make_checklist, make_comparison, make_findings

SILENT, SKIPPED = 44, 46

# A new measure, complete: how much louder the first 50 ms are than the whole note.


def _knock(heard: Listened) -> np.ndarray:
    power = heard.channels.astype(float) ** 2
    ends = [int((t + s) * heard.rate_hz) for s in (0.05, 0.5) for t in heard.m.strikes.onset_s]
    begins = [int(t * heard.rate_hz) for t in heard.m.strikes.onset_s] * 2
    mean = np.array([power[:, b:e].mean() for b, e in zip(begins, ends, strict=True)]).reshape(2, -1)
    return 10.0 * np.log10(mean[0] / mean[1])


KNOCK = Column(
    name="knock_db",
    unit="dB",
    words="level of the first 50 ms over the first half second",
    decimals=1,
    values=_knock,
    absent="no blow heard",
    rests_on="fall",
    merge="mean",
    spread=True,
    chart=ColumnChart(
        title="How hard the blow stands out", axis="first 50 ms over the note", least=(0.0, 6.0)
    ),
)


@cache
def played(seed: int = 1) -> ModelledScale:
    model = PianoModel(seed=5, faults=(KeyFault(key=SILENT, kind="silent"),))
    return render_scale(
        model,
        first_key=40,
        last_key=48,
        skipped=(SKIPPED,),
        hold_s=1.0,
        snr_db=45.0,
        rate_hz=22050,
        seed=seed,
    )


def heard(seed: int = 1) -> Survey:
    scale = played(seed)
    return listen(scale.samples, rate_hz=scale.rate_hz, first_key=40, last_key=48)


@cache
def usual(seed: int) -> Survey:
    """The same without the new measure."""
    return heard(seed)


@pytest.fixture
def with_knock(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    _ = usual(1), usual(2), usual(3)
    monkeypatch.setattr(columns, "DECLARED", checked((*columns.DECLARED, KNOCK)))
    return


@pytest.mark.slow
@pytest.mark.usefixtures("with_knock")
def test_a_declared_measure_is_everywhere() -> None:
    one, two = heard(1), heard(2)
    table = one.table.set_index("key")
    assert table["knock_db"].notna().sum() == one.summary.measured == 7
    assert np.isnan(table.loc[SILENT, "knock_db"])
    assert one.gaps_of(SILENT)["knock_db"] == one.gaps_of(SILENT)["cents"]
    assert one.gaps_of(SKIPPED)["knock_db"] == "key not struck"
    # Read from the fall of the level, so what spoils that spoils it.
    gain = Impairment(name="automatic gain", says="", columns=("decay_20_s",))
    spoiled = forbid(rows_of(one.table), [gain])[0]
    assert np.isnan(spoiled["knock_db"])
    assert spoiled["gaps"]["knock_db"] == "automatic gain"
    # Takes.
    merged = merge_takes([one, two])
    each = [float(s.table.set_index("key").loc[41, "knock_db"]) for s in (one, two)]
    assert float(merged.table.set_index("key").loc[41, "knock_db"]) == pytest.approx(np.mean(each))
    assert float(merged.spread.set_index("key").loc[41, "knock_db_spread"]) == pytest.approx(
        abs(np.diff(each)[0])
    )
    assert ("spread of knock_db between takes", "dB") in {(r[0], r[2]) for r in merged.rows()}
    # Files.
    first = next(csv.DictReader(io.StringIO(survey_csv(one))))
    assert first["knock_db"] == f"{table['knock_db'].iloc[0]:.1f}"
    pages = csv_tables(
        make_comparison(), surveys={"p0": one}, findings=make_findings(), checklist=make_checklist()
    )
    assert "knock_db" in pages["survey_A.csv"].splitlines()[0]
    assert Survey.from_json(one.to_json()).gaps_of(SILENT) == one.gaps_of(SILENT)
    # The list of columns, and the chart.
    assert Survey.columns().set_index("column").loc["knock_db", "what it holds"] == KNOCK.words
    plan = plan_column("knock_db", {"p0": one}, {"p0": "Blue upright"})
    assert {p.key: p.value for p in plan.series[0].points} == table["knock_db"].dropna().to_dict()
    assert {g.key for g in plan.series[0].gaps} == {SILENT, SKIPPED}
    assert draw_over_keys(plan).layout.title.text
    # A survey that was kept before the measure was there.
    old = plan_column("knock_db", {"p0": usual(1)}, {"p0": "Blue upright"}).series[0]
    assert {g.key: g.reason for g in old.gaps}[40] == "not measured when this recording was listened to"
    mixed = merge_takes([usual(2), usual(3)])
    assert mixed.gaps_of(41)["knock_db"] == "not measured when these takes were listened to"


def test_without_its_declaration_it_is_nowhere() -> None:
    assert "knock_db" not in usual(1).table
    assert "knock_db" not in survey_csv(usual(1))
    with pytest.raises(BadInput, match="column: got 'knock_db'"):
        plan_column("knock_db", {"p0": usual(1)}, {"p0": "Blue upright"})


FORGOTTEN = {
    "no words": {"words": ""},
    "no reason for an empty cell": {"absent": ""},
    "nothing it rests on": {"rests_on": None},
    "unit 'cents'": {"unit": "cents"},
    "rests_on 'fell'": {"rests_on": "fell"},
    "merge 'middle'": {"merge": "middle"},
    "a sd of nothing": {"kind": "sd"},
}


@pytest.mark.parametrize("what", FORGOTTEN)
def test_what_a_declaration_forgets_is_refused_by_its_name(what: str) -> None:
    with pytest.raises(BadInput, match=f"column 'knock_db': got {what}"):
        replace(KNOCK, **FORGOTTEN[what])


def test_declarations_that_do_not_fit_together_are_refused() -> None:
    with pytest.raises(BadInput, match="column 'cents': got two declarations"):
        checked((*columns.DECLARED, columns.column("cents")))
    stray = Column(
        name="x_sd", unit="", words="of x", kind="sd", of="x", absent="none", merge="with its measure"
    )
    with pytest.raises(BadInput, match="column 'x_sd': got of 'x'"):
        checked((*columns.DECLARED, stray))


def test_values_that_do_not_fit_the_notes_are_refused_by_the_column(monkeypatch: pytest.MonkeyPatch) -> None:
    short = replace(KNOCK, values=lambda heard: heard.m.snr_db[:-1])
    monkeypatch.setattr(columns, "DECLARED", (*columns.DECLARED, short))
    with pytest.raises(BadInput, match="column 'knock_db': got 6 values"):
        heard()


SIDES = (
    "decay_20_s decay_20_bound early_db_per_s decay_20_s_sd",
    "late_db_per_s",
    "string_db_per_s",
    "release_20_s release_bound",
    "f1_hz cents curve_cents off_curve_cents cents_sd",
    "inharmonicity inharmonicity_sd",
    "unison_cents unison_cents_sd",
    "beat_hz beat_partial",
    "brightness_db brightness_dev brightness_db_sd",
    "buzz_db",
    "level_db",
)
"""What is read from one side of the sound: a recorder that spoils one of these spoils all."""


@pytest.mark.parametrize("side", SIDES)
def test_what_spoils_one_value_spoils_all_that_are_read_from_the_same_and_no_other(side: str) -> None:
    names = set(side.split())
    for name in names:
        assert {c.name for c in columns.resting_with([name])} == names
    spoiled = forbid(
        rows_of(usual(1).table), [Impairment(name="hum", says="", columns=(min(names),), keys=(41,))]
    )[1]
    before = rows_of(usual(1).table)[1]
    assert all(is_empty(spoiled[n]) and spoiled["gaps"][n] == "hum" for n in names)
    assert {n for n, v in before.items() if not is_empty(v) and is_empty(spoiled[n])} <= names


def test_every_measure_can_be_spoiled_but_when_a_key_was_struck_and_held() -> None:
    named = {name for side in SIDES for name in side.split()}
    rest = {c.name for c in declared() if c.needs_reason} - named
    assert rest == {"onset_s", "hold_s", "snr_db"}


def test_an_impairment_can_not_name_a_column_that_is_not_there() -> None:
    with pytest.raises(BadInput, match="column: got 'decay_20'"):
        forbid(rows_of(usual(1).table), [Impairment(name="noise", says="", columns=("decay_20",))])


AGREED = (
    "key note status onset_s hold_s snr_db f1_hz cents curve_cents off_curve_cents inharmonicity unison_cents beat_hz "
    "beat_partial decay_20_s decay_20_bound early_db_per_s late_db_per_s release_20_s release_bound brightness_db "
    "brightness_dev buzz_db sustain_trust sustain_verdict not_judged gaps faults"
)
"""What the library's users were promised, in this order."""


def test_the_agreed_columns_are_there_in_their_order() -> None:
    assert tuple(AGREED.split()) == COLUMNS
    assert list(usual(1).table.columns)[: len(COLUMNS)] == list(COLUMNS)
    assert set(Survey.columns()["column"]) >= set(usual(1).table.columns)


def cells_without_a_reason(survey: Survey) -> set[tuple[int, str]]:
    return {
        (int(row["key"]), c.name)
        for row in survey.key_rows()
        for c in declared()
        if c.needs_reason and is_empty(row[c.name]) and not row["gaps"].get(c.name)
    }


def test_every_empty_measure_has_a_reason_and_no_other() -> None:
    for survey in (usual(1), merge_takes([usual(1), usual(2)])):
        assert cells_without_a_reason(survey) == set()
        known = {c.name for c in declared()}
        for row in survey.key_rows():
            assert all(is_empty(row[name]) for name in row["gaps"])
            assert set(row["gaps"]) <= known


def test_a_gap_without_a_reason_would_show() -> None:
    table = usual(1).table.copy()
    table.loc[0, "decay_20_s"] = np.nan
    table.loc[0, "gaps"] = ""
    assert (40, "decay_20_s") in cells_without_a_reason(replace(usual(1), table=table))


def test_reasons_key_by_key() -> None:
    survey = usual(1)
    assert survey.faults_of(SILENT) == ("silent",)
    assert survey.not_judged_of(SKIPPED)["silent"] == "key not struck"
    assert "silent" not in survey.not_judged_of(SILENT)
    assert survey.gaps_of(SILENT)["decay_20_bound"] == survey.gaps_of(SILENT)["decay_20_s"]
    with pytest.raises(BadInput, match="key: got 12"):
        survey.gaps_of(12)


NAMES = st.text(st.characters(categories=["Ll"]), min_size=1, max_size=8)
REASONS = (
    st.text(st.characters(codec="utf-8", exclude_characters=";"), min_size=1).map(str.strip).filter(bool)
)


@pytest.mark.slow
@given(st.dictionaries(NAMES, REASONS))
def test_reasons_come_back_from_a_cell(reasons: dict[str, str]) -> None:
    assert split_reasons(join_reasons(reasons)) == reasons


@given(st.lists(NAMES, unique=True))
def test_names_come_back_from_a_cell(names: list[str]) -> None:
    assert split_names(join_names(names)) == tuple(names)


def test_a_column_of_another_version_is_kept_as_it_is() -> None:
    survey = usual(1)
    other = replace(survey, table=survey.table.assign(warmth=0.123456789, remark="well"))
    back = Survey.from_json(other.to_json())
    pd.testing.assert_frame_equal(back.table, other.table)
    assert survey_csv(back).splitlines()[1].endswith("0.12345679,well")


LATER_FIELDS = (
    "fault_counts",
    "impairments",
    "quality_unknown",
    "unisons_judged",
    "wide_unisons",
    "needs_tuning",
)


def kept_long_ago() -> str:
    """A survey as the first casebooks kept it: the agreed columns, no partials, a shorter summary."""
    data = json.loads(usual(1).to_json())
    data["table"] = {name: cells for name, cells in data["table"].items() if name in COLUMNS}
    data["table"]["gaps"][0] = "decay_20_s=held too short;hold_s=no release heard"
    data["summary"] = {name: value for name, value in data["summary"].items() if name not in LATER_FIELDS}
    del data["partials"]
    return json.dumps(data)


def test_a_survey_that_was_kept_long_ago_is_read_as_it_was() -> None:
    old = Survey.from_json(kept_long_ago())
    assert list(old.table.columns) == list(COLUMNS)
    assert old.gaps_of(40) == {"decay_20_s": "held too short", "hold_s": "no release heard"}
    assert old.not_judged_of(SKIPPED) == usual(1).not_judged_of(SKIPPED)
    assert len(survey_csv(old).splitlines()) == 10
    plan = plan_column("decay_20_s", {"p0": old}, {"p0": "Blue upright"})
    assert {p.key: p.value for p in plan.series[0].points} == old.table.set_index("key")[
        "decay_20_s"
    ].dropna().to_dict()
    assert all(p.sd is None for p in plan.series[0].points)
