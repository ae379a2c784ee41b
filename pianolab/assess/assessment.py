"""What judging one piano gives: aspects as intervals, alerts, repair jobs and their cost."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from math import prod
from typing import Literal

from pianolab.checklist.points import JobKind, Need
from pianolab.model import AspectName, Piano
from pianolab.show import LOCALE, Row, Showable, about, money
from pianolab.statements import Statement, statement
from pianolab.words import Told, say

AlertKind = Literal["veto", "warning"]
HowSure = Literal["seen", "likely", "possible"]

WORST, BEST = 0.0, 10.0
"""Ends of every aspect's score: 10 is nothing wrong and everything checked."""


@dataclass(frozen=True, kw_only=True)
class Contribution(Told):
    """One thing that lowered an aspect's score, and by how many points (low and high, both ≤ 0)."""

    says: Statement
    low: float
    high: float
    source: str

    @property
    def text(self) -> str:
        return say(self.says)

    def sentence(self) -> str:
        """The text with the points it cost.

        Examples
        --------
        >>> from pianolab.statements import as_written
        >>> short = as_written("short sustain in 7 of 24 treble notes")
        >>> Contribution(says=short, low=-0.9, high=-0.9, source="listening").sentence()
        'short sustain in 7 of 24 treble notes: -0.9'
        """
        return f"{self.text}: {0.5 * (self.low + self.high):+.1f}"


@dataclass(frozen=True, kw_only=True)
class Unknown(Told):
    """Something not known: what, why, how far it widens the score, and what it takes to learn it.

    ``source`` is a checklist point's id or ``listening``; ``effort`` is ``look again``,
    ``tune and record again`` or ``technician``; ``minutes`` is None where it is not a matter of minutes.
    ``key`` is the same in every aspect that the unknown bears on; ``loss`` is what it would take from this
    aspect at worst, as the logarithm of the factor that is left; ``veto_chance`` is the chance that
    learning it stops the purchase.
    """

    what: Statement
    why: Statement
    width: float
    source: str
    effort: Literal["look again", "record again", "tune and record again", "technician"] = "look again"
    minutes: float | None = None
    key: str = ""
    loss: float = 0.0
    veto_chance: float = 0.0

    @property
    def text(self) -> str:
        return say(self.what)

    @property
    def reason(self) -> str:
        return say(self.why)


@dataclass(frozen=True, kw_only=True, repr=False)
class AspectResult(Showable):
    """One aspect of one piano: a score interval from 0 to 10, what made it so, what would narrow it."""

    aspect: AspectName
    low: float
    high: float
    made_by: tuple[Contribution, ...] = ()
    unknown: tuple[Unknown, ...] = ()
    header = ("what", "from", "to", "source")

    @property
    def middle(self) -> float:
        return 0.5 * (self.low + self.high)

    def headline(self) -> str:
        return f"{self.aspect}: {self.low:.1f} to {self.high:.1f} of 10"

    def rows(self) -> list[Row]:
        return [(c.text, c.low, c.high, c.source) for c in self.made_by] + [
            (f"unknown: {u.text} ({u.reason})", -u.width, 0.0, u.source) for u in self.unknown
        ]

    def shown(self) -> list[Row]:
        return [(text, f"{low:.1f}", f"{high:.1f}", source) for text, low, high, source in self.rows()]


@dataclass(frozen=True, kw_only=True)
class Alert(Told):
    """A veto or a warning: it stands above every weight.

    ``severity`` (0 to 1) puts the worst first; ``sources`` names all that it rests on (points, ``listening``), with
    ``source`` the weightiest. ``confirm_by`` is who can settle it; ``final`` says that no answer still to be had
    would lift it: whoever can settle it has said so, or nobody can tell how it goes on.
    """

    kind: AlertKind
    says: Statement
    how_sure: HowSure
    confirm_by: str
    source: str
    sources: tuple[str, ...] = ()
    severity: float = 0.5
    final: bool = False

    def __post_init__(self) -> None:
        if self.source not in self.sources:
            object.__setattr__(self, "sources", (self.source, *self.sources))

    @property
    def text(self) -> str:
        return say(self.says)

    @property
    def settling(self) -> Statement:
        """The same with who can settle it, or that nobody can."""
        if self.final:
            return statement("settle.final", self.source, what=self.says)
        return statement("settle.open", self.source, what=self.says, who=self.confirm_by)

    def sentence(self) -> str:
        """The text with who can settle it.

        Examples
        --------
        >>> from pianolab.statements import as_written
        >>> hired = as_written("This piano may be hired.")
        >>> Alert(kind="veto", says=hired, how_sure="seen", confirm_by="papers from the lender", source="x").sentence()
        'This piano may be hired. Who can settle it: papers from the lender.'
        """
        return say(self.settling)


