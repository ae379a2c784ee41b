"""Unison: pitch of the string choir, distance of its strings, and the beat one hears.

Pitch of a partial is the energy centroid of its close modes, not the loudest peak: a peak follows the
strongest string.

The bridge couples the strings, so the modes one hears are not the strings: below the coupling they share one
frequency, and a springy bridge splits strings that are in tune [weinreich1977]. What the strings would be apart
can still be had. The hammer starts them together, and the bridge adds up what they do, so the modes' complex
amplitudes at the blow are weights p of the eigenvalues s, and the first two moments of these weights belong to the
uncoupled strings: sum(p s²) - (sum p s)² is minus the variance of the strings' angular frequencies, whatever the
coupling (own derivation: the first off-diagonal element of the chain that starts from the struck state). From
the variance the distance of the outermost strings follows for two strings exactly, for three within a tenth.

How sure that is comes from the note: how the partials' variances scatter, how little could have been told apart in
the time that was heard, what the modes leave unexplained of the sound, and how far its partials are pulled off their
series, since what pulls partials pulls strings apart in one and together in another. Where these leave it open, what
is usual on this very piano counts.

Limits: needs the prompt mode; where a ringing room hides it, the distance of the modes counts by half when larger. A single
string's distance is that of its modes: a false beat [capleton2004]. Under about 0.2 cents nothing is meant; which
string is off can't be heard from outside. The errors have a heavy tail on unisons many cents wide: a string that no
partial shows clearly is missed altogether.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pianolab.acoustics.limits import limits
from pianolab.acoustics.strings.modes import Modes
from pianolab.units import CENTS_PER_NEPER, FloatArray

HEARD_DB = 22.0
BEAT_DB = 14.0
FAR_CENTS = 4.0
"""From here on a string is one that went its own way."""
USUAL_CENTS = 0.9
"""How far apart the strings of a played unison usually are; half of them less (own choice, wide)."""
USUAL_NOTES, USUAL_RANGE_CENTS = 4.0, (0.7, 8.0)
"""What is usual anywhere counts as so many notes of this piano; together they stay in this range."""
LEAST_SD_CENTS, LEAST_VARIANCE_SD = 0.05, 0.01
STRUCK_UNEVENLY = 1.15
"""Strings struck or heard unequally show less than their variance (own calibration, third generator and wide model)."""
TOLD_APART_SHARE, PULLED_SHARE, VARIANCE_SHARE, SCATTER_SHARE = 0.5, 0.4, 0.2, 0.6
"""Parts of the variance's uncertainty: of what can't be told apart squared, of the partials' scatter about their
series squared, of the variance itself, of its scatter over the partials (own calibration, the same)."""
HIDDEN_CENTS = 8.0
"""What the modes leave unexplained of a partial may be a string so far off (own calibration, the same)."""
CHOIR_SD, ROOM_SHARE = 1.1, 0.8
MAYBE_TWO_CENTS = 0.3
"""How far apart two strings may be that are taken for one (`choirs.count_strings`): in tune they sound alike."""
FALSE_BEAT_SHARE = 0.5
FAR_SCATTERS = 3.0
"""A string is believed far off where it lies farther than `FAR_CENTS` by so many scatters of the partials."""
FAR_SD_CENTS, FAR_SD_SHARE = 0.07, 0.006
"""How far off its distance may be beside what the partials differ, and as a share of it (own calibration, the same)."""


@dataclass(frozen=True)
class Unison:
    """Per note: ``spread_cents`` and its ``spread_sd``, slowest clear ``beat_hz`` and its ``beat_partial``.

    ``room_hides`` where a long room leaves one mode in most partials: strings in tune and far apart look alike then, and
    the distance is only what is usual.
    """

    spread_cents: FloatArray
    spread_sd: FloatArray
    beat_hz: FloatArray
    beat_partial: FloatArray
    room_hides: NDArray[np.bool_]


@dataclass(frozen=True, kw_only=True)
class KnownOfNotes:
    """What is known of each note before its unison is measured, shape (notes,) each but ``unexplained``.

    ``far_cents``, ``far_sd_cents`` and ``far_proven`` of a string that seems far off (`far_strings.far_string`); how many
    ``strings`` the key is taken to have, and whether one may be two (``maybe_two``); ``scatter`` in cents, how far partials
    lie off their series (`scatter.scatter_cents`); ``heard_s``, how long the modes were listened to; ``unexplained``, shape
    (notes, partials), which share of each partial the modes leave (`choirs.unexplained_share`).
    """

    far_cents: FloatArray
    far_sd_cents: FloatArray
    far_proven: NDArray[np.bool_]
    strings: NDArray[np.int64]
    maybe_two: NDArray[np.bool_]
    scatter: FloatArray
    heard_s: FloatArray
    unexplained: FloatArray

    @property
    def believed(self) -> NDArray[np.bool_]:
        """Where a string went its own way for sure."""
        scatters = np.where(self.strings > 1, FAR_SCATTERS * self.scatter, 0.0)
        return np.asarray(self.far_proven & (self.far_cents > FAR_CENTS + scatters))


def weighted_median(values: FloatArray, weights: FloatArray) -> FloatArray:
    """Weighted median along the last axis; NaN where nothing has weight.

    Examples
    --------
    >>> weighted_median(np.array([[1.0, 2.0, 9.0]]), np.array([[1.0, 1.0, 0.1]]))
    array([1.55])
    """
    w = np.where(np.isnan(values), 0.0, weights)
    order = np.argsort(np.where(w > 0, values, np.inf), axis=-1)
    v, w = np.take_along_axis(values, order, -1), np.take_along_axis(w, order, -1)
    total = w.sum(axis=-1, keepdims=True)
    middle = (np.cumsum(w, axis=-1) - 0.5 * w) / np.where(total > 0, total, 1.0)
    out = np.full(values.shape[0], np.nan)
    for i in np.flatnonzero(total[:, 0] > 0):
        used = w[i] > 0
        out[i] = np.interp(0.5, middle[i][used], v[i][used])
    return out


def outermost_hz(modes: Modes, *, within_db: float) -> tuple[FloatArray, FloatArray, NDArray[np.int64]]:
    """Lowest and highest mode that is heard in each partial, Hz, and how many are."""
    strongest = modes.energy.max(axis=-1, keepdims=True)
    heard = (modes.energy > strongest * 10.0 ** (-within_db / 10.0)) & (modes.energy > 0)
    low = np.min(np.where(heard, np.nan_to_num(modes.f_hz), np.inf), axis=-1)
    high = np.max(np.where(heard, np.nan_to_num(modes.f_hz), -np.inf), axis=-1)
    count = heard.sum(axis=-1)
    return np.where(count > 0, low, np.nan), np.where(count > 0, high, np.nan), count


def string_variance_cents2(modes: Modes, *, centre_hz: FloatArray) -> FloatArray:
    """Variance of the uncoupled strings about their mean, cents², shape (notes, partials); may come out negative."""
    known = ~np.isnan(modes.f_hz)
    s = np.where(
        known,
        -np.nan_to_num(modes.decay_per_s) + 2j * np.pi * (np.nan_to_num(modes.f_hz) - centre_hz[..., None]),
        0.0,
    )[:, :, None, :]
    amplitude = np.where(known[:, :, None, :], modes.amplitude, 0.0)
    start = amplitude.sum(axis=-1)
    power = np.sum(np.abs(start) ** 2, axis=-1) + 1e-300
    first = np.sum(start.conj() * np.sum(amplitude * s, axis=-1), axis=-1) / power
    second = np.sum(start.conj() * np.sum(amplitude * s**2, axis=-1), axis=-1) / power
    variance = -(second - first**2).real / (2.0 * np.pi) ** 2
    return np.where(known.any(axis=-1), variance * (CENTS_PER_NEPER / centre_hz) ** 2, np.nan)


OUTERMOST_OVER_SD = {1: 0.0, 2: 2.0, 3: 2.3}
"""Distance of the outermost strings over their standard deviation; for three between 2.12 and 2.45."""


def least_apart_cents(modes: Modes, *, centre_hz: FloatArray, heard_s: FloatArray) -> FloatArray:
    """What beats over one radian while a partial is heard, cents, shape (notes, partials): less can't be told apart."""
    rate = np.maximum(1.0 / heard_s[:, None], np.nan_to_num(modes.mean_decay_per_s, nan=1.0))
    return np.asarray(CENTS_PER_NEPER * rate / (2.0 * np.pi * centre_hz))


