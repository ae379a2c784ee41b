"""The close modes of every partial of every note: the string choirs behind pitch, unison and decay."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pianolab.acoustics.keys.strikes import LONGEST_S, Strikes, batches
from pianolab.acoustics.spectra import Samples, fast_size, note_spectra
from pianolab.acoustics.strings.modes import MOST_MODES, Modes, band_signals, find_modes
from pianolab.acoustics.threads import at_once
from pianolab.units import FloatArray, key_to_hz

LEAD_S = 0.1
MODE_PARTIALS = 12
MODE_START_S, TOP_START_S = 0.3, 0.12
REGISTERS = np.array([29, 41, 53, 65, 77])
"""Keys at which another register begins."""
LONGEST_EACH_S = np.minimum([3.0, 3.0, 3.0, 1.6, 1.6, 1.0], LONGEST_S)


def half_width_hz(key: ArrayLike) -> FloatArray:
    """Half of the band around each partial: 9 Hz in the bass, wider where strings lie further apart in Hz."""
    return np.asarray(np.clip(0.07 * key_to_hz(key), 9.0, 250.0))


def analysed_s(key: NDArray[np.int64], held_s: FloatArray) -> tuple[FloatArray, FloatArray]:
    """From when to when after the blow the modes of a note that is held so long are looked at, s, shape (notes,) each."""
    register = np.searchsorted(REGISTERS, key, side="right")
    stop_s = np.minimum(held_s, LONGEST_EACH_S[register])
    return np.minimum(np.where(register < len(REGISTERS), MODE_START_S, TOP_START_S), 0.3 * stop_s), stop_s


def close_modes(
    channels: Samples,
    strikes: Strikes,
    series: FloatArray,
    held_s: FloatArray,
    guard: FloatArray,
    *,
    rate_hz: int,
) -> Modes:
    """Modes of the partials of all notes; NaN where too short.

    Parameters
    ----------
    channels : shape (channels, frames)
    strikes : the notes
    series : shape (notes, `MODE_PARTIALS`), Hz, where each partial is looked for; NaN where none is
    held_s, guard : shape (notes,), how long each is held, and the decay rate from which a mode is the room's
    rate_hz : Hz
    """
    all_modes = _no_modes(len(strikes.key), channels=channels.shape[0])
    register = np.searchsorted(REGISTERS, strikes.key, side="right")
    pieces = [
        (int(band), rows[register[rows] == band])
        for rows in batches(strikes)
        for band in np.unique(register[rows])
    ]

    def find(piece: tuple[int, NDArray[np.int64]]) -> None:
        own = piece[1]
        modes = _of_register(
            channels, strikes.pick(own), series[own], held_s[own], guard[own], rate_hz=rate_hz
        )
        if modes is None:
            return
        for name in all_modes.__dataclass_fields__:
            getattr(all_modes, name)[own] = getattr(modes, name)

    at_once(find, pieces)
    return all_modes


def _no_modes(notes: int, *, channels: int) -> Modes:
    """Room for the modes of so many notes, with none found."""
    shape = (notes, MODE_PARTIALS)
    return Modes(
        f_hz=np.full((*shape, MOST_MODES), np.nan),
        decay_per_s=np.full((*shape, MOST_MODES), np.nan),
        amplitude=np.zeros((*shape, channels, MOST_MODES), dtype=complex),
        energy=np.zeros((*shape, MOST_MODES)),
        centroid_hz=np.full(shape, np.nan),
        centroid_energy=np.zeros(shape),
        mean_decay_per_s=np.full(shape, np.nan),
        fit_db=np.full(shape, np.nan),
    )


def _of_register(
    channels: Samples,
    part: Strikes,
    series: FloatArray,
    held_s: FloatArray,
    guard: FloatArray,
    *,
    rate_hz: int,
) -> Modes | None:
    """Modes of some notes of one register, all over the same time; None where that is too short."""
    width = float(half_width_hz(np.median(part.key)))
    starts_s, stops_s = analysed_s(part.key, held_s)
    start_s, stop_s = float(starts_s.min()), float(stops_s.min())
    if (stop_s - start_s) * 2 * width < 14:
        return None
    starts = np.maximum(((part.onset_s - LEAD_S) * rate_hz).astype(np.int64), 0)
    lead = part.onset_s - starts / rate_hz
    wanted = ((stop_s + LEAD_S) * rate_hz * np.ones(len(part.key))).astype(np.int64)
    lengths = np.minimum(wanted, channels.shape[1] - starts)
    size = fast_size(int((stop_s + LEAD_S + 0.25) * rate_hz))
    spectra = note_spectra(channels, starts=starts, lengths=lengths, size=size)
    bands = band_signals(spectra, centre_hz=series, half_width_hz=width, rate_hz=rate_hz, size=size)
    return find_modes(
        bands,
        start_s=float(np.median(lead)) + start_s,
        stop_s=float(np.median(lead)) + stop_s - 0.03,
        blow_s=float(np.median(lead)),
        room_guard_per_s=guard,
    )
