"""Why a piano can't be bought as things stand: a veto, the budget, or too much that is wrong with it."""

from __future__ import annotations

import numpy as np

from pianolab.assess import Assessment
from pianolab.compare.simulate import PianoDraws
from pianolab.compare.weights import middle_weights
from pianolab.model import BuyerProfile
from pianolab.statements import Money, Statement, statement

GOOD_ENOUGH = 4.0
"""A piano whose weighted score can't even reach this at best is not worth buying; own choice."""


def obstacle_of(assessment: Assessment, draws: PianoDraws, *, profile: BuyerProfile) -> Statement | None:
    """The obstacle; None where the piano may be bought.

    The budget stands in the way only if even the 10 % point of all the money it takes lies above it.
    """
    if assessment.vetoes:
        return statement("obstacle.stop", stop=assessment.vetoes[0].says)
    least = float(np.percentile(draws.total, 10))
    if profile.budget is not None and draws.price_known and least > float(profile.budget):
        return statement("obstacle.budget", takes=Money(least, profile.currency, profile.locale))
    weights = middle_weights(profile)[:-1]
    best = float(np.dot([a.high for a in assessment.aspects], weights) / weights.sum())
    if best < GOOD_ENOUGH:
        return statement("obstacle.too much wrong", best=best)
    return None
