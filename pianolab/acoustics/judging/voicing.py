"""How bright each key is beside its neighbours, touch and room taken out.

Two measures. `measure_brightness` takes the share of power in the partials above 4 f1 (above key 76: above 2 f1), in dB.
A key struck harder is brighter [goncalves2014], so within each register the straight dependence on level is fitted
robustly and taken out. With one blow per key that slope has its own uncertainty, which is reported.

That share hangs on one or two strong partials, and a room changes each line by some 5 dB; so `spectral_tilt` looks at the
whole spectrum, in dB per octave of partial number. The levels of all partials of all keys are taken for a sum of five
things: the key's own level, a spectrum that changes smoothly over keys and partials, the room's gain, common to lines of
all keys that lie within the room's own bandwidth of one another, the key's own tilt, and scatter. All are Gaussian with
stated spreads, so the tilt and its uncertainty follow from one linear system (method: own). A dull hammer's upper partials
drown in the noise: where the neighbours would have them well heard, a missing partial counts as one at the noise.

The tilt and its distance from the instrument's own spread are measures, not faults. One blow per key doesn't tell a hard
or dull hammer from a key whose strings, strike point or place on the bridge give it a colour of its own: on healthy drawn
pianos of two generators and on real notes such keys stand as far out as keys whose hammer was changed, so no limit
finds most of these without calling sound keys faulty. So `voicing` is said not to be judged, with that reason, and an ear at
the piano decides.

Limits: keys with fewer than three partials have no tilt.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cho_factor, cho_solve

from pianolab.acoustics.judging.tuning import robust_spread, smooth_over_keys
from pianolab.acoustics.strings.partials import HIGHEST_HZ
from pianolab.units import FloatArray

VOICING_UNTOLD = "one blow of a key doesn't tell its hammer from the colour that its strings give it (brightness_dev shows both)"
"""Why the fault `voicing` is not judged."""

HIGH_FROM_KEY = 76
LEAST_SPREAD = 0.6


@dataclass(frozen=True)
class Brightness:
    """Per note: ``brightness_db`` (level taken out) and its ``sd``; ``tilt`` in dB per octave, ``tilt_sd``, ``dev``.

    ``dev`` is the tilt over the spread of the instrument's tilts.
    """

    brightness_db: FloatArray
    sd: FloatArray
    tilt: FloatArray
    tilt_sd: FloatArray
    dev: FloatArray


def brightness_share_db(power: FloatArray, *, key: NDArray[np.int64]) -> FloatArray:
    """Power in the upper partials over the total, dB.

    Parameters
    ----------
    power : shape (notes, partials), partial 1 first; 0 where not heard
    key : shape (notes,)

    Returns
    -------
    ndarray, shape (notes,); NaN where no upper partial is heard
    """
    n = np.arange(1, power.shape[1] + 1)
    high = n > np.where(key > HIGH_FROM_KEY, 2, 4)[:, None]
    upper, total = np.where(high, power, 0.0).sum(axis=1), power.sum(axis=1)
    with np.errstate(divide="ignore", invalid="ignore"):
        share = 10.0 * np.log10(upper / total)
    return np.where((upper > 0) & (total > 0), share, np.nan)


def measure_brightness(
    share_db: FloatArray,
    level_db: FloatArray,
    *,
    register: NDArray[np.int64],
    tilt: FloatArray,
    tilt_sd: FloatArray,
) -> Brightness:
    """Take the dependence on level out of the brightness, and set the tilts against their own spread.

    Parameters
    ----------
    share_db : shape (keys,), from `brightness_share_db`
    level_db : shape (keys,), NaN where unknown
    register : shape (keys,), a number per register
    tilt, tilt_sd : shape (keys,), from `spectral_tilt`

    Returns
    -------
    Brightness
    """
    flat, slope_sd = share_db.copy(), np.full(len(share_db), np.nan)
    for name in np.unique(register):
        own = (register == name) & ~np.isnan(share_db) & ~np.isnan(level_db)
        if own.sum() < 6:
            continue
        trend = smooth_over_keys(np.where(own, share_db, np.nan), stiffness=60.0)
        louder = level_db - smooth_over_keys(np.where(own, level_db, np.nan), stiffness=60.0)
        slope, sd = _slope(louder[own], (share_db - trend)[own])
        flat[own] = share_db[own] - slope * louder[own]
        slope_sd[own] = sd * np.abs(louder[own])
    spread = max(float(np.nan_to_num(robust_spread(tilt))), LEAST_SPREAD)
    dev = tilt / spread
    return Brightness(flat, slope_sd, tilt, tilt_sd, dev)


def _slope(x: FloatArray, y: FloatArray) -> tuple[float, float]:
    """Robust slope through the origin and its standard deviation; kept between 0 and 1.5 dB per dB."""
    w = np.ones(len(x))
    slope = 0.0
    for _ in range(6):
        slope = float(np.sum(w * x * y) / max(np.sum(w * x * x), 1e-9))
        residual = y - slope * x
        scale = max(robust_spread(residual), 0.2)
        w = 1.0 / (1.0 + (residual / (2.0 * scale)) ** 2)
    sd = scale / np.sqrt(max(float(np.sum(w * x * x)), 1e-9))
    return float(np.clip(slope, 0.0, 1.5)), float(sd)


TILT_PARTIALS = 16
LEVEL_DB, BROAD_DB, SMOOTH_DB, ROOM_DB, TILT_DB, SCATTER_DB = 20.0, 30.0, 12.0, 5.0, 2.0, 2.5
"""Spreads of the parts of a partial's level; own estimates from modelled and real scales."""
SMOOTH_KEYS, SMOOTH_OCTAVES = 10.0, 0.5
SURE_DB, LOST_SCATTER_DB = 3.0, 4.0
"""A missing partial tells something if it was expected this far over the noise; it may be anywhere below."""
HEARD_DB, PLAIN_DB = 10.0, 42.0
"""Over the noise: a partial counts as heard; beyond this, how far it stands out is no longer told."""


