"""Buzz and rattle: energy that belongs to no partial, above what the neighbours have.

While the note is loud (0.25 s after the blow, so the hammer's knock is over) the spectrum between the
partials, from 1.2 to 9 kHz, is compared with the tone and then with the same piano's neighbours: uprights have
more of it than grands, so no absolute limit is fair. What repeats once per period and what rattles at random
both end up between the stiff string's partials. What does not stand clear of the recording's own noise is taken
for noise: its level is then only a bound. Limits: the room's own rattles look the same; a buzz more than some 45 dB
under the tone drowns in the noise, and at the top, where the tone is over soon, so does a stronger one.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from pianolab.acoustics.judging.tuning import robust_spread
from pianolab.acoustics.limits import limits
from pianolab.units import FloatArray

LOW_HZ, HIGH_HZ = 1200.0, 9000.0
MIDDLE_OF_NOISE = 0.738
"""Mean of the middle half of an exponential distribution with mean 1: (F(3/4) - F(1/4)) / (1/2), F(u) = (1-u)ln(1-u) + u."""
CLEAR_SHARE = 0.3
"""Excess over the noise, as a share of it, from which something is heard between the partials."""

NEIGHBOUR_KEYS, LEAST_NEIGHBOURS = 7, 6
LEAST_SPREAD_DB, USUAL_SPREAD_DB = 1.2, 2.5


@dataclass(frozen=True)
class Between:
    """Energy between the partials, dB re the tone, the least that noise lets be heard of it, and the tone, dB re 1.

    Each of shape (notes,). Where less than that least is there, ``db`` is the least; NaN where the partials leave no room.
    """

    db: FloatArray
    least_db: FloatArray
    tone_db: FloatArray

    @property
    def heard(self) -> NDArray[np.bool_]:
        """Whether something stands clear of the noise."""
        return np.asarray(self.db > self.least_db)


def between_partials_db(
    power: NDArray[np.float32],
    *,
    f_hz: FloatArray,
    noise_power: FloatArray,
    rate_hz: int,
    size: int,
) -> Between:
    """Energy between the partials.

    Parameters
    ----------
    power : shape (notes, bins), line spectra of the loud part
    f_hz : shape (notes, partials), the stiff series up to the band's end (not only heard partials)
    noise_power : same shape as ``power`` and in its units
    """
    hz = np.arange(power.shape[1]) * rate_hz / size
    band = (hz >= LOW_HZ) & (hz <= min(HIGH_HZ, 0.45 * rate_hz))
    db, least, tone_db = np.full((3, len(power)), np.nan)
    for i in range(len(power)):
        spacing = f_hz[i, 1] - f_hz[i, 0]
        free = band.copy()
        half = min(0.3 * spacing, 25.0 + 0.004 * spacing)
        for f in f_hz[i][f_hz[i] < hz[-1]]:
            free[max(0, int((f - half) * size / rate_hz)) : int((f + half) * size / rate_hz) + 2] = False
        if free.sum() < 20:
            continue
        # A partial's sidelobes and the knock's remains are few bins: the middle ignores them, a buzz fills all.
        noise = noise_power[i, free]
        level = np.sort(power[i, free] / np.maximum(noise, 1e-30))
        middle = float(np.mean(level[len(level) // 4 : (3 * len(level)) // 4 + 1])) / MIDDLE_OF_NOISE
        own_noise = float(np.mean(noise)) * int(band.sum()) + 1e-20
        tone = max(float(np.sum(power[i, hz >= 0.7 * f_hz[i, 0]])), 1e-20)
        tone_db[i] = 10.0 * np.log10(tone)
        least[i] = 10.0 * np.log10(CLEAR_SHARE * own_noise / tone)
        db[i] = 10.0 * np.log10(max(middle - 1.0, CLEAR_SHARE) * own_noise / tone)
    return Between(db, least, tone_db)


@dataclass(frozen=True)
class OverNeighbours:
    """How far the energy between the partials stands over the neighbours', each of shape (notes,).

    ``db`` re the tone, ``dev`` the same in spreads, ``plain_db`` without the tone; NaN with fewer than
    `LEAST_NEIGHBOURS` neighbours. ``bounded``: most neighbours are only known to be no louder than the noise, so these
    are the least they may be.
    """

    db: FloatArray
    dev: FloatArray
    plain_db: FloatArray
    bounded: NDArray[np.bool_]


def over_neighbours(between: Between, *, key: NDArray[np.int64]) -> OverNeighbours:
    """How far each note's energy between the partials stands over its neighbours'.

    Of neighbours that the noise hides only a bound is known, so the usual level re the tone is the quarter of them that
    is lowest, and the spread is that of the notes that are heard (`USUAL_SPREAD_DB` where too few are). A knock that
    still rings in the room is as loud beside a weak tone as beside a strong one; so the level without the tone is compared too.

    Parameters
    ----------
    between : Between, shape (notes,)
    key : shape (notes,)

    Returns
    -------
    OverNeighbours

    Examples
    --------
    >>> level = np.full(20, -50.0)
    >>> level[9] = -30.0
    >>> between = Between(level, least_db=np.full(20, -60.0), tone_db=np.zeros(20))
    >>> over = over_neighbours(between, key=np.arange(30, 50))
    >>> float(over.db[9]), float(over.plain_db[9]), float(over.db[3]), bool(over.dev[9] > 5.0)
    (20.0, 20.0, 0.0, True)
    """
    over, plain = np.full((2, len(key)), np.nan)
    bounded = np.zeros(len(key), dtype=bool)
    absolute = between.db + between.tone_db
    for i, k in enumerate(key):
        near = (np.abs(key - k) <= NEIGHBOUR_KEYS) & (key != k) & ~np.isnan(between.db)
        if near.sum() >= LEAST_NEIGHBOURS:
            over[i] = between.db[i] - np.quantile(between.db[near], 0.25)
            plain[i] = absolute[i] - np.median(absolute[near])
            bounded[i] = between.heard[near].mean() < 0.5
    heard = between.heard & ~np.isnan(over)
    enough = heard.sum() >= LEAST_NEIGHBOURS
    spread = max(robust_spread(over[heard]), LEAST_SPREAD_DB) if enough else USUAL_SPREAD_DB
    return OverNeighbours(over, over / min(spread, USUAL_SPREAD_DB), plain, bounded)


def buzzes(over: OverNeighbours, i: int, *, key: int) -> Literal["yes", "no", "perhaps"]:
    """Whether more stands between a note's partials than between its neighbours', with the tone and without it."""
    lim = limits()["buzz"]
    least_plain = lim["knock_plain_db"] if key >= lim["knock_from_key"] else lim["outlier_plain_db"]
    out = over.dev[i] > lim["outlier_dev"] and over.db[i] > lim["outlier_db"]
    if out and over.plain_db[i] > least_plain:
        return "yes"
    nearly = over.dev[i] > lim["doubtful_dev"] and over.plain_db[i] > lim["outlier_plain_db"]
    return "perhaps" if nearly or (out and over.plain_db[i] > lim["doubtful_plain_db"]) else "no"
