"""From strikes to numbers: the measures of every note, all notes side by side as arrays."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from pianolab.acoustics.buzz import Between
from pianolab.acoustics.choirs import MODE_PARTIALS, analysed_s, close_modes
from pianolab.acoustics.compass import usual_inharmonicity
from pianolab.acoustics.damper import LONE_SHARE, Fall, Release, fall_after, find_releases
from pianolab.acoustics.decay import NoteDecay, late_decay, note_decay, string_decay
from pianolab.acoustics.far_strings import far_string, mean_of_far_strings_hz
from pianolab.acoustics.levels import NoteLevel, noise_spectrum, note_level
from pianolab.acoustics.lines import FIT_PARTIALS, follow_again, follow_partials, loud_power
from pianolab.acoustics.partials import PartialTracks, fit_stiff_series, series_hz
from pianolab.acoustics.reverberation import LONG_ROOM_S, believed_t60_s, judge_room, proven_t60, room_t60
from pianolab.acoustics.scatter import inharmonicity_sd, off_series_cents, pitch_sd_cents, scatter_cents
from pianolab.acoustics.spectra import Samples
from pianolab.acoustics.strikes import Strikes
from pianolab.acoustics.threads import at_once
from pianolab.acoustics.through_room import OWN_SHARE, level_sd_db, room_hides_s
from pianolab.acoustics.tilt import HEARD_DB, least_heard_power, spectral_tilt
from pianolab.acoustics.tuning import smooth_over_keys
from pianolab.acoustics.unison import Unison, measure_unison
from pianolab.acoustics.voicing import brightness_share_db
from pianolab.acoustics.whole_level import decay_levels, whole_levels
from pianolab.keyboard import usual_strings
from pianolab.units import CENTS_PER_NEPER, FloatArray, t60_to_rate

LEVEL_LONGEST_S = 30.0
LOW_PARTIALS = 12
LONE_FROM_KEY = 70
"""From here up a single partial may be all that is heard of a string."""

Progress = Callable[[str, float], None]


@dataclass
class NoteMeasures:
    """Everything measured, an entry per strike, before any judgement."""

    strikes: Strikes
    snr_db: FloatArray
    level_db: FloatArray
    share_db: FloatArray
    tilt: FloatArray
    tilt_sd: FloatArray
    between: Between
    f1_hz: FloatArray
    f1_sd_cents: FloatArray
    inharmonicity: FloatArray
    b_sd: FloatArray
    unison: Unison
    string_db_per_s: FloatArray
    release: Release
    falls: list[Fall]
    decays: list[NoteDecay]
    levels: list[NoteLevel]
    t60_s: float
    t60_reason: str
    noise_db: float
    usable_s: FloatArray = field(default_factory=lambda: np.zeros(0))
    partial_hz: FloatArray = field(default_factory=lambda: np.zeros((0, MODE_PARTIALS)))
    partial_weight: FloatArray = field(default_factory=lambda: np.zeros((0, MODE_PARTIALS)))


def _note_levels(
    channels: Samples, strikes: Strikes, tracks: PartialTracks, *, rate_hz: int, noise: FloatArray
) -> list[NoteLevel]:
    f = series_hz(tracks.f0_hz, tracks.inharmonicity, 30)

    def level(i: int) -> NoteLevel:
        return note_level(
            channels,
            onset_s=float(strikes.onset_s[i]),
            stop_s=float(min(strikes.next_s[i] - 0.012, strikes.onset_s[i] + LEVEL_LONGEST_S)),
            f_hz=f[i],
            key=int(strikes.key[i]),
            rate_hz=rate_hz,
            noise=noise,
        )

    return at_once(level, range(len(strikes.key)))


def measure_notes(channels: Samples, strikes: Strikes, *, rate_hz: int, progress: Progress) -> NoteMeasures:
    """Measure every strike.

    Parameters
    ----------
    channels : shape (channels, frames)
    strikes : one per key, keys rising
    rate_hz : Hz
    progress : called with what is being done and a share from 0 to 1

    Returns
    -------
    NoteMeasures
    """
    progress("partials", 0.35)
    noise = noise_spectrum(channels, rate_hz=rate_hz)
    tracks = follow_partials(channels, strikes, rate_hz=rate_hz)
    _mend_tracks(channels, strikes, tracks, rate_hz=rate_hz)
    between, early = loud_power(channels, strikes, tracks, noise=noise, rate_hz=rate_hz)
    progress("level of every note", 0.55)
    levels = _note_levels(channels, strikes, tracks, rate_hz=rate_hz, noise=noise)
    release = find_releases(levels, key=strikes.key, interval_s=strikes.interval_s)
    undamped = (strikes.key > (release.last_damped_key if release.last_damped_key is not None else 200)) & (
        strikes.key > 64
    )
    no_release = np.isnan(release.assumed_s)
    # Before a key that stayed silent or was left out, a note is listened to as long as any other: a silent key knocks.
    usual_s = float(np.median(strikes.interval_s))
    until_s = np.where(strikes.interval_s > LONE_SHARE * usual_s, usual_s, strikes.interval_s)
    held_s = np.where(undamped | no_release, until_s - 0.03, release.assumed_s - 0.02)
    falls = [
        fall_after(v, release_s=float(r), stop_s=float(i) - 0.02)
        if not (u or np.isnan(r))
        else Fall(np.nan, "", np.nan, "no damper on this key" if u else "no release heard")
        for v, r, i, u in zip(levels, release.assumed_s, strikes.interval_s, undamped, strict=True)
    ]
    t60 = room_t60(levels, release, strikes.key, interval_s=strikes.interval_s)
    room, ring_s = proven_t60(*t60), believed_t60_s(*t60)
    decays = [
        note_decay(v, usable_s=float(h), level_sd_db=float(sd), room_s=room_hides_s(ring_s))
        for v, h, sd in zip(
            decay_levels(whole_levels(channels, strikes, rate_hz=rate_hz), levels),
            held_s,
            level_sd_db(strikes.key, t60_s=ring_s),
            strict=True,
        )
    ]
    progress("strings of every note", 0.75)
    guard = np.full(len(strikes.key), OWN_SHARE * t60_to_rate(t60[0]) if t60[0] > 0.12 else np.inf)
    return _with_pitch(
        channels, strikes, tracks, held_s=held_s, guard=guard, rate_hz=rate_hz, between=between, early=early, levels=levels,
        release=release, falls=falls, decays=decays, t60=t60, room=room, noise=noise,
    )  # fmt: skip


def _b_prior(strikes: Strikes, b: FloatArray, b_sd: FloatArray) -> FloatArray:
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


def _mend_tracks(channels: Samples, strikes: Strikes, tracks: PartialTracks, *, rate_hz: int) -> None:
    """Follow those notes again whose B is far from their neighbours' or whose partials lie on no series."""
    usual = usual_inharmonicity(strikes.key)
    weight = np.clip(tracks.over_noise_db[:, :FIT_PARTIALS] / 20.0, 0.0, 1.0)
    fit = fit_stiff_series(tracks.f_hz[:, :FIT_PARTIALS], weight, prior_b=usual)
    prior = _b_prior(strikes, fit.inharmonicity, fit.b_sd)
    odd = np.abs(np.log(fit.inharmonicity / prior)) > 0.35
    doubtful = (strikes.key < 65) & (odd | (fit.residual_cents > 4.0))
    follow_again(channels, strikes, tracks, b=prior, usual_b=usual, doubtful=doubtful, rate_hz=rate_hz)