def _quarter(values: FloatArray, used: NDArray[np.bool_]) -> FloatArray:
    """The value that a quarter of those used lie under, shape (notes,); 0 where none is used."""
    ordered = np.sort(np.where(used, values, np.inf), axis=1)
    at = np.maximum(used.sum(axis=1) - 1, 0) // 4
    return np.where(used.any(axis=1), ordered[np.arange(len(values)), at], 0.0)


def _from_variance(
    variance: FloatArray,
    weight: FloatArray,
    of_notes: KnownOfNotes,
    *,
    least_apart: FloatArray,
    prompt_hidden: bool,
) -> tuple[FloatArray, FloatArray]:
    """Distance of the outermost strings and its uncertainty, cents, from the partials' variances.

    A variance scatters to both sides of its truth, below 0 too, but a distance can't. Where the partials leave it
    open, what is known is the mean over all distances that fit, with those that are usual on this instrument
    likelier.
    """
    weight = np.where(np.isnan(variance), 0.0, weight)
    known = STRUCK_UNEVENLY * np.nan_to_num(variance)
    middle = weighted_median(np.where(np.isnan(variance), np.nan, known), weight)
    count = (weight > 0).sum(axis=1)
    effective = weight.sum(axis=1) ** 2 / np.maximum((weight**2).sum(axis=1), 1e-12)
    spread = 1.4826 * weighted_median(np.abs(known - middle[:, None]), weight)
    sd = 1.25 * spread / np.sqrt(np.maximum(effective, 1.0)) * (1.0 + 1.0 / np.maximum(count, 1) ** 2)
    sd = np.where(count == 1, np.maximum(np.abs(middle), 0.3), sd) * (2.0 if prompt_hidden else 1.0)
    apart = TOLD_APART_SHARE * _quarter(least_apart, weight > 0) ** 2
    pulled = PULLED_SHARE * of_notes.scatter**2
    hidden = HIDDEN_CENTS**2 * weighted_median(of_notes.unexplained, weight)
    sd = np.sqrt(
        (SCATTER_SHARE * sd) ** 2
        + apart**2
        + pulled**2
        + np.nan_to_num(hidden) ** 2
        + (VARIANCE_SHARE * middle) ** 2
        + LEAST_VARIANCE_SD**2
    )
    factor = np.maximum([OUTERMOST_OVER_SD[int(n)] for n in of_notes.strings], 1.0)
    far_cents = np.where(of_notes.believed, of_notes.far_cents, 0.0)
    plain = np.maximum(factor * np.sqrt(np.maximum(middle, 0.0)), far_cents)
    return _expected_distance(middle, sd, factor, usual_cents=_usual_cents(plain[of_notes.strings > 1]))


