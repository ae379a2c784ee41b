"""Drills of one key heard twice or three times: which is better, same or different, how small a difference is heard."""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial
from itertools import pairwise, permutations, product

from pianolab.classroom.altering import brighter, dying_faster, in_room
from pianolab.classroom.confirm import NOT, by_measure
from pianolab.classroom.draws import Note, drawn_key, played, two_blows
from pianolab.classroom.drills import CONFIRMED, Drill, DrillKind, Recipe, Truth
from pianolab.classroom.faults import FAULT_WORDS, Fault, HeardFault, fault_of, tell, tells_of
from pianolab.classroom.sounds import Curve, DrillClip, level_over_pitch, level_over_time, struck
from pianolab.errors import BadInput
from pianolab.keyboard import note_name
from pianolab.units import key_to_hz

BETTER: dict[HeardFault, str] = {
    "unison": "its strings agree better",
    "short_sustain": "it sings longer",
    "damper": "it stops more cleanly",
    "buzz": "it is free of buzzing",
    "voicing": "its hammer is less hard",
}


def curves_of(
    heard: Note, names: tuple[str, str] = ("what you heard", "without the fault")
) -> tuple[Curve, ...]:
    """A note beside itself without its fault; alone where it has none."""
    pitch = heard.fault is not None and FAULT_WORDS[heard.fault.kind].chart == "spectrum"
    draw = level_over_pitch if pitch else level_over_time
    sounds = (heard.sound, heard.plain) if heard.fault else (heard.sound,)
    return tuple(draw(name, sound) for name, sound in zip(names, sounds, strict=False))


def alone(label: str, note: Note, recipe: Recipe) -> DrillClip:
    """One note by itself, without its fault: to hear after the answer."""
    return struck(label, [note.plain], rng=recipe.rng)


def clips_of(notes: dict[str, Note], recipe: Recipe) -> tuple[DrillClip, ...]:
    return tuple(struck(label, [note.sound], rng=recipe.rng) for label, note in notes.items())


def which_is_better(recipe: Recipe) -> Drill:
    """The same key twice, with one fault more the one time."""
    faults = recipe.among(tuple(BETTER))
    right = [(side, f) for side, f in product("AB", faults)][recipe.answer(2 * len(faults))]
    good, kind = right
    bad = "B" if good == "A" else "A"
    key, fault = drawn_key(recipe, faults), fault_of(kind, recipe.hardness)
    notes = {
        label: played(recipe, key, fault if label == bad else None, which=which)
        for label, which in zip("AB", two_blows(recipe), strict=True)
    }
    choices = {f"{side}: {words}": f for side, (f, words) in product("AB", BETTER.items())}
    return Drill(
        task=recipe.task,
        kind="which is better",
        question=f"{note_name(key)} twice. Which is better, and in what?",
        clips=clips_of(notes, recipe),
        choices=tuple(choices),
        truth=Truth(
            answer=f"{good}: {BETTER[kind]}",
            explanation=f"{bad} is the worse one. {tell(fault)}",
            level=fault.amount,
            unit=FAULT_WORDS[kind].unit,
            fault=kind,
            check=lambda: by_measure(notes[bad]),
            made_from=recipe.blows.words,
            credit=recipe.blows.credit,
            curves=curves_of(notes[bad]),
            tells=tells_of(choices),
            without_fault=alone(f"{bad} without the fault", notes[bad], recipe),
        ),
    )


SHADE_DB = 2.5
"""How much brighter or duller each of two blows is made where only a beat shall tell them apart, standard deviation [practice]:
a beat shifts the mean colour of a note's beginning too, by less."""


