"""Close modes of every partial: which strings sound, how far apart, how fast each dies.

Each partial is cut out of the whole-note spectrum and brought down to a low rate (a slice of the spectrum,
tapered and transformed back). What is left is a sum of a few damped exponentials: the strings of the unison
as the bridge couples them [weinreich1977], or one string's two polarisations. Their frequencies and decays
come from the rotational invariance of the signal subspace [roykailath1989], amplitudes by least squares,
their number by the Bayesian information criterion. Channels share the modes and keep their own amplitudes,
so nothing is mixed.

Limits: the first tenths of a second belong to the hammer and the room and are left out; modes that die as
fast as the room are the room's (`room_guard`). What is slower than about half a cycle in the analysed time
can't be told apart: then one mode is reported, at the energy centroid.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pianolab.units import CENTS_PER_NEPER, FloatArray

MOST_MODES = 4
MOST_ROWS = 100
"""Longest window of the subspace; longer ones gain little and cost much."""
OWN_CENTS = 60.0
"""A string of the same key is never further off than this."""
LEAST_SLOW_SHARE = 0.1
FASTEST_PER_S = 1e4
"""Decay rates count as no faster than this (a mode that is gone within a sample)."""
ComplexArray = NDArray[np.complex128]


@dataclass(frozen=True)
class BandSignals:
    """Partials at a low rate: ``x`` of shape (notes, partials, channels, samples), around ``centre_hz``."""

    x: ComplexArray
    centre_hz: FloatArray
    rate_hz: float
    half_width_hz: float


@dataclass(frozen=True)
class Modes:
    """Modes per note and partial, shape (notes, partials, MOST_MODES); NaN where there is none.

    ``decay_per_s`` is the amplitude's decay rate, ``amplitude`` (complex, per channel, at the blow) has shape
    (notes, partials, channels, MOST_MODES); ``energy`` sums channels over the analysed stretch;
    ``centroid_hz`` (notes, partials) is the energy-weighted mean frequency, NaN where nothing was found, and
    ``centroid_energy`` the energy behind it; ``mean_decay_per_s`` (notes, partials) is the energy-weighted mean decay, with modes as fast as the room's where
    there is nothing slower; ``fit_db`` tells how far the residual lies under the signal.
    """

    f_hz: FloatArray
    decay_per_s: FloatArray
    amplitude: ComplexArray
    energy: FloatArray
    centroid_hz: FloatArray
    centroid_energy: FloatArray
    mean_decay_per_s: FloatArray
    fit_db: FloatArray


def band_signals(
    spectra: NDArray[np.complex64], *, centre_hz: FloatArray, half_width_hz: float, rate_hz: int, size: int
) -> BandSignals:
    """Cut partials out of whole-note spectra.

    Parameters
    ----------
    spectra : shape (notes, channels, bins), from `spectra.note_spectra`
    centre_hz : shape (notes, partials); NaN gives zeros
    half_width_hz : half of the band kept; flat to six tenths of it, then tapered

    Returns
    -------
    BandSignals
    """
    hz_per_bin = rate_hz / size
    half = max(4, round(half_width_hz / hz_per_bin))
    offsets = np.concatenate([np.arange(half), np.arange(-half, 0)])
    middle = np.round(np.nan_to_num(centre_hz) / hz_per_bin).astype(np.int64)
    index = middle[:, :, None] + offsets
    inside = (index >= 0) & (index < spectra.shape[-1]) & ~np.isnan(centre_hz)[:, :, None]
    x = np.abs(offsets) / half
    taper = np.where(x <= 0.6, 1.0, 0.5 * (1.0 + np.cos(np.pi * (x - 0.6) / 0.4)))
    rows = np.arange(len(spectra))[:, None, None]
    picked = spectra[rows, :, np.clip(index, 0, spectra.shape[-1] - 1)]
    picked = np.where(inside[..., None], picked, 0.0) * taper[:, None]
    low = np.fft.ifft(np.moveaxis(picked, -1, -2), axis=-1) * (4.0 * half / size)
    return BandSignals(
        low, np.asarray(middle * hz_per_bin, dtype=float), 2.0 * half * hz_per_bin, half * hz_per_bin
    )


def _hankel_covariance(segment: ComplexArray, rows: int) -> ComplexArray:
    """Sum over channels and windows of x x*, x a window of ``rows`` samples; diagonal by diagonal from running sums."""
    count = segment.shape[-1] - rows + 1
    out = np.empty((*segment.shape[:2], rows, rows), dtype=np.complex128)
    for lag in range(rows):
        products = np.sum(segment[..., : segment.shape[-1] - lag] * segment[..., lag:].conj(), axis=-2)
        running = np.concatenate([np.zeros((*products.shape[:2], 1)), np.cumsum(products, axis=-1)], axis=-1)
        diagonal = running[..., count : count + rows - lag] - running[..., : rows - lag]
        at = np.arange(rows - lag)
        out[..., at, at + lag], out[..., at + lag, at] = diagonal, diagonal.conj()
    return out


def _subspace(segment: ComplexArray, order: int) -> tuple[ComplexArray, FloatArray]:
    """Leading eigenvectors of the Hankel covariance, all notes and partials at once."""
    length = segment.shape[-1]
    rows = max(order + 1, min((2 * length) // 5, MOST_ROWS))
    covariance = _hankel_covariance(segment, rows)
    scale = np.einsum("npii->np", covariance).real[..., None, None] + 1e-30
    values, vectors = np.linalg.eigh(covariance / scale)
    return np.asarray(vectors[..., ::-1][..., :order], dtype=np.complex128), values[..., ::-1]


def _poles(vectors: ComplexArray, order: int) -> ComplexArray:
    top, bottom = vectors[..., :-1, :order], vectors[..., 1:, :order]
    gram = np.einsum("npik,npil->npkl", top.conj(), top) + 1e-12 * np.eye(order)
    cross = np.einsum("npik,npil->npkl", top.conj(), bottom)
    return np.asarray(np.linalg.eigvals(np.linalg.solve(gram, cross)), dtype=np.complex128)


def _amplitudes(segment: ComplexArray, poles: ComplexArray) -> tuple[ComplexArray, FloatArray]:
    """Least-squares amplitudes at the segment's first sample and the energy left over."""
    t = np.arange(segment.shape[-1])
    powers = poles[..., None] ** t
    gram = np.einsum("npkt,nplt->npkl", powers.conj(), powers) + 1e-9 * np.eye(poles.shape[-1])
    cross = np.einsum("npkt,npct->npkc", powers.conj(), segment)
    amplitude = np.linalg.solve(gram, cross)
    left = segment - np.einsum("npkc,npkt->npct", amplitude, powers)
    return amplitude, np.sum(np.abs(left) ** 2, axis=(-1, -2))


