"""What the strings of every note say: their pitch, their stiffness, how far they are apart, and how sure that is.

Partials are followed first, then the separate strings in each are found; one stiff-string series is fitted to the
mean of the strings in each partial, so that neither the loudest string nor a slipped one stands for the key.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pianolab.acoustics.envelope.reverberation import LONG_ROOM_S
from pianolab.acoustics.judging.tuning import smooth_over_keys
from pianolab.acoustics.keys.compass import usual_inharmonicity
from pianolab.acoustics.keys.strikes import Strikes
from pianolab.acoustics.limits import limits
from pianolab.acoustics.spectra import Samples
from pianolab.acoustics.strings.choirs import (
    MODE_PARTIALS,
    StringCount,
    analysed_s,
    close_modes,
    count_strings,
    unexplained_share,
)
from pianolab.acoustics.strings.far_strings import FarString, MeanOfStrings, far_string, mean_of_far_strings
from pianolab.acoustics.strings.lines import FIT_PARTIALS, follow_again
from pianolab.acoustics.strings.modes import Modes
from pianolab.acoustics.strings.partials import (
    PartialTracks,
    StiffFit,
    cauchy_weight,
    fit_stiff_series,
    series_hz,
)
from pianolab.acoustics.strings.scatter import (
    bent_series,
    inharmonicity_sd,
    off_line_b,
    off_series_cents,
    pitch_sd_cents,
    scatter_cents,
)
from pianolab.acoustics.strings.unison import HEARD_DB, KnownOfNotes, Unison, measure_unison, outermost_hz
from pianolab.units import CENTS_PER_NEPER, FloatArray, t60_to_rate

LOW_PARTIALS = 12
LONE_FROM_KEY = 70
"""From here up a single partial may be all that is heard of a string."""
CHOIR_DB, FULL_WEIGHT_DB = 15.0, 25.0
"""Level over the noise from which a partial speaks for the strings in it, and from which it counts in full."""
NEAR_SHARE = 0.02
"""A centre of strings that lies farther from the series than this belongs to something else."""
BENT_FROM_KEY, BENT_POWER = 53, 0.12
"""In the treble few partials speak for a string choir that the bridge bends: the strong ones count more."""
TOP_KEY = 76
"""At the top two or three partials can't say which string is the odd one, and the first is the pitch."""
PEAK_SHARE = 0.15
"""Weight of a peak beside that of a partial whose strings are known: above the twelfth peaks steady B in the bass."""
ROOM_HEARD_S = 0.12
"""From here up what the room keeps ringing is kept out of the strings' modes."""
OWN_SHARE = 0.6
"""Modes that die faster than this share of the room's rate may be the room's."""


@dataclass(frozen=True)
class StringPitch:
    """What was heard of the strings, an entry per strike; NaN where too little was."""

    f1_hz: FloatArray
    f1_sd_cents: FloatArray
    inharmonicity: FloatArray
    b_sd: FloatArray
    unison: Unison
    modes: Modes
    series_hz: FloatArray
    partial_hz: FloatArray
    partial_weight: FloatArray
    """Weight of each partial as to the strings' distance: what only the room keeps ringing says nothing of it."""
    mode_weight: FloatArray


@dataclass(frozen=True)
class _Choirs:
    """The strings in each partial: shapes (notes, MODE_PARTIALS) beside their modes."""

    modes: Modes
    centre_hz: FloatArray
    far: FarString
    apart: MeanOfStrings
    count: StringCount
    weight: FloatArray
    over_db: FloatArray


@dataclass(frozen=True)
class _Fitted:
    """Stiff series through the strings' means: over all partials, over the lowest, and the first partial from them."""

    pitch: FloatArray
    weight: FloatArray
    whole: StiffFit
    low: StiffFit
    f1_hz: FloatArray
    few: NDArray[np.bool_]
    top: NDArray[np.bool_]
    strings: NDArray[np.int64]
    open_share: FloatArray
    """Of the strings' distance, where they were told apart; NaN elsewhere (`far_strings.MeanOfStrings`)."""


