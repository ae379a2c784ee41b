"""What a piano usually is like over the compass: inharmonicity and stretch, as starting points only.

Inharmonicity follows two straight lines in log B over the keys [rigaud2013]: the treble line is common to
most pianos, the bass line differs from instrument to instrument. The usual stretch is that of octaves
tuned without beats on such strings. Both only tell where to look; what is reported is measured.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from pianolab.units import MIDI_OF_KEY_0, FloatArray

TREBLE_SLOPE, TREBLE_LEVEL = 9.26e-2, -13.64
BASS_SLOPE, BASS_LEVEL = -8.47e-2, -5.82


def usual_inharmonicity(key: ArrayLike) -> FloatArray:
    """Inharmonicity B of a medium-sized piano at each key.

    Parameters
    ----------
    key : int or array, any shape

    Returns
    -------
    ndarray, same shape, no unit

    Notes
    -----
    Constants of the two-line model as restated in open research code, attributed to [rigaud2013].

    Examples
    --------
    >>> round(float(usual_inharmonicity(40)) * 1e4, 4)
    3.2686
    """
    midi = np.asarray(key, dtype=float) + MIDI_OF_KEY_0
    return np.asarray(np.exp(TREBLE_SLOPE * midi + TREBLE_LEVEL) + np.exp(BASS_SLOPE * midi + BASS_LEVEL))


def usual_stretch_cents(key: ArrayLike) -> FloatArray:
    """Distance of partial 1 from equal temperament that a usual stretched tuning gives, in cents.

    About -20 at the lowest key, 0 around A4, +30 at the highest; from memory, plausibility only.

    Examples
    --------
    >>> abs(float(usual_stretch_cents(49))) < 0.5
    True
    """
    x = (np.asarray(key, dtype=float) - 49.0) / 39.0
    return np.asarray(np.where(x < 0, 9.0 * x**3 + 4.0 * x, 24.0 * x**3 + 4.0 * x))


USUAL_DECAY_KEYS = (1, 28, 52, 64, 76, 88)
USUAL_DECAY_20_S = (5.0, 1.9, 0.85, 0.48, 0.28, 0.16)


def usual_decay_20_s(key: ArrayLike) -> FloatArray:
    """Time to fall 20 dB that notes of sound pianos usually take, in s.

    Common practice, no published table: between the shipped recordings of a real grand and the decay rates
    of published synthesis tables, log-linear between a few keys. A factor of 1.5 either way is ordinary.

    Examples
    --------
    >>> round(float(usual_decay_20_s(52)), 2)
    0.85
    """
    log = np.interp(np.asarray(key, dtype=float), USUAL_DECAY_KEYS, np.log(USUAL_DECAY_20_S))
    return np.asarray(np.exp(log))
