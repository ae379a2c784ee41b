"""What learning something would do: the chance that it changes what to do, and what that is worth.

Expected value of information: what one gains on average by choosing once it is known, over choosing now. Buying a
piano that turns out to be unfit loses the money; not buying is always open.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pianolab.compare.simulate import Array, PianoDraws, falls_below, severity, turns_out_stopped

HAGGLED_OVER = 0.15
"""A surprise that costs a smaller share of what is paid is haggled over and changes nothing else; own choice."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Field:
    """All pianos as a next step sees them: draws, expected utility, who may be bought; what a point is in money.

    ``spare`` is for each piano by how much like ones say it is worth more than is asked for it, in the buyer's money;
    NaN where nothing carries a price.
    """

    draws: Sequence[PianoDraws]
    utility: Array
    buyable: NDArray[np.bool_]
    weights: Array
    money_per_point: float
    spare: Array

    def best_other(self, piano: int) -> float:
        """Highest expected utility among the other pianos that may be bought; minus infinity if none."""
        others = self.buyable.copy()
        others[piano] = False
        return float(self.utility[others].max()) if others.any() else float("-inf")


@dataclass(frozen=True, kw_only=True)
class Learned:
    """What learning a set of unknowns does: the chance that it changes what to do, and its worth in points."""

    chance: float
    worth: float


@dataclass(frozen=True, kw_only=True, eq=False)
class After:
    """One piano once something is known, draw by draw: its expected utility, whether it proves unfit, what is saved.

    ``saved`` is by how much less than expected the needed repairs come to, in the buyer's money.
    """

    utility: Array
    unfit: NDArray[np.bool_]
    saved: Array | float = 0.0


def learn(field: Field, piano: int, keys: Iterable[str]) -> Learned:
    """Simulate learning some unknowns of one piano.

    In each draw those unknowns take a value, the piano's expected utility follows, and the choice is made again.
    """
    if not field.buyable[piano]:
        return Learned(chance=0.0, worth=0.0)
    d, wanted = field.draws[piano], set(keys)
    chosen = [i for i, key in enumerate(d.unknown) if key in wanted]
    return weigh(field, piano, once_known(field, piano, chosen, d.level[chosen]))


def once_known(field: Field, piano: int, chosen: Sequence[int], level: NDArray[np.float32]) -> After:
    """One piano once its unknowns ``chosen`` are known to turn out at ``level``, shape (chosen, draws).

    It proves unfit where what is known then stops it, or takes an aspect under its floor.
    """
    d = field.draws[piano]
    loss = d.loss[:, chosen].astype(np.float32)
    left = np.exp(-(loss @ severity(level)))
    relative = left / d.mean_factor[:, chosen].prod(axis=1)[:, None]
    means = d.high * d.mean_factor.prod(axis=1)
    change = (field.weights[:-1] * means) @ (relative - 1.0)
    saved = _saved(d, {d.unknown[i]: row for i, row in zip(chosen, level, strict=True)})
    return After(
        utility=field.utility[piano] + change + saved / field.money_per_point,
        unfit=turns_out_stopped(level, d.veto_chance[chosen])
        | falls_below(d.high, d.loss[:, chosen], level, d.floors),
        saved=saved,
    )


def _saved(d: PianoDraws, level_of: Mapping[str, NDArray[np.float32]]) -> Array | float:
    saved: Array | float = 0.0
    for hunt in d.hunts:
        if not level_of.keys().isdisjoint(hunt.chance_of):
            saved = saved + hunt.expected_cost({}) - hunt.expected_cost(level_of)
    return saved


def weigh(field: Field, piano: int, after: After) -> Learned:
    """Choose again in each draw; what is gained is counted draw by draw, so that no change is worth nothing."""
    other = field.best_other(piano)
    if not np.isfinite(other):
        return _buy_or_not(field, piano, after)
    leads = field.utility[piano] >= other
    changed = (after.unfit | (after.utility < other)) if leads else (~after.unfit & (after.utility > other))
    # Who bought it all the same would keep what money alone counts for: no aspect does any more.
    d = field.draws[piano]
    ruined = float(field.utility[piano] - field.weights[:-1] @ (d.high * d.mean_factor.prod(axis=1)))
    kept = np.where(after.unfit, ruined, after.utility)
    gain = np.maximum(other - kept if leads else kept - other, 0.0) * changed
    return Learned(chance=float(changed.mean()), worth=float(gain.mean()))


def _buy_or_not(field: Field, piano: int, after: After) -> Learned:
    """With nothing else to buy: an unfit one loses the price and the move, a dear surprise what it costs beyond its worth."""
    d = field.draws[piano]
    paid = float((d.total - d.repairs).mean())
    left = np.maximum(field.spare[piano], 0.0) + after.saved
    too_dear = ~after.unfit & (left < -HAGGLED_OVER * paid)
    changed = after.unfit | too_dear
    gain = np.where(after.unfit, paid, np.where(too_dear, -left, 0.0))
    return Learned(chance=float(changed.mean()), worth=float(gain.mean()) / field.money_per_point)
