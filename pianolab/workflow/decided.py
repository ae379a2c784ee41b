"""What a decision holds: the record that tables and page are made from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property

from pianolab.acoustics import Survey
from pianolab.assess import Assessment
from pianolab.casebook import Casebook
from pianolab.checklist import Checklist
from pianolab.compare import Comparison, NextVisit, Standing
from pianolab.html import paragraphs
from pianolab.model import Finding, Piano
from pianolab.recordings import Holding, LeftPedal
from pianolab.report import Clip
from pianolab.report.photos_and_clips import ClaimClips
from pianolab.rooms import RoomChange
from pianolab.show import Row, Showable
from pianolab.touch import TouchView
from pianolab.upkeep import CarePlan, Life, MoneyOverYears
from pianolab.words import as_sentence, say
from pianolab.workflow.clips import clips_of
from pianolab.workflow.fault_clips import claims_of
from pianolab.workflow.hearing import Heard
from pianolab.workflow.settings import Settings


@dataclass(frozen=True, kw_only=True, repr=False, eq=False)
class Decided(Showable):
    """One shortlist decided for one buyer, with all it stands on; everything by piano id where not of all.

    ``comparison`` holds the judged pianos, standings with offers, next steps and the verdict; ``surveys`` and
    ``findings`` what was heard and found. ``rooms`` says what the buyer's room alone changes, ``touch`` what players
    said, ``lives`` how long parts may last, ``years`` what each costs over the years of use, ``care`` the first year with each
    piano; ``holding`` what became of the tuning and ``pedals`` what the left pedal does, of those that were recorded
    so. ``no_money`` says why money could not be reckoned (empty where it was), ``notes`` what else should be known,
    ``provenance`` where everything comes from.
    """

    settings: Settings
    comparison: Comparison
    surveys: Mapping[str, Survey]
    findings: Mapping[str, tuple[Finding, ...]]
    rooms: Mapping[str, RoomChange]
    touch: TouchView
    lives: Mapping[str, Life]
    years: Mapping[str, MoneyOverYears]
    care: Mapping[str, CarePlan]
    holding: Mapping[str, Holding]
    pedals: Mapping[str, LeftPedal]
    provenance: Mapping[str, str]
    notes: tuple[str, ...] = ()
    no_money: str = ""
    casebook: Casebook = field(repr=False)
    heard: Mapping[str, Heard] = field(repr=False)
    header = Comparison.header

    @property
    def checklist(self) -> Checklist:
        """The points that were judged by."""
        return self.settings.points

    @property
    def pianos(self) -> tuple[Piano, ...]:
        """The shortlist as the casebook has it."""
        return tuple(a.piano for a in self.comparison.assessments)

    @cached_property
    def clips(self) -> dict[str, tuple[Clip, ...]]:
        """The same few keys of every piano, equally loud; cut when first asked for, from the casebook's sounds."""
        return clips_of(self.casebook, self.heard)

    @cached_property
    def claims(self) -> dict[str, tuple[ClaimClips, ...]]:
        """The worst claimed faults of every piano beside a sound key of the same recording, to be heard."""
        return claims_of(self.casebook, self.heard)

    def piano(self, name_or_id: str = "") -> Piano:
        """A piano by name or id; the one that the verdict is about, or else the one ahead, where none is named.

        Raises
        ------
        BadInput
            no such piano
        """
        ahead = self.comparison.verdict.piano_id or self.comparison.standings[0].piano_id
        wanted = self.casebook.piano(name_or_id or ahead)
        return next(p for p in self.pianos if p.id == wanted.id)

    def assessment(self, piano: str = "") -> Assessment:
        """One piano judged: its aspects, alerts and repairs; of the piano ahead where none is named."""
        return self.comparison.assessment(self.piano(piano).id)

    def standing(self, piano: str = "") -> Standing:
        """Where one piano stands, what it costs in the end and what to offer at most."""
        return self.comparison.standing(self.piano(piano).id)

    def to_find_out(self, piano: str = "", *, most: int | None = None) -> NextVisit:
        """What is worth finding out next, of one piano or of all where none is named."""
        return self.comparison.to_find_out(self.piano(piano).id if piano else None, most=most)

    def plan(self, piano: str = "") -> NextVisit:
        """The steps that are worth their cost, in the best order, and when to stop looking."""
        return self.comparison.plan(self.piano(piano).id if piano else None)

    def headline(self) -> str:
        return self.comparison.headline()

    def rows(self) -> list[Row]:
        return self.comparison.rows()

    def shown(self) -> list[Row]:
        return self.comparison.shown()

    def _repr_html_(self) -> str:
        hangs = (as_sentence(say(h)) for h in self.comparison.hangs_on)
        said = (*self.comparison.verdict.sentences, *hangs, *self.notes)
        return super()._repr_html_() + paragraphs(said)
