"""The harness of the panel: a case becomes what it says, and what is said of it is read rightly.

Whether pianolab agrees with the technician is measured by ``python -m benchmarks.panel``, not here.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from benchmarks.panel import as_text, case_row, sums_of
from pianolab.acoustics import Survey
from pianolab.assess.scoring import load_scoring
from pianolab.assess.tuning_state import tuning_state
from pianolab.keyboard import usual_strings
from tests.compare.panel_cases import Case, load_cases, load_pairs
from tests.compare.panel_entries import PANEL, Sound
from tests.compare.panel_expected import VERDICTS, Expected
from tests.compare.panel_run import Outcome, PairOutcome, disputed, run_case, run_pair
from tests.compare.panel_sound import survey_of

OPEN = PANEL / "open.toml"
MENDED = "o18-mended-plate"
HEARD = (
    "o01-plain-upright",
    "o14-three-small-things",
    "o15-pins-driven-strings-slipped",
    "o16-dead-board",
    "o25-touch-beyond-regulation",
    "o39-sour-treble",
)
"""Cases that between them have something in each list of a sound."""


@pytest.fixture(scope="module")
def cases() -> dict[str, Case]:
    return load_cases(OPEN)


@pytest.fixture(scope="module")
def mended(cases: dict[str, Case]) -> Outcome:
    return run_case(cases[MENDED])


def changed(case: Case, point: str, **values: object) -> Case:
    found = tuple(replace(f, **values) if f.point == point else f for f in case.findings)  # type: ignore[arg-type]
    return replace(case, findings=found)


def expecting(outcome: Outcome, **other: object) -> Outcome:
    assert isinstance(outcome.case.expected, Expected)
    expected = replace(outcome.case.expected, **other)  # type: ignore[arg-type]
    return replace(outcome, case=replace(outcome.case, expected=expected))


def test_a_mended_plate_goes_all_the_way_and_its_twin_without_the_weld_ends_elsewhere(
    cases: dict[str, Case], mended: Outcome
) -> None:
    assert mended.mark in ("right", "tolerable")
    assert mended.reasons == (("plate-mended", "verdict"),)
    whole = run_case(changed(cases[MENDED], "plate-mended", answer=False))
    assert whole.mark == "foolish"
    assert whole.reasons == (("plate-mended", "missing"),)


def test_a_piano_of_which_nothing_is_known_goes_all_the_way(cases: dict[str, Case]) -> None:
    outcome = run_case(cases["o29-four-points-seen"])
    assert outcome.said == "find out first"
    assert outcome.next_steps == (("second visit|technician|recording|pins-look", True),)
    row = case_row(outcome)
    assert row[:3] == ["o29-four-points-seen", "find out first", "find out first"]
    assert as_text([row], ["x"] * len(row)).splitlines()[1].startswith(row[0])
    assert sums_of([outcome])[0] == "1 cases: 1 right, 0 tolerable, 0 missed, 0 foolish"


def test_where_two_looked_at_one_point_is_seen(cases: dict[str, Case], mended: Outcome) -> None:
    assert disputed(cases["o36-technician-sees-the-split"]) == ("pinblock-cracks",)
    assert disputed(cases[MENDED]) == ()
    # Where nobody disagrees, the order in which a case is entered changes nothing.
    back = run_case(cases[MENDED], backwards=True)
    assert (back.said, back.named, back.sums) == (mended.said, mended.named, mended.sums)


def test_each_mark_is_given_for_what_the_case_expects(mended: Outcome) -> None:
    others = [v for v in VERDICTS if v != mended.said]
    marks = {
        "right": {"verdict": mended.said},
        "tolerable": {"verdict": others[0], "tolerable": (mended.said,), "foolish": ()},
        "foolish": {"verdict": others[0], "tolerable": (), "foolish": (mended.said,)},
        "missed": {"verdict": others[0], "tolerable": (), "foolish": (others[1],)},
    }
    for mark, other in marks.items():
        assert expecting(mended, **other).mark == mark


def test_reasons_steps_and_jobs_that_nobody_told_are_missing(mended: Outcome) -> None:
    wanted = expecting(mended, must_name=(("promise",),), next_steps=(("authority",),), needed=("castors",))
    assert wanted.reasons == (("promise", "missing"),)
    assert wanted.next_steps == (("authority", False),)
    assert wanted.jobs == (("castors", False),)
    told = replace(wanted, elsewhere=frozenset({"promise"}), needed=frozenset({"castors", "refinishing"}))
    assert told.reasons == (("promise", "elsewhere"),)
    assert told.jobs == (("castors", True),)
    assert told.wishes == ("refinishing",)


def test_sums_are_held_against_the_ranges(mended: Outcome) -> None:
    priced = expecting(mended, open_with=(1, 2), aim_at=(3, 4), walk_above=(5, 6), missing=())
    told = replace(priced, sums={"open_with": 0.0, "aim_at": 3.5, "walk_above": 7.0})
    assert [place for _, place in told.prices] == ["below", "in range", "above"]
    untold = replace(priced, sums=dict.fromkeys(told.sums))
    assert {place for _, place in untold.prices} == {"not told"}
    early = replace(mended, sums=told.sums)
    assert {place for _, place in early.prices} == {"told too early"}


@pytest.fixture(scope="module")
def pair() -> PairOutcome:
    return run_pair(load_pairs(PANEL / "pairs.toml", OPEN)["p04-flaking-or-flooded"])


@pytest.mark.slow
def test_a_pair_that_holds_is_broken_the_other_way_round(pair: PairOutcome) -> None:
    assert pair.broken == ()
    turned = replace(
        pair,
        better=pair.worse,
        worse=pair.better,
        share_better=pair.share_worse,
        share_worse=pair.share_better,
    )
    assert turned.broken


def test_a_lower_offer_breaks_a_pair_unless_more_is_asked(pair: PairOutcome) -> None:
    assert replace(pair, fallen=("aim_at",)).broken == ("lower aim_at",)
    assert replace(pair, fallen=("aim_at",), dearer=True).broken == ()


def test_of_two_alike_the_scatter_of_the_draws_breaks_nothing(pair: PairOutcome) -> None:
    alike = replace(pair, pair=replace(pair.pair, strict=False), worse=pair.better)
    assert replace(alike, share_better=0.495, share_worse=0.505).broken == ()
    assert replace(alike, share_better=0.45, share_worse=0.55).broken
    assert replace(alike, pair=pair.pair, share_better=0.55, share_worse=0.45).broken


def test_a_sound_becomes_the_survey_that_it_describes(cases: dict[str, Case]) -> None:
    for case in (cases[name] for name in HEARD):
        assert case.sound is not None
        sound, survey = case.sound, survey_of(case.sound)
        s = survey.summary
        assert (s.wide_unisons, s.unisons_judged, s.offset_cents) == (*sound.unisons_wide, sound.pitch_cents)
        told = {row["key"]: row["faults"] for row in survey.key_rows()}
        heard = {fault: [key for key in told if fault in told[key]] for fault in s.fault_counts}
        assert heard["short_sustain"] == sorted(sound.short), case.id
        assert heard["damper"] == sorted(sound.dampers), case.id
        assert heard["buzz"] == sorted(sound.buzz), case.id
        assert heard["silent"] == sorted(sound.silent), case.id
        state = tuning_state(survey, scoring=load_scoring())
        slipped = set(dict(sound.slipped))
        # Where the whole is out of tune, nobody tells a lone string that slipped from one that drifted.
        lone = {k for k in slipped if usual_strings(k) == 1}
        assert slipped - lone <= set(state.slipped) <= slipped, case.id
        kept = Survey.from_json(survey.to_json())
        pd.testing.assert_frame_equal(kept.table, survey.table, rtol=1e-12)


@pytest.mark.parametrize(
    ("quality", "spoilt", "spared"),
    [
        ("noisy", "buzz", "damper"),
        ("automatic gain", "damper", "buzz"),
        ("clipped", "buzz", "damper"),
    ],
)
def test_a_bad_recording_tells_nothing_of_what_it_spoils(quality: str, spoilt: str, spared: str) -> None:
    good = Sound(pitch_cents=0.0, unisons_wide=(2, 60), decay="long", quality="good", short=(60,))
    bad = survey_of(replace(good, quality=quality))
    assert survey_of(good).faults_of(60) == ("short_sustain",)
    assert bad.faults_of(60) == ()
    assert {"short_sustain", spoilt} <= set(bad.not_judged_of(60))
    assert spared not in bad.not_judged_of(60)
    assert np.isnan(bad.table["decay_20_s"]).all()
