"""From measures to statements: sustain seen through the tuning, faults, and a reason for every gap.

Limits stand in ``limits.toml`` with their sources. A fault that could not be tested is listed in ``not_judged``
with its reason; only empty ``faults`` and empty ``not_judged`` together mean that nothing wrong was heard.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pianolab.acoustics.buzz import over_neighbours
from pianolab.acoustics.compass import usual_decay_20_s
from pianolab.acoustics.limits import limits
from pianolab.acoustics.notes import NoteMeasures
from pianolab.acoustics.tuning import (
    robust_line,
    robust_spread,
    running_median,
    smooth_over_keys,
    tuning_curve,
)
from pianolab.acoustics.voicing import Brightness, measure_brightness
from pianolab.keyboard import register_of, usual_strings
from pianolab.units import FloatArray

LAST_SURELY_DAMPED = 64
"""Dampers end between keys 65 and 72 on most instruments [practice]."""
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


def _on_keys(values: FloatArray, key: NDArray[np.int64], span: NDArray[np.int64]) -> FloatArray:
    out = np.full(len(span), np.nan)
    out[key - span[0]] = values
    return out


def short_notes(
    decay_s: FloatArray,
    bound: NDArray[np.str_],
    string_db_per_s: FloatArray,
    key: NDArray[np.int64],
    *,
    t60_s: float = np.nan,
) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Which notes are short, and which are surely not.

    Two things must agree: the note falls 20 dB before the instrument's own line over the keys says, and its
    strings lose energy faster than their line says. Both are logarithms of ratios; their sum is the evidence.
    A cracked bridge or a dead soundboard takes neighbouring notes with it, so less is asked of a note whose
    neighbours are short too. Under a share of what pianos usually have, a note is short whatever the rest is like.
    Where most neighbours outlast the hold, what they last at least is the least that the line says. A note that
    outlasts its hold is surely not short if its strings lose energy no faster than their line says. A room that rings
    long moves both, so more is asked there, and what lies between counts as neither.

    Returns
    -------
    short, long : bool arrays, shape (notes,)
    """
    lim = limits()["decay"]
    usual, x = usual_decay_20_s(key), key.astype(float)
    ratio = np.log(np.maximum(decay_s, 1e-3) / usual)
    line = np.nan_to_num(robust_line(np.where(bound == "=", ratio, np.nan), x, least_spread=0.12))
    outlast = running_median((bound == ">").astype(float), half=6) > 0.5
    line = np.where(outlast, np.maximum(line, running_median(ratio, half=6)), line)
    rate = np.log(np.maximum(string_db_per_s, 1e-3) * usual)
    quick = np.nan_to_num(rate - robust_line(rate, x, least_spread=0.12))
    early = np.where(bound == "=", line - ratio, np.nan)
    evidence = np.where((quick > lim["least_each"]) & (early > 0.5 * lim["least_each"]), quick + early, 0.0)
    near = running_median(quick + np.nan_to_num(early), half=3)
    alone = np.where(key > lim["few_partials_above"], lim["evidence_top"], lim["evidence"])
    ringing = 1.0 + lim["evidence_per_t60_s"] * max(0.0, np.nan_to_num(t60_s) - lim["usual_t60_s"])
    together = (
        (near > lim["evidence_near"] * ringing)
        & (evidence > lim["evidence_among"] * ringing)
        & (key <= lim["few_partials_above"])
    )
    far = (bound == "=") & (decay_s < lim["short_of_usual"] * usual)
    short = (evidence > alone * ringing) | together | far
    slow_enough = ~np.isnan(rate) & (quick < lim["surely_slow"]) & (decay_s > lim["seen_s"])
    held = (bound == "=") | slow_enough | ((ratio > line - 0.25) & (quick < lim["maybe_quick"]))
    return short, ~short & held & (decay_s > 0) & ~(evidence > alone)


def _sustain(m: NoteMeasures, *, clipped: NDArray[np.bool_]) -> tuple[list[str], list[str]]:
    lim, qual = limits()["unison"], limits()["quality"]
    key, spread = m.strikes.key, m.unison.spread_cents
    decay = np.array([d.decay_20_s for d in m.decays])
    bound = np.array([d.bound for d in m.decays])
    masked = np.nan_to_num(spread, nan=0.0) > lim["masks_sustain_cents"]
    unheard = np.isnan(decay)
    noisy = m.snr_db < qual["least_snr_db"]
    short, long = short_notes(decay, bound, m.string_db_per_s, key, t60_s=m.t60_s)
    trust, verdict = [], []
    for i in range(len(key)):
        if clipped[i]:
            word, says = "clipped", ""
        elif masked[i]:
            word, says = "masked by unison", "tune first"
        elif noisy[i]:
            word, says = "noisy", ""
        elif unheard[i] or not (short[i] or long[i]):
            word, says = "too short", ""
        else:
            word, says = "ok", "short" if short[i] else "sound"
        trust.append(word)
        verdict.append(says)
    return trust, verdict


