"""Scores of made-up surveys whose errors are known by construction."""

import numpy as np
import pandas as pd
import pytest

from benchmarks.scenes import KINDS, PLACES, seeded_faults
from benchmarks.scores import (
    area_under_curve,
    fault_table,
    keys_heard_off,
    measure_row,
    register_table,
    sd_coverage,
    side_by_side,
    spread,
)


def made_up() -> tuple[pd.DataFrame, pd.DataFrame]:
    """Ten keys: 41 silent, 42 skipped, 45 with a buzz; the survey is right except where a test changes it."""
    key = np.arange(40, 50)
    truth = pd.DataFrame(
        {
            "key": key,
            "struck": key != 42,
            "onset_s": np.where(key == 42, np.nan, (key - 40) * 2.5),
            "cents": np.where((key == 41) | (key == 42), np.nan, 1.0),
            "inharmonicity": 5e-4,
            "unison_cents": np.where(key % 2 == 0, 0.2, 2.0),
            "decay_20_s": np.where(key < 47, 1.0, np.nan),
            "faults": np.select([key == 41, key == 45], ["silent", "buzz"], ""),
        }
    )
    table = truth.drop(columns="struck").assign(
        status=np.select([key == 41, key == 42], ["silent", "skipped"], "measured"),
        decay_20_bound=np.where(key < 47, "=", ">"),
        not_judged="",
        cents_sd=0.1,
    )
    table.loc[table["key"] >= 47, "decay_20_s"] = 1.9
    return truth, table


def test_a_survey_equal_to_the_truth_has_no_error() -> None:
    row = measure_row(side_by_side(*made_up()))
    assert row["right_%"] == row["status_%"] == row["dec_cov_%"] == row["bound_true_%"] == 100
    assert row["cents_max"] == row["B_p90_%"] == row["uni_p90"] == row["dec_p90_%"] == 0
    assert row["uni_AUC"] == 1.0


def test_errors_are_counted_where_they_are_made() -> None:
    truth, table = made_up()
    table.loc[table["key"] == 44, "cents"] += 3.0
    table.loc[table["key"] == 46, "onset_s"] += 2.5
    table.loc[table["key"] == 43, "decay_20_s"] = 1.3
    table.loc[table["key"] == 40, ["decay_20_s", "decay_20_bound"]] = [1.2, ">"]
    row = measure_row(side_by_side(truth, table))
    assert row["cents_max"] == pytest.approx(3.0)
    assert row["right_%"] == pytest.approx(100 * 7 / 8)
    assert row["dec_cov_%"] == pytest.approx(75.0)
    assert row["bound_true_%"] == pytest.approx(75.0)


def test_an_equal_sign_without_a_true_fall_is_counted() -> None:
    truth, table = made_up()
    table.loc[table["key"] == 48, "decay_20_bound"] = "="
    assert measure_row(side_by_side(truth, table))["equal_false"] == 1


def test_faults_found_missed_masked_and_false() -> None:
    truth, table = made_up()
    table["faults"] = np.select([table["key"] == 41, table["key"] == 49], ["silent", "buzz;unison"], "")
    table.loc[table["key"] == 45, "not_judged"] = "buzz=too few neighbours"
    found = fault_table(side_by_side(truth, table), pianos=1)
    assert found.loc["silent", "found"] == 1
    assert found.loc["buzz", ["seeded", "found", "not judged", "false/piano"]].tolist() == [1, 0, 1, 1.0]
    assert found.loc["unison", "false/piano"] == 1.0, "2 cents are no string that went its own way"


@pytest.mark.parametrize(
    ("width", "usual", "seeded", "false"),
    [
        (10.0, 1.0, 1, 0.0),  # far, and far beyond what is usual
        (9.0, 1.0, 0, 0.0),  # in between: either answer is fair
        (4.9, 0.2, 0, 1.0),  # not far
        (12.0, 3.0, 0, 0.0),  # far, four times as wide as usual: either
        (12.0, 6.0, 0, 1.0),  # the whole piano is out of tune
    ],
)
def test_a_string_is_off_beside_what_is_usual_in_its_piano(width, usual, seeded, false) -> None:
    truth, table = made_up()
    truth["unison_cents"] = np.where(truth["key"] == 49, width, usual)
    table["faults"] = np.where(table["key"] == 49, "unison", "")
    found = fault_table(side_by_side(truth, table), pianos=1).loc["unison"]
    assert found[["seeded", "found", "false/piano"]].tolist() == [seeded, seeded, false]
    # Two pianos are each judged by themselves.
    other = side_by_side(truth.assign(unison_cents=50.0), table.assign(faults="")).assign(seed=2)
    both = pd.concat([side_by_side(truth, table).assign(seed=1), other], ignore_index=True)
    assert fault_table(both, pianos=1).loc["unison", ["seeded", "false/piano"]].tolist() == [seeded, false]


def test_small_tools() -> None:
    assert spread([1.0, -2.0, np.nan, 3.0]) == pytest.approx((2.0, 2.8, 3.0))
    assert all(np.isnan(spread([np.nan])))
    assert area_under_curve(np.array([2.0, 1.0]), np.array([1.0, 0.0])) == pytest.approx(0.875)
    assert set(register_table(side_by_side(*made_up())).index) == {"middle", "all"}
    assert sd_coverage(side_by_side(*made_up()))["cents"] == "100/100 of 8"


def test_seeded_faults_stand_apart_and_within_their_places() -> None:
    for seed in range(20):
        faults = seeded_faults(seed)
        keys = [*(k for kind in KINDS for k in faults.at[kind]), *faults.skipped, *faults.repeated]
        assert len(keys) == 14
        assert min(np.diff(sorted(keys))) >= 2
        assert all(PLACES[kind][0] <= k <= PLACES[kind][1] for kind in KINDS for k in faults.at[kind])
    assert seeded_faults(1) == seeded_faults(1) != seeded_faults(2)


def test_a_key_that_the_independent_analysis_hears_off_is_off_and_a_stretched_top_is_not() -> None:
    """Invented cents: a stretched curve, C8 and the key made from it 50 and more above, one key in the middle 30 flat."""
    key = np.arange(1, 89)
    cents = 30.0 * np.exp(0.0926 * (key - 88)) - 20.0 * np.exp(-0.0847 * (key - 1))
    stretched = pd.DataFrame({"key": key, "cents": cents})
    assert keys_heard_off(stretched) == set()
    off = cents + np.where(key >= 87, 55.0, 0.0) - np.where(key == 40, 30.0, 0.0)
    assert keys_heard_off(pd.DataFrame({"key": key, "cents": off})) == {40, 87, 88}
    gaps = np.where(key % 3 == 1, cents, np.nan)
    assert keys_heard_off(pd.DataFrame({"key": key, "cents": gaps})) == set()
