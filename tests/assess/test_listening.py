"""What listening does to the scores: faults count, hidden is unknown, the room plays no part."""

from dataclasses import replace
from decimal import Decimal
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pianolab.assess import assess_piano, load_prices
from pianolab.assess.alerts import _heard_alert
from pianolab.assess.by_recording import HeardKeys
from pianolab.assess.scoring import load_scoring
from pianolab.assess.tuning_state import tuning_state
from pianolab.checklist import findings_for, load_checklist, load_scenario
from pianolab.model import Piano

CHECKLIST = load_checklist()
PRICES = load_prices()
SCENARIO = load_scenario()
PIANO = Piano(id="p", name="A", kind="upright", asking_price=Decimal(1000), key_tops="plastic")
SOUND = findings_for(SCENARIO.conditions["fine in a dull room"], visit_id="v", piano=PIANO)
UNPLAYED = [f for f in SOUND if f.point != "each-even"]
"""The same without what somebody's ear told of evenness."""


def judge(survey, findings=SOUND, piano=PIANO):
    return assess_piano(piano, findings, survey=survey, checklist=CHECKLIST, prices=PRICES)


def texts(result, aspect):
    return [c.text for c in result.aspect(aspect).made_by]


def test_short_sustain_is_said_in_words(make_survey) -> None:
    result = judge(make_survey(faults={"short_sustain": range(52, 59)}))
    assert texts(result, "tone")[0] == "short sustain in 7 of 24 treble notes (C5 to F#5)"
    assert any("tuning will not cure it" in w.text for w in result.warnings)
    assert "bridge work treble" in {j.job for j in result.repairs.jobs}


def test_more_short_notes_cost_more(make_survey) -> None:
    high = [
        judge(make_survey(faults={"short_sustain": range(52, 52 + n)})).aspect("tone").high
        for n in (0, 2, 4, 8)
    ]
    assert high == sorted(high, reverse=True)
    assert high[0] > high[-1] + 2.0


def test_what_the_tuning_masks_is_unknown_and_never_good(make_survey) -> None:
    sound, masked = judge(make_survey()), judge(make_survey(masked=range(52, 76), unison_cents=3.0))
    assert masked.aspect("tone").low < sound.aspect("tone").low - 2.0
    assert masked.aspect("tone").high == pytest.approx(sound.aspect("tone").high)
    treble = next(u for u in masked.aspect("tone").unknown if "treble sings" in u.text)
    assert treble.effort == "tune and record again"
    assert "24 of 24 treble notes hidden" in treble.text


def test_a_short_verdict_under_masked_trust_is_still_unknown(make_survey) -> None:
    survey = make_survey(faults={"short_sustain": range(52, 76)})
    table = survey.to_frame()
    table.loc[table["key"].between(52, 75), "sustain_trust"] = "masked by unison"
    hidden = judge(replace(survey, table=table))
    assert not any("short sustain" in t for t in texts(hidden, "tone"))
    assert hidden.aspect("tone").high == pytest.approx(judge(make_survey()).aspect("tone").high)


def test_tune_first_is_unknown_whatever_the_trust_says(make_survey) -> None:
    survey = make_survey()
    table = survey.to_frame()
    table.loc[table["key"].between(52, 75), "sustain_verdict"] = "tune first"
    hidden = judge(replace(survey, table=table)).aspect("tone")
    assert "24 of 24 treble notes hidden" in hidden.unknown[0].text


def test_hidden_by_tuning_is_said_and_warned_of(make_survey) -> None:
    result = judge(make_survey(masked=range(40, 76), unison_cents=3.0))
    assert "36 of 48 middle and treble notes" in result.hidden_by_tuning
    assert any("record it again" in w.text for w in result.warnings)
    assert judge(make_survey()).hidden_by_tuning == ""


def test_no_survey_is_wholly_unknown(make_survey) -> None:
    unheard, heard = judge(None, UNPLAYED), judge(make_survey(), UNPLAYED)
    for aspect in ("tone", "evenness", "tuning stability", "touch"):
        assert unheard.aspect(aspect).low < heard.aspect(aspect).low
        assert unheard.aspect(aspect).high == pytest.approx(heard.aspect(aspect).high)
    efforts = {u.text: u.effort for u in unheard.aspect("evenness").unknown if u.source == "listening"}
    by_ear = "whether the tone is even from note to note (voicing: not told from one blow)"
    assert efforts.pop(by_ear) == "look again", "no recording of single blows tells it"
    assert set(efforts.values()) == {"record again"}


@pytest.mark.parametrize("lost", ["skipped", "unclear"])
def test_keys_not_heard_widen(make_survey, lost: str) -> None:
    gone = judge(make_survey(**{lost: range(52, 76)}))
    whole = judge(make_survey())
    assert gone.aspect("tone").low < whole.aspect("tone").low
    assert gone.aspect("tone").high == pytest.approx(whole.aspect("tone").high)


def test_rows_missing_from_the_table_are_unknown(make_survey) -> None:
    survey = make_survey()
    cut = replace(survey, table=survey.table[survey.table["key"] < 60])
    assert judge(cut).aspect("tone").low < judge(survey).aspect("tone").low