@dataclass(frozen=True, kw_only=True)
class RepairJob(Told):
    """One job with its price range, why it is proposed, and the chance that it is needed.

    ``quantity`` is how many keys or strings the price was multiplied by; ``includes`` names the jobs that
    need no paying where this one is done; ``found`` is False where only unchecked points propose it.
    ``waits_for`` pairs the keys of unknowns that could bring this job to light with the chance of each.
    ``need`` says why one would have it done: ``needed`` for use or safety, it ``keeps value``, or for the ``looks``;
    ``needed_part`` is what of a job is needed where weaker reasons ask for more of it. ``kind`` tells ``work`` on the
    instrument from ``carrying`` it home and from ``settling in``, which every piano takes. ``seldom_worth``: it costs
    more than most pianos are worth with it done.
    """

    job: str
    what: Statement
    low: Decimal
    usual: Decimal
    high: Decimal
    chance: float
    why: tuple[Statement, ...]
    quantity: int = 1
    includes: tuple[str, ...] = ()
    found: bool = True
    waits_for: tuple[tuple[str, float], ...] = ()
    need: Need = "needed"
    kind: JobKind = "work"
    needed_part: RepairJob | None = None
    seldom_worth: bool = False

    @property
    def forced(self) -> RepairJob | None:
        """What of the job is needed for use and safety: all of it, a part, or nothing (None)."""
        if self.needed_part is not None:
            return self.needed_part
        return self if self.need == "needed" else None

    @property
    def title(self) -> str:
        return say(self.what)

    @property
    def reasons(self) -> tuple[str, ...]:
        return tuple(say(reason) for reason in self.why)

    @property
    def known_chance(self) -> float:
        """The chance that the job is needed for what is known already."""
        return 1.0 - (1.0 - self.chance) / prod(1.0 - p for _, p in self.waits_for)

    @property
    def mean_price(self) -> float:
        """What the job costs on average where it is done (triangular from low to high, peak at usual)."""
        return float(self.low + self.usual + self.high) / 3.0


@dataclass(frozen=True, kw_only=True, repr=False)
class RepairEstimate(Showable):
    """All jobs of one piano and the simulated sum: 10, 50 and 90 % of the draws lie under these.

    ``needed_p10``, ``needed_p50`` and ``needed_p90`` are those of the jobs needed for use and safety alone, the money
    that a buyer can't keep; where they are not given, all of it counts as needed. ``origin`` says whose prices these
    are, of which day.
    """

    jobs: tuple[RepairJob, ...]
    p10: Decimal
    p50: Decimal
    p90: Decimal
    currency: str
    needed_p10: Decimal | None = None
    needed_p50: Decimal | None = None
    needed_p90: Decimal | None = None
    note: str = "estimates, not quotes"
    origin: str = ""
    locale: str = LOCALE
    header = ("job", "low", "usual", "high", "chance", "need", "why")

    def __post_init__(self) -> None:
        for name in ("p10", "p50", "p90"):
            if getattr(self, f"needed_{name}") is None:
                object.__setattr__(self, f"needed_{name}", getattr(self, name))

    def headline(self) -> str:
        low, mid, high = (about(x, self.currency, locale=self.locale) for x in (self.p10, self.p50, self.p90))
        needed = about(self.needed_p50, self.currency, locale=self.locale)
        return f"repairs {low} to {high}, most likely about {mid}, about {needed} of it needed ({self.note})"

    def reasons_for(self, job: RepairJob) -> tuple[str, ...]:
        """The reasons for a job; of how many keys it is needed, where not of all; and what it is part of, if done."""
        said, part = list(job.reasons), job.needed_part
        if part is not None and part.quantity < job.quantity:
            said.append(say(statement("job.needed at", count=part.quantity, total=job.quantity)))
        said += [say(statement("job.within", job=other.what)) for other in self.within(job)]
        return tuple(said)

    def within(self, job: RepairJob) -> tuple[RepairJob, ...]:
        """Jobs that something found asks for, and in which this one needs no paying."""
        return tuple(other for other in self.jobs if other.found and job.job in other.includes)

    def rows(self) -> list[Row]:
        return [
            (j.title, *self._amounts(j), f"{j.chance:.0%}", j.need, "; ".join(self.reasons_for(j)))
            for j in self.jobs
        ]

    def _amounts(self, job: RepairJob) -> tuple[str, str, str]:
        low, usual, high = (
            money(x, self.currency, locale=self.locale) for x in (job.low, job.usual, job.high)
        )
        return low, usual, high


@dataclass(frozen=True, kw_only=True, repr=False)
class Assessment(Showable):
    """One piano judged: all six aspects, alerts, repairs, how much was checked, and what the tuning keeps ``hidden``.

    ``unknown_vetoes`` are the unchecked points that could stop the purchase, whatever aspect they bear on;
    ``unknown_costs`` is what is not known and bears on money alone. ``promises`` is what the seller has said will be
    put right, each with its point as the subject.
    """

    piano: Piano
    aspects: tuple[AspectResult, ...]
    alerts: tuple[Alert, ...]
    repairs: RepairEstimate
    points_checked: int
    points_total: int
    heard: bool
    hidden: Statement | None = None
    unknown_vetoes: tuple[Unknown, ...] = ()
    unknown_costs: tuple[Unknown, ...] = ()
    promises: tuple[Statement, ...] = ()
    header = ("aspect", "low", "high", "largest reason")

    def aspect(self, name: str) -> AspectResult:
        return next(a for a in self.aspects if a.aspect == name)

    @property
    def unknowns(self) -> tuple[Unknown, ...]:
        """Everything unknown, once for each thing it bears on."""
        of_aspects = tuple(u for a in self.aspects for u in a.unknown)
        return of_aspects + self.unknown_vetoes + self.unknown_costs

    @property
    def vetoes(self) -> tuple[Alert, ...]:
        return tuple(a for a in self.alerts if a.kind == "veto")

    @property
    def warnings(self) -> tuple[Alert, ...]:
        return tuple(a for a in self.alerts if a.kind == "warning")

    @property
    def hidden_by_tuning(self) -> str:
        return say(self.hidden)

    def headline(self) -> str:
        stop = f", {say(statement('stops', count=len(self.vetoes)))}" if self.vetoes else ""
        return f"{self.piano.name}: {self.points_checked} of {self.points_total} points checked{stop}"

    def rows(self) -> list[Row]:
        return [(a.aspect, a.low, a.high, a.made_by[0].text if a.made_by else "") for a in self.aspects]

    def shown(self) -> list[Row]:
        return [(name, f"{low:.1f}", f"{high:.1f}", reason) for name, low, high, reason in self.rows()]
