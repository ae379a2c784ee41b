"""Spectral lines of every note while it is loud: its partials, their early power, and what lies between them."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pianolab.acoustics.envelope.levels import frame_size
from pianolab.acoustics.judging.buzz import Between, between_partials_db
from pianolab.acoustics.keys.compass import usual_decay_20_s
from pianolab.acoustics.keys.strikes import Strikes, batches
from pianolab.acoustics.spectra import Samples, fast_size, line_spectra, standing_out_db
from pianolab.acoustics.strings.partials import (
    MOST_TRACKED,
    PartialTracks,
    fit_stiff_series,
    series_hz,
    track_partials,
)
from pianolab.acoustics.threads import at_once
from pianolab.units import CENTS_PER_NEPER, FloatArray

FIT_PARTIALS = 32
BRIEF_FROM_KEY = 60
SOUNDS_DECAYS, SHORTEST_LONGEST_S = 6.0, (0.6, 3.0)
"""A note is looked at for so many of its usual times to fall 20 dB: later there is only noise."""
TRIED_CENTS = np.array([-40.0, -20.0, -10.0, 0.0, 10.0, 20.0, 40.0])
"""Other beginnings that are tried for a doubtful series."""


def _note_spectra(
    channels: Samples, part: Strikes, *, rate_hz: int
) -> tuple[NDArray[np.float32], NDArray[np.float32], int]:
    """Line spectra of some notes, how far they stand out of the noise, and the transform's size."""
    sounding_s = np.clip(SOUNDS_DECAYS * usual_decay_20_s(part.key), *SHORTEST_LONGEST_S)
    length_s = np.minimum(part.interval_s - 0.08, sounding_s)
    size = fast_size(round(max(1.5, 1.25 * float(length_s.max())) * rate_hz))
    starts = ((part.onset_s + 0.05) * rate_hz).astype(np.int64)
    lengths = np.clip((length_s * rate_hz).astype(np.int64), 8, channels.shape[1] - starts)
    power = line_spectra(channels, starts=starts, lengths=lengths, size=size)
    return power, standing_out_db(power, rate_hz=rate_hz, size=size), size


def follow_partials(channels: Samples, strikes: Strikes, *, rate_hz: int) -> PartialTracks:
    """Peaks of all partials of all notes, from the key path's coarse pitch upwards."""
    shape = (len(strikes.key), MOST_TRACKED)
    f_hz, over_db, strength = (np.full(shape, np.nan) for _ in range(3))
    tracks = PartialTracks(f_hz, over_db, strength, np.full(shape[0], np.nan), np.full(shape[0], np.nan))

    def follow(rows: NDArray[np.int64]) -> None:
        part = strikes.pick(rows)
        power, over, size = _note_spectra(channels, part, rate_hz=rate_hz)
        own = track_partials(
            power, over, key=part.key, f1_hz=part.f1_hz, b_factor=part.b_factor, rate_hz=rate_hz, size=size
        )
        _put(tracks, rows, own)

    at_once(follow, batches(strikes))
    return tracks


def _put(tracks: PartialTracks, rows: NDArray[np.int64], own: PartialTracks) -> None:
    for name in tracks.__dataclass_fields__:
        getattr(tracks, name)[rows] = getattr(own, name)


