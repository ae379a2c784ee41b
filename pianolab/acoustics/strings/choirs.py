"""The close modes of every partial of every note: the string choirs behind pitch, unison and decay."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pianolab.acoustics.keys.strikes import LONGEST_S, Strikes, batches
from pianolab.acoustics.spectra import Samples, fast_size, note_spectra
from pianolab.acoustics.strings.modes import MOST_MODES, Modes, band_signals, find_modes
from pianolab.acoustics.threads import at_once
from pianolab.keyboard import usual_strings
from pianolab.units import FloatArray, key_to_hz

LEAD_S = 0.1
MODE_PARTIALS = 12
MODE_START_S, TOP_START_S = 0.3, 0.12
REGISTERS = np.array([29, 41, 53, 65, 77])
"""Keys at which another register begins."""
LONGEST_EACH_S = np.minimum([3.0, 3.0, 3.0, 1.6, 1.6, 1.0], LONGEST_S)


SURELY_ONE_TO, SURELY_SEVERAL = 5, (17, 28)
"""Keys that have one string on every usual piano, and keys that have several (common practice, no source)."""
LEAST_NOTES, LEAST_TOLD = 2, 0.3
"""So many notes of either kind, and so much more often several modes in those of several strings, tell the two apart."""
TOLD_BY_NOTE, MOVED_PER_KEY, SURELY = 3.0, 0.3, 0.95
"""Natural logarithm of how much likelier one kind than the other looks as its middle note does; what it costs that single
strings end a key farther from where they usually do (own choice); how likely is sure."""


@dataclass(frozen=True)
class StringCount:
    """How many ``strings`` each note's key is taken to have, and where one or two are both possible (``open``)."""

    strings: NDArray[np.int64]
    open: NDArray[np.bool_]


def count_strings(key: NDArray[np.int64], several: FloatArray) -> StringCount:
    """Where this piano's single strings end, by its own sound: two strings beat, and one seldom does.

    There is one such key, so that neighbours speak for each other: of two strings in tune one looks alone, of six notes
    not all. Where single strings look like pairs, as with false beats or in a long room, what is usual is taken.

    Parameters
    ----------
    key : shape (notes,)
    several : shape (notes,), in which share of its partials a note shows more than one mode

    Examples
    --------
    >>> key = np.arange(1, 25)
    >>> told = count_strings(key, np.where(key < 9, 0.1, 0.8))
    >>> told.strings[6:10], bool(told.open[12])
    (array([1, 1, 2, 2]), False)
    """
    usual = np.array([usual_strings(int(k)) for k in key], dtype=np.int64)
    begin, end = SURELY_SEVERAL
    between = (key > SURELY_ONE_TO) & (key < begin)
    one, two = several[key <= SURELY_ONE_TO], several[(key >= begin) & (key <= end)]
    if min(len(one), len(two)) < LEAST_NOTES or np.median(two) - np.median(one) < LEAST_TOLD:
        return StringCount(usual, between & (usual == 1))
    low, high = float(np.median(one)), float(np.median(two))
    says = TOLD_BY_NOTE * np.clip((several - 0.5 * (low + high)) / (high - low), -0.5, 0.5)
    breaks = np.arange(SURELY_ONE_TO + 1, begin + 1)
    paired = key[between] >= breaks[:, None]
    usually = 1 + max(k for k in breaks if usual_strings(int(k) - 1) == 1)
    chance = np.sum(np.where(paired, says[between], -says[between]), axis=1)
    chance = np.exp(chance - chance.max() - MOVED_PER_KEY * np.abs(breaks - usually))
    pair = (chance / chance.sum()) @ paired
    strings, open_ = usual.copy(), np.zeros(len(key), dtype=bool)
    strings[between] = np.where(pair > 0.5, 2, 1)
    open_[between] = np.abs(pair - 0.5) < SURELY - 0.5
    return StringCount(strings, open_)


NOISE_LEAVES = 0.06
"""What white noise leaves unexplained of a partial, over the noise in its band: half of 1,600 partials of eight takes
0.03 to 0.1 (own measurement)."""


def unexplained_share(
    modes: Modes, over_db: FloatArray, *, key: NDArray[np.int64], heard_s: FloatArray
) -> FloatArray:
    """Which share of each partial's sound its modes leave, shape (notes, partials), beyond what is noise; 0 where unknown.

    Parameters
    ----------
    modes : Modes, shape (notes, partials, modes)
    over_db : shape (notes, partials), level of the partial's line over the noise in one bin
    key, heard_s : shape (notes,), which say how wide the band is and how fine its bins are
    """
    left = 10.0 ** (-np.nan_to_num(modes.fit_db, nan=np.inf) / 10.0)
    bins = 2.0 * half_width_hz(key) * heard_s
    return np.asarray(np.clip(left - NOISE_LEAVES * bins[:, None] * 10.0 ** (-over_db / 10.0), 0.0, 1.0))


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