def b_prior(strikes: Strikes, b: FloatArray, b_sd: FloatArray) -> FloatArray:
    """A smooth curve of this instrument's own B over the keys, for the keys that show too few partials."""
    key = strikes.key
    span = np.arange(key.min(), key.max() + 1)
    log_ratio = np.full(len(span), np.nan)
    weight = np.zeros(len(span))
    good = (b_sd / b < 0.2) & (b > 0)
    log_ratio[key[good] - key.min()] = np.log(b[good] / usual_inharmonicity(key[good]))
    weight[key[good] - key.min()] = 1.0
    curve = smooth_over_keys(log_ratio, weights=weight, stiffness=600.0)
    curve = np.nan_to_num(curve)
    return np.asarray(usual_inharmonicity(key) * np.exp(np.clip(curve[key - key.min()], -1.5, 1.5)))


def mend_tracks(channels: Samples, strikes: Strikes, tracks: PartialTracks, *, rate_hz: int) -> None:
    """Follow those notes again whose B is far from their neighbours' or whose partials lie on no series."""
    usual = usual_inharmonicity(strikes.key)
    weight = np.clip(tracks.over_noise_db[:, :FIT_PARTIALS] / 20.0, 0.0, 1.0)
    fit = fit_stiff_series(tracks.f_hz[:, :FIT_PARTIALS], weight, prior_b=usual)
    prior = b_prior(strikes, fit.inharmonicity, fit.b_sd)
    odd = np.abs(np.log(fit.inharmonicity / prior)) > 0.35
    doubtful = (strikes.key < 65) & (odd | (fit.residual_cents > 4.0))
    follow_again(channels, strikes, tracks, b=prior, usual_b=usual, doubtful=doubtful, rate_hz=rate_hz)


def string_pitch(
    channels: Samples,
    strikes: Strikes,
    tracks: PartialTracks,
    *,
    held_s: FloatArray,
    t60_s: float,
    rate_hz: int,
) -> StringPitch:
    """Pitch, stiffness and unison of every note.

    Parameters
    ----------
    channels : shape (channels, frames)
    strikes : one per key, keys rising
    tracks : their partials
    held_s : shape (notes,); how long each may be listened to
    t60_s : reverberation time as far as the recording tells it; 0 where it tells none
    rate_hz : Hz
    """
    weight = np.clip(tracks.over_noise_db[:, :FIT_PARTIALS] / 20.0, 0.0, 1.0)
    line_b, centre = _rough_series(strikes, tracks, weight)
    choirs = _choirs(channels, strikes, tracks, centre, held_s=held_s, t60_s=t60_s, rate_hz=rate_hz)
    fitted = _fit(strikes, tracks, choirs, weight, line_b)
    slow_share = choirs.modes.energy.sum(axis=-1) / np.maximum(choirs.modes.centroid_energy, 1e-300)
    slow_weight = np.where(choirs.over_db > CHOIR_DB, choirs.weight * slow_share, 0.0)
    off, low = off_series_cents(fitted.pitch, fitted.whole)[:, :LOW_PARTIALS], fitted.weight[:, :LOW_PARTIALS]
    scatter = scatter_cents(off, low, strikes.key)
    # What a unison takes off for it was calibrated on the middle of all partials.
    known = _known(strikes, choirs, held_s=held_s, scatter=scatter_cents(off, low, strikes.key, passed=0))
    unison = measure_unison(
        choirs.modes,
        known,
        centre_hz=choirs.centre_hz,
        weight=slow_weight,
        prompt_hidden=t60_s > LONG_ROOM_S,
    )
    f1_sd, b_sd = _uncertainty(strikes, fitted, scatter, unison, line_b=line_b)
    seen = _seen(fitted, strikes)
    return StringPitch(
        f1_hz=np.where(seen, fitted.f1_hz, np.nan),
        f1_sd_cents=np.where(seen, f1_sd, np.nan),
        inharmonicity=np.where(seen, fitted.whole.inharmonicity, np.nan),
        b_sd=np.where(seen, b_sd, np.nan),
        unison=unison,
        modes=choirs.modes,
        series_hz=series_hz(fitted.whole.f0_hz, fitted.whole.inharmonicity, tracks.f_hz.shape[1]),
        partial_hz=choirs.modes.centroid_hz,
        partial_weight=slow_weight,
        mode_weight=choirs.weight,
    )


