"""Buzz and rattle: energy that belongs to no partial, above what the neighbours have.

While the note is loud (0.25 s after the blow, so the hammer's knock is over) the spectrum between the
partials, from 1.2 to 9 kHz, is compared with the tone and then with the same piano's neighbours: uprights have
more of it than grands, so no absolute limit is fair. What repeats once per period and what rattles at random
both end up between the stiff string's partials. Limits: the room's own rattles look the same; a buzz more
than some 45 dB under the tone drowns in the noise.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pianolab.units import FloatArray

LOW_HZ, HIGH_HZ = 1200.0, 9000.0


def between_partials_db(
    power: NDArray[np.float32],
    *,
    f_hz: FloatArray,
    noise_power: FloatArray,
    rate_hz: int,
    size: int,
) -> FloatArray:
    """Energy between the partials re the tone, dB, shape (notes,); NaN where noise drowns it.

    Parameters
    ----------
    power : shape (notes, bins), line spectra of the loud part
    f_hz : shape (notes, partials), the stiff series up to the band's end (not only heard partials)
    noise_power : shape (bins,), in the units of ``power``
    """
    hz = np.arange(power.shape[1]) * rate_hz / size
    band = (hz >= LOW_HZ) & (hz <= min(HIGH_HZ, 0.45 * rate_hz))
    out = np.full(len(power), np.nan)
    for i in range(len(power)):
        spacing = f_hz[i, 1] - f_hz[i, 0]
        free = band.copy()
        half = min(0.3 * spacing, 25.0 + 0.004 * spacing)
        for f in f_hz[i][f_hz[i] < hz[-1]]:
            free[max(0, int((f - half) * size / rate_hz)) : int((f + half) * size / rate_hz) + 2] = False
        if free.sum() < 20:
            continue
        # A partial's sidelobes and the knock's remains are few bins: the median ignores them, a buzz fills all.
        level = np.sort(power[i, free] - noise_power[free])
        excess = float(np.mean(level[len(level) // 4 : (3 * len(level)) // 4 + 1])) * int(band.sum())
        least = 0.1 * float(np.sum(noise_power[band])) + 1e-20
        tone = float(np.sum(power[i, hz >= 0.7 * f_hz[i, 0]]))
        out[i] = 10.0 * np.log10(max(excess, least) / max(tone, 1e-20))
    return out