def find_modes(
    bands: BandSignals, *, start_s: float, stop_s: float, blow_s: float, room_guard_per_s: FloatArray
) -> Modes:
    """Modes of every partial.

    Parameters
    ----------
    bands : BandSignals
    start_s, stop_s : s, the stretch of the band signals that is analysed
    blow_s : s, when the hammer struck; amplitudes are given there
    room_guard_per_s : shape (notes,); modes with faster amplitude decay are left out

    Returns
    -------
    Modes
    """
    rate = bands.rate_hz
    first, last = round(start_s * rate), min(round(stop_s * rate), bands.x.shape[-1])
    segment = bands.x[..., first:last]
    notes, partials, channels, length = segment.shape
    scale = np.sqrt(np.mean(np.abs(segment) ** 2, axis=(-1, -2)))[..., None, None] + 1e-30
    vectors, _ = _subspace(segment / scale, MOST_MODES)
    shape = (notes, partials, MOST_MODES)
    poles_kept = np.full(shape, np.nan + 0j)
    amplitude_kept = np.zeros((notes, partials, MOST_MODES, channels), dtype=np.complex128)
    best = np.full((notes, partials), np.inf)
    left_kept = np.full((notes, partials), np.nan)
    points = 2.0 * length * channels
    for order in range(1, MOST_MODES + 1):
        poles = _poles(vectors, order)
        poles = np.where(np.abs(poles) > 1.02, poles / np.maximum(np.abs(poles), 1e-9) * 1.02, poles)
        amplitude, left = _amplitudes(segment / scale, poles)
        criterion = points * np.log(left / (length * channels) + 1e-12) + 1.5 * np.log(points) * order * (
            2 + 2 * channels
        )
        take = criterion < best
        best, left_kept = np.where(take, criterion, best), np.where(take, left, left_kept)
        padded = np.concatenate([poles, np.full((notes, partials, MOST_MODES - order), np.nan + 0j)], axis=-1)
        poles_kept = np.where(take[..., None], padded, poles_kept)
        padded_amp = np.concatenate(
            [amplitude, np.zeros((notes, partials, MOST_MODES - order, channels))], axis=2
        )
        amplitude_kept = np.where(take[..., None, None], padded_amp, amplitude_kept)
    return _as_modes(
        poles_kept,
        amplitude_kept * scale,
        left_kept / (length * channels),
        bands=bands,
        length=length,
        back=first / rate - blow_s,
        room_guard_per_s=room_guard_per_s,
    )