def _known(strikes: Strikes, choirs: _Choirs, *, held_s: FloatArray, scatter: FloatArray) -> KnownOfNotes:
    begin_s, end_s = analysed_s(strikes.key, held_s)
    heard_s = np.maximum(end_s - begin_s, 0.05)
    return KnownOfNotes(
        far_cents=choirs.far.cents,
        far_sd_cents=choirs.far.sd_cents,
        far_proven=choirs.far.proven,
        strings=choirs.count.strings,
        maybe_two=choirs.count.open,
        scatter=scatter,
        heard_s=heard_s,
        unexplained=unexplained_share(choirs.modes, choirs.over_db, key=strikes.key, heard_s=heard_s),
    )


def _seen(fitted: _Fitted, strikes: Strikes) -> NDArray[np.bool_]:
    """Notes of which a pitch is known: one line alone could be anybody's where a string gives many."""
    used = fitted.whole.used
    return np.asarray((used > 1) | ((used == 1) & (strikes.key >= LONE_FROM_KEY)))


def _rough_series(
    strikes: Strikes, tracks: PartialTracks, weight: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """The instrument's own line of B, and where the partials' strings are looked for (NaN where no partial is)."""
    peaks = tracks.f_hz[:, :FIT_PARTIALS]
    rough = fit_stiff_series(peaks, weight, prior_b=usual_inharmonicity(strikes.key))
    line_b = b_prior(strikes, rough.inharmonicity, rough.b_sd)
    rough = fit_stiff_series(peaks, weight, prior_b=line_b, prior_share=0.1)
    centre = series_hz(rough.f0_hz, rough.inharmonicity, MODE_PARTIALS)
    return line_b, np.where(np.isnan(tracks.f_hz[:, :MODE_PARTIALS]), np.nan, centre)


def _choirs(
    channels: Samples,
    strikes: Strikes,
    tracks: PartialTracks,
    centre: FloatArray,
    *,
    held_s: FloatArray,
    t60_s: float,
    rate_hz: int,
) -> _Choirs:
    over = tracks.over_noise_db[:, :MODE_PARTIALS]
    guard = np.full(len(strikes.key), OWN_SHARE * t60_to_rate(t60_s) if t60_s > ROOM_HEARD_S else np.inf)
    modes = close_modes(channels, strikes, centre, held_s, guard, rate_hz=rate_hz)
    centroid, energy = modes.centroid_hz, modes.centroid_energy
    known_hz = np.where(np.isnan(centre), 1.0, centre)
    heard = np.where(over > CHOIR_DB, 1.0, 0.0)
    shown = outermost_hz(modes, within_db=HEARD_DB)[2]
    sounding, split = heard * (shown > 0), heard * (shown > 1)
    count = count_strings(strikes.key, split.sum(axis=1) / np.maximum(sounding.sum(axis=1), 1.0))
    least = 3 if t60_s > LONG_ROOM_S else 2
    far = far_string(modes, centre_hz=known_hz, weight=heard, key=strikes.key, least_partials=least)
    apart = mean_of_far_strings(
        modes, centre_hz=known_hz, weight=heard, far_cents=far.proven_cents, strings=count.strings
    )
    found = (energy > 0) & ~np.isnan(centroid)
    weight = np.where(found, np.clip(over / FULL_WEIGHT_DB, 0.0, 1.0), 0.0)
    near = np.abs(centroid / np.where(np.isnan(centre), np.inf, centre) - 1.0) < NEAR_SHARE
    weight = np.where(near, weight, 0.0)
    strongest = np.max(np.where(weight > 0, energy, 0.0), axis=1, keepdims=True)
    strong = np.clip(energy / np.maximum(strongest, 1e-300), 1e-6, 1.0) ** BENT_POWER
    weight *= np.where(strikes.key[:, None] >= BENT_FROM_KEY, strong, 1.0)
    return _Choirs(
        modes=modes,
        centre_hz=known_hz,
        far=far,
        apart=apart,
        count=count,
        weight=weight,
        over_db=over,
    )


def _fit(
    strikes: Strikes, tracks: PartialTracks, choirs: _Choirs, peak_weight: FloatArray, line_b: FloatArray
) -> _Fitted:
    peaks = tracks.f_hz[:, :FIT_PARTIALS]
    pitch = peaks.copy()
    apart_hz = choirs.apart.hz
    told_apart = (~np.isnan(apart_hz)).sum(axis=1) >= 2
    split = ((choirs.count.strings > 1) & (strikes.key < TOP_KEY) & told_apart)[:, None]
    mode_weight = np.where(split & np.isnan(apart_hz), 0.0, choirs.weight)
    mean_hz = np.where(split, apart_hz, choirs.modes.centroid_hz)
    pitch[:, :MODE_PARTIALS] = np.where(mode_weight > 0, mean_hz, np.nan)
    weight = np.where(split, 0.0, PEAK_SHARE * peak_weight)
    weight[:, :MODE_PARTIALS] = mode_weight
    none = mode_weight.sum(axis=1) == 0
    pitch[none], weight[none] = peaks[none], peak_weight[none]
    whole = fit_stiff_series(pitch, weight, prior_b=line_b, prior_share=0.03)
    # Wound strings bend away from the series high up: the first partial leans on the lowest twelve.
    low = fit_stiff_series(
        pitch[:, :LOW_PARTIALS], weight[:, :LOW_PARTIALS], prior_b=whole.inharmonicity, prior_share=1e-3
    )
    few = (low.used < 4) | (np.abs(CENTS_PER_NEPER * np.log(low.f0_hz / whole.f0_hz)) > 5.0)
    first = np.where(few, whole.f0_hz, low.f0_hz)
    f1_hz = first * np.sqrt(1.0 + np.where(few, whole.inharmonicity, low.inharmonicity))
    top = (strikes.key >= TOP_KEY) & (weight[:, 0] > 0)
    return _Fitted(
        pitch=pitch,
        weight=weight,
        whole=whole,
        low=low,
        f1_hz=np.where(top, pitch[:, 0], f1_hz),
        few=few,
        top=top,
        strings=choirs.count.strings,
        open_share=np.where(split[:, 0], choirs.apart.open_share, np.nan),
    )


def _uncertainty(
    strikes: Strikes, fitted: _Fitted, scatter: FloatArray, unison: Unison, *, line_b: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Standard deviations of the first partial (cents) and of B."""
    partial = np.arange(FIT_PARTIALS)
    led_by = np.where(fitted.few[:, None], True, partial < LOW_PARTIALS)
    led_by = np.where(fitted.top[:, None], partial == 0, led_by)
    whole, few, spread = fitted.whole, fitted.few, unison.spread_cents
    off = off_series_cents(fitted.pitch, whole)
    off_low = np.where(few[:, None], off, off_series_cents(fitted.pitch, fitted.low))
    low, heard = fitted.weight[:, :LOW_PARTIALS], (fitted.weight[:, :LOW_PARTIALS] > 0).astype(float)
    # Weak partials scatter more: one that stands alone, the first and strongest of few, as one of full weight does.
    full = scatter_cents(off[:, :LOW_PARTIALS] * np.sqrt(low), heard, strikes.key)
    f1_sd = pitch_sd_cents(
        off_low,
        fitted.weight * led_by,
        scatter=np.where(fitted.top, full, scatter),
        b=whole.inharmonicity,
        spread_cents=spread,
        open_share=fitted.open_share,
    )
    b_scatter, bend = bent_series(off, fitted.weight, strikes.key)
    unknown = limits()["scatter"]["unknown_spread_cents"]
    b_sd = inharmonicity_sd(
        off,
        fitted.weight * cauchy_weight(off, whole.residual_cents),
        whole.inharmonicity,
        scatter=b_scatter,
        low_b=np.where(few, whole.inharmonicity, fitted.low.inharmonicity),
        bend=bend,
        strings_cents=np.where(fitted.strings > 1, np.nan_to_num(spread, nan=unknown), 0.0),
        off_line=off_line_b(whole.inharmonicity, line_b, whole.used),
    )
    return f1_sd, b_sd
