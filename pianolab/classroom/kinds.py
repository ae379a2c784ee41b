"""How each kind of drill is made, and how pianolab's own listening confirms its truth."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise, permutations

import numpy as np

from pianolab.classroom.confirm import by_faults, by_measure, by_verdict
from pianolab.classroom.draws import (
    FAULT_KEYS,
    RINGING_KEYS,
    USUAL,
    USUAL_IN_OCTAVE,
    drawn_key,
    drawn_piano,
    even_piano,
    low_only,
    possible,
)
from pianolab.classroom.drills import ALTERED, MODELLED, Drill, DrillKind, Recipe, Truth
from pianolab.classroom.faults import FAULT_WORDS, NOTHING, HeardFault, fault_of, tell
from pianolab.classroom.sounds import (
    Curve,
    DrillClip,
    Played,
    equally_loud,
    level_over_pitch,
    level_over_time,
    play_around,
    play_note,
    play_real,
    real_keys,
    true_rate_db_per_s,
    with_fault,
)
from pianolab.errors import BadInput
from pianolab.keyboard import note_name
from pianolab.sound_model import KeyFault

ALTERABLE: tuple[HeardFault, ...] = ("unison", "short_sustain")
"""Faults that a recorded note can be given in a known way."""

NAMED: tuple[HeardFault, ...] = ("unison", "short_sustain", "damper", "buzz", "voicing", "off_pitch")
FURTHER_CENTS, SOONER_DB_PER_S = (0.3, 12.0), (1.0, 60.0)
CAN_JUDGE = ("it sings as it should", "it dies too soon", "tune first: it can't be judged")


def _curves(fault: HeardFault | None, heard: Played, clean: Played, key: int) -> tuple[Curve, ...]:
    draw = level_over_pitch if fault and FAULT_WORDS[fault].chart == "spectrum" else level_over_time
    return tuple(draw(name, p.cut(key), rate_hz=p.rate_hz) for name, p in (("what you heard", heard), ("without the fault", clean)))  # fmt: skip


def _one(label: str, samples: np.ndarray, rate_hz: int) -> DrillClip:
    return equally_loud({label: (samples, rate_hz)})[0]


def name_the_fault(recipe: Recipe) -> Drill:
    """A note between its two neighbours; is anything wrong with it, and what?"""
    key = int(recipe.rng.choice(RINGING_KEYS if low_only(recipe, NAMED) else FAULT_KEYS))
    options = (*possible(recipe, key, NAMED), None)
    fault: HeardFault | None = options[int(recipe.rng.integers(len(options)))]
    model = even_piano(recipe, key, key, least=USUAL)
    wrong = None if fault is None else fault_of(fault, key, recipe.hardness)
    heard, clean = (play_around(with_fault(model, f), key, seed=recipe.seed % 2**31) for f in (wrong, None))
    low, middle, high = (note_name(k) for k in (key - 1, key, key + 1))
    return Drill(
        task=recipe.task, kind="name the fault",
        question=f"You hear {low}, {middle}, {high}. What is the matter with the middle one, {middle}?",
        clips=equally_loud({"A": (heard.cut(key - 1, key + 1), heard.rate_hz)}),
        choices=(NOTHING, *(FAULT_WORDS[f].choice for f in NAMED)),
        truth=Truth(
            answer=FAULT_WORDS[fault].choice if fault else NOTHING, explanation=tell(fault, wrong.amount if wrong else None),
            level=wrong.amount if wrong else None, unit=FAULT_WORDS[fault].unit if fault else "", fault=fault or "",
            confirmed=by_faults(heard, key, fault), made_from=MODELLED, curves=_curves(fault, heard, clean, key),
            without_fault=_one("without the fault", clean.cut(key - 1, key + 1), clean.rate_hz),
        ),
    )  # fmt: skip


BESIDE: tuple[HeardFault, ...] = ("buzz", "damper")
"""Faults that our listening tells only beside the neighbours' notes."""

BETTER: dict[HeardFault, str] = {
    "unison": "its strings agree better", "short_sustain": "it sings longer", "damper": "it stops more cleanly", "buzz": "it is free of buzzing",
}  # fmt: skip


REAL_KEYS, REAL_NOTES = 0.6, 0.9
"""Shares of drills at keys that were recorded, and of those made from a recorded note where it can have the fault."""