def _as_modes(
    poles: ComplexArray,
    amplitude: ComplexArray,
    left: FloatArray,
    *,
    bands: BandSignals,
    length: int,
    back: float,
    room_guard_per_s: FloatArray,
) -> Modes:
    with np.errstate(divide="ignore", invalid="ignore"):
        logarithm = np.log(poles) * bands.rate_hz
    shift, decay = logarithm.imag / (2.0 * np.pi), np.minimum(-logarithm.real, FASTEST_PER_S)
    size = np.abs(np.nan_to_num(poles)) ** 2
    span = np.where(
        np.abs(1 - size) < 1e-9, length, (1 - size**length) / np.where(np.abs(1 - size) < 1e-9, 1, 1 - size)
    )
    # A line a semitone away is an undamped string of the key before, still ringing.
    reach_hz = np.minimum(0.66 * bands.half_width_hz, bands.centre_hz * OWN_CENTS / CENTS_PER_NEPER)[
        ..., None
    ]
    possible = ~np.isnan(shift) & (np.abs(shift) < reach_hz) & (decay > -1.0)
    energy = np.where(possible, np.sum(np.abs(amplitude) ** 2, axis=-1) * span, 0.0)
    # What dies as fast as the room is the room's, unless it is all there is: then it is the string's.
    strongest = np.take_along_axis(decay, np.argmax(energy, axis=-1)[..., None], axis=-1)
    guard = room_guard_per_s[:, None, None]
    own = np.where(decay < np.maximum(guard, 1.3 * np.nan_to_num(strongest)), energy, 0.0)
    total = own.sum(axis=-1)
    mean_decay = np.sum(own * np.nan_to_num(decay), axis=-1) / np.maximum(total, 1e-300)
    kept = possible & (decay < guard)
    centroid, centroid_energy = _centroid(energy, kept, bands.centre_hz[..., None] + shift)
    energy = np.where(kept, energy, 0.0)
    back_decay, back_shift = np.where(kept, decay, 0.0), np.where(kept, shift, 0.0)
    at_blow = np.where(kept[..., None], amplitude, 0.0) * np.exp(
        (back_decay - 2j * np.pi * back_shift)[..., None] * back
    )
    f_hz = np.where(kept, bands.centre_hz[..., None] + shift, np.nan)
    return Modes(
        f_hz=f_hz,
        decay_per_s=np.where(kept, decay, np.nan),
        amplitude=np.moveaxis(at_blow, -1, -2),
        energy=energy,
        centroid_hz=centroid,
        centroid_energy=centroid_energy,
        mean_decay_per_s=np.where(total > 0, mean_decay, np.nan),
        fit_db=-10.0 * np.log10(np.maximum(left, 1e-12)),
    )


def _centroid(energy: FloatArray, kept: NDArray[np.bool_], f_hz: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Energy-weighted mean frequency of the modes that are kept, and the energy behind it.

    Where the guard leaves next to nothing, the strings die faster than the room: all modes then ring at the
    strings' pitch, and the weak slow one that is left over says nothing of it.
    """
    slow = np.where(kept, energy, 0.0)
    enough = slow.sum(axis=-1, keepdims=True) > LEAST_SLOW_SHARE * energy.sum(axis=-1, keepdims=True)
    used = np.where(enough, slow, energy)
    total = used.sum(axis=-1)
    mean = np.sum(np.nan_to_num(f_hz) * used, axis=-1) / np.maximum(total, 1e-300)
    return np.where(total > 0, mean, np.nan), total
