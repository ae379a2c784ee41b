"""Runs a panel's cases through the one road that pianolab has: casebook, `decide`, and what the decision says.

A case becomes records in a casebook of its own (piano, one visit, examiners by role, findings, a recording with its
survey); the decision is then read by its statements, never by its sentences. `pianolab` decides, the case tells what a
technician would have said, and this module only holds the two side by side. What `NOT_PASSED_ON` names is in the cases
and has no place in the records yet.
"""

from __future__ import annotations

import tempfile
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from math import sqrt
from pathlib import Path
from typing import Any

import numpy as np

from pianolab.assess import Assessment, RepairEstimate
from pianolab.casebook import create_casebook
from pianolab.compare import NextStep, Standing
from pianolab.io import Sound
from pianolab.model import Examiner, SurveyRecord, Visit
from pianolab.statements import Statement
from pianolab.workflow.deciding import Decision, decide
from pianolab.workflow.settings import Settings
from tests.compare.panel_cases import Case, Pair
from tests.compare.panel_entries import PANEL, ROLES, VISIT_YEAR
from tests.compare.panel_expected import VERDICTS
from tests.compare.panel_sound import survey_of
from tests.compare.panel_words import asked_by, named_by, panel_words

NOT_PASSED_ON = (
    "home in words (the point access-home is)",
    "what the air did where it stood (storage stands in words)",
)
"""What the records have no place for; a case is decided without it."""

DAY = date(VISIT_YEAR, 11, 2)
SUMS = {"open_with": "open_with", "aim_at": "aim_at", "walk_above": "walk_away_above"}
"""Which field of a standing's price tells which sum of a case."""

STEPS_READ = 5
"""So many next steps count as told; who reads a longer list does the first few. Own choice."""

NEEDED_FROM = 0.5
"""From this chance on, for what is known already, a job counts as needed. Own choice."""

MATTER_OF_COURSE = frozenset({"first tunings", "tuning"})
"""Jobs that come with every piano, whether or not a case lists them."""

CLEAR_SHARE = 2.0 / 3.0
"""A share of first places from here on is a clear margin, two to one. Own choice."""


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """What was said of one case, as words of the panel.

    ``named`` are the reasons in the verdict itself, ``elsewhere`` those that only alerts, scores or repairs give;
    ``steps`` what is to be done next, ``needed`` the jobs that have to be paid; ``sums`` holds the figures by name,
    None where none is told. ``unread`` are kinds of statements in the verdict that told this module nothing.
    """

    case: Case
    said: str
    named: frozenset[str]
    elsewhere: frozenset[str]
    steps: frozenset[str]
    needed: frozenset[str]
    sums: Mapping[str, float | None]
    sentences: tuple[str, ...]
    unread: frozenset[str]

    @property
    def mark(self) -> str:
        """``right``, ``tolerable``, ``foolish``, or ``missed`` where the technician foresaw no such answer."""
        expected = self._expected
        if self.said == expected.verdict:
            return "right"
        if self.said in expected.tolerable:
            return "tolerable"
        return "foolish" if self.said in expected.foolish else "missed"

    @property
    def reasons(self) -> tuple[tuple[str, str], ...]:
        """Each reason that must be named, with where it was: ``verdict``, ``elsewhere`` or ``missing``."""
        return tuple(("|".join(group), self._where(group)) for group in self._expected.must_name)

    @property
    def next_steps(self) -> tuple[tuple[str, bool], ...]:
        """Each step that must come next, and whether it was told."""
        return tuple(("|".join(g), not self.steps.isdisjoint(g)) for g in self._expected.next_steps)

    @property
    def jobs(self) -> tuple[tuple[str, bool], ...]:
        """Each job that has to be paid, and whether it was told."""
        return tuple((job, job in self.needed) for job in self._expected.needed)

    @property
    def wishes(self) -> tuple[str, ...]:
        """Jobs told as needed that the technician does not count among them."""
        return tuple(sorted(self.needed - set(self._expected.needed) - MATTER_OF_COURSE))

    @property
    def prices(self) -> tuple[tuple[str, str], ...]:
        """Each sum: ``in range``, ``below``, ``above``, ``not told``, or ``told too early`` where none may be named."""
        e = self._expected
        ranges = {"open_with": e.open_with, "aim_at": e.aim_at, "walk_above": e.walk_above}
        return tuple((name, _place(self.sums[name], wanted)) for name, wanted in ranges.items())

    @property
    def _expected(self) -> Any:
        assert self.case.expected is not None, "only a case of the panel is judged, no end of a pair"
        return self.case.expected

    def _where(self, group: Sequence[str]) -> str:
        if not self.named.isdisjoint(group):
            return "verdict"
        return "missing" if self.elsewhere.isdisjoint(group) else "elsewhere"


