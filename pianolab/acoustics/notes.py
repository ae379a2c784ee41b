"""From strikes to numbers: the measures of every note, all notes side by side as arrays."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from pianolab.acoustics.envelope.damper import LONE_SHARE, Fall, Release, fall_after, find_releases
from pianolab.acoustics.envelope.decay import NoteDecay, late_decay, note_decay, string_decay
from pianolab.acoustics.envelope.levels import (
    COMB_FROM_KEY,
    NoteLevel,
    decay_levels,
    noise_spectrum,
    note_level,
    whole_levels,
)
from pianolab.acoustics.envelope.reverberation import (
    believed_t60_s,
    judge_room,
    level_sd_db,
    proven_t60,
    room_hides_s,
    room_t60,
    t60_sd_s,
)
from pianolab.acoustics.judging.buzz import Between
from pianolab.acoustics.judging.voicing import (
    HEARD_DB,
    Colour,
    brightness_share_db,
    least_heard_power,
    spectral_tilt,
)
from pianolab.acoustics.keys.strikes import Strikes
from pianolab.acoustics.limits import limits
from pianolab.acoustics.spectra import Samples
from pianolab.acoustics.strings.choirs import MODE_PARTIALS
from pianolab.acoustics.strings.lines import follow_partials, loud_power
from pianolab.acoustics.strings.partials import PartialTracks, series_hz
from pianolab.acoustics.strings.string_pitch import mend_tracks, string_pitch
from pianolab.acoustics.strings.unison import Unison
from pianolab.acoustics.threads import at_once
from pianolab.units import FloatArray

LEVEL_LONGEST_S = 30.0

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
    t60_sd_s: float = np.nan
    usable_s: FloatArray = field(default_factory=lambda: np.zeros(0))
    partial_hz: FloatArray = field(default_factory=lambda: np.zeros((0, MODE_PARTIALS)))
    partial_weight: FloatArray = field(default_factory=lambda: np.zeros((0, MODE_PARTIALS)))


def _above_dampers(strikes: Strikes, last_damped_key: int | None) -> NDArray[np.bool_]:
    """Keys above the dampers' end. One that is heard lower than dampers end anywhere is none, but a pedal that went down
    there: then only keys count that have no damper on most instruments."""
    if last_damped_key is None:
        return np.zeros(len(strikes.key), dtype=bool)
    lim = limits()["damper"]
    ends = last_damped_key if last_damped_key >= lim["may_end_from"] else lim["last_surely_damped"]
    return np.asarray(strikes.key > ends)


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


def _decays(
    whole: list[NoteLevel],
    own: list[NoteLevel],
    key: NDArray[np.int64],
    *,
    held_s: FloatArray,
    ring_s: float,
) -> list[NoteDecay]:
    """How long each note lasts; ``own`` are the levels near the partials, from `COMB_FROM_KEY` up."""
    return [
        note_decay(
            w,
            usable_s=float(h),
            level_sd_db=float(sd),
            room_s=room_hides_s(ring_s),
            own=o if k >= COMB_FROM_KEY else None,
        )
        for w, o, k, h, sd in zip(whole, own, key, held_s, level_sd_db(key, t60_s=ring_s), strict=True)
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
    tracks = follow_partials(channels, strikes, rate_hz=rate_hz)
    mend_tracks(channels, strikes, tracks, rate_hz=rate_hz)
    between, early = loud_power(channels, strikes, tracks, noise=noise, rate_hz=rate_hz)
    progress("level of every note", 0.55)
    levels = _note_levels(channels, strikes, tracks, rate_hz=rate_hz, noise=noise)
    release = find_releases(levels, key=strikes.key, interval_s=strikes.interval_s)
    undamped = _above_dampers(strikes, release.last_damped_key)
    held_s = _held_s(strikes, release, undamped)
    falls = _falls(levels, release, strikes, undamped)
    t60 = room_t60(levels, release, strikes.key, interval_s=strikes.interval_s)
    room, ring_s = proven_t60(*t60), believed_t60_s(*t60)
    whole = decay_levels(whole_levels(channels, strikes, rate_hz=rate_hz), levels)
    decays = _decays(whole, levels, strikes.key, held_s=held_s, ring_s=ring_s)
    progress("strings of every note", 0.75)
    strings = string_pitch(channels, strikes, tracks, held_s=held_s, t60_s=t60[0], rate_hz=rate_hz)
    colour = _colour(strikes, tracks, early, strings.series_hz, t60_s=t60[0])
    loud = np.array([float(v.power.max()) if len(v.power) else np.nan for v in levels])
    own_noise = np.array([v.noise for v in levels])
    return NoteMeasures(
        strikes=strikes,
        snr_db=10.0 * np.log10(np.maximum(loud, 1e-20) / np.maximum(own_noise, 1e-18)),
        level_db=10.0 * np.log10(np.maximum(loud, 1e-20)),
        share_db=brightness_share_db(early, key=strikes.key),
        tilt=colour.tilt,
        tilt_sd=colour.tilt_sd,
        between=between,
        f1_hz=strings.f1_hz,
        f1_sd_cents=strings.f1_sd_cents,
        inharmonicity=strings.inharmonicity,
        b_sd=strings.b_sd,
        unison=strings.unison,
        string_db_per_s=string_decay(strings.modes, weight=strings.mode_weight),
        release=release,
        falls=[judge_room(f, t60_s=room[0]) for f in falls],
        decays=late_decay(strings.modes, decays, levels, weight=strings.mode_weight, held_s=held_s),
        levels=levels,
        t60_s=room[0],
        t60_reason=room[1],
        t60_sd_s=t60_sd_s(room[0], levels, release, strikes.key, interval_s=strikes.interval_s),
        noise_db=_noise_db(noise, loud),
        usable_s=held_s,
        partial_hz=strings.partial_hz,
        partial_weight=strings.partial_weight,
    )


def _held_s(strikes: Strikes, release: Release, undamped: NDArray[np.bool_]) -> FloatArray:
    """How long every note may be listened to."""
    # Before a key that stayed silent or was left out, a note is listened to as long as any other: a silent key knocks.
    usual_s = float(np.median(strikes.interval_s))
    until_s = np.where(strikes.interval_s > LONE_SHARE * usual_s, usual_s, strikes.interval_s)
    no_release = np.isnan(release.assumed_s)
    return np.where(undamped | no_release, until_s - 0.03, release.assumed_s - 0.02)


def _falls(
    levels: list[NoteLevel], release: Release, strikes: Strikes, undamped: NDArray[np.bool_]
) -> list[Fall]:
    """What the damper does to every note."""
    return [
        fall_after(v, release_s=float(r), stop_s=float(i) - 0.02)
        if not (u or np.isnan(r))
        else Fall(np.nan, "", np.nan, "no damper on this key" if u else "no release heard")
        for v, r, i, u in zip(levels, release.assumed_s, strikes.interval_s, undamped, strict=True)
    ]


def _colour(
    strikes: Strikes, tracks: PartialTracks, early: FloatArray, series: FloatArray, *, t60_s: float
) -> Colour:
    places = np.where(np.isnan(tracks.f_hz), series, tracks.f_hz)
    clear = np.where(tracks.over_noise_db > HEARD_DB, early, 0.0)
    at_most = least_heard_power(early, tracks.over_noise_db, places)
    return spectral_tilt(clear, places, key=strikes.key, t60_s=t60_s, at_most=at_most)


def _noise_db(noise: FloatArray, loud: FloatArray) -> float:
    """Noise of the whole band under the middle note's loudest moment, dB."""
    return float(10.0 * np.log10(max(float(noise.sum()), 1e-20) / max(float(np.nanmedian(loud)), 1e-20)))
