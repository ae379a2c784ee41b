"""Takes merge into one survey: order plays no part, disagreement is said."""

from dataclasses import replace
from functools import cache

import numpy as np
import pandas as pd
import pytest

from pianolab.acoustics import Survey, listen
from pianolab.errors import BadInput
from pianolab.recordings import MergedSurvey, merge_takes
from pianolab.recordings.merging import weighted_mean
from pianolab.recordings.takes import touch_taken_out
from pianolab.sound_model import PianoModel, render_scale


@cache
def take(first: int, last: int, seed: int, piano: int = 5) -> Survey:
    made = render_scale(
        PianoModel(seed=piano),
        first_key=first,
        last_key=last,
        hold_s=1.0,
        snr_db=45.0,
        rate_hz=22050,
        seed=seed,
    )
    return listen(made.samples, rate_hz=made.rate_hz, first_key=first, last_key=last)


@pytest.mark.slow
def test_a_take_merged_with_itself_changes_no_value() -> None:
    one = take(40, 48, 1)
    merged = merge_takes([one, one])
    pd.testing.assert_frame_equal(merged.table[list(one.table.columns)], one.table)
    assert len(merged.takes) == 1


@pytest.mark.slow
def test_the_order_of_takes_plays_no_part() -> None:
    takes = [take(40, 48, 1), take(44, 52, 2), take(40, 48, 3)]
    assert merge_takes(takes).to_json() == merge_takes(takes[::-1]).to_json()


def test_registers_join_and_values_lie_between_those_of_the_takes() -> None:
    low, high = take(40, 48, 1), take(44, 52, 2)
    merged = merge_takes([low, high])
    assert list(merged.table["key"]) == list(range(40, 53))
    for key in range(44, 49):
        cents = [float(t.table.set_index("key").loc[key, "cents"]) for t in (low, high)]
        assert min(cents) <= merged.table.set_index("key").loc[key, "cents"] <= max(cents)
    assert merged.spread.set_index("key").loc[45, "cents_spread"] > 0
    assert np.isnan(merged.spread.set_index("key").loc[41, "cents_spread"])


def test_it_is_a_survey_and_comes_back_from_json() -> None:
    merged = merge_takes([take(40, 48, 1), take(44, 52, 2)])
    assert isinstance(merged, Survey)
    pd.testing.assert_frame_equal(Survey.from_json(merged.to_json()).table, merged.table)
    back = MergedSurvey.from_json(merged.to_json())
    pd.testing.assert_frame_equal(back.spread, merged.spread)
    assert back.takes == merged.takes


def with_key(survey: Survey, key: int, **values: object) -> Survey:
    table = survey.table.copy()
    for column, value in values.items():
        table.loc[table["key"] == key, column] = value
    return replace(survey, table=table)


@pytest.mark.slow
def test_silent_in_one_take_and_sounding_in_another_is_not_silent() -> None:
    one = take(40, 48, 1)
    gone = with_key(take(40, 48, 3), 44, status="silent", f1_hz=np.nan, cents=np.nan, faults="silent")
    row = merge_takes([one, gone]).table.set_index("key").loc[44]
    assert row["status"] == "measured"
    assert "silent" not in row["faults"]
    assert row["take_notes"] == "silent in 1 of 2 takes, sounding in 1"
    both = merge_takes([with_key(one, 44, status="silent", cents=np.nan, faults="silent"), gone])
    assert both.summary.silent == (44,)


def test_a_take_that_lacks_a_piece_of_a_key_counts_only_where_no_other_heard_it_whole() -> None:
    whole, torn = take(40, 48, 1), with_key(take(40, 48, 3), 44, faults="buzz", not_judged="")
    torn = with_key(torn, 44, cents=float(whole.table.set_index("key").loc[44, "cents"]) + 3.0)

    def row(**lost: object) -> pd.Series:
        return merge_takes([torn, whole], **lost).table.set_index("key").loc[44]

    kept = row(lost=[(44,), ()])
    assert (kept["cents"], kept["faults"], kept["takes"]) == (
        whole.table.set_index("key").loc[44, "cents"],
        whole.table.set_index("key").loc[44, "faults"],
        1.0,
    )
    # the twins: without that knowledge both count, and so does what is all there is
    assert (row()["faults"], row()["takes"]) == ("buzz", 2.0)
    assert row(lost=[(44,), (44,)])["takes"] == 2.0
    assert (
        merge_takes([torn, take(45, 48, 1)], lost=[(44,), ()]).table.set_index("key").loc[44, "faults"]
        == "buzz"
    )
    with pytest.raises(BadInput, match="one for each take"):
        merge_takes([torn, whole], lost=[(44,)])