@dataclass(frozen=True, kw_only=True)
class PairOutcome:
    """Two changes of one case: the verdicts of each alone, and how often each comes first side by side.

    ``draws`` is the number of draws behind the shares; ``fallen`` names figures of the offer that are lower for the
    better one, ``dearer`` says that this is because more is asked for it.
    """

    pair: Pair
    better: Outcome
    worse: Outcome
    share_better: float
    share_worse: float
    draws: int
    fallen: tuple[str, ...]
    dearer: bool

    @property
    def broken(self) -> tuple[str, ...]:
        """What of the order does not hold; empty where all of it does."""
        found = []
        if _rank(self.better.said) > _rank(self.worse.said):
            found.append(f"verdict {self.better.said} below {self.worse.said}")
        if self.fallen and not self.dearer:
            found.append(f"lower {', '.join(self.fallen)}")
        if self.share_better < self.share_worse - self.scatter:
            found.append(f"first in {self.share_better:.0%} only")
        if self.pair.strict and not self._stands_above:
            found.append(f"same verdict, and first in {self.share_better:.0%} only")
        return tuple(found)

    @property
    def scatter(self) -> float:
        """By how much two equal pianos' shares may differ by chance: three standard deviations of the binomial."""
        return 3.0 / sqrt(self.draws)

    @property
    def _stands_above(self) -> bool:
        return _rank(self.better.said) < _rank(self.worse.said) or self.share_better >= CLEAR_SHARE


def run_case(case: Case, *, seed: int = 0, backwards: bool = False) -> Outcome:
    """Decide about one case alone and read what was said.

    ``backwards`` enters its findings in the other order: who is right must not hang on who wrote first.

    Raises
    ------
    BadInput : whatever `decide` refuses
    """
    entered = replace(case, findings=case.findings[::-1]) if backwards else case
    with tempfile.TemporaryDirectory() as folder:
        return read_outcome(case, _decide([entered], Path(folder), seed=seed))


def disputed(case: Case) -> tuple[str, ...]:
    """The points at which two people found something in this case."""
    counts = Counter(finding.point for finding in case.findings)
    return tuple(sorted(point for point, count in counts.items() if count > 1))


def run_pair(pair: Pair, *, seed: int = 0) -> PairOutcome:
    """Decide about both ends of a pair, each alone, then side by side for the case's buyer."""
    better, worse = (run_case(case, seed=seed) for case in (pair.better, pair.worse))
    with tempfile.TemporaryDirectory() as folder:
        together = _decide([pair.better, pair.worse], Path(folder), seed=seed).comparison
    shares = {s.name: s.rank_shares[0] for s in together.standings}
    prices = [case.piano.asking_price for case in (pair.better, pair.worse)]
    return PairOutcome(
        pair=pair,
        better=better,
        worse=worse,
        share_better=shares[pair.better.piano.name],
        share_worse=shares[pair.worse.piano.name],
        draws=together.draws,
        fallen=tuple(_fallen(better.sums, worse.sums)),
        dearer=None not in prices and prices[1] > prices[0],
    )


