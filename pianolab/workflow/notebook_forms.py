"""Forms for a notebook that need a casebook: recorder, export button, and the whole visit with what is known so far."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pianolab.assess import Assessment
from pianolab.assess.assessment import BEST, WORST
from pianolab.casebook import Casebook
from pianolab.checklist import Checklist
from pianolab.checklist.hour import order_walk
from pianolab.compare.learning import worth_of_looking
from pianolab.model import Visit
from pianolab.show import Row, Showable
from pianolab.workflow.deciding import Decision, decide
from pianolab.workflow.exporting import PAGE, export
from pianolab.workflow.progress import Progress
from pianolab.workflow.settings import Settings

if TYPE_CHECKING:
    from pianolab.widgets.export_button import ExportButton
    from pianolab.widgets.recorder import RecorderForm
    from pianolab.widgets.visit_desk import VisitDesk


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


TABLES = "comparison-tables"


def export_button(
    what: Casebook | Decision, html: str | Path | None = None, *, settings: Settings | None = None
) -> ExportButton:
    """A form with one button that writes the comparison page, and a second one for the tables.

    Nothing is written before a button is pressed, and nothing that is there already is replaced unless the box
    that says so is ticked, anew each time.

    Parameters
    ----------
    what : a decision, or an open casebook, which is decided anew each time a button is pressed
    html : where the page goes, ``comparison.html`` beside the casebook's folder if not given; the tables
        go into the folder ``comparison-tables`` beside the page
    settings : as in `export`

    Returns
    -------
    ExportButton; a notebook shows it as it is
    """
    from pianolab.widgets.export_button import ExportButton, Outcome

    casebook = what.casebook if isinstance(what, Decision) else what
    path = Path(html) if html is not None else _beside(casebook) / PAGE
    folder = path.parent / TABLES

    def page(leave_out: Sequence[str], replace: bool, tell: Progress) -> Outcome:
        done = export(what, path, leave_out=leave_out, replace=replace, settings=settings, progress=tell)
        return Outcome(path, done.notes)

    def tables(leave_out: Sequence[str], replace: bool, tell: Progress) -> Outcome:
        done = export(
            what, tables=folder, leave_out=leave_out, replace=replace, settings=settings, progress=tell
        )
        return Outcome(folder, done.notes)

    return ExportButton(page=page, tables=tables, target=path, tables_target=folder)


def _beside(casebook: Casebook) -> Path:
    """The folder in which the casebook's folder lies; the current one where the casebook is on a server."""
    folder = Path(casebook.name)
    return folder.parent if folder.is_dir() else Path()


def visit_desk(
    casebook: Casebook,
    *,
    examiner: str = "me",
    minutes: float | None = None,
    settings: Settings | None = None,
) -> VisitDesk:
    """The whole visit on one screen: piano, walk, keyboard, recording, players, photos, and what is known so far.

    Parameters
    ----------
    casebook : an open casebook; an empty one gets its first piano
    examiner : str; who records
    minutes : how long there is, such as 20, 40 or 60 min, or None; it can be chosen on the screen too
    settings : for whom is judged, with which points and prices; what the casebook remembers if not given

    Returns
    -------
    VisitDesk; a notebook shows it as it is
    """
    from pianolab.widgets.visit_desk import VisitDesk

    return VisitDesk(
        casebook,
        examiner=examiner,
        minutes=minutes,
        know=lambda book, piano_id: known_now(book, piano_id, settings),
    )


def recorder_form(
    casebook: Casebook,
    visit: Visit | str,
    *,
    examiner: str = "",
    on_kept: Callable[[Any], None] | None = None,
) -> RecorderForm:
    """A form that records from the microphone or takes in a file, listens, and keeps both at a visit.

    Parameters
    ----------
    casebook : an open casebook
    visit : Visit or its id
    examiner : str; who records; empty takes the examiner named in the visit
    on_kept : called with each recording that was kept

    Returns
    -------
    RecorderForm; a notebook shows it as it is
    """
    from pianolab.widgets.recorder import RecorderForm

    return RecorderForm(casebook, visit, examiner=examiner, on_kept=on_kept)