def _with_pitch(
    channels: Samples,
    strikes: Strikes,
    tracks: PartialTracks,
    *,
    held_s: FloatArray,
    guard: FloatArray,
    rate_hz: int,
    between: Between,
    early: FloatArray,
    levels: list[NoteLevel],
    release: Release,
    falls: list[Fall],
    decays: list[NoteDecay],
    t60: tuple[float, str],
    room: tuple[float, str],
    noise: FloatArray,
) -> NoteMeasures:
    over = tracks.over_noise_db[:, :FIT_PARTIALS]
    weight = np.clip(over / 20.0, 0.0, 1.0)
    rough = fit_stiff_series(tracks.f_hz[:, :FIT_PARTIALS], weight, prior_b=usual_inharmonicity(strikes.key))
    prior = _b_prior(strikes, rough.inharmonicity, rough.b_sd)
    rough = fit_stiff_series(tracks.f_hz[:, :FIT_PARTIALS], weight, prior_b=prior, prior_share=0.1)
    centre = series_hz(rough.f0_hz, rough.inharmonicity, MODE_PARTIALS)
    centre = np.where(np.isnan(tracks.f_hz[:, :MODE_PARTIALS]), np.nan, centre)
    centroid, energy, modes = close_modes(channels, strikes, centre, held_s, guard, rate_hz=rate_hz)
    strings = np.array([usual_strings(int(k)) for k in strikes.key])
    known_hz = np.where(np.isnan(centre), 1.0, centre)
    heard_weight = np.where(over[:, :MODE_PARTIALS] > 15.0, 1.0, 0.0)
    prompt_hidden = t60[0] > LONG_ROOM_S
    far = far_string(
        modes,
        centre_hz=known_hz,
        weight=heard_weight,
        key=strikes.key,
        least_partials=3 if prompt_hidden else 2,
    )
    apart_hz = mean_of_far_strings_hz(
        modes, centre_hz=known_hz, weight=heard_weight, far_cents=far.proven_cents, strings=strings
    )
    found = (energy > 0) & ~np.isnan(centroid)
    mode_weight = np.where(found, np.clip(over[:, :MODE_PARTIALS] / 25.0, 0.0, 1.0), 0.0)
    near = np.abs(centroid / np.where(np.isnan(centre), np.inf, centre) - 1.0) < 0.02
    mode_weight = np.where(near, mode_weight, 0.0)
    # In the treble few partials speak for a string choir that the bridge bends: the strong ones count more.
    strongest = np.max(np.where(mode_weight > 0, energy, 0.0), axis=1, keepdims=True)
    strong = np.clip(energy / np.maximum(strongest, 1e-300), 1e-6, 1.0) ** 0.12
    mode_weight *= np.where(strikes.key[:, None] > 52, strong, 1.0)
    # Partials above the twelfth keep their peaks: they steady B in the bass.
    pitch = np.where(np.isnan(tracks.f_hz[:, :FIT_PARTIALS]), np.nan, tracks.f_hz[:, :FIT_PARTIALS])
    all_weight = mode_weight
    # At the top two or three partials can't say which string is the odd one: the centroid stands.
    split = ((strings > 1) & (strikes.key < 76) & ((~np.isnan(apart_hz)).sum(axis=1) >= 2))[:, None]
    mode_weight = np.where(split & np.isnan(apart_hz), 0.0, mode_weight)
    pitch[:, :MODE_PARTIALS] = np.where(mode_weight > 0, np.where(split, apart_hz, centroid), np.nan)
    fit_weight = np.where(split, 0.0, 0.15 * weight)
    fit_weight[:, :MODE_PARTIALS] = mode_weight
    none = mode_weight.sum(axis=1) == 0
    pitch[none], fit_weight[none] = tracks.f_hz[none, :FIT_PARTIALS], weight[none]
    fit = fit_stiff_series(pitch, fit_weight, prior_b=prior, prior_share=0.03)
    # Wound strings bend away from the series high up: the first partial leans on the lowest twelve.
    low = fit_stiff_series(
        pitch[:, :LOW_PARTIALS], fit_weight[:, :LOW_PARTIALS], prior_b=fit.inharmonicity, prior_share=1e-3
    )
    apart = np.abs(CENTS_PER_NEPER * np.log(low.f0_hz / fit.f0_hz))
    few = (low.used < 4) | (apart > 5.0)
    f1 = np.where(few, fit.f0_hz, low.f0_hz) * np.sqrt(
        1.0 + np.where(few, fit.inharmonicity, low.inharmonicity)
    )
    top = (strikes.key >= 76) & (fit_weight[:, 0] > 0)
    f1 = np.where(top, pitch[:, 0], f1)
    # What only the room keeps ringing says nothing of the strings' distance.
    slow_share = modes.energy.sum(axis=-1) / np.maximum(energy, 1e-300)
    slow_weight = np.where(over[:, :MODE_PARTIALS] > 15.0, all_weight * slow_share, 0.0)
    scatter = scatter_cents(
        off_series_cents(pitch, fit)[:, :LOW_PARTIALS], fit_weight[:, :LOW_PARTIALS], strikes.key
    )
    begin_s, end_s = analysed_s(strikes.key, held_s)
    unison = measure_unison(
        modes,
        centre_hz=known_hz,
        weight=slow_weight,
        far_cents=far.cents,
        far_proven=far.proven,
        strings=strings,
        key=strikes.key,
        scatter=scatter,
        heard_s=np.maximum(end_s - begin_s, 0.05),
        prompt_hidden=prompt_hidden,
    )
    led = np.where(
        top[:, None],
        np.arange(FIT_PARTIALS) == 0,
        np.where(few[:, None], True, np.arange(FIT_PARTIALS) < LOW_PARTIALS),
    )
    f1_sd = pitch_sd_cents(scatter, fit_weight * led, b=fit.inharmonicity, spread_cents=unison.spread_cents)
    b_sd = inharmonicity_sd(
        scatter_cents(off_series_cents(pitch, fit), fit_weight, strikes.key),
        fit_weight,
        fit.inharmonicity,
        low_b=np.where(few, fit.inharmonicity, low.inharmonicity),
        line_b=prior,
        used=fit.used,
    )
    # One line alone could be anybody's where a string gives many.
    seen = (fit.used > 1) | ((fit.used == 1) & (strikes.key >= LONE_FROM_KEY))
    series = series_hz(fit.f0_hz, fit.inharmonicity, tracks.f_hz.shape[1])
    places = np.where(np.isnan(tracks.f_hz), series, tracks.f_hz)
    clear = np.where(tracks.over_noise_db > HEARD_DB, early, 0.0)
    at_most = least_heard_power(early, tracks.over_noise_db, places)
    share = brightness_share_db(early, key=strikes.key)
    colour = spectral_tilt(clear, places, key=strikes.key, t60_s=t60[0], at_most=at_most)
    t60_s, t60_reason = room
    peak = np.array(
        [10.0 * np.log10(max(float(v.power.max()), 1e-20)) if len(v.power) else np.nan for v in levels]
    )
    noise_power = np.array([v.noise for v in levels])
    loud = np.array([float(v.power.max()) if len(v.power) else np.nan for v in levels])
    total_noise = float(noise.sum())
    return NoteMeasures(
        strikes=strikes,
        snr_db=10.0 * np.log10(np.maximum(loud, 1e-20) / np.maximum(noise_power, 1e-18)),
        level_db=peak,
        share_db=share,
        tilt=colour.tilt,
        tilt_sd=colour.tilt_sd,
        between=between,
        f1_hz=np.where(seen, f1, np.nan),
        f1_sd_cents=np.where(seen, f1_sd, np.nan),
        inharmonicity=np.where(seen, fit.inharmonicity, np.nan),
        b_sd=np.where(seen, b_sd, np.nan),
        unison=unison,
        string_db_per_s=string_decay(modes, weight=all_weight),
        release=release,
        falls=[judge_room(f, t60_s=t60_s) for f in falls],
        decays=late_decay(modes, decays, levels, weight=all_weight, held_s=held_s),
        levels=levels,
        t60_s=t60_s,
        t60_reason=t60_reason,
        noise_db=float(10.0 * np.log10(max(total_noise, 1e-20) / max(float(np.nanmedian(loud)), 1e-20))),
        usable_s=held_s,
        partial_hz=centroid,
        partial_weight=slow_weight,
    )