def read_outcome(case: Case, decision: Decision) -> Outcome:
    """What a decision about one piano says, in the panel's words."""
    verdict, sums = decision.comparison.verdict, _sums(decision.comparison.standings[0])
    assessment, steps = decision.comparison.assessments[0], decision.to_find_out(most=STEPS_READ).steps
    top = [verdict.answer, *verdict.reasons]
    named = named_by(top)
    asked = [
        *asked_by(top),
        *(word for step in steps for word in _asked_of_step(step)),
        *_bargain(case, sums),
    ]
    return Outcome(
        case=case,
        said=verdict.kind,
        named=named,
        elsewhere=named_by([*_beside(assessment), *(x for s in steps for x in (s.says, s.because))]) - named,
        steps=frozenset(asked) & panel_words(),
        needed=frozenset(_needed(assessment.repairs)),
        sums=sums,
        sentences=(verdict.headline, *verdict.sentences),
        unread=frozenset(said.kind for said in top if not named_by([said]) and not [*asked_by([said])]),
    )


def _needed(repairs: RepairEstimate) -> Iterator[str]:
    """Jobs on the instrument, and those of settling in, that are needed and not part of another such job."""
    due = [part for job in repairs.jobs if (part := job.forced) and part.known_chance >= NEEDED_FROM]
    inside = {name for job in due for name in job.includes}
    yield from (job.job for job in due if job.kind != "carrying" and job.job not in inside)


def _beside(assessment: Assessment) -> Iterator[Statement]:
    """What a page says of the piano beside the verdict: alerts, what lowered each score, why each job is there."""
    yield from (alert.says for alert in assessment.alerts)
    yield from (made.says for aspect in assessment.aspects for made in aspect.made_by)
    yield from (why for job in assessment.repairs.jobs if job.found for why in job.why)


def _decide(cases: Sequence[Case], folder: Path, *, seed: int) -> Decision:
    with create_casebook(folder / "panel") as book:
        with book.editing(by="panel") as edit:
            for role in ROLES:
                edit.add(Examiner(id=f"examiner-{role}", name=role, role=role))
            for case in cases:
                _enter(case, edit)
        settings = Settings(profile=cases[0].buyer, prices=PANEL / "costs.toml", year=VISIT_YEAR, seed=seed)
        return decide(book, settings)


def _enter(case: Case, edit: Any) -> None:
    """One case as records: a visit on one day, at which everybody named in the case was there."""
    piano = edit.add(case.piano)
    for comparable in case.comparables:
        edit.add(comparable)
    visit = edit.add(Visit(piano_id=piano.id, day=DAY, examiner="panel"))
    for finding in case.findings:
        edit.add(replace(finding, visit_id=visit.id))
    if case.sound is not None:
        # The survey counts, not the sound: a moment of silence stands for the recording that it was made of.
        silence = Sound(samples=np.zeros((800, 1), dtype=np.float32), rate_hz=8000, name="scale.wav")
        recording = edit.add_sound(visit.id, silence)
        heard = survey_of(case.sound).to_json()
        edit.add(
            SurveyRecord(recording_id=recording.id, visit_id=visit.id, version="panel", survey_json=heard)
        )


def _bargain(case: Case, sums: Mapping[str, float | None]) -> Iterator[str]:
    """Who is told a sum below what is asked, or any sum where nothing is asked, is told to negotiate."""
    asked = case.piano.asking_price
    if any(amount is not None and (asked is None or amount < asked) for amount in sums.values()):
        yield "negotiate"


def _asked_of_step(step: NextStep) -> Iterator[str]:
    yield step.source
    yield from asked_by([step.says])


def _sums(standing: Standing) -> dict[str, float | None]:
    told = {name: getattr(standing.price, own, None) for name, own in SUMS.items()}
    return {name: None if amount is None else float(amount) for name, amount in told.items()}


def _place(told: float | None, wanted: tuple[float, float] | None) -> str:
    if wanted is None:
        return "rightly none" if told is None else "told too early"
    if told is None:
        return "not told"
    return "below" if told < wanted[0] else "above" if told > wanted[1] else "in range"


def _fallen(better: Mapping[str, float | None], worse: Mapping[str, float | None]) -> Iterator[str]:
    for name, amount in better.items():
        other = worse[name]
        if amount is not None and other is not None and amount < other:
            yield name


def _rank(verdict: str) -> int:
    return VERDICTS.index(verdict)
