"""The blow of the hammer, and all that sounds beside the struck strings.

The hammer gives the strings level, spectrum and knock. The anchors of the curves are plausible values for a medium blow,
set by comparison with recordings of real instruments [practice]; they describe no particular piano.

The blow reaches the board at once and moves all its modes: about one every 20 Hz up to 1 kHz, with a loss of a few per
cent, so that they melt into a thump with a dull ring [wogram1990]. What lingers are case, plate and the many strings:
those without dampers, and the lengths beyond the bridge. Levels and decays are set beside recordings of real instruments
[practice].
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike
from scipy import signal

from pianolab.sound_model.piano import OFF_DB, PianoModel
from pianolab.sound_model.strings import ComplexArray, FloatArray
from pianolab.units import db_per_s_to_rate, db_to_amplitude

LEVEL_DB = ((1, -1.0), (20, 0.0), (60, -1.0), (76, -4.0), (88, -10.0))
CORNER_HZ = ((1, 650.0), (25, 750.0), (40, 850.0), (52, 950.0), (64, 1200.0), (76, 1500.0), (88, 2000.0))
STRIKE_POINT = ((1, 0.125), (52, 0.12), (76, 0.08), (88, 0.05))
CONTACT_S = ((1, 4.0e-3), (40, 2.0e-3), (88, 0.7e-3))
PROMPT_DB_PER_S = ((1, 2.0), (13, 4.2), (25, 6.5), (40, 11.0), (52, 17.0), (64, 30.0), (76, 55.0), (88, 90.0))
DAMPER_T60_S = ((1, 1.0), (20, 0.6), (40, 0.35), (60, 0.22), (72, 0.18))
BOARD_CORNER_HZ = 75.0
CORNER_PER_BLOW_DB = 0.02


def at_key(anchors: tuple[tuple[int, float], ...], key: int) -> float:
    """Value of a curve over the compass, straight between its anchors."""
    keys, values = zip(*anchors, strict=True)
    return float(np.interp(key, keys, values))


def hammer_spectrum(
    key: int, f_hz: ArrayLike, *, blow_db: float = 0.0, touch: float = 1.0, strike_point_scale: float = 1.0
) -> FloatArray:
    """Amplitudes of the partials right after the blow, before the level of the note is set.

    Parameters
    ----------
    key : key number
    f_hz : array, shape (partials,); partial 1 first
    blow_db : level of the blow against a medium one; harder blows are brighter, by ``touch``
    strike_point_scale : factor on the share of the string where the hammer strikes

    Returns
    -------
    ndarray, shape (partials,); gaps where a node lies at the strike point, weak under the soundboard's
    first resonances, falling above the corner that the hammer's felt sets
    """
    f = np.asarray(f_hz, dtype=float)
    n = np.arange(1, f.size + 1)
    comb = np.sqrt(np.sin(np.pi * n * at_key(STRIKE_POINT, key) * strike_point_scale) ** 2 + 0.02)
    corner = at_key(CORNER_HZ, key) * np.exp(CORNER_PER_BLOW_DB * touch * blow_db)
    felt = (1.0 + (f / corner) ** 2) ** -2.0
    below = (f / BOARD_CORNER_HZ) ** 2
    return np.asarray(comb * felt * (below / (1.0 + below)) ** 1.6)


def voicing_gain(key: int, numbers: ArrayLike, *, brightness_db: float) -> FloatArray:
    """Gain of each partial: all of it from the fifth up, none on the first two (key 77 up: third, first)."""
    from_n, full_n = (2.0, 5.0) if key <= 76 else (1.5, 3.0)
    octaves = np.log2(np.asarray(numbers, dtype=float) / from_n)
    return np.asarray(db_to_amplitude(brightness_db * np.clip(octaves / np.log2(full_n / from_n), 0.0, 1.0)))


def noise_burst(
    rng: np.random.Generator, *, rate_hz: int, band_hz: tuple[float, float], decay_s: float, level_db: float
) -> FloatArray:
    """A short band-limited burst of noise, ``level_db`` its level over the first ``decay_s``.

    Examples
    --------
    >>> rng = np.random.default_rng(1)
    >>> noise_burst(rng, rate_hz=8000, band_hz=(100, 900), decay_s=0.02, level_db=-30).shape
    (1600,)
    """
    frames = round(10 * decay_s * rate_hz)
    top = min(band_hz[1], 0.45 * rate_hz)
    sos = signal.butter(2, (band_hz[0], top), "bandpass", fs=rate_hz, output="sos")
    noise = signal.sosfilt(sos, rng.standard_normal(frames + 400))[400:]
    t = np.arange(frames) / rate_hz
    burst = noise * np.exp(-t / decay_s) * np.minimum(1.0, t / 1e-3)
    loudest = np.sqrt(np.mean(burst[: max(1, round(decay_s * rate_hz))] ** 2))
    return np.asarray(burst * db_to_amplitude(level_db) / max(loudest, 1e-12))


def buzz_pulses(
    rng: np.random.Generator, *, rate_hz: int, frames: int, f1_hz: float, periodic: bool
) -> FloatArray:
    """Clicks of something loose: about one in each period, or irregular ones; unit power."""
    count = round(frames / rate_hz * (f1_hz if periodic else 45.0)) + 1
    if periodic:
        at = (np.arange(count) + 0.04 * rng.standard_normal(count)) / f1_hz
    else:
        at = np.sort(rng.uniform(0.0, frames / rate_hz, count))
    places = np.round(at * rate_hz).astype(int)
    inside = (places >= 0) & (places < frames)
    train = np.zeros(frames)
    np.add.at(train, places[inside], (1.0 + 0.3 * rng.standard_normal(count))[inside])
    band = (1800.0, min(8000.0, 0.45 * rate_hz))
    pulses = signal.sosfilt(signal.butter(2, band, "bandpass", fs=rate_hz, output="sos"), train)
    return np.asarray(pulses / max(np.sqrt(np.mean(pulses**2)), 1e-12))


THUMP_CORNER_HZ = (
    (1, 130.0),
    (28, 220.0),
    (40, 420.0),
    (52, 900.0),
    (64, 1700.0),
    (76, 2600.0),
    (88, 4500.0),
)
THUMP_OCTAVE_DB = ((1, -24.0), (28, -20.0), (40, -22.5), (52, -24.0), (88, -24.0))
BODY_OCTAVE_DB = ((1, -20.0), (20, -23.0), (34, -35.0), (88, -38.0))
THUMP_SLOPE, BODY_SLOPE = 1.9, 2.5
BODY_CORNER_HZ = ((1, 900.0), (40, 1100.0), (64, 1700.0), (88, 3000.0))
LOWEST_HZ, HIGHEST_HZ = 25.0, 6500.0
PER_BLOW_DB = 0.8
SHARED_WITH_OTHER_BLOWS = 0.8
SYMPATHETIC_DB, DUPLEX_DB = -62.0, -50.0
RESONANCE, RESONANCE_WIDTH = 8.0, 0.004
SYMPATHETIC_TOP_HZ = 7000.0
DUPLEX_LINES = 5
Layer = tuple[ComplexArray, ComplexArray, FloatArray]
"""Amplitudes, poles (1/s) and rates (1/s) at which each mode comes up, all of shape (modes,)."""


def body_layers(
    model: PianoModel,
    key: int,
    *,
    full: float,
    blow_db: float,
    partials_hz: FloatArray,
    levels: FloatArray,
    blow: np.random.Generator | None,
) -> Layer:
    """All that rings beside the key's own strings after one blow.

    Parameters
    ----------
    model : PianoModel
    key : key number
    full : amplitude of a medium blow in the middle
    blow_db : level of the blow against a medium one
    partials_hz, levels : the note's own partials and their amplitudes, shape (partials,)
    blow : draws what differs from blow to blow; None for a blow without any of it
    """
    medium = full * float(db_to_amplitude(PER_BLOW_DB * blow_db))
    layers = [
        _board(model, key, medium=medium, blow=blow, lingering=False),
        _board(model, key, medium=medium, blow=blow, lingering=True),
        _sympathetic(model, key, medium=medium, partials_hz=partials_hz, levels=levels),
        _duplex(model, key, loud=float(np.sqrt(np.sum(levels**2)))),
    ]
    amplitudes, poles, rises = (np.concatenate(parts) for parts in zip(*layers, strict=True))
    return amplitudes, poles, rises


def _none() -> Layer:
    return np.zeros(0, complex), np.zeros(0, complex), np.zeros(0)


def board_poles(model: PianoModel, *, lingering: bool) -> ComplexArray:
    """The piano's board modes, the same for every key; quick ones or those that linger, 1/s."""
    rng = model.stream(1 if lingering else 0, "board")
    least_hz, share = (13.0, 0.022) if lingering else (20.0, 0.045)
    f_hz = [LOWEST_HZ]
    while f_hz[-1] < HIGHEST_HZ:
        f_hz.append(f_hz[-1] + max(least_hz, share * f_hz[-1]) * float(rng.uniform(0.4, 1.6)))
    f = np.array(f_hz)
    rate = 3.0 * (f / 300.0) ** 0.12 * (1.0 + (f / 2500.0) ** 2) if lingering else 15.0 * (f / 150.0) ** 0.4
    return np.asarray(-rate * np.exp(0.25 * rng.standard_normal(f.size)) + 2j * np.pi * f)


