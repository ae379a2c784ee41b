"""Drills: the truth is what was done to the sound, our own listening hears it, and nothing else gives it away."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from itertools import pairwise, product

import numpy as np
import pandas as pd
import pytest

from pianolab.classroom import DRILL_KINDS, Drill, drill_set, make_drill, set_seed, transfer
from pianolab.classroom.altering import RATE_HZ, altered, blow_level, brighter, coloured, crest, let_go
from pianolab.classroom.blows import HOLD_S, Modelled, RepeatedKeys, blows_of, recorded_note
from pianolab.classroom.confirm import NOT, by_measure, by_order, release_s
from pianolab.classroom.draws import LAST_COLOUR_KEY, LAST_RINGING_KEY, Note
from pianolab.classroom.drills import CONFIRMED, balanced
from pianolab.classroom.faults import FAULT_WORDS, NOTHING, Fault, amount_of, fault_of
from pianolab.classroom.feedback import encoded
from pianolab.classroom.kinds import carriers
from pianolab.classroom.making import in_turn
from pianolab.classroom.sounds import BLOW_DB, ROVE_DB, Played, listened, note_starts, struck
from pianolab.classroom.transfer import fall_of, heard_sooner, pairs_by_looks
from pianolab.errors import BadInput
from pianolab.io.real_notes import ATTRIBUTION
from pianolab.keyboard import key_of
from pianolab.units import key_to_hz

PLAIN = 0.2


@pytest.fixture(scope="module")
def drills() -> tuple[Drill, ...]:
    """Two plain drills of each kind."""
    return tuple(
        make_drill(kind, seed=11, number=n, hardness=PLAIN) for kind in DRILL_KINDS for n in range(2)
    )


@pytest.mark.slow
def test_there_is_one_answer_among_the_choices(drills: tuple[Drill, ...]) -> None:
    for drill in drills:
        assert drill.choices.count(drill.truth.answer) == 1
        assert sum(drill.is_right(c) for c in drill.choices) == 1
        assert drill.truth.explanation
        assert drill.truth.curves


def test_where_nothing_is_wrong_nothing_is_played_without_it() -> None:
    sound = [
        d
        for n in range(7)
        if not (d := make_drill("name the fault", seed=1, number=n, place=(n, 7))).truth.fault
    ]
    assert len(sound) == 1
    assert sound[0].truth.without_fault is None
    assert len(sound[0].truth.curves) == 1


@pytest.mark.parametrize("kind", ["unison", "short_sustain", "damper", "voicing", "off_pitch"])
@pytest.mark.parametrize("key", [34, 43])
def test_plain_faults_of_real_notes_are_confirmed_by_our_own_listening(kind: str, key: int) -> None:
    """And the twin: the same claim of a note to which nothing was done is not."""
    blow, rng = recorded_note(key, 0), np.random.default_rng(2)
    fault = fault_of(kind, 0.0)
    leak = fault.amount if kind == "damper" else 0.0
    plain, bad = let_go(blow, HOLD_S), let_go(altered(blow, fault, key, rng=rng), HOLD_S, leak=leak)
    assert by_measure(Note(key=key, fault=fault, sound=bad, plain=plain)) == CONFIRMED
    assert by_measure(Note(key=key, fault=fault, sound=plain, plain=plain)).startswith(NOT)
    assert by_measure(Note(key=key, fault=None, sound=plain, plain=plain)) == CONFIRMED
    if kind == "unison":
        assert by_measure(Note(key=key, fault=None, sound=bad, plain=bad)).startswith(NOT)


def test_a_buzz_is_never_said_to_be_measured() -> None:
    note = recorded_note(40, 0)
    said = by_measure(Note(key=40, fault=fault_of("buzz", 0.0), sound=note, plain=note))
    assert said.startswith(NOT)


def test_every_blow_is_as_strong_as_any_but_for_what_is_roved() -> None:
    """Half by its level, half by its tallest sample, which a piano's blow has some 7 dB above that."""
    levels = []
    for n in range(12):
        clip = make_drill("which is better", seed=5, number=n).clips[n % 2].samples
        begin = round(note_starts(1)[0] * RATE_HZ)
        blow = clip[begin : begin + round(0.4 * RATE_HZ)]
        peak_db = 20.0 * np.log10(float(np.abs(blow).max()))
        levels.append(0.5 * (blow_level(blow) + peak_db - 7.0) - BLOW_DB)
    assert np.all(np.abs(levels) < ROVE_DB + 0.3)
    assert np.std(levels) > 0.8, "roved"
    assert (
        max(
            float(np.abs(c.samples).max())
            for d in drill_set(["find the bad key"], count=1, seed=2)
            for c in d.clips
        )
        <= 1.0
    )