def same_or_different(recipe: Recipe) -> Drill:
    """The same key struck twice, the second blow another one; the strings apart the one time, or not."""
    different = bool(recipe.answer(2))
    key = drawn_key(recipe, ("unison",))
    fault = fault_of("unison", recipe.hardness) if different else None
    apart, f1_hz = "AB"[int(recipe.rng.integers(2))], float(key_to_hz(key))
    shades = SHADE_DB * recipe.rng.standard_normal(2)
    notes = {
        label: played(
            recipe,
            key,
            fault if label == apart else None,
            which=which,
            more=partial(brighter, gain_db=shade, f1_hz=f1_hz),
        )
        for label, which, shade in zip("AB", two_blows(recipe), shades, strict=True)
    }
    said = (
        f"They differ: {apart} has its strings apart. {tell(fault)}"
        if different
        else (
            "It is one note struck twice: a little stronger or brighter the one time, as no two blows are alike. Its strings stand as they did."
        )
    )
    curves = (
        curves_of(notes[apart]) if different else tuple(level_over_time(k, n.sound) for k, n in notes.items())
    )
    return Drill(
        task=recipe.task,
        kind="same or different",
        clips=clips_of(notes, recipe),
        choices=("same", "different"),
        question=f"{note_name(key)}, struck twice. Is it the same note both times, or have its strings moved apart in between?",
        truth=Truth(
            answer="different" if different else "same",
            explanation=said,
            level=fault.amount if fault else 0.0,
            unit=FAULT_WORDS["unison"].unit,
            fault="unison" if different else "",
            check=lambda: by_measure(notes[apart]),
            made_from=recipe.blows.words,
            credit=recipe.blows.credit,
            curves=curves,
            without_fault=alone(f"{apart} without the fault", notes[apart], recipe) if different else None,
        ),
    )


def order_by_sustain(recipe: Recipe) -> Drill:
    """The same key three times, dying away at three speeds."""
    key, step = drawn_key(recipe, ("short_sustain",)), 12.0 - 7.0 * recipe.hardness
    orders = list(permutations("ABC"))
    ranked = orders[recipe.answer(len(orders))]
    first, second = two_blows(recipe)
    blows = dict(zip("ABC", (first, second, first), strict=True))
    added = {
        label: Fault(kind="short_sustain", amount=step * n) if n else None for n, label in enumerate(ranked)
    }
    notes = {label: played(recipe, key, added[label], which=blows[label]) for label in "ABC"}

    def checked() -> str:
        return next(
            (c for c in (by_measure(notes[label]) for label in ranked[1:]) if c != CONFIRMED), CONFIRMED
        )

    told = ", ".join(f"{b} dies {step:.3g} dB/s faster than {a}" for a, b in pairwise(ranked))
    return Drill(
        task=recipe.task,
        kind="order by sustain",
        clips=clips_of(notes, recipe),
        choices=tuple(" then ".join(p) for p in orders),
        question=f"{note_name(key)} three times. Put them in order: which sings longest, which dies first?",
        truth=Truth(
            answer=" then ".join(ranked),
            explanation=f"{told}. Listen to the first second, not to the last trace of tone.",
            level=step,
            unit="dB/s between neighbours",
            fault="short_sustain",
            check=checked,
            made_from=recipe.blows.words,
            credit=recipe.blows.credit,
            curves=tuple(level_over_time(k, notes[k].sound) for k in ranked),
        ),
    )


@dataclass(frozen=True)
class Limen:
    """A drill whose difference has a size: for thresholds."""

    kind: DrillKind
    fault: HeardFault
    question: str
    unit: str
    levels: tuple[float, float]


FURTHER = Limen(
    "which is further out", "unison", "In which are the strings further apart?", "cents", (0.6, 12.0)
)
SOONER = Limen("which dies sooner", "short_sustain", "Which dies sooner?", "dB/s", (1.0, 60.0))


def size_of(recipe: Recipe, levels: tuple[float, float], unit: str) -> float:
    """The size of the difference: the one asked for, or one that suits the hardness."""
    low, high = levels
    wanted = float(high * (low / high) ** recipe.hardness) if recipe.level is None else recipe.level
    if not low <= wanted <= high:
        raise BadInput("level", wanted, f"{low:g} to {high:g} {unit}")
    return wanted


