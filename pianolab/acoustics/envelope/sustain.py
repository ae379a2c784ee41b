"""Which notes are short, which dampers are slow, and where neither can be told: tuning, noise, room or hold hide it.

The limits are in ``limits.toml``. On modelled pianos of two kinds nearly all seeded short notes and slow dampers are found
or said to be hidden at home; in a hall most are said to be hidden.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pianolab.acoustics.envelope.levels import NoteLevel
from pianolab.acoustics.envelope.reverberation import LONG_ROOM_S
from pianolab.acoustics.judging.tuning import robust_line, robust_spread, running_median, smooth_over_keys
from pianolab.acoustics.keys.compass import usual_decay_20_s
from pianolab.acoustics.limits import limits
from pianolab.acoustics.notes import NoteMeasures
from pianolab.units import FloatArray

BEFORE_S, TAIL_S = -0.015, 0.08
RING_ON = (
    "most keys ring on after they are let go: a pedal held down, keys played into one another, or a long room"
)


def short_notes(
    decay_s: FloatArray,
    bound: NDArray[np.str_],
    string_db_per_s: FloatArray,
    key: NDArray[np.int64],
    *,
    sd_s: FloatArray | None = None,
    t60_s: float = np.nan,
) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Which notes are short, and which are surely not.

    Two things must agree: the note falls 20 dB before the instrument's own line over the keys says, and its
    strings lose energy faster than their line says. Both are logarithms of ratios; their sum is the evidence.
    A cracked bridge or a dead soundboard takes neighbouring notes with it, so less is asked of a note whose
    neighbours are short too, and of one that lasts but a share of what pianos usually have, if its strings are as quick. On
    an instrument whose sound notes differ much among themselves more is asked of all.
    Where most neighbours outlast the hold, what they last at least is the least that the line says. A note that
    outlasts its hold is surely not short if its strings lose energy no faster than their line says. One whose time is unsure
    is not, if it may be nearly short within that. A room that rings long moves both, so more is asked there, and what lies
    between counts as neither. In the bass more is asked as well: there sound notes of a real grand differ by a factor of three, and one of them from one microphone to the other.

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
    # What the time may be off for speaks for the note.
    doubt = 0.0 if sd_s is None else np.nan_to_num(sd_s / np.maximum(decay_s, 1e-3))
    early = np.where(bound == "=", line - ratio - lim["doubt_sds"] * doubt, np.nan)
    at_most = np.where(bound == "=", line - ratio + lim["doubt_sds"] * doubt, 0.0)
    # Where most of an octave is short, less is asked of each.
    evidence, in_register = (
        np.where((quick > lim["least_each"]) & (early > share * lim["least_each"]), quick + early, 0.0)
        for share in (1.0, lim["register_share"])
    )
    both = quick + np.nan_to_num(early)
    near, register = (running_median(both, half=h) for h in (3, 6))
    # Where an instrument's notes differ by themselves, one of them must stand out of that.
    own = robust_spread(both[bound == "="]) if np.sum(bound == "=") >= lim["scatter_from_keys"] else 0.0
    plain = np.where(key > lim["few_partials_above"], lim["evidence_top"], lim["evidence"])
    alone = np.where(key < lim["bass_below"], lim["evidence_bass"], plain)
    alone = np.maximum(alone, lim["own_scatters"] * own)
    ringing = 1.0 + lim["evidence_per_t60_s"] * max(0.0, np.nan_to_num(t60_s) - lim["usual_t60_s"])
    together = np.zeros(len(key), dtype=bool)
    for beside, shown, where in ((near, evidence, "near"), (register, in_register, "register")):
        all_show = beside > max(lim[f"evidence_{where}"] * ringing, lim[f"{where}_scatters"] * own)
        together |= all_show & (shown > lim[f"evidence_among_{where}"] * ringing)
    together &= key <= lim["few_partials_above"]
    # e^3 = 20: the strings' own rate is that of a note which falls 20 dB in its usual time.
    longest_s = decay_s * (1.0 + lim["doubt_sds"] * doubt)
    far = (bound == "=") & (longest_s < lim["short_of_usual"] * usual) & (rate - 3.0 > lim["quick_of_usual"])
    far &= evidence > lim["far_scatters"] * own
    short = (evidence > alone * ringing) | together | far
    least = bound == ">"
    slow_enough = least & ~np.isnan(rate) & (quick < lim["surely_slow"]) & (decay_s > lim["seen_s"])
    held = (bound == "=") | slow_enough | (least & (ratio > line - 0.25) & (quick < lim["maybe_quick"]))
    # The same doubt speaks against calling a note long whose strings are quick.
    maybe = (quick > lim["least_each"]) & (quick + at_most > lim["maybe_share"] * plain)
    return short, ~short & held & (decay_s > 0) & ~(evidence > plain) & ~maybe


def heard_rate(m: NoteMeasures) -> FloatArray:
    """How fast each note's strings lose energy, dB/s, as far as its level shows it.

    The mean rate of the modes by their energy is that at which the level begins to fall. Modes that were misread may say
    three times as much; the level doesn't.
    """
    early = np.array([d.early_db_per_s for d in m.decays])
    most = np.where(early > 0, limits()["decay"]["rate_over_level"] * early, np.inf)
    return np.asarray(np.minimum(m.string_db_per_s, most))


def judge_sustain(m: NoteMeasures, *, clipped: NDArray[np.bool_]) -> tuple[list[str], list[str]]:
    """What hides each note's sustain (``ok`` where nothing does), and the verdict, empty where it can't be told."""
    lim, qual = limits()["unison"], limits()["quality"]
    key, spread = m.strikes.key, m.unison.spread_cents
    decay = np.array([d.decay_20_s for d in m.decays])
    bound = np.array([d.bound for d in m.decays])
    # A distance that may as well be small hides nothing: then strings and level decide.
    surely_apart = spread - lim["sure_sds"] * m.unison.spread_sd
    masked = np.nan_to_num(surely_apart, nan=0.0) > lim["masks_sustain_cents"]
    unheard = np.isnan(decay)
    noisy = m.snr_db < qual["least_snr_db"]
    sd_s = np.array([d.sd_s for d in m.decays])
    short, long = short_notes(decay, bound, heard_rate(m), key, sd_s=sd_s, t60_s=m.t60_s)
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


def slow_dampers(m: NoteMeasures) -> tuple[NDArray[np.bool_], list[str]]:
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
    long_room = m.t60_s > LONG_ROOM_S
    if _all_ring_on(m) and not long_room:
        return np.zeros(len(key), dtype=bool), [w or RING_ON for w in why]
    for i in np.flatnonzero(slow):
        if not _tail_is_its_own(m.levels[i]):
            slow[i], why[i] = False, "what sounds after the release sounded before the blow too"
    # In a long room a slow damper sounds like a good one, unless it is slower than the room itself.
    within_room = likely <= lim["room_hides"] * np.nan_to_num(m.t60_s) / 3.0
    hidden = known & ((slow & within_room) | (long_room & (within_room | ~slow)))
    for i in np.flatnonzero(hidden):
        why[i] = "the room rings as long as a slow damper would"
    slow &= ~hidden
    # The highest keys with dampers are known from the falls alone: slow ones there may have none. In a long room a fall
    # of some dB is no sign of a damper on the keys above.
    for i in np.argsort(-key):
        damped_above = known[i] and likely[i] <= lim["slow_share"] * usual[i] and not long_room
        if key[i] <= lim["last_surely_damped"] or damped_above:
            break
        if slow[i]:
            slow[i], why[i] = False, "perhaps no damper on this key"
    return slow, why


def _all_ring_on(m: NoteMeasures) -> bool:
    """Whether most notes of keys that surely have dampers go on sounding: dampers don't fail all at once."""
    lim = limits()["damper"]
    damped = m.strikes.key <= lim["last_surely_damped"]
    return bool(
        damped.sum() >= lim["least_keys"] and np.isnan(m.release.hold_s[damped]).mean() > lim["ring_on_share"]
    )


def _tail_is_its_own(level: NoteLevel) -> bool:
    """Whether what is heard last stands over what was heard before the blow: a tail begins with its own note."""
    before = level.power[level.time_s < BEFORE_S]
    tail = level.power[level.time_s > level.time_s[-1] - TAIL_S]
    over = 10.0 ** (0.1 * limits()["damper"]["tail_over_before_db"])
    return bool(before.size == 0 or np.mean(tail) > over * np.mean(before))


def _on_keys(values: FloatArray, key: NDArray[np.int64], span: NDArray[np.int64]) -> FloatArray:
    out = np.full(len(span), np.nan)
    out[key - span[0]] = values
    return out