def test_a_fault_heard_once_says_so_and_one_heard_twice_does_not() -> None:
    one = with_key(take(40, 48, 1), 44, faults="buzz", not_judged="")
    clean = with_key(take(40, 48, 3), 44, faults="", not_judged="")
    row = merge_takes([one, clean]).table.set_index("key").loc[44]
    assert (row["faults"], row["take_notes"]) == ("buzz", "buzz heard in 1 of 2 takes")
    again = with_key(take(40, 48, 3), 44, faults="buzz", not_judged="")
    assert merge_takes([one, again]).table.set_index("key").loc[44, "take_notes"] == ""


@pytest.mark.parametrize(
    ("times", "value", "bound", "spread"),
    [
        ([(0.4, "<"), (1.0, "="), (1.2, "=")], (1.0, 1.2), "=", 0.2),
        ([(0.4, "<"), (1.0, "=")], (1.0, 1.0), "=", np.nan),
        ([(0.4, "<"), (0.3, "<")], (0.3, 0.3), "<", np.nan),
    ],
)
def test_what_a_room_hides_is_never_averaged_as_if_measured(times, value, bound, spread) -> None:
    takes = [
        with_key(
            take(40, 48, n), 44, decay_20_s=s, decay_20_bound=b, decay_20_s_sd=0.1 if b == "=" else np.nan
        )
        for n, (s, b) in enumerate(times, start=1)
    ]
    merged = merge_takes(takes)
    row = merged.table.set_index("key").loc[44]
    assert value[0] <= row["decay_20_s"] <= value[1]
    assert row["decay_20_bound"] == bound
    assert np.isnan(row["decay_20_s_sd"]) == (bound != "=")
    assert merged.spread.set_index("key").loc[44, "decay_20_s_spread"] == pytest.approx(spread, nan_ok=True)


def test_takes_that_can_not_be_of_one_piano_are_refused() -> None:
    one = take(40, 48, 1)
    sharp = replace(take(40, 48, 3), partials=())
    sharp = replace(sharp, table=sharp.table.assign(f1_hz=sharp.table["f1_hz"] * 2 ** (12 / 1200)))
    with pytest.raises(BadInput, match=r"12\.0 cents apart"):
        merge_takes([one, sharp])
    with pytest.raises(BadInput, match="one A4 for all"):
        merge_takes([one, replace(one, summary=replace(one.summary, a4_hz=442.0))])
    with pytest.raises(BadInput, match="none"):
        merge_takes([])


def test_takes_of_which_none_knows_a_value_know_none_together() -> None:
    nothing, some = np.full(2, np.nan), np.array([1.0, 3.0])
    for values, weights in ((nothing, np.ones(2)), (some, np.zeros(2)), (np.array([]), np.array([]))):
        assert np.isnan(weighted_mean(values, weights))
    assert weighted_mean(some, np.array([0.0, 1.0])) == 3.0


def test_soft_and_loud_takes_show_how_brightness_hangs_on_the_blow() -> None:
    rng = np.random.default_rng(2)
    level = np.stack([rng.normal(-22, 1.5, 20), rng.normal(-12, 1.5, 20)], axis=1)
    true = rng.normal(-25, 2, 20)
    middle = level.mean(axis=1)
    heard = true[:, None] + 0.5 * (level - middle[:, None]) + rng.normal(0, 0.2, level.shape)
    flat, slopes = touch_taken_out(heard, level, register=np.zeros(20, dtype=int))
    assert slopes[0] == pytest.approx(0.5, abs=0.05)
    assert np.max(np.abs(flat[:, 0] - true)) < 1.0
    assert np.max(np.abs(heard[:, 0] - true)) > 2.0