def which_is_better(recipe: Recipe) -> Drill:
    """The same key of two pianos that differ in one thing; also with real notes altered in a known way."""
    rng, every = recipe.rng, tuple(BETTER)
    low = low_only(recipe, every)
    recorded = [k for k in real_keys() if not low or k in RINGING_KEYS]
    anywhere = RINGING_KEYS if low else FAULT_KEYS
    key = int(rng.choice(recorded if rng.random() < REAL_KEYS else anywhere))
    faults = possible(recipe, key, every)
    fault, good = faults[int(rng.integers(len(faults)))], "AB"[int(rng.integers(2))]
    if key in recorded and fault in ALTERABLE and rng.random() < REAL_NOTES:
        return _better_of_real(recipe, key=key, fault=fault, good=good)
    model, wrong = drawn_piano(recipe), fault_of(fault, key, recipe.hardness)
    models = {label: with_fault(model, None if label == good else wrong) for label in "AB"}
    played = {label: play_around(m, key, seed=recipe.seed % 2**31) for label, m in models.items()}
    worse = played["B" if good == "A" else "A"]
    confirmed = (
        by_faults(worse, key, fault) if fault in BESIDE else by_measure(fault, worse, played[good], key)
    )
    truth = (good, fault, wrong.amount, FAULT_WORDS[fault].unit)
    return _pair(recipe, key, played, truth=truth, confirmed=confirmed, made_from=MODELLED)


def _better_of_real(recipe: Recipe, *, key: int, fault: HeardFault, good: str) -> Drill:
    plain = play_real(key)
    if fault == "unison":
        amount, unit = 7.0 - 3.5 * recipe.hardness, "cents between the note and its added copy"
        altered = play_real(key, added_copy_cents=amount)
    else:
        amount, unit = 24.0 - 14.0 * recipe.hardness, "dB/s that it dies faster"
        altered = play_real(key, added_db_per_s=amount)
    played = {good: plain, "B" if good == "A" else "A": altered}
    confirmed = by_measure(fault, altered, plain, key)
    return _pair(recipe, key, {k: played[k] for k in "AB"}, truth=(good, fault, amount, unit), confirmed=confirmed, made_from=ALTERED)  # fmt: skip


def _pair(
    recipe: Recipe, key: int, played: dict[str, Played], *, truth: tuple[str, HeardFault, float | None, str], confirmed: str, made_from: str
) -> Drill:  # fmt: skip
    good, fault, amount, unit = truth
    bad = "B" if good == "A" else "A"
    size = f" Here: {amount:.3g} {unit}." if amount is not None else ""
    return Drill(
        task=recipe.task, kind="which is better", question=f"{note_name(key)} twice. Which is better, and in what?",
        clips=equally_loud({label: (p.cut(key), p.rate_hz) for label, p in played.items()}),
        choices=tuple(f"{label}: {words}" for label in "AB" for words in BETTER.values()),
        truth=Truth(
            answer=f"{good}: {BETTER[fault]}", explanation=f"{bad} is the worse one. {FAULT_WORDS[fault].tell_tale}{size}",
            level=amount, unit=unit, fault=fault, confirmed=confirmed, made_from=made_from, curves=_curves(fault, played[bad], played[good], key),
            without_fault=_one(f"{good}, the better one", played[good].cut(key), played[good].rate_hz),
        ),
    )  # fmt: skip


def order_by_sustain(recipe: Recipe) -> Drill:
    """The same key three times, of three lengths of sustain."""
    rng, key, model = recipe.rng, drawn_key(recipe), drawn_piano(recipe)
    step = 0.45 + 0.3 * recipe.hardness
    order = rng.permutation(3)
    shares = {label: step ** int(n) for label, n in zip("ABC", order, strict=True)}
    models = {k: with_fault(model, None if s == 1.0 else KeyFault(key=key, kind="short_sustain", amount=s)) for k, s in shares.items()}  # fmt: skip
    played = {k: play_note(m, key, seed=recipe.seed % 2**31) for k, m in models.items()}
    ranked = sorted("ABC", key=lambda k: -shares[k])
    rates = {k: true_rate_db_per_s(m, key) for k, m in models.items()}
    checks = [by_measure("short_sustain", played[b], played[a], key) for a, b in pairwise(ranked)]
    confirmed = next((c for c in checks if c != "measured"), "measured")
    told = ", ".join(f"{k} falls by 20 dB in {20.0 / rates[k]:.2f} s" for k in ranked)
    return Drill(
        task=recipe.task, kind="order by sustain",
        question=f"{note_name(key)} three times. Put them in order: which sings longest, which dies first?",
        clips=equally_loud({k: (p.cut(key), p.rate_hz) for k, p in played.items()}),
        choices=tuple(" then ".join(p) for p in permutations("ABC")),
        truth=Truth(
            answer=" then ".join(ranked), explanation=f"{told}. Listen to the first second, not to the last trace of tone.",
            level=min(rates[b] - rates[a] for a, b in pairwise(ranked)), unit="dB/s between neighbours",
            fault="short_sustain", confirmed=confirmed, made_from=MODELLED,
            curves=tuple(level_over_time(k, played[k].cut(key), rate_hz=played[k].rate_hz) for k in ranked),
            without_fault=_one(f"{ranked[0]}, the longest", played[ranked[0]].cut(key), played[ranked[0]].rate_hz),
        ),
    )  # fmt: skip