def _usual_cents(plain_cents: FloatArray) -> float:
    """How far apart strings usually are on this piano: the middle one of its keys, and of other pianos."""
    known = np.maximum(plain_cents[~np.isnan(plain_cents)], 0.1)
    own = len(known) * float(np.log(np.median(known))) if len(known) else 0.0
    mean = np.exp((own + USUAL_NOTES * np.log(USUAL_CENTS)) / (len(known) + USUAL_NOTES))
    return float(np.clip(mean, *USUAL_RANGE_CENTS))


def _expected_distance(
    middle: FloatArray, sd: FloatArray, factor: FloatArray, *, usual_cents: float
) -> tuple[FloatArray, FloatArray]:
    """Mean and standard deviation of a distance whose squared, scaled value is ``middle`` give or take ``sd``."""
    step = np.concatenate([np.arange(0.0, 3.0, 0.01), np.arange(3.0, 20.0, 0.05)])
    prior = np.gradient(step) / (1.0 + (step / usual_cents) ** 2)
    miss = ((step / factor[:, None]) ** 2 - np.nan_to_num(middle)[:, None]) / np.nan_to_num(sd, nan=1.0)[
        :, None
    ]
    chance = np.exp(-0.5 * (miss**2 - np.min(miss**2, axis=1, keepdims=True))) * prior
    chance /= chance.sum(axis=1, keepdims=True)
    mean = chance @ step
    spread = np.sqrt(np.sum(chance * (step - mean[:, None]) ** 2, axis=1))
    return np.where(np.isnan(middle), np.nan, mean), np.where(np.isnan(middle), np.nan, spread)


