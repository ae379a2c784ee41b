"""Numbers and states as sentences a reader without statistics understands."""

from __future__ import annotations

from collections.abc import Sequence

from pianolab.assess.assessment import RepairJob
from pianolab.figures.judged import GRADE_WORDS as GRADE_WORDS

JUDGED_WORDS = {5: "in order", 2: "not in order", 1: "far out"}
WHY_NOT_JUDGED = {
    "too short": "let go too soon",
    "noisy": "too much noise",
    "masked by unison": "hidden by the unison",
    "clipped": "overloaded",
    "automatic gain": "levels changed by the recorder",
    "ok": "no verdict",
    "": "no reason recorded",
}
SURE_WORDS = (
    (0.9, "quite sure"),
    (0.75, "fairly sure"),
    (0.55, "more likely than not"),
    (0.0, "an open race"),
)
HOW_SURE = {"seen": "seen", "likely": "likely", "possible": "possible, not seen"}
KIND_WORDS = {"buy": "Buy", "buy if": "Buy if", "find out first": "Find out first", "walk away": "Walk away"}
DONE_FOR = {
    "needed": "Needed for use and safety",
    "keeps value": "So that it keeps its value",
    "looks": "For the looks",
    "home": "Bringing it home, and settling in",
    "unseen": "Only because something was not checked",
}


def jobs_by_need(jobs: Sequence[RepairJob]) -> list[tuple[str, list[RepairJob]]]:
    """Jobs as a page lists them, under what they are done for; what may yet turn up stands last."""
    groups: dict[str, list[RepairJob]] = {name: [] for name in DONE_FOR}
    for job in jobs:
        at_home = "home" if job.kind != "work" else job.need
        groups[at_home if job.found else "unseen"].append(job)
    return [(DONE_FOR[name], mine) for name, mine in groups.items() if mine]


def sure(share: float) -> str:
    """How sure a first choice is, in words.

    Examples
    --------
    >>> sure(0.95), sure(0.6), sure(0.3)
    ('quite sure', 'more likely than not', 'an open race')
    """
    return next(words for least, words in SURE_WORDS if share >= least)


def of_hundred(share: float) -> str:
    """A share as a count out of 100; a rare thing is not written as never.

    Examples
    --------
    >>> of_hundred(0.714), of_hundred(0.002), of_hundred(0.0), of_hundred(0.999)
    ('71', 'under 1', '0', 'over 99')
    """
    if 0.0 < share < 0.005:
        return "under 1"
    if 0.995 <= share < 1.0:
        return "over 99"
    return f"{100.0 * share:.0f}"


def span(low: float, high: float) -> str:
    """An interval; a single value where both ends read the same.

    Examples
    --------
    >>> span(4.0, 7.52), span(5.0, 5.01)
    ('4.0–7.5', '5.0')
    """
    one, other = f"{low:.1f}", f"{high:.1f}"
    return one if one == other else f"{one}–{other}"


def plural(n: int, one: str, many: str = "") -> str:
    """A count with its noun.

    Examples
    --------
    >>> plural(1, "key"), plural(3, "key")
    ('1 key', '3 keys')
    """
    return f"{n} {one if n == 1 else many or one + 's'}"


def pitch(offset_cents: float) -> str:
    """How far the whole instrument is from where it should be.

    Examples
    --------
    >>> pitch(-24.3), pitch(2.0), pitch(0.2)
    ('24 cents flat', '2 cents sharp', 'at pitch')
    """
    whole = round(abs(offset_cents))
    return f"{plural(whole, 'cent')} {'flat' if offset_cents < 0 else 'sharp'}" if whole else "at pitch"