def limen(recipe: Recipe, what: Limen) -> Drill:
    """The same key twice, worse by so much the one time."""
    fault = Fault(kind=what.fault, amount=size_of(recipe, what.levels, what.unit))
    bad, key = "AB"[recipe.answer(2)], drawn_key(recipe, (what.fault,))
    notes = {
        label: played(recipe, key, fault if label == bad else None, which=which)
        for label, which in zip("AB", two_blows(recipe), strict=True)
    }
    return Drill(
        task=recipe.task,
        kind=what.kind,
        question=f"{note_name(key)} twice. {what.question}",
        clips=clips_of(notes, recipe),
        choices=("A", "B"),
        truth=Truth(
            answer=bad,
            explanation=f"It is {bad}. {tell(fault)}",
            level=fault.amount,
            unit=what.unit,
            fault=what.fault,
            check=lambda: by_measure(notes[bad]),
            made_from=recipe.blows.words,
            credit=recipe.blows.credit,
            curves=curves_of(notes[bad]),
            without_fault=alone(f"{bad} without the fault", notes[bad], recipe),
        ),
    )


NOT_ASKED = f"{NOT}: no measure of pianolab's tells this from two single notes"
ROOMS_S, SHORT_ROOM_S = (0.25, 1.6), 0.3
PEDAL_DB = (12.0, 5.0)


def which_room(recipe: Recipe) -> Drill:
    """The same key in two rooms; the note itself may die sooner in either, so that one has to hear the room."""
    longer, key = "AB"[recipe.answer(2)], drawn_key(recipe, ("damper",))
    extra = 0.9 - 0.6 * recipe.hardness
    t60_s = {label: SHORT_ROOM_S + (extra if label == longer else 0.0) for label in "AB"}
    seed = int(recipe.rng.integers(1, 2**31))
    notes = {}
    for n, (label, which) in enumerate(zip("AB", two_blows(recipe), strict=True)):
        faster = float(recipe.rng.uniform(0.0, 8.0))
        dry = played(recipe, key, None, which=which, more=partial(dying_faster, db_per_s=faster))
        sound = in_room(dry.sound, t60_s[label], seed=seed + n)
        notes[label] = Note(key=key, fault=None, sound=sound, plain=dry.sound)
    return Drill(
        task=recipe.task,
        kind="which room rings longer",
        clips=clips_of(notes, recipe),
        choices=("A", "B"),
        question=f"{note_name(key)} in two rooms. Which room rings longer? The note itself may be longer in either.",
        truth=Truth(
            answer=longer,
            level=extra,
            unit="s that the room rings longer",
            fault="",
            made_from=f"{recipe.blows.words} in a calculated room",
            explanation=f"It is {longer}. A room goes on after the key is let go, for all notes alike; a note that dies slowly is heard while the "
            f"key is held. Here the rooms ring {t60_s['A']:.2g} s and {t60_s['B']:.2g} s.",
            check=lambda: NOT_ASKED,
            credit=recipe.blows.credit,
            curves=tuple(level_over_time(k, n.sound) for k, n in notes.items()),
            without_fault=alone("the note without its room", notes[longer], recipe),
        ),
    )


def which_pedal(recipe: Recipe) -> Drill:
    """The same key twice, once as dull as the left pedal of a grand makes it; no softer, since the level is roved."""
    down, key = "AB"[recipe.answer(2)], drawn_key(recipe, ("voicing",))
    plain, fine = PEDAL_DB
    amount = plain + (fine - plain) * recipe.hardness
    notes = {}
    for label, which in zip("AB", two_blows(recipe), strict=True):
        note = played(recipe, key, None, which=which)
        duller = brighter(note.sound, -amount, float(key_to_hz(key))) if label == down else note.sound
        notes[label] = Note(key=key, fault=None, sound=duller, plain=note.sound)
    return Drill(
        task=recipe.task,
        kind="which has the left pedal down",
        clips=clips_of(notes, recipe),
        choices=("A", "B"),
        question=f"{note_name(key)} twice, once as with the left pedal of a grand down. Which one?",
        truth=Truth(
            answer=down,
            level=amount,
            unit="dB less in its high partials",
            fault="",
            explanation=f"It is {down}. Felt that is not grooved makes the note rounder, not only softer: here its partials from the fifth up are "
            f"{amount:.3g} dB weaker. On an upright the left pedal takes level alone, and says nothing of the hammers.",
            check=lambda: NOT_ASKED,
            made_from=f"{recipe.blows.words}, dulled in place of the pedal",
            credit=recipe.blows.credit,
            curves=tuple(level_over_pitch(k, n.sound) for k, n in notes.items()),
            without_fault=alone(f"{down} without the pedal", notes[down], recipe),
        ),
    )