@dataclass(frozen=True)
class Colour:
    """``tilt`` and ``tilt_sd``, shape (notes,), dB per octave of partial number, NaN with fewer than three partials."""

    tilt: FloatArray
    tilt_sd: FloatArray


def spectral_tilt(
    power: FloatArray, f_hz: FloatArray, *, key: NDArray[np.int64], t60_s: float, at_most: FloatArray
) -> Colour:
    """Each key's own tilt against the smooth spectrum of its neighbours, room and level taken out.

    Parameters
    ----------
    power : shape (notes, partials); 0 where a partial was not heard
    f_hz : same shape, Hz; where a partial was not heard, where it should be
    key : shape (notes,)
    t60_s : s; NaN where no room was heard
    at_most : shape (notes, partials); power that a partial would need to be heard, NaN where nobody could hear it

    Returns
    -------
    Colour
    """
    power, f_hz, at_most = (a[:, :TILT_PARTIALS] for a in (power, f_hz, at_most))
    heard = (power > 0) & ~np.isnan(f_hz)
    heard = heard & (heard.sum(axis=1) >= 3)[:, None]
    if heard.sum() < 30:
        return Colour(np.full(len(key), np.nan), np.full(len(key), np.nan))
    width_hz = 2.2 / t60_s if t60_s > 0.1 else 8.0
    judged = heard.any(axis=1)
    lines = _Lines.at(heard, key=key, f_hz=f_hz)
    level = 10.0 * np.log10(power[heard])
    mean = float(level.mean())
    _, _, weights = _solve(
        lines, level - mean, np.full(len(level), SCATTER_DB), width_hz=width_hz, notes=len(key)
    )
    missing = judged[:, None] & ~heard & ~np.isnan(at_most)
    lost = _Lines.at(missing, key=key, f_hz=f_hz)
    limit = 10.0 * np.log10(at_most[missing])
    expected = mean + _covariance(lost, lines, width_hz=width_hz) @ weights
    tells = expected > limit + SURE_DB
    both = lines.joined(lost.pick(tells))
    scatter = np.repeat([SCATTER_DB, LOST_SCATTER_DB], [len(level), int(tells.sum())])
    tilt, sd, _ = _solve(
        both, np.append(level, limit[tells]) - mean, scatter, width_hz=width_hz, notes=len(key)
    )
    return Colour(np.where(judged, tilt, np.nan), np.where(judged, sd, np.nan))


