"""What became of a key between two recordings: nothing, one string moved, or all its strings moved.

Three explanations of each key's two observations, the change of its pitch (the smooth drift taken out) and its
unison before and after:

``unchanged``
    both differ by their repeat errors only.
``one string``
    one of n strings moved by d. Then the centre moves by d/n, and the variance of the strings about their mean by
    d² (n-1)/n² + 2 d u/n, where u is the place of that string in its unison. Which string it was can't be heard, so
    u is averaged over every place the unison before allows (for n = 2 both ends, for n = 3 all angles of the plane
    in which three offsets of sum 0 lie).
``all strings``
    the centre moves by d, the unison stays.

How far a slipped string goes is unknown: log-uniform over `LEAST_CENTS` to `MOST_CENTS`, mostly flat, because a pin
turns the way the string pulls [practice]. Repeat errors are Student's t with `FREEDOM` degrees of freedom, so single
wild values do not become slips. Own derivation; averaged by plain sums over a grid.

Limits: with two strings 1 cent apart, a slip of the higher one by exactly 1 cent leaves the unison as wide as
before and looks like all strings moving by half of it. Two strings of three moving alike look like one moving the
other way.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import gammaln, logsumexp

from pianolab.acoustics.judging.tuning import robust_spread, smooth_over_keys
from pianolab.acoustics.strings.unison import OUTERMOST_OVER_SD
from pianolab.recordings.drift import Drift, find_drift
from pianolab.recordings.pairing import Pairs
from pianolab.units import FloatArray

FloatTriples = NDArray[np.float64]

ROUNDS = 25
SHARES, SHARES_KEYS = np.array([0.95, 0.035, 0.015]), 25.0
"""Shares of the three explanations before anything is heard, and how many keys that counts for [practice]."""
USUAL_FACTOR, FACTOR_KEYS, LEAST_FACTOR = 0.6, 4.0, 0.25
"""Repeat error over the stated `_sd` that is expected, how many keys that counts for, and the least."""
UNCHANGED, ONE_STRING, ALL_STRINGS = 0, 1, 2
FREEDOM = 5.0
LEAST_CENTS, MOST_CENTS = 0.6, 40.0
FLAT_SHARE = 0.85
SIZES = 36
PLACES = 13
FAR_CENTRE, FAR_UNISON = 0.1, 0.12
"""A string far off is less exactly measured: share of its distance that pitch and unison may be wrong by."""


@dataclass(frozen=True)
class Explained:
    """Log likelihood of each explanation, shape (3,), and the slip in cents most likely under the last two."""

    log_likelihood: FloatArray
    slip_cents: FloatArray


def log_t(x: FloatArray, scale: FloatArray) -> FloatArray:
    """Log density of Student's t with `FREEDOM` degrees of freedom.

    Examples
    --------
    >>> from scipy import stats
    >>> bool(np.isclose(log_t(np.array(0.3), np.array(0.2)), stats.t.logpdf(0.3, FREEDOM, scale=0.2)))
    True
    """
    norm = gammaln(0.5 * (FREEDOM + 1)) - gammaln(0.5 * FREEDOM) - 0.5 * np.log(FREEDOM * np.pi)
    return np.asarray(norm - np.log(scale) - 0.5 * (FREEDOM + 1) * np.log1p((x / scale) ** 2 / FREEDOM))


def slip_sizes() -> tuple[FloatArray, FloatArray]:
    """Slips in cents and the logarithm of their shares."""
    size = np.geomspace(LEAST_CENTS, MOST_CENTS, SIZES)
    cents = np.concatenate([-size, size])
    share = np.concatenate([np.full(SIZES, FLAT_SHARE), np.full(SIZES, 1.0 - FLAT_SHARE)]) / SIZES
    return cents, np.log(share)


def explain_key(
    own_cents: float,
    own_sd: float,
    *,
    unison_before: float,
    unison_after: float,
    unison_sd: float,
    strings: int,
) -> Explained:
    """How well each explanation fits one key.

    Parameters
    ----------
    own_cents, own_sd : change of pitch, drift taken out, and its uncertainty, cents
    unison_before, unison_after : distance of the outermost strings, cents; NaN where not measured
    unison_sd : uncertainty of their difference, cents
    strings : 1, 2 or 3

    Examples
    --------
    >>> slipped = explain_key(-0.33, 0.06, unison_before=0.3, unison_after=1.1, unison_sd=0.1, strings=3)
    >>> int(np.argmax(slipped.log_likelihood)), bool(-1.4 < slipped.slip_cents[1] < -0.7)
    (1, True)
    """
    cents, share = slip_sizes()
    no_unison = strings == 1 or np.isnan(unison_before) or np.isnan(unison_after)
    same = 0.0 if no_unison else float(log_t(np.array(unison_after - unison_before), np.array(unison_sd)))
    far = np.hypot(own_sd, FAR_CENTRE * np.abs(cents))
    together = log_t(own_cents - cents, far) + share + same
    if strings == 1:
        one = together
    else:
        far = np.hypot(own_sd, FAR_CENTRE * np.abs(cents) / strings)
        one = log_t(own_cents - cents / strings, far) + share
    if not no_unison:
        one = one + _unison_after(cents, unison_before, unison_after, unison_sd, strings)
    nothing = float(log_t(np.array(own_cents), np.array(own_sd))) + same
    return Explained(
        np.array([nothing, float(logsumexp(one)), float(logsumexp(together))]),
        np.array([0.0, cents[np.argmax(one)], cents[np.argmax(together)]]),
    )


def _unison_after(cents: FloatArray, before: float, after: float, sd: float, strings: int) -> FloatArray:
    """Log likelihood of the second unison for each slip, averaged over the place of the string that moved."""
    factor = OUTERMOST_OVER_SD[strings]
    spread = before / factor
    turn = np.array([1.0, -1.0]) if strings == 2 else np.sqrt(2.0) * np.cos(np.linspace(0.0, np.pi, PLACES))
    place = spread * turn
    d = cents[:, None]
    variance = spread**2 + d**2 * (strings - 1) / strings**2 + 2.0 * d * place / strings
    expected = factor * np.sqrt(np.maximum(variance, 0.0))
    each = log_t(after - expected, np.hypot(sd, FAR_UNISON * expected))
    return np.asarray(logsumexp(each, axis=1) - np.log(len(place)))


@dataclass(frozen=True)
class PairKnowledge:
    """What a pair of recordings teaches of its keys; arrays of shape (keys,), cents, NaN where a key is not known.

    ``own`` is the change of pitch with the drift taken out, with its ``own_sd``; ``chance`` and ``slip`` have shape
    (keys, 3), one column per explanation; ``pitch_factor`` is the repeat error over the stated ``_sd``; ``shares``,
    shape (3,), are those of the explanations among all keys.
    """

    drift: Drift
    own: FloatArray
    own_sd: FloatArray
    unison_sd: FloatArray
    chance: FloatTriples
    slip: FloatTriples
    pitch_factor: float
    shares: FloatArray


def learn(pairs: Pairs) -> PairKnowledge:
    """Drift, shares and repeat errors, each given the others, until they stand."""
    rough = pairs.change - smooth_over_keys(pairs.change)
    pitch_factor = max(robust_spread(rough) / float(np.median(pairs.pitch_sd[pairs.known])), LEAST_FACTOR)
    unison_factor, shares = 1.0, SHARES
    weight = pairs.known.astype(float)
    for _ in range(ROUNDS):
        sd = pitch_factor * pairs.pitch_sd
        drift = find_drift(pairs.change, sd, weight=weight, first_key=pairs.first_key)
        own, own_sd = pairs.change - drift.others, np.hypot(sd, drift.others_sd)
        unison_sd = unison_factor * pairs.unison_sd
        chance, slip = _explain(pairs, own, own_sd, unison_sd, shares)
        stay = np.where(pairs.known, chance[:, UNCHANGED], 0.0)
        before = (pitch_factor, unison_factor)
        pitch_factor = pitch_factor * _rescale(own / own_sd, stay, pitch_factor)
        unison_factor = unison_factor * _rescale(pairs.unison_change / unison_sd, stay, unison_factor)
        shares = (chance[pairs.known].sum(axis=0) + SHARES_KEYS * SHARES) / (pairs.known.sum() + SHARES_KEYS)
        weight = stay * _t_weight(own / own_sd)
        if np.allclose(before, (pitch_factor, unison_factor), rtol=1e-3):
            break
    return PairKnowledge(drift, own, own_sd, unison_sd, chance, slip, pitch_factor, shares)


def _explain(
    pairs: Pairs, own: FloatArray, own_sd: FloatArray, unison_sd: FloatArray, shares: FloatArray
) -> tuple[FloatTriples, FloatTriples]:
    chance, slip = np.full((len(own), 3), np.nan), np.zeros((len(own), 3))
    for i in np.flatnonzero(pairs.known):
        told = explain_key(
            float(own[i]),
            float(own_sd[i]),
            unison_before=float(pairs.unison_before[i]),
            unison_after=float(pairs.unison_after[i]),
            unison_sd=float(unison_sd[i]),
            strings=int(pairs.strings[i]),
        )
        log = told.log_likelihood + np.log(shares)
        chance[i] = np.exp(log - log.max()) / np.sum(np.exp(log - log.max()))
        slip[i] = told.slip_cents
    return chance, slip


def _t_weight(z: FloatArray) -> FloatArray:
    return np.asarray((FREEDOM + 1.0) / (FREEDOM + np.nan_to_num(z) ** 2))


def _rescale(z: FloatArray, stay: FloatArray, factor: float) -> float:
    """By how much a repeat error must grow for the unchanged keys' values to be as usual as they should."""
    used = np.where(np.isnan(z), 0.0, stay)
    square = (
        float(np.sum(used * _t_weight(z) * np.nan_to_num(z) ** 2))
        + FACTOR_KEYS * (USUAL_FACTOR / factor) ** 2
    )
    return max(float(np.sqrt(square / (used.sum() + FACTOR_KEYS))), LEAST_FACTOR / factor)