def same_or_different(recipe: Recipe) -> Drill:
    """The same key twice: struck twice, or with its strings apart the second time."""
    rng, key, model = recipe.rng, drawn_key(recipe), drawn_piano(recipe)
    different = bool(rng.random() < 0.5)
    wrong = fault_of("unison", key, recipe.hardness) if different else None
    swap, seed = bool(rng.random() < 0.5), recipe.seed % 2**31
    clean, other = play_note(model, key, seed=seed), play_note(with_fault(model, wrong), key, seed=seed + 1)
    pair = (other, clean) if swap else (clean, other)
    confirmed = (
        by_measure("unison", other, clean, key)
        if different
        else by_measure("unison", other, clean, key, alike=True)
    )
    where = "A" if swap else "B"
    explanation = f"They differ: {where} has its strings apart. {tell('unison', wrong.amount)}" if wrong else (
        "It is the same key struck twice; only the noise of the blow differs."
    )  # fmt: skip
    return Drill(
        task=recipe.task, kind="same or different", question=f"{note_name(key)} twice. The same note struck twice, or two different ones?",
        clips=equally_loud({k: (p.cut(key), p.rate_hz) for k, p in zip("AB", pair, strict=True)}), choices=("same", "different"),
        truth=Truth(
            answer="different" if different else "same", explanation=explanation, level=wrong.amount if wrong else 0.0,
            unit="cents between its strings", fault="unison" if different else "", confirmed=confirmed, made_from=MODELLED,
            curves=_curves("unison", other, clean, key), without_fault=_one("without the fault", clean.cut(key), clean.rate_hz),
        ),
    )  # fmt: skip


def find_the_bad_key(recipe: Recipe) -> Drill:
    """An octave step by step with one bad key."""
    rng = recipe.rng
    first = int(rng.choice(range(32, 36) if low_only(recipe, NAMED) else range(32, 51)))
    bad = first + int(rng.integers(2, 11))
    faults = possible(recipe, bad, NAMED)
    fault = faults[int(rng.integers(len(faults)))]
    wrong = fault_of(fault, bad, recipe.hardness)
    model = even_piano(recipe, first, first + 12, least=USUAL_IN_OCTAVE)
    seed = recipe.seed % 2**31
    heard, clean = (play_around(with_fault(model, f), first + 6, seed=seed, around=6) for f in (wrong, None))
    return Drill(
        task=recipe.task, kind="find the bad key", question=f"Every key from {note_name(first)} to {note_name(first + 12)}. Which one is bad?",
        clips=equally_loud({"A": (heard.cut(first, first + 12), heard.rate_hz)}),
        choices=tuple(note_name(k) for k in range(first, first + 13)),
        truth=Truth(
            answer=note_name(bad), explanation=f"{note_name(bad)}: {FAULT_WORDS[fault].choice}. {tell(fault, wrong.amount)}",
            level=wrong.amount, unit=FAULT_WORDS[fault].unit, fault=fault, confirmed=by_faults(heard, bad, fault, alone=True),
            made_from=MODELLED, curves=_curves(fault, heard, clean, bad), without_fault=_one("without the fault", clean.cut(bad), clean.rate_hz),
        ),
    )  # fmt: skip