def least_heard_power(power: FloatArray, over_noise_db: FloatArray, f_hz: FloatArray) -> FloatArray:
    """Power that a partial of each note needs to be heard; NaN above the band where partials are looked for.

    Parameters
    ----------
    power, over_noise_db, f_hz : shape (notes, partials); 0 where a partial was not heard, Hz where it should be

    Returns
    -------
    ndarray, shape (notes, partials)
    """
    told = (over_noise_db > 0) & (over_noise_db < PLAIN_DB) & (power > 0)
    noise_db = np.where(told, 10.0 * np.log10(np.where(told, power, 1.0)) - over_noise_db, np.nan)
    own = np.array(
        [np.nanmedian(row) if known.any() else np.nan for row, known in zip(noise_db, told, strict=True)]
    )
    typical = np.median(own[~np.isnan(own)]) if (~np.isnan(own)).any() else np.nan
    floor_db = np.where(np.isnan(own), typical, own) + HEARD_DB
    return np.where(f_hz < HIGHEST_HZ, 10.0 ** (floor_db[:, None] / 10.0), np.nan)


@dataclass(frozen=True)
class _Lines:
    """Lines in one row: index of their note, key, octaves over partial 1, Hz."""

    note: NDArray[np.int64]
    key: FloatArray
    octave: FloatArray
    f_hz: FloatArray

    @classmethod
    def at(cls, where: NDArray[np.bool_], *, key: NDArray[np.int64], f_hz: FloatArray) -> _Lines:
        note, partial = np.nonzero(where)
        return cls(note, key[note].astype(float), np.log2(partial + 1.0), f_hz[note, partial])

    def pick(self, keep: NDArray[np.bool_]) -> _Lines:
        return _Lines(self.note[keep], self.key[keep], self.octave[keep], self.f_hz[keep])

    def joined(self, other: _Lines) -> _Lines:
        pairs = ((getattr(self, name), getattr(other, name)) for name in self.__dataclass_fields__)
        return _Lines(*(np.concatenate(pair) for pair in pairs))

    @property
    def lean(self) -> FloatArray:
        return np.asarray(np.clip(self.octave, 0.0, 3.2) - 1.5)


def _covariance(a: _Lines, b: _Lines, *, width_hz: float) -> FloatArray:
    own = a.note[:, None] == b.note
    keys, octaves = a.key[:, None] - b.key, a.octave[:, None] - b.octave
    out = BROAD_DB**2 * np.exp(-0.5 * (keys / 30.0) ** 2 - 0.5 * (octaves / 1.5) ** 2)
    out += SMOOTH_DB**2 * np.exp(-0.5 * (keys / SMOOTH_KEYS) ** 2 - 0.5 * (octaves / SMOOTH_OCTAVES) ** 2)
    out += _room(a, b, width_hz=width_hz)
    return np.asarray(out + own * (LEVEL_DB**2 + TILT_DB**2 * a.lean[:, None] * b.lean))


def _room(a: _Lines, b: _Lines, *, width_hz: float) -> FloatArray:
    """The room's part of the covariance."""
    return np.asarray(ROOM_DB**2 / (1.0 + ((a.f_hz[:, None] - b.f_hz) / width_hz) ** 2))


def _solve(
    lines: _Lines, level: FloatArray, scatter: FloatArray, *, width_hz: float, notes: int
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Tilt and its sd for each note, and the weights that foretell further lines."""
    covariance = _covariance(lines, lines, width_hz=width_hz)
    covariance[np.diag_indices(len(level))] += scatter**2
    factor = cho_factor(covariance, overwrite_a=True, check_finite=False)
    leaning = np.zeros((len(level), notes))
    leaning[np.arange(len(level)), lines.note] = TILT_DB**2 * lines.lean
    solved = cho_solve(factor, np.column_stack([level, leaning]), check_finite=False)
    known = np.sum(leaning * solved[:, 1:], axis=0)
    return leaning.T @ solved[:, 0], np.sqrt(np.maximum(TILT_DB**2 - known, 0.0)), solved[:, 0]
