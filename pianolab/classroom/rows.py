"""Drills of a note among its neighbours: what is the matter with it, which is bad, can its sustain be judged."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from pianolab.classroom.confirm import by_measure
from pianolab.classroom.draws import Note, drawn_key, last_key, neighbours, played
from pianolab.classroom.drills import Drill, Recipe, Truth
from pianolab.classroom.faults import FAULT_WORDS, NOTHING, Fault, HeardFault, fault_of, tell, tells_of
from pianolab.classroom.pairs import curves_of
from pianolab.classroom.sounds import BEFORE_S, DrillClip, note_starts, struck
from pianolab.keyboard import note_name

NAMED: tuple[HeardFault, ...] = ("unison", "short_sustain", "damper", "buzz", "voicing", "off_pitch")
CAN_JUDGE = ("it sings as it should", "it dies too soon", "tune first: it can't be judged")
ROW, FROM_EACH_END = 7, 1
"""Notes in a row with one bad key; so many at either end are always sound, to compare with."""

MIDDLE_S = (note_starts(3)[1], note_starts(3)[1])
"""When the middle one of three notes begins, with its fault and without."""


def _row(recipe: Recipe, keys: Sequence[int], bad: int, fault: Fault | None) -> list[Note]:
    """Keys one after another, each another blow; one of them with a fault."""
    return [played(recipe, k, fault if k == bad else None, which=int(recipe.rng.integers(2))) for k in keys]


def _clip(label: str, notes: Sequence[Note], recipe: Recipe, *, plain: bool = False) -> DrillClip:
    return struck(label, [n.plain if plain else n.sound for n in notes], rng=recipe.rng)


def _names(keys: Sequence[int]) -> str:
    return ", ".join(note_name(k) for k in keys)


def name_the_fault(recipe: Recipe) -> Drill:
    """A note between its two neighbours; is anything wrong with it, and what?"""
    faults = recipe.among(NAMED)
    kind = (*faults, None)[recipe.answer(len(faults) + 1)]
    key = drawn_key(recipe, faults, beside=1)
    fault, keys = fault_of(kind, recipe.hardness) if kind else None, neighbours(recipe, key, 1)
    notes = _row(recipe, keys, key, fault)
    middle = notes[1]
    choices = {FAULT_WORDS[f].choice: f for f in NAMED}
    return Drill(
        task=recipe.task,
        kind="name the fault",
        clips=(_clip("A", notes, recipe),),
        choices=(NOTHING, *choices),
        question=f"You hear {_names(keys)}. What is the matter with the middle one, {note_name(key)}?",
        truth=Truth(
            answer=FAULT_WORDS[kind].choice if kind else NOTHING,
            explanation=tell(fault),
            level=fault.amount if fault else None,
            unit=FAULT_WORDS[kind].unit if kind else "",
            fault=kind or "",
            check=lambda: by_measure(middle),
            made_from=recipe.blows.words,
            credit=recipe.blows.credit,
            curves=curves_of(middle),
            tells=tells_of(choices),
            without_fault=_clip("without the fault", notes, recipe, plain=True) if fault else None,
            begins_s=MIDDLE_S,
        ),
    )


def find_the_bad_key(recipe: Recipe) -> Drill:
    """A row of keys step by step with one bad key."""
    faults = recipe.among(NAMED)
    all_keys, inner = recipe.blows.keys, ROW - 1 - FROM_EACH_END
    starts = [n for n in range(len(all_keys) - ROW + 1) if all_keys[n + inner] <= last_key(faults)] or [0]
    # One row for a whole set: neither a key's name nor its place comes oftener than another.
    first = starts[int(np.random.default_rng([recipe.seed, len(starts)]).integers(len(starts)))]
    keys = all_keys[first : first + ROW]
    bad = keys[FROM_EACH_END + recipe.answer(ROW - 2 * FROM_EACH_END)]
    fault = fault_of(faults[recipe.answer(len(faults), purpose=2)], recipe.hardness)
    notes = _row(recipe, keys, bad, fault)
    note = notes[keys.index(bad)]
    return Drill(
        task=recipe.task,
        kind="find the bad key",
        clips=(_clip("A", notes, recipe),),
        choices=tuple(note_name(k) for k in keys),
        question=f"{ROW} keys from {note_name(keys[0])} to {note_name(keys[-1])}: {_names(keys)}. Which one is bad? The first and the last are sound.",
        truth=Truth(
            answer=note_name(bad),
            explanation=f"{note_name(bad)}: {FAULT_WORDS[fault.kind].choice}. {tell(fault)}",
            level=fault.amount,
            unit=FAULT_WORDS[fault.kind].unit,
            fault=fault.kind,
            check=lambda: by_measure(note),
            made_from=recipe.blows.words,
            credit=recipe.blows.credit,
            curves=curves_of(note),
            without_fault=struck("without the fault", [note.plain], rng=recipe.rng),
            begins_s=(note_starts(ROW)[keys.index(bad)], BEFORE_S),
        ),
    )


def can_you_judge(recipe: Recipe) -> Drill:
    """A note between its neighbours: does it sing, is it short, or does its tuning hide that?"""
    answer = CAN_JUDGE[recipe.answer(3)]
    key, rng = drawn_key(recipe, ("unison",), beside=1), recipe.rng
    short, apart = (
        fault_of("short_sustain", recipe.hardness),
        Fault(kind="unison", amount=float(rng.uniform(3.0, 7.0))),
    )
    fault = {CAN_JUDGE[0]: None, CAN_JUDGE[1]: short, CAN_JUDGE[2]: apart}[answer]
    keys = neighbours(recipe, key, 1)
    notes = _row(recipe, keys, key, fault)
    middle = notes[1]
    why = {
        CAN_JUDGE[0]: "Its strings agree and it sings as long as its neighbours.",
        CAN_JUDGE[
            1
        ]: f"Its strings agree, and it is gone long before its neighbours: tuning won't bring it back. Here: {short.amount:.3g} {FAULT_WORDS['short_sustain'].unit}.",
        CAN_JUDGE[
            2
        ]: f"Its strings are apart, by {apart.amount:.2g} cents. The wave between them hides how long it would sing: have it tuned, then listen again.",
    }[answer]
    tells = dict(
        zip(CAN_JUDGE[1:], (FAULT_WORDS[f].tell_tale for f in ("short_sustain", "unison")), strict=True)
    )
    return Drill(
        task=recipe.task,
        kind="can you judge the sustain",
        clips=(_clip("A", notes, recipe),),
        choices=CAN_JUDGE,
        question=f"You hear {_names(keys)}. What can be said of the sustain of the middle one, {note_name(key)}?",
        truth=Truth(
            answer=answer,
            explanation=why,
            level=fault.amount if fault else None,
            unit=FAULT_WORDS[fault.kind].unit if fault else "",
            fault=fault.kind if fault else "",
            check=lambda: by_measure(middle),
            made_from=recipe.blows.words,
            credit=recipe.blows.credit,
            curves=curves_of(middle),
            tells=tells,
            without_fault=_clip("without the fault", notes, recipe, plain=True) if fault else None,
            begins_s=MIDDLE_S,
        ),
    )