def can_you_judge(recipe: Recipe) -> Drill:
    """A note between its neighbours: does it sing, is it short, or does its tuning hide that?"""
    rng, key = recipe.rng, drawn_key(recipe)
    model = even_piano(recipe, key, key, least=USUAL)
    answer = CAN_JUDGE[int(rng.integers(3))]
    short = KeyFault(key=key, kind="short_sustain", amount=0.35 + 0.15 * recipe.hardness)
    apart = KeyFault(key=key, kind="unison", amount=float(rng.uniform(3.0, 6.0)))
    faults = {
        CAN_JUDGE[0]: (),
        CAN_JUDGE[1]: (short,),
        CAN_JUDGE[2]: (apart, short) if rng.random() < 0.5 else (apart,),
    }[answer]
    own = model
    for fault in faults:
        own = with_fault(own, fault)
    heard, clean = (play_around(m, key, seed=recipe.seed % 2**31) for m in (own, model))
    why = {
        CAN_JUDGE[0]: "Its strings agree and it sings as long as its neighbours.",
        CAN_JUDGE[1]: "Its strings agree, and it is gone long before its neighbours: tuning won't bring it back.",
        CAN_JUDGE[2]: "Its strings are apart. The wave between them hides how long it would sing: have it tuned, then listen again.",
    }[answer]  # fmt: skip
    kind: HeardFault | None = None if not faults else "unison" if apart in faults else "short_sustain"
    return Drill(
        task=recipe.task, kind="can you judge the sustain",
        question=f"You hear {note_name(key - 1)}, {note_name(key)}, {note_name(key + 1)}. What can be said of the middle one's sustain?",
        clips=equally_loud({"A": (heard.cut(key - 1, key + 1), heard.rate_hz)}), choices=CAN_JUDGE,
        truth=Truth(
            answer=answer, explanation=why, level=apart.amount if kind == "unison" else short.amount if kind else None,
            unit=FAULT_WORDS[kind].unit if kind else "", fault=kind or "",
            confirmed=by_verdict(heard, key, dict(zip(CAN_JUDGE, ("sound", "short", "tune first"), strict=True))[answer]), made_from=MODELLED,
            curves=_curves(kind, heard, clean, key), without_fault=_one("without the fault", clean.cut(key - 1, key + 1), clean.rate_hz),
        ),
    )  # fmt: skip


@dataclass(frozen=True)
class _Limen:
    """A drill whose difference has a size: for thresholds."""

    kind: DrillKind
    fault: HeardFault
    question: str
    unit: str
    levels: tuple[float, float]


def _limen(recipe: Recipe, what: _Limen) -> Drill:
    rng, key, model = recipe.rng, drawn_key(recipe), drawn_piano(recipe, unison=0.0)
    low, high = what.levels
    wanted = float(high * (low / high) ** recipe.hardness) if recipe.level is None else recipe.level
    if not low <= wanted <= high:
        raise BadInput("level", wanted, f"{low:g} to {high:g} {what.unit}")
    own_rate = 0.0 if what.fault == "unison" else true_rate_db_per_s(model, key)
    amount = wanted if what.fault == "unison" else own_rate / (own_rate + wanted)
    worse = with_fault(model, KeyFault(key=key, kind=what.fault, amount=amount))
    level = wanted if what.fault == "unison" else true_rate_db_per_s(worse, key) - own_rate
    bad, seed = "AB"[int(rng.integers(2))], recipe.seed % 2**31
    played = {k: play_note(worse if k == bad else model, key, seed=seed + n) for n, k in enumerate("AB")}
    good = "B" if bad == "A" else "A"
    return Drill(
        task=recipe.task, kind=what.kind, question=f"{note_name(key)} twice. {what.question}",
        clips=equally_loud({k: (p.cut(key), p.rate_hz) for k, p in played.items()}), choices=("A", "B"),
        truth=Truth(
            answer=bad, explanation=f"It is {bad}. {FAULT_WORDS[what.fault].tell_tale} Here: a difference of {level:.3g} {what.unit}.",
            level=float(level), unit=what.unit, fault=what.fault, confirmed=by_measure(what.fault, played[bad], played[good], key),
            made_from=MODELLED, curves=_curves(what.fault, played[bad], played[good], key),
            without_fault=_one(f"{good}, the sound one", played[good].cut(key), played[good].rate_hz),
        ),
    )  # fmt: skip


FURTHER = _Limen(
    "which is further out", "unison", "In which are the strings further apart?", "cents", FURTHER_CENTS
)
SOONER = _Limen("which dies sooner", "short_sustain", "Which dies sooner?", "dB/s", SOONER_DB_PER_S)

MAKERS: dict[DrillKind, Callable[[Recipe], Drill]] = {
    "name the fault": name_the_fault,
    "which is better": which_is_better,
    "order by sustain": order_by_sustain,
    "same or different": same_or_different,
    "find the bad key": find_the_bad_key,
    "can you judge the sustain": can_you_judge,
    "which is further out": lambda recipe: _limen(recipe, FURTHER),
    "which dies sooner": lambda recipe: _limen(recipe, SOONER),
}
LEVELS: dict[DrillKind, tuple[float, float]] = {FURTHER.kind: FURTHER.levels, SOONER.kind: SOONER.levels}
"""Kinds with a level of their own (cents, dB/s), and how far it goes."""
