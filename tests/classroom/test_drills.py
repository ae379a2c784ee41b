"""Drills: the truth is what was put there, our own listening hears it, and nothing gives it away."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from pianolab.classroom import DRILL_KINDS, Drill, draws, drill_set, make_drill, set_seed
from pianolab.classroom.confirm import NOT, by_faults, by_measure, by_verdict
from pianolab.classroom.drills import ALTERED, CONFIRMED, MODELLED, Recipe
from pianolab.classroom.faults import FAULT_WORDS, NOTHING, amount_of, fault_of
from pianolab.classroom.sittings import encoded
from pianolab.classroom.sounds import (
    CLIP_LUFS,
    RATE_HZ,
    Played,
    _higher,
    _recorded,
    level_over_time,
    listened,
    play_around,
    play_note,
    play_real,
    true_rate_db_per_s,
    with_fault,
)
from pianolab.errors import BadInput
from pianolab.io import momentary_lufs
from pianolab.sound_model import KeyFault, PianoModel

SLOW = ("name the fault", "find the bad key", "can you judge the sustain")
"""Kinds that need a whole row of keys played and listened to: one of each."""

GRAND = PianoModel(seed=9, kind="grand", unison_spread_cents=0.3)


@pytest.fixture(scope="module")
def drills() -> tuple[Drill, ...]:
    """Plain drills of each kind."""
    return tuple(
        make_drill(kind, seed=11, number=n, hardness=0.2)
        for kind in DRILL_KINDS
        for n in range(1 if kind in SLOW else 2)
    )


def test_there_is_one_answer_among_the_choices(drills: tuple[Drill, ...]) -> None:
    for drill in drills:
        assert drill.choices.count(drill.truth.answer) == 1
        assert sum(drill.is_right(c) for c in drill.choices) == 1
        assert drill.truth.explanation
        assert len(drill.truth.curves) >= 2
        assert drill.truth.without_fault is not None


def test_plain_drills_are_confirmed_by_our_own_listening(drills: tuple[Drill, ...]) -> None:
    marked = [d.truth.confirmed for d in drills if not d.truth.is_confirmed]
    assert len(marked) <= len(drills) // 4, marked
    assert all(m.startswith(NOT) and len(m) > len(NOT) + 5 for m in marked)


def test_all_clips_of_all_drills_are_equally_loud(drills: tuple[Drill, ...]) -> None:
    """Within 0.1 dB at their loudest moment, by the figure that broadcasters use."""
    clips = [c for drill in drills for c in (*drill.clips, drill.truth.without_fault) if c is not None]
    levels = [momentary_lufs(c.samples, rate_hz=c.rate_hz) for c in clips]
    assert levels == pytest.approx([CLIP_LUFS] * len(levels), abs=0.1)
    assert max(float(np.abs(c.samples).max()) for c in clips) <= 1.0


def test_equal_level_would_not_be_equally_loud(drills: tuple[Drill, ...]) -> None:
    """The twin: at one mean level the same clips lie more than 1 dB apart for the ear."""
    clips = [c for drill in drills for c in drill.clips]
    apart = [momentary_lufs(c.samples / np.sqrt(np.mean(c.samples**2)), rate_hz=c.rate_hz) for c in clips]
    assert max(apart) - min(apart) > 1.0


def test_neither_length_nor_form_nor_size_of_a_sound_tells_anything(drills: tuple[Drill, ...]) -> None:
    lengths: dict[str, set[int]] = {}
    for drill in drills:
        lengths.setdefault(drill.kind, set()).update(len(c.samples) for c in drill.clips)
        assert {c.rate_hz for c in drill.clips} == {RATE_HZ}
        assert len({len(encoded(c)[1]) for c in drill.clips}) == 1, drill.kind
    assert all(len(found) == 1 for found in lengths.values()), lengths
    one_note = [
        n for kind in ("which is better", "same or different", "which dies sooner") for n in lengths[kind]
    ]
    assert len(set(one_note)) == 1


def test_the_drill_shows_nothing_of_its_truth(drills: tuple[Drill, ...]) -> None:
    """What is shown is the same whatever is true, and the task's name is a hash of the question's making."""
    for drill in drills:
        untold = replace(
            drill.truth, answer="x", explanation="y", fault="z", confirmed="w", level=1.0, unit="v", curves=()
        )
        other = replace(drill, truth=untold)
        assert repr(other) == repr(drill)
        assert other._repr_html_() == drill._repr_html_()
        assert drill.truth.explanation not in drill._repr_html_()


@pytest.mark.usefixtures("unplayed")
def test_the_same_seed_gives_the_same_set_and_another_another() -> None:
    one, again, other = (
        [d.truth.answer for d in drill_set(["which dies sooner", "which is further out"], count=6, seed=s)] for s in (3, 3, 4)
    )  # fmt: skip
    assert one == again
    assert one != other


def test_a_class_gets_one_set_or_each_their_own() -> None:
    assert set_seed(5) == set_seed(5)
    assert len({set_seed(5, pupil=str(n)) for n in range(30)}) == 30


@pytest.mark.usefixtures("unplayed")
def test_answers_are_spread_over_the_choices() -> None:
    answers = Counter(make_drill("which is further out", seed=s, level=9.0).truth.answer for s in range(14))
    assert min(answers["A"], answers["B"]) >= 3


def test_a_difference_too_small_to_measure_is_marked() -> None:
    drill = make_drill("which is further out", seed=1, level=0.3)
    assert drill.truth.confirmed.startswith(NOT)


def heard(seconds: float, bound: str) -> Played:
    """A note of which only its times are known, both the same."""
    row = {
        "key": 40,
        "decay_20_s": seconds,
        "decay_20_bound": bound,
        "release_20_s": seconds,
        "release_bound": bound,
    }
    nothing = np.zeros(1, np.float32)
    table = pd.DataFrame([row | {"early_db_per_s": np.nan}])
    return Played(samples=nothing, rate_hz=8000, table=table, onsets_s={}, ends_s={})


@pytest.mark.parametrize(
    ("fault", "worse", "better", "proven"),
    [
        ("short_sustain", (1.0, "<"), (2.0, "="), True),
        ("short_sustain", (1.0, "<"), (2.0, ">"), True),
        ("short_sustain", (1.0, ">"), (2.0, "="), False),
        ("short_sustain", (1.0, "="), (2.0, "<"), False),
        ("damper", (0.5, ">"), (0.2, "<"), True),
        ("damper", (0.5, "<"), (0.2, "="), False),
        ("damper", (0.5, "="), (0.2, ">"), False),
    ],
)
def test_a_bound_proves_an_order_only_where_it_can(fault, worse, better, proven) -> None:
    said = by_measure(fault, heard(*worse), heard(*better), 40)
    assert (said == CONFIRMED) is proven


def test_a_bound_is_never_said_to_be_measured() -> None:
    said = by_measure("damper", heard(0.5, "<"), heard(0.2, "="), 40)
    assert said == f"{NOT}: at most 0.50 s beside 0.20 s measured"


def test_a_sound_that_the_listening_refuses_is_not_confirmed_and_says_why() -> None:
    noise = np.random.default_rng(1).standard_normal(RATE_HZ).astype(np.float32)
    refused = listened(noise, 40, rate_hz=RATE_HZ, seed=1)
    assert list(refused.table["key"]) == [40]
    assert by_faults(refused, 40, None).startswith(f"{NOT}: heard nothing, not judged: recording: got")
    assert by_measure("unison", refused, refused, 40) == f"{NOT}: unison_cents can't be measured here"
    assert by_verdict(refused, 40, "sound").startswith(NOT)


def test_a_wrong_truth_is_not_confirmed() -> None:
    """The twin of all confirmations: claim what is not so."""
    key = 45
    bad, good = (
        play_note(with_fault(GRAND, KeyFault(key=key, kind="unison", amount=5.0)), key, seed=1),
        play_note(GRAND, key, seed=1),
    )
    assert by_measure("unison", bad, good, key) == CONFIRMED
    assert by_measure("unison", good, bad, key) != CONFIRMED
    assert by_measure("unison", good, good, key, alike=True) == CONFIRMED
    assert by_measure("unison", bad, good, key, alike=True) != CONFIRMED
    row = play_around(with_fault(GRAND, fault_of("buzz", key, 0.2)), key, seed=1)
    assert by_faults(row, key, "buzz") == CONFIRMED
    assert by_faults(row, key, "damper") != CONFIRMED
    assert by_faults(row, key, None) != CONFIRMED
    assert by_faults(row, key + 1, None) == CONFIRMED
    assert by_faults(row, key + 1, "buzz") != CONFIRMED
    assert by_verdict(row, key + 1, "sound") == CONFIRMED
    assert by_verdict(row, key + 1, "short") != CONFIRMED


def test_real_notes_are_altered_as_said_and_say_so() -> None:
    plain, apart = play_real(37), play_real(37, added_copy_cents=5.0)
    gone = play_real(37, added_db_per_s=12.0)
    copy = listened(_higher(_recorded(37), 5.0), 37, rate_hz=plain.rate_hz, seed=1)
    assert float(copy.row(37)["cents"]) - float(plain.row(37)["cents"]) == pytest.approx(5.0, abs=0.2)
    assert float(apart.row(37)["unison_cents"]) > float(plain.row(37)["unison_cents"]) + 3.0
    before, after = (level_over_time("", p.cut(37), rate_hz=p.rate_hz) for p in (plain, gone))
    lower = np.array(before.level_db) - np.array(after.level_db)
    early = (np.array(before.x) > 0.2) & (np.array(before.x) < 1.4)
    assert np.polyfit(np.array(before.x)[early], lower[early], 1)[0] == pytest.approx(12.0, abs=0.4)
    assert float(gone.row(37)["early_db_per_s"]) > float(plain.row(37)["early_db_per_s"]) + 9.0
    made = [make_drill("which is better", seed=2, number=n) for n in range(4)]
    assert {d.truth.made_from for d in made} == {ALTERED, MODELLED}
    assert "altered" in ALTERED
    assert len({d.made_from for d in made}) == 1, "before the answer the one would tell half of it"


def test_hardness_goes_from_plain_to_fine() -> None:
    for kind, words in FAULT_WORDS.items():
        assert amount_of(kind, 0.0) == words.plain
        assert amount_of(kind, 1.0) == pytest.approx(words.fine)
    assert len({w.choice for w in FAULT_WORDS.values()} | {NOTHING}) == len(FAULT_WORDS) + 1


@pytest.mark.parametrize(
    ("bad", "message"),
    [
        ({"kind": "sing along", "seed": 1}, "kind: got 'sing along', need one of"),
        ({"kind": "which dies sooner", "seed": 1, "hardness": 2.0}, "hardness: got 2.0, need 0"),
        ({"kind": "which dies sooner", "seed": -1}, "seed, number: got -1, 0, need whole numbers from 0"),
        ({"kind": "which dies sooner", "seed": 1, "level": 0.01}, "level: got 0.01, need 1 to 60 dB/s"),
    ],
)
def test_bad_input(bad: dict[str, object], message: str) -> None:
    with pytest.raises(BadInput, match=message):
        make_drill(**bad)  # type: ignore[arg-type]


def test_an_answer_that_is_no_choice() -> None:
    with pytest.raises(BadInput, match="answer: got 'C', need one of A; B"):
        make_drill("which dies sooner", seed=1).is_right("C")


def test_a_sound_key_is_not_short_by_nature() -> None:
    """The first piano that is drawn here has a key that dies by itself in 0.58 of its neighbours' time: another is taken."""

    def share(model: PianoModel) -> float:
        fall = {k: 1.0 / true_rate_db_per_s(model, k) for k in range(44, 53)}
        return float(fall[48] / np.median([fall[k] for k in fall if k != 48]))

    recipes = [
        Recipe(rng=np.random.default_rng(4), seed=1, task="t", hardness=0.2, level=None) for _ in range(2)
    ]
    assert share(draws.drawn_piano(recipes[0])) < 0.6
    assert share(draws.even_piano(recipes[1], 48, 48, least=draws.USUAL)) >= draws.USUAL