def test_a_fault_that_could_not_be_tested_is_unknown(make_survey) -> None:
    untested = judge(make_survey(not_judged=dict.fromkeys(range(20, 60), "damper=pedal held")))
    (gap,) = [u for u in untested.aspect("touch").unknown if u.source == "listening"]
    assert gap.text == "how well the dampers stop the strings (could not be told for 40 of 73 keys)"
    assert gap.reason == "pedal held"


def test_undamped_top_keys_are_no_gap(make_survey) -> None:
    touch = judge(make_survey(not_judged=dict.fromkeys(range(70, 89), "damper=no damper here"))).aspect(
        "touch"
    )
    assert not [u for u in touch.unknown if u.source == "listening"]


@pytest.mark.parametrize("fault", ["silent", "damper", "buzz", "voicing", "short_sustain"])
def test_each_fault_costs_and_goes_when_mended(make_survey, fault: str) -> None:
    faulty, mended = judge(make_survey(faults={fault: [54, 56]})), judge(make_survey())
    lost = [a.aspect for a, b in zip(faulty.aspects, mended.aspects, strict=True) if a.high < b.high - 1e-6]
    assert lost
    assert all(a.low <= b.low + 1e-9 for a, b in zip(faulty.aspects, mended.aspects, strict=True))


def test_silent_keys_are_heard_once_repaired_not_recorded_again(make_survey) -> None:
    result = judge(make_survey(faults={"silent": [54]}))
    gaps = {u.effort for a in result.aspects for u in a.unknown if u.source == "listening"}
    assert gaps == {"technician"}
    assert any("No sound at C#5" in w.text or "No sound at D5" in w.text for w in result.warnings)


def test_a_flat_piano_is_one_statement_and_no_instability(make_survey) -> None:
    flat, level = judge(make_survey(offset_cents=-45.0)), judge(make_survey())
    assert flat.aspects == level.aspects
    assert {j.job for j in flat.repairs.jobs} - {j.job for j in level.repairs.jobs} == {"pitch raise"}
    assert any("45 cents flat" in w.text and "proves nothing about its pins" in w.text for w in flat.warnings)


def test_very_flat_asks_a_technician(make_survey) -> None:
    warned = judge(make_survey(offset_cents=-70.0))
    assert any("ask a technician" in w.text for w in warned.warnings)
    assert {"pitch advice", "pitch raise"} <= {j.job for j in warned.repairs.jobs}
    assert next(j for j in warned.repairs.jobs if j.job == "pitch raise").chance < 1.0


def test_a_doubtful_reading_is_something_to_find_out(make_survey) -> None:
    """Flat by 40 cents, or sharp by 60 if read a semitone lower: what it costs depends on the first key."""
    survey = make_survey(offset_cents=-40.0)
    doubtful = replace(survey, summary=replace(survey.summary, reading="doubtful", other_first_key=0))
    result = judge(doubtful)
    raised = next(j for j in result.repairs.jobs if j.job == "pitch raise")
    assert raised.chance == pytest.approx(0.5)
    (unknown,) = [u for u in result.unknown_costs if u.source == "listening"]
    assert "first" in unknown.text
    assert not [u for u in judge(survey).unknown_costs if u.source == "listening"]


@pytest.mark.parametrize(
    "room", [{"t60_s": 0.15}, {"t60_s": 2.0}, {"brightness_db": -40.0}, {"brightness_db": 0.0}]
)
def test_the_room_plays_no_part(make_survey, room) -> None:
    """Reverberation and absolute brightness differ, nothing else: the judgement is the same."""
    assert judge(make_survey(**room)) == judge(make_survey())


def test_level_and_decay_as_such_play_no_part(make_survey) -> None:
    survey = make_survey()
    table = survey.to_frame()
    table["decay_20_s"] *= 0.5
    table["snr_db"] -= 15.0
    assert judge(replace(survey, table=table)) == judge(survey)


class TestSlippedStrings:
    def state(self, survey):
        return tuning_state(survey, scoring=load_scoring())

    def test_single_strings_far_out_are_found(self, make_survey) -> None:
        survey = make_survey(slipped=[30, 45, 60])
        assert self.state(survey).slipped == (30, 45, 60)
        result = judge(survey)
        assert "one string that has slipped" in texts(result, "tuning stability")[0]
        assert any("one string stands far" in w.text for w in result.warnings)

    def test_a_neglected_tuning_is_not_read_as_slipping(self, make_survey) -> None:
        rng = np.random.default_rng(3)
        survey = make_survey(unison_cents=4.0)
        table = survey.to_frame()
        table.loc[table["key"] > 10, "unison_cents"] = rng.uniform(2.0, 8.0, 78)
        table.loc[:, "off_curve_cents"] = rng.uniform(0.0, 5.0, 88)
        neglected = replace(survey, table=table)
        assert self.state(neglected).slipped == ()
        assert self.state(neglected).neglected
        gaps = judge(neglected).aspect("tuning stability").unknown
        assert "tune and record again" in {u.effort for u in gaps}
        assert not judge(neglected).vetoes

    def test_wide_unisons_without_one_fault_still_count_as_neglect(self, make_survey) -> None:
        """The listening calls no key faulty for its unison there; the state comes from the widths themselves."""
        wide, tuned = (make_survey(unison_cents=u, masked=range(40, 76)) for u in (5.0, 1.2))
        assert not wide.table["faults"].str.contains("unison").any()
        assert self.state(wide).neglected
        assert not self.state(tuned).neglected
        assert "tuning" in {j.job for j in judge(wide).repairs.jobs} - {
            j.job for j in judge(tuned).repairs.jobs
        }
        assert judge(wide).hidden_by_tuning
        assert judge(tuned).hidden_by_tuning == "", "2 cents some weeks after a tuning are usual"

    def test_slipping_all_over_is_a_possible_veto(self, make_survey) -> None:
        (veto,) = judge(make_survey(slipped=range(20, 80, 6))).vetoes
        assert veto.how_sure == "possible"
        assert veto.confirm_by == "technician"
        assert not judge(make_survey(slipped=[20, 40])).vetoes


