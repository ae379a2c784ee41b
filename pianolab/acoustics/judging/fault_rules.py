"""From measures to faults: a rule per fault, each of which finds it, doesn't, or says why it could not be tested.

Limits stand in ``limits.toml`` with their sources. Only empty ``faults`` and empty ``not_judged`` together mean that
nothing wrong was heard. Why a measure is missing is the business of its column (`pianolab.acoustics.columns`).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pianolab.acoustics.envelope.sustain import judge_sustain, slow_dampers
from pianolab.acoustics.judging.buzz import OverNeighbours, buzzes, over_neighbours
from pianolab.acoustics.judging.tuning import tuning_curve
from pianolab.acoustics.judging.tuning_need import (
    moved_together,
    off_curve,
    perhaps_slipped,
    slipped_strings,
)
from pianolab.acoustics.judging.voicing import VOICING_UNTOLD, Brightness, measure_brightness
from pianolab.acoustics.limits import limits
from pianolab.acoustics.notes import NoteMeasures
from pianolab.keyboard import REGISTERS, register_of
from pianolab.units import FloatArray

Flags = NDArray[np.bool_]

TOO_WEAK = "partials too weak in the noise to be measured"
TOO_SHORT_FOR_STRINGS = "note too short or too weak for its strings to be told apart"
NO_DAMPER = "no damper on this key"
ROOM_RINGS_ON = "the room rings on as long as the note"
OVER_TOO_SOON = "let go, or drowned, before it had fallen 20 dB"
STRING_PULLS = "one of its strings is far off and pulls its pitch"
MOVED_TOGETHER = "its neighbours are as far off: a register out of tune, or keys misread"
BETWEEN_SHORT_AND_LONG = "neither clearly short nor clearly long beside its neighbours"


@dataclass(frozen=True, kw_only=True)
class NoteEvidence:
    """What the rules look at: every field has an entry per note."""

    m: NoteMeasures
    cents: FloatArray
    curve_cents: FloatArray
    clipped: Flags
    brightness: Brightness
    between: OverNeighbours
    trust: list[str]
    verdict: list[str]
    off_curve: Flags
    moved_together: Flags
    slipped: Flags
    perhaps_slipped: Flags
    slow_damper: Flags
    why_damper: list[str]


@dataclass(frozen=True, kw_only=True)
class FoundFaults(NoteEvidence):
    """The same with what follows: the faults of each note, and for each fault that could not be tested the reason."""

    faults: list[tuple[str, ...]]
    not_judged: list[dict[str, str]]

    @property
    def buzz_db(self) -> FloatArray:
        """What stands between the partials over the neighbours, dB; NaN where it is only a bound."""
        return np.where(self.m.between.heard, self.between.db, np.nan)


@dataclass(frozen=True)
class Ruling:
    """What a rule says of one note; neither found nor untold means that the note was tested and is sound."""

    found: bool = False
    untold: str = ""


SOUND, FOUND = Ruling(), Ruling(found=True)


def judge_notes(m: NoteMeasures, *, expected_hz: FloatArray, clipped: Flags) -> FoundFaults:
    """All statements about the measured notes.

    Parameters
    ----------
    m : NoteMeasures
    expected_hz : shape (notes,), equal temperament at that A4
    clipped : shape (notes,)

    Returns
    -------
    Judged
    """
    evidence = gather_evidence(m, expected_hz=expected_hz, clipped=clipped)
    rulings = [{fault: rule(evidence, i) for fault, rule in RULES.items()} for i in range(len(m.strikes.key))]
    return FoundFaults(
        **vars(evidence),
        faults=[tuple(fault for fault, r in own.items() if r.found) for own in rulings],
        not_judged=[{fault: r.untold for fault, r in own.items() if r.untold} for own in rulings],
    )


def gather_evidence(m: NoteMeasures, *, expected_hz: FloatArray, clipped: Flags) -> NoteEvidence:
    """Each note beside the others of the instrument: its curve, its neighbours, its usual width of a unison."""
    key, spread, spread_sd = m.strikes.key, m.unison.spread_cents, m.unison.spread_sd
    cents = 1200.0 * np.log2(m.f1_hz / expected_hz)
    curve = tuning_curve(cents, key)
    trust, verdict = judge_sustain(m, clipped=clipped)
    slipped = slipped_strings(spread, spread_sd, key)
    slow, why_damper = slow_dampers(m)
    far = off_curve(cents - curve, m.f1_sd_cents, spread, key)
    return NoteEvidence(
        m=m,
        cents=cents,
        curve_cents=curve,
        clipped=clipped,
        brightness=_brightness(m, clipped=clipped),
        between=over_neighbours(m.between, key=key),
        trust=trust,
        verdict=verdict,
        off_curve=far,
        moved_together=moved_together(far, key),
        slipped=slipped,
        perhaps_slipped=perhaps_slipped(spread, spread_sd, key) & ~slipped,
        slow_damper=slow,
        why_damper=why_damper,
    )


def _brightness(m: NoteMeasures, *, clipped: Flags) -> Brightness:
    """Clipping adds partials of its own, so clipped notes don't count."""
    names = [r.name for r in REGISTERS]
    register = np.array([names.index(register_of(int(k))) for k in m.strikes.key])
    share, level, tilt = (np.where(clipped, np.nan, v) for v in (m.share_db, m.level_db, m.tilt))
    return measure_brightness(share, level, register=register, tilt=tilt, tilt_sd=m.tilt_sd)