def _of_one_string(modes: Modes) -> FloatArray:
    """Energy of the modes that can be one string's, shape (notes, partials, modes): what lies farther than `FAR_CENTS` from
    the strongest is a string that rings along, or what a recorder adds."""
    strongest = np.argmax(modes.energy, axis=-1)[..., None]
    at_hz = np.take_along_axis(modes.f_hz, strongest, axis=-1)
    off = np.abs(np.nan_to_num(modes.f_hz / at_hz, nan=1.0) - 1.0) * CENTS_PER_NEPER
    return np.asarray(np.where(off < FAR_CENTS, modes.energy, 0.0))


def measure_unison(
    modes: Modes,
    known: KnownOfNotes,
    *,
    centre_hz: FloatArray,
    weight: FloatArray,
    prompt_hidden: bool,
) -> Unison:
    """Distance of the strings of every note.

    Parameters
    ----------
    modes : Modes, shape (notes, partials, modes)
    known : what is known of the notes from elsewhere
    centre_hz, weight : shape (notes, partials); weight 0 leaves a partial out
    prompt_hidden : whether the room rings so long that prompt modes were left out

    Returns
    -------
    Unison
    """
    single = (known.strings == 1) & ~known.believed
    own = replace(modes, energy=np.where(single[:, None, None], _of_one_string(modes), modes.energy))
    low, high, count = outermost_hz(own, within_db=HEARD_DB)
    cents = CENTS_PER_NEPER * (high - low) / centre_hz
    used = np.where(count > 0, weight, 0.0)
    apart = weighted_median(cents, used)
    apart_sd = 1.4826 * weighted_median(np.abs(cents - apart[:, None]), used)
    choir, choir_sd = _from_variance(
        string_variance_cents2(modes, centre_hz=centre_hz),
        used,
        known,
        least_apart=least_apart_cents(modes, centre_hz=centre_hz, heard_s=known.heard_s),
        prompt_hidden=prompt_hidden,
    )
    # In a long room the moments lack the prompt modes, and what lies farther apart may be the room's: midway, and open.
    raised = 0.5 * np.maximum(np.nan_to_num(apart - choir), 0.0) if prompt_hidden else 0.0
    choir = choir + raised
    # A string that some partials show far off and the others do not leaves it open by half.
    open_cents = np.where(known.believed, 0.0, 0.5 * np.maximum(known.far_cents - choir, 0.0))
    choir_sd = np.hypot(np.hypot(CHOIR_SD * choir_sd + 0.02, open_cents), ROOM_SHARE * raised)
    one_sd = np.hypot(apart_sd / np.sqrt(np.maximum((used > 0).sum(axis=1), 1)), LEAST_SD_CENTS)
    one_sd = np.hypot(one_sd, FALSE_BEAT_SHARE * apart)
    one_sd = np.hypot(one_sd, np.where(known.maybe_two, MAYBE_TWO_CENTS, 0.0))
    spread, spread_sd = np.where(single, apart, choir), np.where(single, one_sd, choir_sd)
    # Strings that are seen each by itself say their distance better than the moments of a sum do.
    went_off = ~single & known.believed
    spread = np.where(went_off, known.far_cents, spread)
    far_sd = np.hypot(known.far_sd_cents, np.hypot(FAR_SD_CENTS, FAR_SD_SHARE * known.far_cents))
    spread_sd = np.where(went_off, far_sd, spread_sd)
    spread, spread_sd = (np.where(np.isnan(apart), np.nan, v) for v in (spread, spread_sd))
    beat_hz, beat_partial = _slowest_beat(modes, weight)
    several = np.sum(used * (count > 1), axis=1) / np.maximum(used.sum(axis=1), 1e-12)
    hides = ~single & prompt_hidden & (several < limits()["unison"]["room_leaves_share"])
    return Unison(spread, spread_sd, beat_hz, beat_partial, hides)


def _slowest_beat(modes: Modes, weight: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Slowest beat that is clearly heard, Hz, and the partial that shows it, shape (notes,) each; NaN for none."""
    low, high, count = outermost_hz(modes, within_db=BEAT_DB)
    beating = np.where((count > 1) & (weight > 0), high - low, np.inf)
    slowest = np.argmin(beating, axis=1)
    found = beating[np.arange(len(beating)), slowest]
    ok = np.isfinite(found)
    return np.where(ok, found, np.nan), np.where(ok, slowest + 1.0, np.nan)
