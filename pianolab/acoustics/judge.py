"""From measures to statements: sustain seen through the tuning, faults, and a reason for every gap.

Limits stand in ``limits.toml`` with their sources. A fault that could not be tested is listed in ``not_judged``
with its reason; only empty ``faults`` and empty ``not_judged`` together mean that nothing wrong was heard.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pianolab.acoustics.buzz import buzzes, over_neighbours
from pianolab.acoustics.limits import limits
from pianolab.acoustics.notes import NoteMeasures
from pianolab.acoustics.sustain import judge_sustain, slow_dampers
from pianolab.acoustics.tuning import tuning_curve
from pianolab.acoustics.tuning_need import off_curve, perhaps_slipped, slipped_strings
from pianolab.acoustics.voicing import VOICING_UNTOLD, Brightness, measure_brightness
from pianolab.keyboard import register_of
from pianolab.units import FloatArray

NOT_STRUCK = "key not struck"


@dataclass(frozen=True)
class Judged:
    """Judgements per measured note, lists of words; ``gaps`` and ``not_judged`` map a name to a reason."""

    cents: FloatArray
    curve_cents: FloatArray
    brightness: Brightness
    buzz_db: FloatArray
    trust: list[str]
    verdict: list[str]
    faults: list[list[str]]
    not_judged: list[dict[str, str]]
    gaps: list[dict[str, str]]


def judge_notes(m: NoteMeasures, *, expected_hz: FloatArray, clipped: NDArray[np.bool_]) -> Judged:
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
    key = m.strikes.key
    cents = 1200.0 * np.log2(m.f1_hz / expected_hz)
    curve = tuning_curve(cents, key)
    register = np.array(
        [("bass", "tenor", "middle", "treble", "top").index(register_of(int(k))) for k in key]
    )
    level = np.where(clipped, np.nan, m.level_db)
    share = np.where(clipped, np.nan, m.share_db)
    tilt = np.where(clipped, np.nan, m.tilt)
    bright = measure_brightness(share, level, register=register, tilt=tilt, tilt_sd=m.tilt_sd)
    over, buzz_heard = over_neighbours(m.between, key=key), m.between.heard
    buzz_db = np.where(buzz_heard, over.db, np.nan)
    trust, verdict = judge_sustain(m, clipped=clipped)
    slipped = slipped_strings(m.unison.spread_cents, m.unison.spread_sd, key)
    perhaps = perhaps_slipped(m.unison.spread_cents, m.unison.spread_sd, key) & ~slipped
    # One string far away pulls the key's pitch with it.
    off = off_curve(cents - curve, m.f1_sd_cents, m.unison.spread_cents, key) | slipped
    slow, why_damper = slow_dampers(m)
    lim_b = limits()["buzz"]
    faults, not_judged, gaps = [], [], []
    for i in range(len(key)):
        own, skip, gap = [], {}, _gaps(m, i)
        if off[i]:
            own.append("off_pitch")
        elif np.isnan(cents[i]):
            skip["off_pitch"] = "partials too weak in the noise to be measured"
        if slipped[i]:
            own.append("unison")
        elif perhaps[i]:
            skip["unison"] = "the partials don't agree how far its strings are apart"
        if np.isnan(m.unison.spread_cents[i]):
            skip["unison"] = "note too short or too weak for its strings to be told apart"
        if verdict[i] == "short":
            own.append("short_sustain")
        elif trust[i] != "ok":
            skip["short_sustain"] = trust[i]
        if slow[i]:
            own.append("damper")
        elif why_damper[i] and why_damper[i] != "no damper on this key":
            skip["damper"] = why_damper[i]
        buzzing = buzzes(over, i, key=int(key[i]))
        if np.isnan(over.dev[i]):
            skip["buzz"] = "too few neighbours to compare with"
        elif buzz_heard[i] and buzzing == "yes":
            own.append("buzz")
        elif buzz_heard[i] and buzzing == "perhaps":
            skip["buzz"] = (
                "a little more is heard between the partials than beside, and the hammer's knock may be it"
            )
        elif buzz_heard[i] and over.bounded[i]:
            skip["buzz"] = "something is heard between the partials, and noise hides what is usual here"
        elif not buzz_heard[i] and m.between.least_db[i] > lim_b["hidden_db"]:
            skip["buzz"] = "tone too weak over the noise for a buzz to be heard"
        skip["voicing"] = VOICING_UNTOLD
        if np.isnan(bright.brightness_db[i]):
            gap["brightness_db"] = gap["brightness_dev"] = (
                "clipped" if clipped[i] else "upper partials not heard"
            )
        if np.isnan(bright.dev[i]) and "brightness_dev" not in gap:
            gap["brightness_dev"] = "too few partials heard"
        if np.isnan(curve[i]):
            gap["curve_cents"] = gap["off_curve_cents"] = "too few keys for a curve"
        if np.isnan(buzz_db[i]):
            few = bool(np.isnan(over.dev[i]))
            gap["buzz_db"] = (
                "too few keys to compare with" if few else "nothing over the noise between the partials"
            )
        faults.append(own)
        not_judged.append(skip)
        gaps.append(gap)
    return Judged(cents, curve, bright, buzz_db, trust, verdict, faults, not_judged, gaps)


def _gaps(m: NoteMeasures, i: int) -> dict[str, str]:
    """Reasons for the measures of one note that are missing."""
    gap: dict[str, str] = {}
    decay, fall = m.decays[i], m.falls[i]
    if np.isnan(m.f1_hz[i]):
        too_weak = "partials too weak in the noise to be measured"
        gap |= dict.fromkeys(("f1_hz", "cents", "off_curve_cents", "inharmonicity"), too_weak)
    if np.isnan(m.release.hold_s[i]):
        gap["hold_s"] = "no release heard"
    if np.isnan(m.unison.spread_cents[i]):
        gap["unison_cents"] = "note too short or too weak for its strings to be told apart"
    if np.isnan(m.unison.beat_hz[i]):
        gap["beat_hz"] = gap["beat_partial"] = "no clear beat"
    if np.isnan(decay.decay_20_s):
        gap["decay_20_s"] = gap["decay_20_bound"] = decay.why_no_decay or "held too short"
    if np.isnan(decay.early_db_per_s):
        gap["early_db_per_s"] = decay.why_no_early or "sound too short"
    if np.isnan(decay.late_db_per_s):
        gap["late_db_per_s"] = decay.why_no_late or "late decay not observable"
    if np.isnan(fall.release_20_s):
        gap["release_20_s"] = gap["release_bound"] = fall.why or "no release heard"
    return gap
