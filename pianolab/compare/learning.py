"""What learning something would do: the chance that it changes what to do, what that is worth, what each answer leads to.

Expected value of information: what one gains on average by choosing once it is known, over choosing now. Buying a
piano that turns out to be unfit loses the money; not buying is always open.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from math import exp

import numpy as np
from numpy.typing import NDArray

from pianolab.assess import Assessment
from pianolab.checklist.points import Checklist
from pianolab.checklist.stations import load_hour
from pianolab.compare.price import PriceAdvice
from pianolab.compare.simulate import Array, PianoDraws, falls_below, severity, turns_out_stopped
from pianolab.compare.steps import NextStep
from pianolab.model import Buyer
from pianolab.statements import Money, Statement, statement

FULL_SCORE = 10.0
FINE, WORST = 0.0, 1.0
"""How bad an unknown turns out, at best and at worst."""
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


@dataclass(frozen=True, kw_only=True, eq=False)
class Outcomes:
    """The choice after an answer. ``advice`` is the price of each piano, ``ready`` says whether enough was looked at."""

    assessments: Sequence[Assessment]
    field: Field
    advice: Sequence[PriceAdvice]
    ready: Sequence[bool]
    profile: Buyer

    def once_known(self, piano: int, keys: Iterable[str]) -> tuple[Statement, ...]:
        """What follows if all of it is as it should be, and if it turns out as bad as it can; nothing if the same."""
        good, bad = (self._choice(*self._with(piano, set(keys), level)) for level in (FINE, WORST))
        if good == bad:
            return ()
        return (statement("then.if good", then=good), statement("then.if bad", then=bad))

    def once_cleared(self, piano: int) -> tuple[Statement, ...]:
        """What follows if what stops a piano is lifted, and if it stands."""
        buyable = self.field.buyable.copy()
        stands = self._choice(self.field.utility, buyable)
        buyable[piano] = True
        lifted = self._choice(self.field.utility, buyable)
        if lifted == stands:
            return ()
        return (statement("then.if lifted", then=lifted), statement("then.if it stands", then=stands))

    def _with(self, piano: int, keys: set[str], turns_out: float) -> tuple[np.ndarray, np.ndarray]:
        """Utilities and who may be bought if some unknowns of one piano turn out so."""
        unknown = self.field.draws[piano].unknown
        chosen = [i for i, key in enumerate(unknown) if key in keys]
        level = np.full((len(chosen), 1), turns_out, dtype=np.float32)
        after = once_known(self.field, piano, chosen, level)
        utility, buyable = self.field.utility.copy(), self.field.buyable.copy()
        utility[piano] = float(after.utility[0])
        buyable[piano] &= not bool(after.unfit[0])
        return utility, buyable

    def _choice(self, utility: np.ndarray, buyable: np.ndarray) -> Statement:
        if not buyable.any():
            return statement("then.none", pianos=len(utility))
        best = int(np.argmax(np.where(buyable, utility, -np.inf)))
        return self._buy(best)

    def _buy(self, piano: int) -> Statement:
        owner, advice = self.assessments[piano].piano, self.advice[piano]
        if not self.ready[piano]:
            return statement("then.look on", owner.id, name=owner.name)
        if advice.aim_at is None:
            return statement("then.buy", owner.id, name=owner.name)
        amount = Money(advice.aim_at, self.profile.currency, self.profile.locale)
        return statement("then.buy at", owner.id, name=owner.name, amount=amount)


def worth_of_looking(
    assessment: Assessment, checklist: Checklist, *, profile: Buyer, steps: Iterable[NextStep] = ()
) -> dict[str, float]:
    """What a look at each point that is still unknown is worth, in points of a score of 10.

    Parameters
    ----------
    assessment : the piano judged as it is known now
    checklist : the points it was judged by
    profile : the buyer, whose weights say what an aspect counts
    steps : what could be found out next on the whole shortlist; chances to change the choice count on top

    Returns
    -------
    dict of float by point id; a point that can tell nothing new is not in it

    Notes
    -----
    A stop is worth its chance times the harm of finding it too late (``checklist/data/hour.toml``). Any other point
    is worth what it would take from the score for this buyer if it were bad, times the chance that it is, and the
    chance that knowing it changes the first choice, which counts like a whole point. Own choice: it orders looks, and
    no judgement rests on it.

    Examples
    --------
    >>> from pianolab.assess import assess_piano, load_prices
    >>> from pianolab.checklist import load_checklist
    >>> from pianolab.model import Piano, load_profiles
    >>> points, buyer = load_checklist(), load_profiles()["first piano"]
    >>> unseen = assess_piano(Piano(name="A"), [], survey=None, checklist=points, prices=load_prices())
    >>> worth = worth_of_looking(unseen, points, profile=buyer)
    >>> worth["bridge-treble"] > worth["keys-chips"] > 0
    True
    """
    data = load_hour()
    worth: dict[str, float] = {}
    for aspect in assessment.aspects:
        weight = sum(profile.weights[aspect.aspect]) / 2.0
        for unknown in aspect.unknown:
            lost = weight * FULL_SCORE * (1.0 - exp(-unknown.loss)) * data.bad_chance
            worth[unknown.source] = worth.get(unknown.source, 0.0) + lost
    for step in steps:
        if step.piano_id == assessment.piano.id and step.source in worth:
            worth[step.source] += step.chance_to_change
    can_stop = {u.source for u in assessment.unknowns if u.veto_chance > 0.0}
    stops = {p.id: stop for p in checklist if p.id in can_stop and (stop := data.stop_of(p)) is not None}
    return worth | {i: FULL_SCORE * stop.chance * stop.harm for i, stop in stops.items()}
