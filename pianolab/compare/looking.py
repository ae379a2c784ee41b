"""What a look at each open point of a piano is worth, for this buyer and this shortlist: the order of a walk needs it."""

from __future__ import annotations

from collections.abc import Iterable
from math import exp

from pianolab.assess import Assessment
from pianolab.checklist.points import Checklist
from pianolab.checklist.stations import load_hour
from pianolab.compare.steps import NextStep
from pianolab.model import BuyerProfile

FULL_SCORE = 10.0


def worth_of_looking(
    assessment: Assessment, checklist: Checklist, *, profile: BuyerProfile, steps: Iterable[NextStep] = ()
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
        weight = sum(profile.weights.get(aspect.aspect, (0.0, 0.0))) / 2.0
        for unknown in aspect.unknown:
            lost = weight * FULL_SCORE * (1.0 - exp(-unknown.loss)) * data.bad_chance
            worth[unknown.source] = worth.get(unknown.source, 0.0) + lost
    for step in steps:
        if step.piano_id == assessment.piano.id and step.source in worth:
            worth[step.source] += step.chance_to_change
    can_stop = {u.source for u in assessment.unknowns if u.veto_chance > 0.0}
    stops = {p.id: stop for p in checklist if p.id in can_stop and (stop := data.stop_of(p)) is not None}
    return worth | {i: FULL_SCORE * stop.chance * stop.harm for i, stop in stops.items()}