def _off_pitch(e: NoteEvidence, i: int) -> Ruling:
    if e.slipped[i] and not abs(e.cents[i] - e.curve_cents[i]) > e.m.unison.spread_cents[i]:
        # One fault is said once, of the unison.
        return Ruling(untold=STRING_PULLS)
    if e.off_curve[i]:
        return Ruling(untold=MOVED_TOGETHER) if e.moved_together[i] else FOUND
    return Ruling(untold=TOO_WEAK) if np.isnan(e.cents[i]) else SOUND


def _unison(e: NoteEvidence, i: int) -> Ruling:
    if np.isnan(e.m.unison.spread_cents[i]):
        return Ruling(untold=TOO_SHORT_FOR_STRINGS)
    if e.slipped[i]:
        return FOUND
    if e.perhaps_slipped[i]:
        return Ruling(untold="the partials don't agree how far its strings are apart")
    return SOUND


def _short_sustain(e: NoteEvidence, i: int) -> Ruling:
    if e.verdict[i] == "short":
        return FOUND
    if e.trust[i] == "ok":
        return SOUND
    return Ruling(untold=_why_no_verdict(e, i) if e.trust[i] == "too short" else e.trust[i])


def _why_no_verdict(e: NoteEvidence, i: int) -> str:
    """``sustain_trust`` has one word for several things: that the sound doesn't say enough of how long it lasts."""
    decay = e.m.decays[i]
    if np.isnan(decay.decay_20_s):
        return decay.why_no_decay or "held too short"
    return {"<": ROOM_RINGS_ON, ">": OVER_TOO_SOON}.get(decay.bound, BETWEEN_SHORT_AND_LONG)


def _damper(e: NoteEvidence, i: int) -> Ruling:
    if e.slow_damper[i]:
        return FOUND
    # A key without a damper has nothing that could fail.
    return SOUND if e.why_damper[i] == NO_DAMPER else Ruling(untold=e.why_damper[i])


def _buzz(e: NoteEvidence, i: int) -> Ruling:
    if np.isnan(e.between.dev[i]):
        return Ruling(untold="too few neighbours to compare with")
    if not e.m.between.heard[i]:
        hidden = e.m.between.least_db[i] > limits()["buzz"]["hidden_db"]
        return Ruling(untold="tone too weak over the noise for a buzz to be heard") if hidden else SOUND
    buzzing = buzzes(e.between, i, key=int(e.m.strikes.key[i]))
    if buzzing == "yes":
        return FOUND
    if buzzing == "perhaps":
        return Ruling(
            untold="a little more is heard between the partials than beside, and the hammer's knock may be it"
        )
    if e.between.bounded[i]:
        return Ruling(untold="something is heard between the partials, and noise hides what is usual here")
    return SOUND


def _voicing(e: NoteEvidence, i: int) -> Ruling:  # noqa: ARG001
    return Ruling(untold=VOICING_UNTOLD)


RULES: Mapping[str, Callable[[NoteEvidence, int], Ruling]] = {
    "off_pitch": _off_pitch,
    "unison": _unison,
    "short_sustain": _short_sustain,
    "damper": _damper,
    "buzz": _buzz,
    "voicing": _voicing,
}
"""A rule for each fault that a note which sounds can have, in the order of the survey's list."""
