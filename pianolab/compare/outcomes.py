"""What each answer would make one do: which piano is the choice then, and at what price."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from pianolab.assess import Assessment
from pianolab.compare.learning import Field, once_known
from pianolab.compare.price import PriceAdvice
from pianolab.model import BuyerProfile
from pianolab.statements import Money, Statement, statement

FINE, WORST = 0.0, 1.0
"""How bad an unknown turns out, at best and at worst."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Outcomes:
    """The choice after an answer. ``advice`` is the price of each piano, ``ready`` says whether enough was looked at."""

    assessments: Sequence[Assessment]
    field: Field
    advice: Sequence[PriceAdvice]
    ready: Sequence[bool]
    profile: BuyerProfile

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