TRIED_CENTS = (0.6, 0.8, 1.0, 1.2, 1.5, 2.0, 3.0, 5.0, 8.0)
TRIED_KEYS = 80
FOUND_SHARE = 0.95


def least_found(
    own_sd: float, unison_sd: float, *, unison_cents: float, shares: FloatArray, listed_chance: float
) -> float | None:
    """The smallest slip of one string of three that is listed nineteen times out of twenty.

    Found by trying: made-up observations with these repeat errors, a fixed seed. A slip counts as found when the key
    is listed, whatever the explanation. None where even the largest that is tried is missed.

    Examples
    --------
    >>> shares = np.array([0.95, 0.035, 0.015])
    >>> sharp, dull = (least_found(sd, 2 * sd, unison_cents=0.6, shares=shares, listed_chance=0.5) for sd in (0.05, 0.5))
    >>> sharp < dull
    True
    """
    rng = np.random.default_rng(1)
    noise = rng.standard_t(FREEDOM, (2, TRIED_KEYS))
    angle = rng.uniform(0.0, np.pi, TRIED_KEYS)
    factor = OUTERMOST_OVER_SD[3]
    for size in TRIED_CENTS:
        place = unison_cents / factor * np.sqrt(2.0) * np.cos(angle)
        variance = (unison_cents / factor) ** 2 + 2.0 * size**2 / 9.0 - 2.0 * size * place / 3.0
        after = np.abs(factor * np.sqrt(np.maximum(variance, 0.0)) + unison_sd * noise[1])
        own = -size / 3.0 + own_sd * noise[0]
        found = 0
        for change, wide in zip(own, after, strict=True):
            told = explain_key(
                change, own_sd, unison_before=unison_cents, unison_after=wide, unison_sd=unison_sd, strings=3
            )
            log = told.log_likelihood + np.log(shares)
            found += bool(1.0 - np.exp(log[UNCHANGED] - logsumexp(log)) >= listed_chance)
        if found >= FOUND_SHARE * TRIED_KEYS:
            return size
    return None


def least_found_of(pairs: Pairs, learned: PairKnowledge, *, listed_chance: float) -> float | None:
    """`least_found` at the usual key with three strings of a pair of recordings; None where there is none."""
    three = pairs.known & (pairs.strings == 3) & ~np.isnan(pairs.unison_before)
    if not three.any():
        return None
    return least_found(
        float(np.median(learned.own_sd[three])),
        float(np.median(learned.unison_sd[three])),
        unison_cents=float(np.median(pairs.unison_before[three])),
        shares=learned.shares,
        listed_chance=listed_chance,
    )