def _off_pitch(
    cents: FloatArray,
    curve: FloatArray,
    spread: FloatArray,
    spread_sd: FloatArray,
    cents_sd: FloatArray,
    key: NDArray[np.int64],
) -> NDArray[np.bool_]:
    lim = limits()["pitch"]
    off = cents - curve
    scatter = max(robust_spread(off), 0.3)
    least = np.where(key > lim["taste_above"], lim["taste_cents"], lim["off_curve_cents"])
    sure = np.maximum(least, lim["off_curve_sds"] * np.nan_to_num(cents_sd))
    far = np.abs(off) > np.maximum(sure, lim["off_curve_spreads"] * scatter)
    usual = max(float(np.nanmedian(spread)), 0.3) if np.any(~np.isnan(spread)) else 0.3
    one_string = np.nan_to_num(spread - 0.5 * np.nan_to_num(spread_sd)) > max(
        lim["one_string_cents"], lim["one_string_spreads"] * usual
    )
    several = np.array([usual_strings(int(k)) > 1 for k in key])
    return (np.nan_to_num(far).astype(bool)) | (one_string & several)


def _slow_dampers(m: NoteMeasures) -> tuple[NDArray[np.bool_], list[str]]:
    """Keys whose release is slow for their place, and why a key can't be judged."""
    lim = limits()["damper"]
    key = m.strikes.key
    likely = np.array([f.likely_s for f in m.falls])
    bound = np.array([f.bound for f in m.falls])
    known = ~np.isnan(likely)
    span = np.arange(key.min(), key.max() + 1)
    logarithm = np.where(known, np.log(np.maximum(np.nan_to_num(likely), 0.05)), np.nan)
    usual = np.exp(smooth_over_keys(_on_keys(logarithm, key, span), stiffness=600.0))[key - span[0]]
    slow = known & (bound != "<") & (likely > lim["slow_share"] * usual) & (likely > lim["least_s"])
    why = ["" if k else (f.why or "release not heard") for k, f in zip(known, m.falls, strict=True)]
    hidden = slow & (likely <= lim["slow_share"] * np.nan_to_num(m.t60_s) / 3.0)
    for i in np.flatnonzero(hidden):
        why[i] = "the room rings as long as a slow damper would"
    slow &= ~hidden
    # The highest keys with dampers are known from the falls alone: slow ones there may have none.
    for i in np.argsort(-key):
        if key[i] <= LAST_SURELY_DAMPED or (known[i] and likely[i] <= lim["slow_share"] * usual[i]):
            break
        if slow[i]:
            slow[i], why[i] = False, "perhaps no damper on this key"
    return slow, why


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
    bright = measure_brightness(
        share, m.share_bound_db, level, register=register, tilt=tilt, tilt_sd=m.tilt_sd
    )
    over, buzz_heard = over_neighbours(m.between, key=key), m.between.heard
    buzz_db = np.where(buzz_heard, over.db, np.nan)
    trust, verdict = _sustain(m, clipped=clipped)
    off = _off_pitch(cents, curve, m.unison.spread_cents, m.unison.spread_sd, m.f1_sd_cents, key)
    slow, why_damper = _slow_dampers(m)
    lim_b, lim_v, lim_u = limits()["buzz"], limits()["voicing"], limits()["unison"]
    faults, not_judged, gaps = [], [], []
    for i in range(len(key)):
        own, skip, gap = [], {}, _gaps(m, i)
        if off[i]:
            own.append("off_pitch")
        elif np.isnan(cents[i]):
            skip["off_pitch"] = "partials too weak in the noise to be measured"
        spread, spread_sd = np.nan_to_num(m.unison.spread_cents[i]), np.nan_to_num(m.unison.spread_sd[i])
        if spread - lim_u["sure_sds"] * spread_sd > lim_u["fault_cents"] and usual_strings(int(key[i])) > 1:
            own.append("unison")
        elif spread + spread_sd > lim_u["fault_cents"] and spread_sd > lim_u["doubtful_sd_cents"]:
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
        stands_out = over.dev[i] > lim_b["outlier_dev"] and over.db[i] > lim_b["outlier_db"]
        if np.isnan(over.dev[i]):
            skip["buzz"] = "too few neighbours to compare with"
        elif buzz_heard[i] and stands_out and over.plain_db[i] > lim_b["outlier_plain_db"]:
            own.append("buzz")
        elif buzz_heard[i] and over.bounded[i] and not stands_out:
            skip["buzz"] = "something is heard between the partials, and noise hides what is usual here"
        elif not buzz_heard[i] and m.between.least_db[i] > lim_b["hidden_db"]:
            skip["buzz"] = "tone too weak over the noise for a buzz to be heard"
        if np.isnan(bright.dev[i]):
            skip["voicing"] = "clipped" if clipped[i] else "too few partials heard"
        elif bright.evidence[i] > lim_v["evidence"] and abs(bright.tilt[i]) > lim_v["outlier_db_per_octave"]:
            own.append("voicing")
        elif bright.tilt_sd[i] > lim_v["judged_sd"]:
            skip["voicing"] = "too few partials heard"
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