@pytest.mark.usefixtures("unplayed")
@pytest.mark.parametrize("kind", ["name the fault", "which is better"])
def test_the_question_tells_nothing_of_the_fault(kind: str) -> None:
    """Within the keys whose dampers can leak every fault is as likely at every key; above, all but the damper's."""
    drawn: dict[str, Counter[str]] = {}
    for n in range(3000):
        drill = make_drill(kind, seed=5, number=n)
        drawn.setdefault(drill.question.split(",")[1 if kind == "name the fault" else 0], Counter())[drill.truth.fault] += 1  # fmt: skip
    low = [c for c in drawn.values() if c["damper"]]
    assert 10 <= len(low) <= 12
    for counts in low:
        expected = counts.total() / len(counts)
        assert len(counts) == (7 if kind == "name the fault" else 4)
        assert all(abs(found - expected) < 4.5 * np.sqrt(expected) for found in counts.values()), counts
    assert len(drawn) >= 25


@pytest.mark.usefixtures("unplayed")
@pytest.mark.parametrize("kind", ["name the fault", "which is better", "find the bad key"])
def test_a_lesson_about_dampers_stays_where_dampers_leak(kind: str) -> None:
    """Further up only the answer "nothing wrong" would be left, and everybody would know it."""
    drills = [make_drill(kind, seed=5, number=n, about=["damper"]) for n in range(200)]
    asked = {d.question for d in drills}
    assert {d.truth.fault for d in drills} == ({"damper", ""} if kind == "name the fault" else {"damper"})
    if kind == "name the fault":
        assert all({d.truth.fault for d in drills if d.question == q} == {"damper", ""} for q in asked)
