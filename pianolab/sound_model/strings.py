"""Strings of the modelled piano: stiffness over the compass, stretched tuning, strings coupled at the bridge."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pianolab.errors import BadInput
from pianolab.units import A4_KEY, MIDI_OF_KEY_0

FloatArray = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]

TREBLE_SLOPE, TREBLE_INTERCEPT = 9.26e-2, -13.64
BASS_SLOPE, BASS_INTERCEPT = -8.47e-2, -5.82


def inharmonicity_line(key: ArrayLike, *, bass_intercept: float = BASS_INTERCEPT) -> FloatArray:
    """Inharmonicity coefficient B over the compass: a treble line all pianos share, a bass line of each.

    Parameters
    ----------
    key : int or array; key number, A4 = 49
    bass_intercept : float; logarithm of the bass line at MIDI number 0, lower for longer bass strings

    Returns
    -------
    ndarray of the same shape, no unit

    Notes
    -----
    B(m) = exp(a_T m + b_T) + exp(a_B m + b_B) over the MIDI number m [rigaud2013].

    Examples
    --------
    >>> float(np.round(inharmonicity_line(49) * 1e4, 3))
    7.183
    """
    midi = np.asarray(key, dtype=float) + MIDI_OF_KEY_0
    treble = np.exp(TREBLE_SLOPE * midi + TREBLE_INTERCEPT)
    return np.asarray(treble + np.exp(BASS_SLOPE * midi + bass_intercept))


def octave_stretch_cents(low: ArrayLike, high: ArrayLike, *, partial: ArrayLike) -> FloatArray:
    """How much wider than 1200 cents an octave is, from partial 1 to partial 1, when it doesn't beat.

    Parameters
    ----------
    low, high : float or array; inharmonicity of the lower and of the upper note
    partial : number r of the upper note's partial that meets partial 2r of the lower note

    Returns
    -------
    ndarray, cents

    Examples
    --------
    >>> float(np.round(octave_stretch_cents(3e-4, 7e-4, partial=2), 2))
    2.07
    """
    r2 = np.asarray(partial, dtype=float) ** 2
    b_low, b_high = np.asarray(low, dtype=float), np.asarray(high, dtype=float)
    lower = (1.0 + 4.0 * r2 * b_low) / (1.0 + b_low)
    upper = (1.0 + r2 * b_high) / (1.0 + b_high)
    return np.asarray(600.0 * np.log2(lower / upper))


def stretch_curve_cents(
    key: ArrayLike, *, bass_intercept: float = BASS_INTERCEPT, scale: float = 1.0
) -> FloatArray:
    """Deviation from equal temperament of a tuning whose octaves don't beat, 0 at A4.

    Octaves meet at partials 6:3 in the bass, 4:2 in the middle and 2:1 in the top [practice]; ``scale``
    multiplies the inharmonicity (0: no stiffness, so equal temperament).

    Examples
    --------
    >>> curve = stretch_curve_cents([1, 49, 88])
    >>> bool(curve[0] < -5), float(curve[1]), bool(curve[2] > 15)
    (True, 0.0, True)
    """
    grid = np.arange(-20.0, 112.0, 0.25)
    lower, upper = (
        scale * inharmonicity_line(grid + step, bass_intercept=bass_intercept) for step in (-6.0, 6.0)
    )
    meets_at = np.interp(grid, [1.0, 40.0, 62.0, 88.0], [3.0, 2.0, 1.4, 1.0])
    slope = octave_stretch_cents(lower, upper, partial=meets_at) / 12.0
    curve = np.concatenate([[0.0], np.cumsum(0.5 * (slope[1:] + slope[:-1]) * np.diff(grid))])
    at_key = np.interp(np.asarray(key, dtype=float), grid, curve)
    return np.asarray(at_key - np.interp(float(A4_KEY), grid, curve))


def partial_hz(f1_hz: ArrayLike, *, inharmonicity: float, numbers: ArrayLike) -> FloatArray:
    """Partials of stiff strings from their first partial.

    Parameters
    ----------
    f1_hz : float or array of any shape, Hz; first partial, stiffness included
    inharmonicity : float; B in f_n = n f0 sqrt(1 + B n²)
    numbers : array, shape (partials,)

    Returns
    -------
    ndarray, shape of ``f1_hz`` with (partials,) before it, Hz

    Examples
    --------
    >>> partial_hz(100.0, inharmonicity=0.0, numbers=[1, 2, 3])
    array([100., 200., 300.])
    """
    if inharmonicity < 0:
        raise BadInput("inharmonicity", inharmonicity, "0 or more")
    first = np.asarray(f1_hz, dtype=float)
    n = np.asarray(numbers, dtype=float).reshape(-1, *(1,) * first.ndim)
    ideal = first / np.sqrt(1.0 + inharmonicity)
    return np.asarray(n * ideal * np.sqrt(1.0 + inharmonicity * n**2))


def coupled_modes(
    detuning_rad_s: ArrayLike,
    *,
    coupling_per_s: ArrayLike,
    loss_per_s: ArrayLike = 0.0,
    weights: ArrayLike | None = None,
    excitation: ArrayLike | None = None,
    heard: ArrayLike | None = None,
) -> tuple[ComplexArray, ComplexArray]:
    """Modes of strings that move one bridge: how they decay, beat or lock.

    Slow amplitudes a_j obey da/dt = (i D - S - xi w wᵀ) a, and the bridge moves with wᵀ a.

    Parameters
    ----------
    detuning_rad_s : array, shape (..., strings); each string alone, against a common centre
    coupling_per_s : array, shape (...), 1/s; xi, its real part the resistance of the bridge, its imaginary
        part the reactance
    loss_per_s : array, shape (...) or (..., strings), 1/s; what a string loses without the bridge
    weights, excitation : array, shape (..., strings); how strongly a string drives the bridge and how hard
        the hammer hits it; 1 if left out
    heard : array, shape (..., strings), may be complex; how a string sounds, ``weights`` if left out

    Returns
    -------
    poles, amplitudes : complex arrays, shape (..., strings); rate (negative real part, 1/s) and pull
        (rad/s) of each mode, and its share in the movement of the bridge (in what is heard)

    Notes
    -----
    Two equal strings: one mode dies twice as fast as one string would, one doesn't die at all; strings
    detuned by less than the coupling share one frequency and don't beat [weinreich1977].

    Examples
    --------
    >>> poles, _ = coupled_modes([0.6, -0.6], coupling_per_s=1.0)
    >>> [float(r) for r in np.sort(np.round(-poles.real, 12))]
    [0.2, 1.8]
    """
    detuning = np.asarray(detuning_rad_s, dtype=float)
    ones = np.ones_like(detuning)
    w = ones if weights is None else ones * np.asarray(weights, dtype=float)
    struck = ones if excitation is None else ones * np.asarray(excitation, dtype=float)
    loss = np.asarray(loss_per_s, dtype=float)
    loss = ones * (loss if loss.ndim == detuning.ndim else loss[..., None])
    xi = np.asarray(coupling_per_s, dtype=complex)[..., None, None]
    system = -xi * w[..., :, None] * w[..., None, :] + (1j * detuning - loss)[..., None] * np.eye(
        detuning.shape[-1]
    )
    poles, shapes = np.linalg.eig(system)
    shares = np.linalg.solve(shapes, struck[..., None].astype(complex))[..., 0]
    out = w if heard is None else ones * np.asarray(heard)
    return poles, np.einsum("...j,...jk->...k", out, shapes) * shares
