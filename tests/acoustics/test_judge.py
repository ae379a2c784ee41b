"""A rule per fault: what it finds, what it lets pass, and why it could not tell; evidence made by hand, note by note."""

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from pianolab.acoustics.envelope.decay import NoteDecay
from pianolab.acoustics.judging.buzz import OverNeighbours
from pianolab.acoustics.judging.fault_rules import NO_DAMPER, ROOM_RINGS_ON, RULES, STRING_PULLS, NoteEvidence
from pianolab.acoustics.judging.voicing import VOICING_UNTOLD
from pianolab.acoustics.limits import limits
from pianolab.acoustics.survey_result import FAULTS

SOUND_DECAY = NoteDecay(1.5, "=", 12.0)


def evidence(
    *,
    decay: NoteDecay = SOUND_DECAY,
    spread_cents: float = 0.4,
    heard: bool = True,
    least_db: float = -60.0,
    over: OverNeighbours | None = None,
    **given: Any,
) -> NoteEvidence:
    """One sound note of key 40, but for what is given."""
    usual: dict[str, Any] = {
        "cents": np.zeros(1),
        "curve_cents": np.zeros(1),
        "clipped": np.zeros(1, bool),
        "brightness": SimpleNamespace(),
        "between": over or near_by(),
        "trust": ["ok"],
        "verdict": ["sound"],
        "off_curve": [False],
        "moved_together": [False],
        "slipped": [False],
        "perhaps_slipped": [False],
        "slow_damper": [False],
        "why_damper": [""],
    }
    m = SimpleNamespace(
        strikes=SimpleNamespace(key=np.array([40])),
        unison=SimpleNamespace(spread_cents=np.array([spread_cents])),
        decays=[decay],
        between=SimpleNamespace(heard=np.array([heard]), least_db=np.array([least_db])),
    )
    return NoteEvidence(m=m, **(usual | given))  # type: ignore[arg-type]


def near_by(
    *, db: float = 0.0, dev: float = 0.0, plain_db: float = 0.0, bounded: bool = False
) -> OverNeighbours:
    return OverNeighbours(np.array([db]), np.array([dev]), np.array([plain_db]), np.array([bounded]))


def test_there_is_a_rule_for_every_fault_of_a_note_that_sounds_in_the_order_of_the_list() -> None:
    assert ("silent", *RULES) == FAULTS


def test_a_sound_note_has_no_fault_and_only_its_voicing_stays_open() -> None:
    ruled = {fault: rule(evidence(), 0) for fault, rule in RULES.items()}
    assert not any(r.found for r in ruled.values())
    assert {fault: r.untold for fault, r in ruled.items() if r.untold} == {"voicing": VOICING_UNTOLD}


LIM = limits()["buzz"]
LOUD = near_by(db=LIM["outlier_db"] + 20.0, dev=LIM["outlier_dev"] + 10.0, plain_db=60.0)


@pytest.mark.parametrize(
    ("fault", "given"),
    [
        ("off_pitch", {"off_curve": [True]}),
        ("unison", {"slipped": [True]}),
        ("short_sustain", {"verdict": ["short"]}),
        ("damper", {"slow_damper": [True]}),
        ("buzz", {"over": LOUD}),
    ],
)
def test_each_fault_is_found_by_its_own_rule_alone(fault: str, given: dict[str, Any]) -> None:
    assert {name for name, rule in RULES.items() if rule(evidence(**given), 0).found} == {fault}


@pytest.mark.parametrize(
    ("fault", "given", "why"),
    [
        ("off_pitch", {"cents": np.array([np.nan])}, "partials too weak"),
        ("unison", {"spread_cents": np.nan}, "too short or too weak for its strings"),
        ("unison", {"perhaps_slipped": [True]}, "don't agree how far"),
        ("short_sustain", {"trust": ["noisy"], "verdict": [""]}, "noisy"),
        ("damper", {"why_damper": ["the room rings as long"]}, "the room rings as long"),
        ("buzz", {"over": near_by(dev=np.nan)}, "too few neighbours"),
        ("buzz", {"heard": False, "least_db": 0.0}, "too weak over the noise"),
        ("buzz", {"over": near_by(bounded=True)}, "noise hides what is usual"),
    ],
)
def test_what_can_not_be_told_says_why(fault: str, given: dict[str, Any], why: str) -> None:
    ruling = RULES[fault](evidence(**given), 0)
    assert not ruling.found
    assert why in ruling.untold


@pytest.mark.parametrize(("off_cents", "also"), [(6.0, False), (25.0, True)])
def test_one_string_far_off_is_one_fault_unless_the_key_is_off_by_more(off_cents: float, also: bool) -> None:
    given = {"slipped": [True], "off_curve": [True], "spread_cents": 15.0, "cents": np.array([off_cents])}
    ruled = {fault: RULES[fault](evidence(**given), 0) for fault in ("off_pitch", "unison")}
    assert ruled["unison"].found
    assert ruled["off_pitch"].found == also
    assert (ruled["off_pitch"].untold == STRING_PULLS) == (not also)


@pytest.mark.parametrize(
    ("decay", "why"),
    [
        (NoteDecay(0.4, "<", 40.0), ROOM_RINGS_ON),
        (NoteDecay(2.0, ">", 4.0), "let go, or drowned, before it had fallen 20 dB"),
        (NoteDecay(1.0, "=", 18.0), "neither clearly short nor clearly long"),
        (NoteDecay(np.nan, "", np.nan, why_no_decay="no maximum"), "no maximum"),
        (NoteDecay(np.nan, "", np.nan), "held too short"),
    ],
)
def test_too_short_to_judge_gives_its_true_reason(decay: NoteDecay, why: str) -> None:
    """``sustain_trust`` has one agreed word for all of these; the reason tells them apart."""
    ruling = RULES["short_sustain"](evidence(decay=decay, trust=["too short"], verdict=[""]), 0)
    assert why in ruling.untold
    assert ruling.untold != "too short"


def test_a_key_without_a_damper_has_none_that_could_fail() -> None:
    assert RULES["damper"](evidence(why_damper=[NO_DAMPER]), 0).untold == ""


def test_a_tone_alone_in_silence_has_no_buzz() -> None:
    assert RULES["buzz"](evidence(heard=False, least_db=LIM["hidden_db"] - 1.0), 0) == RULES["buzz"](
        evidence(), 0
    )
