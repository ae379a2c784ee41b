"""What of the needed work comes off the worth of a piano: what is known, what may come to light, what was promised."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from math import prod

from pianolab.assess import Assessment, RepairJob
from pianolab.compare.pricing_data import load_pricing
from pianolab.statements import Statement


@dataclass(frozen=True, kw_only=True)
class Work:
    """One needed job and what it costs on average: ``known`` for what was found, ``possible`` for what nobody has seen.

    ``promised`` says that the seller has said it will be done; then it is not the buyer's to pay once it is in writing.
    """

    job: RepairJob
    known: float
    possible: float
    promised: bool


def needed_work(assessment: Assessment) -> tuple[Work, ...]:
    """The needed jobs on the instrument itself, the dearest first.

    Bringing it home and the first tunings come with every piano and say nothing of this one's worth. A job counts only
    where no bigger one that includes it is done. What a technician's look would bring to light is not taken off: the
    price is named subject to that look (`conditions_of`), and who finds it then goes home or begins anew.
    """
    looks = {u.key or u.source for u in assessment.unknowns if u.effort == "technician"}
    jobs = [forced for job in assessment.repairs.jobs if (forced := job.forced) and job.kind == "work"]
    given = {p.subject for p in assessment.promises}
    found = []
    for job in jobs:
        apart = prod(1.0 - bigger.chance for bigger in jobs if job.job in bigger.includes)
        left = 1.0 - (1.0 - job.known_chance) * prod(1.0 - p for key, p in job.waits_for if key not in looks)
        whole, known = (job.mean_price * apart * chance for chance in (left, job.known_chance))
        promised = job.found and is_promised(job.why, given)
        found.append(Work(job=job, known=known, possible=whole - known, promised=promised))
    return tuple(sorted(found, key=lambda w: (-w.known, -w.possible, w.job.job)))


def is_promised(why: Iterable[Statement], given: set[str]) -> bool:
    """Whether all reasons of a job are among the points at which the seller promised something.

    Examples
    --------
    >>> from pianolab.statements import statement
    >>> why = (statement("job.flat", "pitch", cents=40),)
    >>> is_promised(why, {"tuning-unisons"}), is_promised(why, {"lid"}), is_promised((), {"lid"})
    (True, False, False)
    """
    also = load_pricing()["promises"]
    subjects = [reason.subject for reason in why]
    return bool(subjects) and all(s in given or not given.isdisjoint(also.get(s, ())) for s in subjects)