def follow_again(
    channels: Samples,
    strikes: Strikes,
    tracks: PartialTracks,
    *,
    b: FloatArray,
    usual_b: FloatArray,
    doubtful: NDArray[np.bool_],
    rate_hz: int,
) -> None:
    """Follow doubtful notes again, begun with the B of their neighbours; the track that explains more stays.

    A few wrong peaks at the start bend a series for good. The pitch is tried as the key path read it, and
    some cents lower and higher. Changes ``tracks``.

    Parameters
    ----------
    b : shape (notes,), B of the neighbours; ``usual_b`` of the compass
    doubtful : shape (notes,)
    """
    for i in np.flatnonzero(doubtful):
        row = np.array([i])
        part = strikes.pick(row)
        power, over, size = _note_spectra(channels, part, rate_hz=rate_hz)
        before = PartialTracks(*(getattr(tracks, name)[row] for name in tracks.__dataclass_fields__))
        starts = part.f1_hz * np.exp(TRIED_CENTS / CENTS_PER_NEPER)
        count = len(starts)
        tried = track_partials(
            np.repeat(power, count, axis=0),
            np.repeat(over, count, axis=0),
            key=np.repeat(part.key, count),
            f1_hz=starts,
            b_factor=np.repeat(b[row] / usual_b[row], count),
            rate_hz=rate_hz,
            size=size,
            b_share=0.15,
        )
        worth = explained(tried, b[row])
        best = int(np.argmax(worth))
        if worth[best] > float(explained(before, b[row])[0]):
            _put(
                tracks,
                row,
                PartialTracks(*(getattr(tried, name)[[best]] for name in tracks.__dataclass_fields__)),
            )


def explained(tracks: PartialTracks, prior_b: FloatArray) -> FloatArray:
    """How much of what stands out of the noise lies on one stiff series, shape (notes,), dB summed over partials."""
    f_hz, over = tracks.f_hz[:, :FIT_PARTIALS], tracks.over_noise_db[:, :FIT_PARTIALS]
    weight = np.clip(over / 20.0, 0.0, 1.0)
    prior = np.broadcast_to(prior_b, len(f_hz))
    fit = fit_stiff_series(f_hz, weight, prior_b=prior, prior_share=0.3)
    series = series_hz(fit.f0_hz, fit.inharmonicity, FIT_PARTIALS)
    off = CENTS_PER_NEPER * np.log(np.where(np.isnan(f_hz), series, f_hz) / series)
    return np.asarray(np.sum(np.clip(over, 0.0, 30.0) / (1.0 + (off / 2.0) ** 2), axis=1))


def loud_power(
    channels: Samples, strikes: Strikes, tracks: PartialTracks, *, noise: FloatArray, rate_hz: int
) -> tuple[Between, FloatArray]:
    """What lies between the partials, and the partials' early power."""
    between = Between(*np.full((3, len(strikes.key)), np.nan))
    early = np.zeros(tracks.f_hz.shape)

    def measure(rows: NDArray[np.int64]) -> None:
        part = strikes.pick(rows)
        early[rows] = _early_power(channels, part, tracks.f_hz[rows], rate_hz=rate_hz)
        series = series_hz(tracks.f0_hz[rows], tracks.inharmonicity[rows], 200)
        found = _between(channels, part, series, noise=noise, rate_hz=rate_hz)
        for name in between.__dataclass_fields__:
            getattr(between, name)[rows] = getattr(found, name)

    at_once(measure, batches(strikes))
    return between, early


def _between(
    channels: Samples, strikes: Strikes, series: FloatArray, *, noise: FloatArray, rate_hz: int
) -> Between:
    """Energy between the partials from 0.15 s to 0.65 s after the blow: the knock is over, the note is loud.

    In the treble, where a note is loud for a shorter time, from 0.08 s to 0.33 s.
    """
    size = fast_size(round(0.6 * rate_hz))
    brief = strikes.key >= BRIEF_FROM_KEY
    starts = ((strikes.onset_s + np.where(brief, 0.08, 0.15)) * rate_hz).astype(np.int64)
    length_s = np.clip(strikes.interval_s - 0.25, 0.1, np.where(brief, 0.25, 0.5))
    lengths = np.clip((length_s * rate_hz).astype(np.int64), 8, np.maximum(channels.shape[1] - starts, 8))
    starts = np.minimum(starts, channels.shape[1] - lengths)
    power = line_spectra(channels, starts=starts, lengths=lengths, size=size)
    frame, _ = frame_size(rate_hz)
    bins = np.arange(power.shape[1]) * frame / size
    # A longer window gathers less noise per bin, in proportion, where a sine counts the same.
    own_noise = np.interp(bins, np.arange(len(noise)), noise) * frame / lengths[:, None]
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