def test_the_more_peaked_of_two_blows_is_as_much_softer_as_it_is_taller(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """So neither its peak nor its level gives it away; the twin: blows of one level differ in their peaks alone."""
    monkeypatch.setattr("pianolab.classroom.sounds.ROVE_DB", 0.0)
    t = np.arange(round(2.7 * RATE_HZ)) / RATE_HZ
    smooth = np.sin(2 * np.pi * 200 * t)
    peaked = sum(np.cos(2 * np.pi * 200 * n * t) for n in range(1, 7))
    apart = []
    for notes in ((peaked, smooth), (peaked / np.std(peaked), smooth / np.std(smooth))):
        clips = [struck("A", [note], rng=np.random.default_rng(1)).samples for note in notes]
        blows = [c[round(0.11 * RATE_HZ) : round(0.25 * RATE_HZ)] for c in clips]
        peaks = [20 * np.log10(float(np.abs(b).max())) for b in blows]
        apart.append((peaks[0] - peaks[1], blow_level(blows[0]) - blow_level(blows[1])))
    assert apart[0] == pytest.approx(apart[1], abs=1e-3)
    taller, softer = apart[0]
    assert taller == pytest.approx(-softer, abs=0.1)
    assert taller > 2.0
    assert taller - softer == pytest.approx(20 * np.log10(np.sqrt(6.0)), abs=0.2), "all of it, at one level"


def test_matched_over_half_a_second_the_blow_would_tell_which_dies_sooner() -> None:
    """The twin: at one loudness over 400 ms the note that dies sooner has the stronger blow."""
    blow, rng = recorded_note(49, 0), np.random.default_rng(1)
    short = altered(blow, Fault(kind="short_sustain", amount=26.0), 49, rng=rng)
    part = slice(0, round(0.4 * RATE_HZ))
    raised = 10 * np.log10(np.sum(blow[part] ** 2) / np.sum(short[part] ** 2))
    assert blow_level(short) + raised > blow_level(blow) + 0.5


def test_two_blows_of_one_note_are_no_copies() -> None:
    for n in range(6):
        drill = make_drill("same or different", seed=3, number=n, place=(n, 6))
        a, b = (c.samples.astype(float) for c in drill.clips)
        begin = round(note_starts(1)[0] * RATE_HZ)
        a, b = a[begin : begin + RATE_HZ], b[begin : begin + RATE_HZ]
        assert abs(np.corrcoef(a, b)[0, 1]) < 0.995


@pytest.mark.slow
def test_neither_length_nor_form_nor_size_of_a_sound_tells_anything(drills: tuple[Drill, ...]) -> None:
    lengths: dict[str, set[int]] = {}
    for drill in drills:
        lengths.setdefault(drill.kind, set()).update(len(c.samples) for c in drill.clips)
        assert {c.rate_hz for c in drill.clips} == {RATE_HZ}
        assert len({len(encoded(c)[1]) for c in drill.clips}) == 1, drill.kind
    assert all(len(found) == 1 for found in lengths.values()), lengths


def test_the_drill_shows_nothing_of_its_truth(drills: tuple[Drill, ...]) -> None:
    """What is shown is the same whatever is true, and the task's name is a hash of the question's making."""
    for drill in drills:
        untold = replace(drill.truth, answer="x", explanation="y", fault="z", level=1.0, unit="v", curves=())
        other = replace(drill, truth=untold)
        assert repr(other) == repr(drill)
        assert other._repr_html_() == drill._repr_html_()
        assert drill.truth.explanation not in drill._repr_html_()


def test_real_notes_come_first_and_carry_whom_to_name(drills: tuple[Drill, ...]) -> None:
    for drill in drills:
        assert "recorded note" in drill.made_from
        assert drill.truth.credit == ATTRIBUTION
    assert make_drill("which dies sooner", seed=1, source="modelled").made_from == "a modelled piano"
    with pytest.raises(BadInput, match="source: got 'sung', need one of recorded, modelled"):
        blows_of("sung", seed=1)  # type: ignore[arg-type]


@pytest.mark.parametrize("kind", DRILL_KINDS)
def test_the_modelled_piano_carries_every_kind(kind: str) -> None:
    drill = make_drill(kind, seed=4, source="modelled", hardness=PLAIN)
    assert all(np.isfinite(c.samples).all() and float(np.abs(c.samples).max()) > 0.01 for c in drill.clips)


@pytest.mark.slow
@pytest.mark.usefixtures("unplayed")
@pytest.mark.parametrize("kind", DRILL_KINDS)
def test_over_a_set_every_answer_comes_its_share_and_no_oftener(kind: str) -> None:
    """200 sets of twelve."""
    for seed in range(200):
        made = [make_drill(kind, seed=seed, number=n, place=(n, 12)) for n in range(12)]
        counts = Counter(d.truth.answer for d in made)
        most = {"find the bad key": 5, "which is better": 10, "which of two real notes dies sooner": 2}.get(
            kind, len(made[0].choices)
        )
        assert max(counts.values()) <= -(-12 // most)
        assert len(counts) == min(12, most)


def test_balance_tells_nothing_of_the_next_answer() -> None:
    """Within a set of twelve "the other one than before" is right hardly oftener than chance, and so is the same."""
    other = []
    for seed in range(400):
        row = [balanced(seed=seed, choices=2, turn=n, of=12, purpose=0) for n in range(12)]
        assert sum(row) == 6
        other += [a != b for a, b in pairwise(row)]
    # Drawn without putting back, 6 of 11 are others: 0.545.
    assert np.mean(other) == pytest.approx(6 / 11, abs=0.03)


def test_the_kinds_of_a_set_come_in_turn() -> None:
    assert [
        turn for _, turn, _ in in_turn(["which dies sooner", "name the fault", "which dies sooner"], 6)
    ] == [0, 0, 1, 2, 1, 3]


@pytest.mark.usefixtures("unplayed")
def test_the_same_seed_gives_the_same_set_and_another_another() -> None:
    one, again, other = (
        [d.truth.answer for d in drill_set(["which dies sooner", "which is further out"], count=16, seed=s)]
        for s in (3, 3, 4)
    )
    assert one == again
    assert one != other


def test_a_class_gets_one_set_or_each_their_own() -> None:
    assert set_seed(5) == set_seed(5)
    assert len({set_seed(5, pupil=str(n)) for n in range(30)}) == 30


def test_a_difference_too_small_to_measure_is_marked() -> None:
    said = [make_drill("which is further out", seed=1, number=n, level=0.6).truth.confirmed for n in range(4)]
    assert any(s.startswith(NOT) for s in said)


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
    ("worse", "better", "proven"),
    [
        ((1.0, "<"), (2.0, "="), True),
        ((1.0, "<"), (2.0, ">"), True),
        ((1.0, ">"), (2.0, "="), False),
        ((1.0, "="), (2.0, "<"), False),
    ],
)
def test_a_bound_proves_an_order_only_where_it_can(worse, better, proven) -> None:
    said = by_order("short_sustain", heard(*worse), heard(*better), 40)
    assert (said == CONFIRMED) is proven


@pytest.mark.parametrize(
    ("worse", "better", "proven"), [(40.0, 20.0, True), (20.5, 20.0, False), (20.0, 40.0, False)]
)
def test_where_no_time_is_known_the_note_that_falls_well_faster_dies_sooner(worse, better, proven) -> None:
    """Both fall by 20 dB after what is heard of them; a slope in dB/s is the faster the larger it is."""
    falling = [heard(1.0, ">"), heard(1.0, ">")]
    for note, slope in zip(falling, (worse, better), strict=True):
        note.table["early_db_per_s"] = slope
    said = by_order("short_sustain", *falling, 40)
    assert said == (CONFIRMED if proven else f"{NOT}: {worse:.0f} dB/s beside {better:.0f} dB/s measured")


def test_a_sound_that_the_listening_refuses_is_not_confirmed_and_says_why() -> None:
    noise = np.random.default_rng(1).standard_normal(RATE_HZ).astype(np.float32)
    refused = listened(noise, 40, rate_hz=RATE_HZ, seed=1)
    assert list(refused.table["key"]) == [40]
    assert by_order("unison", refused, refused, 40) == f"{NOT}: unison_cents can't be measured here"


def test_of_two_real_notes_neither_key_nor_peak_nor_colour_tells_which_dies_sooner() -> None:
    """In sets of sixteen each of them points either way in half of the tasks, whatever the other two say; the twin: drawn
    from all pairs alike, the more peaked one would be the longer."""
    groups = pairs_by_looks()
    looks = list(product((False, True), repeat=3))
    drawn = Counter(balanced(seed=3, choices=8, turn=n, of=16, purpose=101) for n in range(16))
    assert drawn == dict.fromkeys(range(8), 2)
    for group, (higher, peaked, brighter_one) in zip(groups, looks, strict=True):
        assert group, (higher, peaked, brighter_one)
        for sooner, later in group:
            one, other = fall_of(*sooner), fall_of(*later)
            assert (sooner[0] > later[0]) is higher
            assert (one.peak_db > other.peak_db) is peaked
            assert (one.centroid_hz > other.centroid_hz) is brighter_one
            assert one.bound == "="
            assert other.seconds > 1.25 * one.seconds
    every = [(pair, looks[n][1]) for n, group in enumerate(groups) for pair in group]
    assert np.mean([peaked for _, peaked in every]) < 0.43


def test_the_fall_of_a_real_note_is_that_of_its_sound(monkeypatch: pytest.MonkeyPatch) -> None:
    """A tone that loses 25 dB a second falls by 20 dB in 0.8 s; one that loses 5 dB a second not while the key is held."""
    t = np.arange(round(2.7 * RATE_HZ)) / RATE_HZ
    tone = np.sin(2 * np.pi * 440.0 * t)
    for rate, seconds, bound in ((25.0, 0.8, "="), (5.0, 1.9, ">")):
        monkeypatch.setattr(transfer, "recorded_note", lambda *_, r=rate: tone * 10 ** (-r * t / 20))
        fall = transfer.fall_of.__wrapped__(49, 0)
        assert fall.bound == bound
        if bound == "=":
            assert fall.seconds == pytest.approx(seconds, abs=0.01)
        else:
            assert fall.seconds > seconds


def test_our_own_listening_hears_the_order_of_two_real_notes() -> None:
    """And the twin: not the other way round."""
    sooner, later = (58, 0), (64, 0)
    assert heard_sooner(sooner, later) == CONFIRMED
    assert heard_sooner(later, sooner).startswith(NOT)


def test_a_beat_is_as_wide_as_said_and_begins_up_or_down() -> None:
    """A tone of 440 Hz with a copy 20 cents higher beats 5.11 times a second; its mean power is that of both."""
    t = np.arange(2 * RATE_HZ) / RATE_HZ
    tone = np.sin(2 * np.pi * 440.0 * t)
    up = []
    for seed in range(12):
        sound = altered(tone, Fault(kind="unison", amount=20.0), 49, rng=np.random.default_rng(seed))
        power = np.convolve(sound**2, np.ones(320) / 320, "same")[1600:-1600]
        rate = np.fft.rfftfreq(power.size * 8, 1 / RATE_HZ)
        swing = np.abs(np.fft.rfft(power - power.mean(), power.size * 8))
        assert rate[np.argmax(swing * (rate < 20))] == pytest.approx(440 * (2 ** (20 / 1200) - 1), abs=0.15)
        assert power.mean() == pytest.approx(0.5 * (1 + 0.8**2), rel=0.06)
        up.append(power[:800].mean() < power[1000:1600].mean())
    assert 0 < sum(up) < 12


def test_dying_faster_is_exactly_that() -> None:
    tone = np.ones(RATE_HZ)
    fallen = altered(tone, Fault(kind="short_sustain", amount=12.0), 49, rng=np.random.default_rng(1))
    assert 20 * np.log10(fallen[RATE_HZ // 2]) == pytest.approx(-6.0, abs=1e-6)


def test_a_leak_lets_its_share_past_the_damper_and_never_makes_it_louder() -> None:
    tone = np.ones(3 * RATE_HZ)
    for leak in (0.0, 0.25, 0.6):
        after = let_go(tone, HOLD_S, leak=leak)
        assert after[-1] == pytest.approx(leak, abs=1e-3)
        assert np.all(np.diff(after) <= 1e-12)
    ringing = np.exp(-np.arange(round(2.7 * RATE_HZ)) / RATE_HZ) * np.sin(
        np.arange(round(2.7 * RATE_HZ)) * 0.1
    )
    assert release_s(let_go(ringing, HOLD_S)) < 0.2 < release_s(let_go(ringing, HOLD_S, leak=0.4))


def upper_partials_db(sound: np.ndarray, key: int) -> float:
    """Level of the sixth to the twelfth partial over its first 0.8 s, dB."""
    part, f1_hz = sound[: round(0.8 * RATE_HZ)], float(key_to_hz(key))
    power = np.abs(np.fft.rfft(part * np.hanning(part.size))) ** 2
    f_hz = np.fft.rfftfreq(part.size, 1.0 / RATE_HZ)
    return float(10.0 * np.log10(power[(f_hz > 5.5 * f1_hz) & (f_hz < 12.5 * f1_hz)].sum()))


@pytest.mark.parametrize("gain_db", [13.0, 7.0, 3.5, -5.0, -12.0])
def test_a_hard_hammer_and_a_left_pedal_change_the_upper_partials_by_what_is_said(gain_db: float) -> None:
    """On every key and blow; the twin: the same amount taken off in place of added is not what is said."""
    against = []
    for key in RepeatedKeys().keys:
        for which in (0, 1):
            note = recorded_note(key, which)
            made, plain_db = brighter(note, gain_db, float(key_to_hz(key))), upper_partials_db(note, key)
            assert upper_partials_db(made, key) - plain_db == pytest.approx(gain_db, abs=0.3), key
            against.append(abs(upper_partials_db(2.0 * note - made, key) - plain_db - gain_db))
    assert max(against) > 3.0


@pytest.mark.parametrize("gain_db", [13.0, 11.5, 7.0, -11.5])
def test_a_brighter_blow_is_about_as_peaked_as_it_was_and_begins_no_sooner(gain_db: float) -> None:
    """On the keys that are asked; the twin: the same gain with no phase turned makes it more peaked by a decibel, or less."""
    turned, plain, early = [], [], []
    blow, before = slice(0, round(0.4 * RATE_HZ)), slice(0, round(0.003 * RATE_HZ))
    for key in (k for k in RepeatedKeys().keys if k <= LAST_COLOUR_KEY):
        for which in (0, 1):
            note, f1_hz = recorded_note(key, which), float(key_to_hz(key))
            gain = coloured(note, gain_db, f1_hz, np.zeros(20))
            made = brighter(note, gain_db, f1_hz)
            plain.append(crest(gain) - crest(note))
            turned.append(crest(made) - crest(note))
            early.append(np.sum(made[before] ** 2) / np.sum(made[blow] ** 2))
    assert abs(np.mean(turned)) < 0.3
    assert abs(np.mean(plain)) > 0.5
    assert np.mean(np.abs(turned)) < 0.4 * np.mean(np.abs(plain))
    assert 10 * np.log10(max(early)) < -25.0, "what comes before the blow, masked by it (from memory)"


def test_the_left_pedal_of_a_drill_is_the_duller_one() -> None:
    for n in range(12):
        drill = make_drill("which has the left pedal down", seed=8, number=n, hardness=0.0)
        key = key_of(drill.question.split()[0])
        begin = round(note_starts(1)[0] * RATE_HZ)
        dull = {}
        for clip in drill.clips:
            part = clip.samples[begin : begin + round(0.8 * RATE_HZ)].astype(float)
            power = np.abs(np.fft.rfft(part * np.hanning(part.size))) ** 2
            f_hz = np.fft.rfftfreq(part.size, 1.0 / RATE_HZ)
            below = f_hz < 2.5 * float(key_to_hz(key))
            dull[clip.label] = float(10.0 * np.log10(power[below].sum() / power[~below].sum()))
        assert max(dull, key=lambda k: dull[k]) == drill.truth.answer, (n, key, dull)


def test_hardness_goes_from_plain_to_fine() -> None:
    for kind, words in FAULT_WORDS.items():
        assert amount_of(kind, 0.0) == words.plain
        assert amount_of(kind, 1.0) == pytest.approx(words.fine)
        assert set(carriers()[kind]) <= {"energy", "centroid"}, "nobody wins by peak or level"
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


@pytest.mark.slow
@pytest.mark.usefixtures("unplayed")
@pytest.mark.parametrize("kind", ["name the fault", "which is better"])
def test_the_question_tells_nothing_of_the_fault(kind: str) -> None:
    """Every fault is as likely at every key that is asked."""
    drawn: dict[str, Counter[str]] = {}
    for n in range(2400):
        drill = make_drill(kind, seed=5, number=n)
        drawn.setdefault(drill.question, Counter())[drill.truth.fault] += 1
    for counts in drawn.values():
        expected = counts.total() / len(counts)
        assert len(counts) == (7 if kind == "name the fault" else 5)
        assert all(abs(found - expected) < 4.5 * np.sqrt(expected) for found in counts.values()), counts
    assert len(drawn) >= 5


@pytest.mark.usefixtures("unplayed")
@pytest.mark.parametrize("kind", ["name the fault", "which is better", "find the bad key"])
def test_a_lesson_about_dampers_stays_where_dampers_leak(kind: str) -> None:
    made = [make_drill(kind, seed=5, number=n, about=["damper"]) for n in range(60)]
    assert {d.truth.fault for d in made} == ({"damper", ""} if kind == "name the fault" else {"damper"})
    if kind == "find the bad key":
        assert all(key_of(d.truth.answer) <= LAST_RINGING_KEY for d in made)


def test_a_clip_holds_its_notes_where_it_says() -> None:
    rng = np.random.default_rng(1)
    notes = [RepeatedKeys().blow(k, 0, rng=rng) for k in (40, 43)]
    clip = struck("A", notes, rng=rng).samples
    for start in note_starts(2):
        at = round(start * RATE_HZ)
        before, after = clip[at - 800 : at], clip[at : at + 1600]
        assert np.sum(after**2) > 100 * np.sum(before**2)


def test_blows_of_the_modelled_piano_are_never_copies() -> None:
    piano, rng = Modelled(3), np.random.default_rng(1)
    a, b = piano.blow(45, 0, rng=rng), piano.blow(45, 0, rng=rng)
    assert not np.allclose(a, b)
