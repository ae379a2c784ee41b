"""From strikes to numbers: the measures of every note, all notes side by side as arrays."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pianolab.acoustics.buzz import between_partials_db
from pianolab.acoustics.compass import usual_inharmonicity
from pianolab.acoustics.damper import Fall, Release, fall_after, find_releases, judge_room, room_t60
from pianolab.acoustics.decay import NoteDecay, note_decay, string_decay
from pianolab.acoustics.keypath import standing_out_db
from pianolab.acoustics.levels import NoteLevel, frame_size, noise_spectrum, note_level
from pianolab.acoustics.modes import Modes, band_signals, energy_centroid_hz, find_modes
from pianolab.acoustics.partials import PartialTracks, StiffFit, fit_stiff_series, series_hz, track_partials
from pianolab.acoustics.spectra import Samples, fast_size, line_spectra, note_spectra
from pianolab.acoustics.tuning import smooth_over_keys
from pianolab.acoustics.unison import Unison, measure_unison
from pianolab.acoustics.voicing import brightness_share_db, spectral_tilt
from pianolab.keyboard import usual_strings
from pianolab.units import CENTS_PER_NEPER, FloatArray, key_to_hz

LONGEST_S = 6.0
LEVEL_LONGEST_S = 30.0
LEAD_S = 0.1
MODE_PARTIALS = 12
FIT_PARTIALS = 24
LOW_PARTIALS = 12
MODE_START_S = 0.3

Progress = Callable[[str, float], None]


@dataclass(frozen=True)
class Strikes:
    """The strikes that are measured, one per key: ``onset_s``, ``next_s`` (when something else begins)."""

    key: NDArray[np.int64]
    onset_s: FloatArray
    next_s: FloatArray
    f1_hz: FloatArray
    b_factor: FloatArray

    @property
    def interval_s(self) -> FloatArray:
        return self.next_s - self.onset_s

    def pick(self, rows: NDArray[np.int64]) -> Strikes:
        return Strikes(
            self.key[rows], self.onset_s[rows], self.next_s[rows], self.f1_hz[rows], self.b_factor[rows]
        )


@dataclass
class NoteMeasures:
    """Everything measured, an entry per strike, before any judgement."""

    strikes: Strikes
    snr_db: FloatArray
    level_db: FloatArray
    share_db: FloatArray
    tilt: FloatArray
    tilt_sd: FloatArray
    between_db: FloatArray
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


def _batches(strikes: Strikes, *, most: int = 24) -> Iterator[NDArray[np.int64]]:
    """Rows of neighbouring keys with about the same length, few enough to keep memory small."""
    length = np.minimum(strikes.interval_s, LONGEST_S)
    octave = np.ceil(np.log2(np.maximum(length, 0.25)) * 2).astype(int)
    order = np.lexsort((strikes.key, octave))
    start = 0
    for i in range(1, len(order) + 1):
        full = i - start >= most
        if i == len(order) or full or octave[order[i]] != octave[order[start]]:
            yield order[start:i]
            start = i


def _loud_lines(
    channels: Samples, strikes: Strikes, *, noise: FloatArray, rate_hz: int
) -> tuple[PartialTracks, FloatArray, FloatArray]:
    """Peaks of all partials, and energy between the partials re the tone."""
    count = len(strikes.key)
    shape = (count, 40)
    f_hz, over_db, strength = (np.full(shape, np.nan) for _ in range(3))
    tracks = PartialTracks(f_hz, over_db, strength, np.full(count, np.nan), np.full(count, np.nan))
    between, early = np.full(count, np.nan), np.zeros(shape)
    frames = channels.shape[1]
    for rows in _batches(strikes):
        part = strikes.pick(rows)
        length_s = np.minimum(part.interval_s - 0.08, 3.0)
        size = fast_size(round(max(1.5, 1.25 * float(length_s.max())) * rate_hz))
        starts = ((part.onset_s + 0.05) * rate_hz).astype(np.int64)
        lengths = np.clip((length_s * rate_hz).astype(np.int64), 8, frames - starts)
        power = line_spectra(channels, starts=starts, lengths=lengths, size=size)
        over = standing_out_db(power, rate_hz=rate_hz, size=size)
        own = track_partials(
            power, over, key=part.key, f1_hz=part.f1_hz, b_factor=part.b_factor, rate_hz=rate_hz, size=size
        )
        for name in ("f_hz", "over_noise_db", "power", "f0_hz", "inharmonicity"):
            getattr(tracks, name)[rows] = getattr(own, name)
        early[rows] = _early_power(channels, part, own.f_hz, rate_hz=rate_hz)
        series = series_hz(own.f0_hz, own.inharmonicity, 200)
        between[rows] = _between(channels, part, series, noise=noise, rate_hz=rate_hz)
    return tracks, between, early


def _between(
    channels: Samples, strikes: Strikes, series: FloatArray, *, noise: FloatArray, rate_hz: int
) -> FloatArray:
    """Energy between the partials from 0.15 s to 0.65 s after the blow: the knock is over, the note is loud."""
    size = fast_size(round(0.6 * rate_hz))
    starts = ((strikes.onset_s + 0.15) * rate_hz).astype(np.int64)
    length_s = np.clip(strikes.interval_s - 0.25, 0.1, 0.5)
    lengths = np.clip((length_s * rate_hz).astype(np.int64), 8, np.maximum(channels.shape[1] - starts, 8))
    starts = np.minimum(starts, channels.shape[1] - lengths)
    power = line_spectra(channels, starts=starts, lengths=lengths, size=size)
    frame, _ = frame_size(rate_hz)
    bins = np.arange(power.shape[1]) * frame / size
    # A longer window gathers less noise per bin, in proportion, where a sine counts the same.
    own_noise = np.interp(bins, np.arange(len(noise)), noise) * frame / np.median(lengths)
    return between_partials_db(power, f_hz=series, noise_power=own_noise, rate_hz=rate_hz, size=size)


def _early_power(channels: Samples, strikes: Strikes, f_hz: FloatArray, *, rate_hz: int) -> FloatArray:
    """Power of the heard partials over the first 0.4 s, before their different decays change the colour."""
    size = fast_size(round(0.5 * rate_hz))
    starts = ((strikes.onset_s + 0.01) * rate_hz).astype(np.int64)
    lengths = np.clip((0.4 * rate_hz * np.ones(len(starts))).astype(np.int64), 8, channels.shape[1] - starts)
    power = line_spectra(channels, starts=starts, lengths=lengths, size=size)
    middle = np.round(np.nan_to_num(f_hz) * size / rate_hz).astype(np.int64)
    near = np.clip(middle[:, :, None] + np.arange(-2, 3), 0, power.shape[1] - 1)
    peak = power[np.arange(len(power))[:, None, None], near].max(axis=2)
    return np.where(np.isnan(f_hz), 0.0, peak)


def half_width_hz(key: ArrayLike) -> FloatArray:
    """Half of the band around each partial: 9 Hz in the bass, wider where strings lie further apart in Hz."""
    return np.asarray(np.clip(0.07 * key_to_hz(key), 9.0, 250.0))


def _close_modes(
    channels: Samples,
    strikes: Strikes,
    series: FloatArray,
    held_s: FloatArray,
    guard: FloatArray,
    *,
    rate_hz: int,
) -> tuple[FloatArray, FloatArray, Modes]:
    """Energy centroid, total energy and modes of the partials, all notes; NaN where too short."""
    count, channel_count = len(strikes.key), channels.shape[0]
    shape = (count, MODE_PARTIALS)
    centroid, energy = np.full(shape, np.nan), np.zeros(shape)
    all_modes = Modes(
        np.full((*shape, 4), np.nan),
        np.full((*shape, 4), np.nan),
        np.zeros((*shape, channel_count, 4), dtype=complex),
        np.zeros((*shape, 4)),
        np.full(shape, np.nan),
        np.full(shape, np.nan),
    )
    frames = channels.shape[1]
    register = np.searchsorted(np.array([29, 41, 53, 65, 77]), strikes.key, side="right")
    for rows in _batches(strikes):
        for band in np.unique(register[rows]):
            own = rows[register[rows] == band]
            part, width = strikes.pick(own), float(half_width_hz(np.median(strikes.key[own])))
            stop_s = float(np.min(np.minimum(held_s[own], LONGEST_S)))
            longest = 3.0 if band < 3 else 1.6 if band < 5 else 1.0
            stop_s = min(stop_s, longest)
            start_s = min(MODE_START_S if band < 5 else 0.12, 0.3 * stop_s)
            if (stop_s - start_s) * 2 * width < 14:
                continue
            starts = np.maximum(((part.onset_s - LEAD_S) * rate_hz).astype(np.int64), 0)
            lead = part.onset_s - starts / rate_hz
            lengths = np.minimum(
                ((stop_s + LEAD_S) * rate_hz * np.ones(len(own))).astype(np.int64), frames - starts
            )
            size = fast_size(int((stop_s + LEAD_S + 0.25) * rate_hz))
            spectra = note_spectra(channels, starts=starts, lengths=lengths, size=size)
            bands = band_signals(
                spectra, centre_hz=series[own], half_width_hz=width, rate_hz=rate_hz, size=size
            )
            modes = find_modes(
                bands,
                start_s=float(np.median(lead)) + start_s,
                stop_s=float(np.median(lead)) + stop_s - 0.03,
                blow_s=float(np.median(lead)),
                room_guard_per_s=guard[own],
            )
            centroid[own] = energy_centroid_hz(modes)
            energy[own] = modes.energy.sum(axis=-1)
            for name in ("f_hz", "decay_per_s", "amplitude", "energy", "mean_decay_per_s", "fit_db"):
                getattr(all_modes, name)[own] = getattr(modes, name)
    return centroid, energy, all_modes


def _note_levels(
    channels: Samples, strikes: Strikes, tracks: PartialTracks, *, rate_hz: int, noise: FloatArray
) -> list[NoteLevel]:
    f = series_hz(tracks.f0_hz, tracks.inharmonicity, 30)
    return [
        note_level(
            channels,
            onset_s=float(strikes.onset_s[i]),
            stop_s=float(min(strikes.next_s[i] - 0.012, strikes.onset_s[i] + LEVEL_LONGEST_S)),
            f_hz=f[i],
            key=int(strikes.key[i]),
            rate_hz=rate_hz,
            noise=noise,
        )
        for i in range(len(strikes.key))
    ]


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
    tracks, between, early = _loud_lines(channels, strikes, noise=noise, rate_hz=rate_hz)
    progress("level of every note", 0.55)
    levels = _note_levels(channels, strikes, tracks, rate_hz=rate_hz, noise=noise)
    release = find_releases(levels, key=strikes.key, interval_s=strikes.interval_s)
    undamped = (strikes.key > (release.last_damped_key if release.last_damped_key is not None else 200)) & (
        strikes.key > 64
    )
    no_release = np.isnan(release.assumed_s)
    held_s = np.where(undamped | no_release, strikes.interval_s - 0.03, release.assumed_s - 0.02)
    falls = [
        fall_after(v, release_s=float(r), stop_s=float(i) - 0.02)
        if not (u or np.isnan(r))
        else Fall(np.nan, "", np.nan, "no damper on this key" if u else "no release heard")
        for v, r, i, u in zip(levels, release.assumed_s, strikes.interval_s, undamped, strict=True)
    ]
    t60_s, t60_reason = room_t60(falls, strikes.key)
    falls = [judge_room(f, t60_s=t60_s) for f in falls]
    decays = [note_decay(v, usable_s=float(h)) for v, h in zip(levels, held_s, strict=True)]
    progress("strings of every note", 0.75)
    guard = np.full(len(strikes.key), 0.6 * 6.9078 / t60_s if t60_s > 0.12 else np.inf)
    return _with_pitch(
        channels, strikes, tracks, held_s=held_s, guard=guard, rate_hz=rate_hz, between=between, early=early, levels=levels,
        release=release, falls=falls, decays=decays, t60=(t60_s, t60_reason), noise=noise,
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


def _pitch_sd_cents(fit: StiffFit, key: NDArray[np.int64]) -> FloatArray:
    """Uncertainty of the first partial: scatter of the partials, and what the bridge pulls (more at the top)."""
    scatter = 1.5 * fit.residual_cents / np.sqrt(np.maximum(fit.used, 1))
    pull = np.where(key > 76, 0.20, 0.06)
    return np.asarray(np.hypot(scatter, pull))


def _with_pitch(
    channels: Samples,
    strikes: Strikes,
    tracks: PartialTracks,
    *,
    held_s: FloatArray,
    guard: FloatArray,
    rate_hz: int,
    between: FloatArray,
    early: FloatArray,
    levels: list[NoteLevel],
    release: Release,
    falls: list[Fall],
    decays: list[NoteDecay],
    t60: tuple[float, str],
    noise: FloatArray,
) -> NoteMeasures:
    over = tracks.over_noise_db[:, :FIT_PARTIALS]
    weight = np.clip(over / 20.0, 0.0, 1.0)
    rough = fit_stiff_series(tracks.f_hz[:, :FIT_PARTIALS], weight, prior_b=usual_inharmonicity(strikes.key))
    prior = _b_prior(strikes, rough.inharmonicity, rough.b_sd)
    rough = fit_stiff_series(tracks.f_hz[:, :FIT_PARTIALS], weight, prior_b=prior, prior_share=0.1)
    centre = series_hz(rough.f0_hz, rough.inharmonicity, MODE_PARTIALS)
    centre = np.where(np.isnan(tracks.f_hz[:, :MODE_PARTIALS]), np.nan, centre)
    centroid, energy, modes = _close_modes(channels, strikes, centre, held_s, guard, rate_hz=rate_hz)
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
    pitch[:, :MODE_PARTIALS] = np.where(mode_weight > 0, centroid, np.nan)
    fit_weight = 0.15 * weight
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
    # A string 25 cents away must still be in the band, or a partial would vote for a good unison.
    inside = np.nan_to_num(centre) * 25.0 / CENTS_PER_NEPER < 0.6 * half_width_hz(strikes.key)[:, None]
    unison = measure_unison(
        modes,
        centre_hz=np.where(np.isnan(centre), 1.0, centre),
        weight=np.where(over[:, :MODE_PARTIALS] > 15.0, mode_weight, 0.0),
        wide=inside,
        strings=np.array([usual_strings(int(k)) for k in strikes.key]),
        prompt_hidden=t60[0] > 0.7,
    )
    share = brightness_share_db(early, key=strikes.key)
    clear = np.where(tracks.over_noise_db > 10.0, early, 0.0)
    tilt, tilt_sd = spectral_tilt(clear, tracks.f_hz, key=strikes.key, t60_s=t60[0])
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
        tilt=tilt,
        tilt_sd=tilt_sd,
        between_db=between,
        f1_hz=np.where(fit.used > 0, f1, np.nan),
        f1_sd_cents=_pitch_sd_cents(fit, strikes.key),
        inharmonicity=fit.inharmonicity,
        b_sd=fit.b_sd,
        unison=unison,
        string_db_per_s=string_decay(modes, weight=mode_weight),
        release=release,
        falls=falls,
        decays=decays,
        levels=levels,
        t60_s=t60[0],
        t60_reason=t60[1],
        noise_db=float(10.0 * np.log10(max(total_noise, 1e-20) / max(float(np.nanmedian(loud)), 1e-20))),
        usable_s=held_s,
    )
