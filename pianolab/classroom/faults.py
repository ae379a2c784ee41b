"""The faults a class learns to hear: their names, what gives each away, and how hard it is to hear.

The amounts from plain to fine are common practice [practice]: plain is what nobody misses beside a sound
note, fine is what a practised ear just hears; they are no limits of judgement.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from pianolab.errors import BadInput

HeardFault = Literal["unison", "short_sustain", "damper", "buzz", "voicing", "off_pitch"]
NOTHING = "nothing wrong"


@dataclass(frozen=True, kw_only=True)
class Fault:
    """A fault that a note is given, ``amount`` in the unit of its `FaultWords`."""

    kind: HeardFault
    amount: float


@dataclass(frozen=True, kw_only=True)
class FaultWords:
    """One fault in a pupil's words; ``plain`` and ``fine`` are amounts as in `Fault`."""

    choice: str
    tell_tale: str
    plain: float
    fine: float
    unit: str
    chart: Literal["level", "spectrum"]


FAULT_WORDS: dict[HeardFault, FaultWords] = {
    "unison": FaultWords(
        choice="its strings are apart",
        tell_tale="Listen after the blow: the tone swells and fades in a steady wave. Two strings that differ do that, "
        "and while they do, nobody can say how long the note would sing.",
        plain=7.0,
        fine=2.5,
        unit="cents between its strings",
        chart="level",
    ),
    "short_sustain": FaultWords(
        choice="it dies too soon",
        tell_tale="Hold the key and count: beside its neighbours the tone has gone when theirs still sings. "
        "Its strings agree, so tuning will not bring it back.",
        plain=26.0,
        fine=10.0,
        unit="dB/s faster than it should",
        chart="level",
    ),
    "damper": FaultWords(
        choice="its damper leaks",
        tell_tale="Listen after the key is let go, not while it is held: something of the tone stays behind.",
        plain=0.6,
        fine=0.25,
        unit="of the tone gets past the damper",
        chart="level",
    ),
    "buzz": FaultWords(
        choice="it buzzes",
        tell_tale="Something rattles along while the tone is loud and falls silent before the tone does: "
        "a sizzle that has no pitch of its own.",
        plain=-16.0,
        fine=-28.0,
        unit="dB beside the tone",
        chart="spectrum",
    ),
    "voicing": FaultWords(
        choice="its hammer is too hard",
        tell_tale="The note is no louder but brighter than its neighbours, from the first moment: a hard or worn hammer.",
        plain=13.0,
        fine=7.0,
        unit="dB more in its high partials",
        chart="spectrum",
    ),
    "off_pitch": FaultWords(
        choice="the whole note is out of tune",
        tell_tale="The note stands still in itself, but it lies beside the scale: all its strings have moved together.",
        plain=45.0,
        fine=18.0,
        unit="cents beside the scale",
        chart="spectrum",
    ),
}


def amount_of(kind: HeardFault, hardness: float) -> float:
    """How much of a fault, from plain (hardness 0) to fine (1).

    Examples
    --------
    >>> amount_of("unison", 0.0), amount_of("unison", 1.0), amount_of("buzz", 0.5)
    (7.0, 2.5, -22.0)
    """
    if not 0.0 <= hardness <= 1.0:
        raise BadInput("hardness", hardness, "0 (plain) to 1 (fine)")
    words = FAULT_WORDS[kind]
    if kind == "buzz":
        return words.plain + hardness * (words.fine - words.plain)
    return float(words.plain * (words.fine / words.plain) ** hardness)


def fault_of(kind: HeardFault, hardness: float) -> Fault:
    """A fault as hard to hear as wanted."""
    return Fault(kind=kind, amount=amount_of(kind, hardness))


def tell(fault: Fault | None) -> str:
    """What gives a fault away, with its amount.

    Examples
    --------
    >>> tell(Fault(kind="buzz", amount=-16.0))[-34:]
    'own. Here: -16 dB beside the tone.'
    """
    if fault is None:
        return "It is as it should be: it stands still, sings as long as its neighbours and stops at once."
    words = FAULT_WORDS[fault.kind]
    return f"{words.tell_tale} Here: {fault.amount:.3g} {words.unit}."


def tells_of(choices: dict[str, HeardFault]) -> dict[str, str]:
    """What one would have heard, for each answer that names a fault; for who chose it and was wrong."""
    return {choice: FAULT_WORDS[kind].tell_tale for choice, kind in choices.items()}
