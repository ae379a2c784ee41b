"""What is known of one piano right now: its aspects with their bounds, reasons to stop, the verdict as it would be."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from pianolab.assess import Assessment
from pianolab.assess.assessment import BEST, WORST
from pianolab.casebook import Casebook
from pianolab.checklist import Checklist
from pianolab.checklist.hour import order_walk
from pianolab.compare.learning import worth_of_looking
from pianolab.show import Row, Showable
from pianolab.workflow.deciding import Decision, decide
from pianolab.workflow.settings import Settings


@dataclass(frozen=True, kw_only=True, repr=False)
class KnownNow(Showable):
    """One piano as it is known now, on its shortlist.

    ``bands`` are the aspects with the lowest and highest score they can still have (0 to 10), from end to end where
    nobody has looked at anything that bears on them (``blind`` names those); ``stops`` are the reasons
    to stop that were found, ``unseen_stops`` how many others nobody has looked for of ``all_stops``. ``verdict`` is
    what would be said of the shortlist now; a price stands there only where the verdict gives one. ``worth`` says for
    each open point what a look is worth (`pianolab.compare.learning`).
    """

    header = ("aspect", "low", "high")
    piano_id: str
    name: str
    bands: tuple[tuple[str, float, float], ...]
    blind: tuple[str, ...]
    stops: tuple[str, ...]
    unseen_stops: int
    all_stops: int
    heard: bool
    checked: int
    total: int
    verdict: tuple[str, ...]
    worth: Mapping[str, float] = field(default_factory=dict)

    def headline(self) -> str:
        return f"{self.name}: {self.stops_in_words()}"

    def stops_in_words(self) -> str:
        """What is known of reasons to stop; none found is never said without how many were not looked for.

        Examples
        --------
        >>> blank = dict(piano_id="", name="A", bands=(), blind=(), heard=False, checked=0, total=9, verdict=())
        >>> KnownNow(stops=(), unseen_stops=21, all_stops=21, **blank).stops_in_words()
        'none looked for yet, of 21 possible reasons to stop'
        >>> KnownNow(stops=(), unseen_stops=3, all_stops=21, **blank).stops_in_words()
        'none found in 18 looked for, 3 of 21 reasons to stop unseen'
        """
        if not self.all_stops:
            return "the list names no reason to stop"
        looked = self.all_stops - self.unseen_stops
        if not looked and not self.stops:
            return f"none looked for yet, of {self.all_stops} possible reasons to stop"
        found = f"{len(self.stops)} found" if self.stops else "none found"
        unseen = f"{self.unseen_stops} of {self.all_stops} reasons to stop unseen"
        return f"{found} in {looked} looked for, {unseen if self.unseen_stops else 'none unseen'}"

    def rows(self) -> list[Row]:
        return [(aspect, round(low, 1), round(high, 1)) for aspect, low, high in self.bands]


def known_now(
    casebook: Casebook, piano_id: str, settings: Settings | None = None, *, until: date | None = None
) -> KnownNow:
    """What is known of a piano now; everything is read from the casebook anew.

    Parameters
    ----------
    casebook : an open casebook; it is only read
    piano_id : whose
    settings : for whom, with which points and prices; what the casebook remembers if not given
    until : leave out visits after that day

    Raises
    ------
    BadInput
        as `pianolab.decide`

    Examples
    --------
    >>> import tempfile
    >>> from pianolab.casebook import create_casebook
    >>> from pianolab.model import Piano
    >>> with tempfile.TemporaryDirectory() as folder, create_casebook(folder) as casebook:
    ...     with casebook.editing(by="Ana") as edit:
    ...         piano = edit.add(Piano(name="by the window"))
    ...     known_now(casebook, piano.id).headline()
    'by the window: none looked for yet, of 21 possible reasons to stop'
    """
    changes: dict[str, Any] = {} if until is None else {"until": until}
    return known_of(decide(casebook, settings, **changes), piano_id)


def known_of(decision: Decision, piano_id: str) -> KnownNow:
    """The same from a decision that is there already."""
    judged = decision.assessment(piano_id)
    findings = decision.findings[piano_id]
    looked = {f.point for f in findings if f.state in ("checked", "does not apply")}
    blind = blind_aspects(judged, decision.checklist, looked)
    whole = order_walk(decision.checklist, judged.piano)
    stops = [s.point.id for s in whole.steps if s.point.vetoes]
    comparison = decision.comparison
    return KnownNow(
        piano_id=piano_id,
        name=judged.piano.name,
        bands=tuple(
            (a.aspect, WORST, BEST) if a.aspect in blind else (a.aspect, a.low, a.high)
            for a in judged.aspects
        ),
        blind=blind,
        stops=tuple(a.text for a in judged.vetoes),
        unseen_stops=sum(point not in looked for point in stops),
        all_stops=len(stops),
        heard=judged.heard,
        checked=judged.points_checked,
        total=judged.points_total,
        verdict=tuple(comparison.verdict.sentences),
        worth=worth_of_looking(
            judged, decision.checklist, profile=comparison.profile, steps=comparison.next_steps
        ),
    )


def blind_aspects(judged: Assessment, checklist: Checklist, looked: Collection[str]) -> tuple[str, ...]:
    """Aspects of which nothing at all is known: no point that bears on them was looked at, and nothing was heard."""
    if judged.heard:
        return ()
    seen = {aspect for p in checklist if p.id in looked for aspect in p.aspects}
    return tuple(a.aspect for a in judged.aspects if a.aspect not in seen)