def _board(
    model: PianoModel, key: int, *, medium: float, blow: np.random.Generator | None, lingering: bool
) -> Layer:
    """Board modes after the blow: an even level over the octaves up to what the hammer's contact lets through."""
    layer_db = model.body_db if lingering else model.thump_db
    if layer_db <= OFF_DB:
        return _none()
    poles = board_poles(model, lingering=lingering)
    f_hz = poles.imag / (2.0 * np.pi)
    octave_db, slope = (
        (at_key(BODY_OCTAVE_DB, key), BODY_SLOPE)
        if lingering
        else (at_key(THUMP_OCTAVE_DB, key), THUMP_SLOPE)
    )
    share = np.log2(np.gradient(f_hz) / f_hz + 1.0)
    corner = at_key(BODY_CORNER_HZ if lingering else THUMP_CORNER_HZ, key)
    level = medium * db_to_amplitude(octave_db + layer_db) * np.sqrt(2.0 * share)
    level = level * (1.0 + (f_hz / corner) ** 2) ** (-0.5 * slope)
    rng = model.stream(key, "thump")
    if lingering:
        rng.standard_normal(4096)
    place = rng.standard_normal((2, f_hz.size))
    if blow is not None and model.blow_spread > 0:
        kept = SHARED_WITH_OTHER_BLOWS ** min(model.blow_spread, 4.0)
        place = np.sqrt(kept) * place + np.sqrt(1.0 - kept) * blow.standard_normal(place.shape)
    amplitudes = level * (place[0] + 1j * place[1]) / np.sqrt(2.0)
    return amplitudes, poles, np.full(f_hz.size, 2.5 * f_hz.clip(80.0, 1200.0))