def test_the_tuner_is_not_asked_to_look_again_at_what_tuning_hides(make_survey) -> None:
    unseen = findings_for(SCENARIO.conditions["masked treble"], visit_id="v", piano=PIANO)
    result = judge(make_survey(masked=range(40, 76), unison_cents=3.0), findings=unseen)
    treble = [u for u in result.aspect("tone").unknown if u.key == "hidden by the tuning: sustain"]
    assert {u.effort for u in treble} == {"tune and record again"}
    assert not [u for u in result.aspect("tone").unknown if u.source == "each-treble"], (
        "the ear's point is the same fault"
    )


@pytest.mark.slow
@settings(max_examples=20, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    faults=st.dictionaries(
        st.sampled_from(["silent", "damper", "buzz", "voicing", "short_sustain"]),
        st.sets(st.integers(30, 70), max_size=6),
        max_size=3,
    ),
    more=st.sampled_from(["silent", "damper", "buzz", "voicing", "short_sustain"]),
    key=st.integers(5, 25),
)
def test_one_sound_key_less_never_improves_any_aspect(make_survey, faults, more, key) -> None:
    before = judge(make_survey(faults=faults))
    after = judge(make_survey(faults=faults | {more: faults.get(more, set()) | {key}}))
    for old, new in zip(before.aspects, after.aspects, strict=True):
        assert new.low <= old.low + 1e-9
        assert new.high <= old.high + 1e-9


def test_the_damper_of_a_top_key_changes_nothing_it_does_not_have(make_survey) -> None:
    """Key 80 has no damper: a mark there can't be a fault of the dampers."""
    assert judge(make_survey(faults={"damper": [80]})).aspects == judge(make_survey()).aspects


def test_voicing_reads_as_never_told_by_one_blow_not_as_notes_that_were_not_heard(make_survey) -> None:
    untold = dict.fromkeys(range(1, 89), "voicing=one blow doesn't tell")
    heard = judge(make_survey(not_judged=untold), UNPLAYED)
    texts = {u.text: u.reason for u in heard.aspect("evenness").unknown}
    assert (
        texts["whether the tone is even from note to note (voicing: not told from one blow)"]
        == "one blow doesn't tell"
    )
    assert not any("could not be told for" in text for text in texts)
    played = judge(make_survey(not_judged=untold)).aspect("evenness").unknown
    assert not any("voicing" in u.text for u in played), "somebody played and listened for it"
    buzz = judge(make_survey(not_judged=dict.fromkeys(range(1, 89), "buzz=noise")))
    assert any("could not be told for" in u.text for u in buzz.unknowns), (
        "what another recording could tell still says so"
    )


def test_shares_add_up_from_what_is_known_to_what_nobody_heard_and_end_at_the_whole() -> None:
    """A tenth of ten keys each, where half of them are the full loss: what comes last is cut at the whole."""
    item: Any = SimpleNamespace(full_share=0.5)
    heard = HeardKeys(item=item, faulty=(1,), hidden=(2, 3), mute=(4,), unheard=(5, 6, 7), total=10)
    assert heard.shares == pytest.approx((0.2, 0.4, 0.2, 0.2))
    few = HeardKeys(item=item, faulty=(), hidden=(2,), mute=(), unheard=(5, 6), total=10)
    assert few.shares == pytest.approx((0.0, 0.2, 0.0, 0.4))


def test_a_warning_weighs_by_the_keys_that_are_faulty_not_by_those_that_are_hidden() -> None:
    item: Any = SimpleNamespace(
        full_share=0.5, key="short", aspects={"tone": 0.6, "evenness": 0.2}, confirm_by="listen"
    )
    few, many = (
        HeardKeys(item=item, faulty=faulty, hidden=hidden, mute=(), unheard=(), total=20)
        for faulty, hidden in (((1,), (5, 6, 7, 8)), ((1, 2, 3), ()))
    )
    weights = [_heard_alert("warning", h, "likely").severity for h in (few, many)]
    assert weights == pytest.approx([0.6 * 0.1, 0.6 * 0.3])