def _sympathetic(
    model: PianoModel, key: int, *, medium: float, partials_hz: FloatArray, levels: FloatArray
) -> Layer:
    """The strings that no damper holds: all of them a little, more where a partial of the note meets theirs."""
    keys = np.array(
        [k for k in range(max(model.first_key, model.last_damped_key + 1), model.last_key + 1) if k != key]
    )
    if model.sympathetic_db <= OFF_DB or keys.size == 0:
        return _none()
    f_hz = np.array([float(model.strings(int(k)).mean()) for k in keys])
    rate = np.array([float(db_per_s_to_rate(0.25 * at_key(PROMPT_DB_PER_S, int(k)))) for k in keys])
    f_hz, rate = np.concatenate([f_hz, 2.0 * f_hz * 1.01]), np.concatenate([rate, 1.5 * rate])
    rng = model.stream(key, "duplex")
    phase = np.exp(2j * np.pi * rng.random(2 * 110))[: f_hz.size]
    near = np.abs(f_hz[:, None] / partials_hz - 1.0) / RESONANCE_WIDTH
    driven = RESONANCE * (levels / (1.0 + near**2)).sum(axis=1)
    blown = medium / (1.0 + (f_hz / (2.0 * at_key(THUMP_CORNER_HZ, key))) ** 2)
    level = db_to_amplitude(SYMPATHETIC_DB + model.sympathetic_db) * (blown + driven)
    low = f_hz < SYMPATHETIC_TOP_HZ
    poles = -rate / model.sustain + 2j * np.pi * f_hz
    return (level * phase)[low], poles[low], np.full(int(low.sum()), 25.0)


def _duplex(model: PianoModel, key: int, *, loud: float) -> Layer:
    """Short lengths beyond the bridge, which belong to no series: a shimmer above the note."""
    if model.duplex_db <= OFF_DB or key <= model.break_key:
        return _none()
    rng = model.stream(key, "aftersound")
    f_hz = np.sort(rng.uniform(1500.0, 6000.0, DUPLEX_LINES)) + 12.0 * (key - 40)
    level = loud * db_to_amplitude(DUPLEX_DB + model.duplex_db + 4.0 * rng.standard_normal(DUPLEX_LINES))
    phase = np.exp(2j * np.pi * rng.random(DUPLEX_LINES))
    rate = 12.0 * np.exp(0.4 * rng.standard_normal(DUPLEX_LINES))
    return level * phase, -rate + 2j * np.pi * f_hz, np.full(DUPLEX_LINES, 200.0)
