"""Several people at one piano: how far players agree on the touch, and whose findings count.

How far players agree is Krippendorff's alpha, with the uncertainty that few of them leave. A technician's word stands above
a layman's, either way, where a part is judged by looking. At papers and prices nobody is a better judge than the paper, so
there it weighs no more than another's.
"""

from __future__ import annotations

import tomllib
from collections.abc import Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from functools import cache
from importlib.resources import files

import numpy as np
from numpy.typing import NDArray

from pianolab.assess.scoring import Scoring, load_scoring
from pianolab.checklist import Checklist, Point
from pianolab.model import Examiner, Finding, Piano
from pianolab.model.opinions import TASTE_HIGH, TASTE_LOW
from pianolab.show import Row, Showable
from pianolab.statements import Statement, statement
from pianolab.words import say

PLACES = tuple(range(TASTE_LOW, TASTE_HIGH + 1))


@dataclass(frozen=True, kw_only=True, repr=False)
class Agreement(Showable):
    """How far players agree on one scale or on several together.

    ``together`` marks several scales taken as one. ``alpha`` is 1 where all say the same and 0 where they agree no more than chance; ``low`` and ``high``
    hold 95 % of the resamples. None, with ``why_not``, where too little was said.
    """

    what: str
    players: int
    units: int
    together: bool = False
    alpha: float | None = None
    low: float | None = None
    high: float | None = None
    why_not: Statement | None = None
    header = ("scale", "alpha", "from", "to", "players", "judged by two or more", "in words")

    @property
    def says(self) -> Statement:
        """Whether they agree, as far as the interval tells."""
        limits = load_touch_scoring().agreement
        if self.alpha is None or self.low is None or self.high is None:
            return self.why_not or statement("players.open")
        if self.low >= limits["agree_from"]:
            return statement("players.agree")
        if self.high < limits["roughly_from"]:
            return statement("players.disagree")
        return statement("players.seem to agree" if self.alpha >= limits["roughly_from"] else "players.open")

    @property
    def words(self) -> str:
        return say(self.says)

    @property
    def why_unknown(self) -> str:
        return say(self.why_not)

    def headline(self) -> str:
        value = "" if self.alpha is None else f"alpha {self.alpha:.2f} ({self.low:.2f} to {self.high:.2f}), "
        return f"{self.what}: {value}{self.words}"

    def rows(self) -> list[Row]:
        return [(self.what, self.alpha, self.low, self.high, self.players, self.units, self.words)]


def agreement(
    judged: Mapping[Hashable, Mapping[str, int]],
    *,
    what: str,
    together: Mapping[Hashable, Hashable] | None = None,
    seed: int = 0,
) -> Agreement:
    """Agreement of players about several units, such as pianos, on a scale from 1 to 5.

    Parameters
    ----------
    judged : for each unit what each player said; who said nothing is left out
    what : name of the scale, for the words
    together : for each unit what it belongs to (the piano): units of one piano are resampled together
    seed : int, for the resampling

    Returns
    -------
    Agreement

    Notes
    -----
    Ordinal alpha [krippendorff2011]. The interval comes from drawing pianos with replacement: with few
    pianos it is wide, and under five units nothing is told at all. A unit with one opinion drops out.

    Examples
    --------
    >>> alike = {p: {"Ada": g, "Ben": g} for p, g in zip("abcdef", (1, 2, 3, 4, 5, 5))}
    >>> agreement(alike, what="Evenness").alpha
    1.0
    >>> agreement({"a": {"Ada": 1, "Ben": 2}}, what="Evenness").why_unknown
    'too few to tell: 1 of at least 5 judged by two players or more'
    """
    paired = {unit: said for unit, said in judged.items() if len(said) > 1}
    players = len({player for said in paired.values() for player in said})
    bare = Agreement(what=what, players=players, units=len(paired), together=together is not None)
    least = int(load_touch_scoring().agreement["least_units"])
    if len(paired) < least:
        return replace(bare, why_not=statement("players.too few", count=len(paired), least=least))
    groups = {unit: (together or {}).get(unit, unit) for unit in paired}
    counts = np.array([[list(said.values()).count(v) for v in PLACES] for said in paired.values()])
    alpha = ordinal_alpha(counts)
    if alpha is None:
        return replace(bare, why_not=statement("players.all the same"))
    low, high = _interval(counts, [groups[unit] for unit in paired], seed=seed)
    return replace(bare, alpha=alpha, low=min(low, alpha), high=max(high, alpha))


def ordinal_alpha(counts: NDArray[np.int_]) -> float | None:
    """Ordinal alpha of counts, shape (units, values); None where only one value was ever said.

    One less the ratio of the disagreement observed within units to that expected by chance, both weighted by how many
    opinions lie between two values [krippendorff2011].

    Examples
    --------
    >>> round(ordinal_alpha(np.array([[2, 0, 0], [0, 2, 0], [0, 1, 1]])), 3)
    0.778
    """
    paired = counts[counts.sum(axis=1) > 1].astype(float)
    said = paired.sum(axis=0)
    if np.count_nonzero(said) < 2:
        return None
    pairs = np.einsum("uc,uk->uck", paired, paired)
    same = np.arange(len(said))
    pairs[:, same, same] -= paired
    together = (pairs / (paired.sum(axis=1) - 1)[:, None, None]).sum(axis=0)
    below = np.cumsum(said) - said / 2
    apart = (below[:, None] - below[None, :]) ** 2
    expected = float((np.outer(said, said) * apart).sum()) / (float(said.sum()) - 1)
    return 1.0 - float((together * apart).sum()) / expected


def _interval(counts: NDArray[np.int_], groups: Sequence[Hashable], *, seed: int) -> tuple[float, float]:
    rng = np.random.default_rng(seed)
    rows: dict[Hashable, list[int]] = {}
    for row, group in enumerate(groups):
        rows.setdefault(group, []).append(row)
    blocks = list(rows.values())
    drawn = []
    for _ in range(int(load_touch_scoring().agreement["resamples"])):
        chosen = [i for b in rng.integers(len(blocks), size=len(blocks)) for i in blocks[b]]
        value = ordinal_alpha(counts[chosen])
        if value is not None:
            drawn.append(value)
    if not drawn:
        return -1.0, 1.0
    low, high = np.percentile(drawn, (2.5, 97.5))
    return float(low), float(high)


@dataclass(frozen=True, kw_only=True)
class FaultRule:
    """How one scale of faults bears on the aspects, and which checklist point asks for the same."""

    aspects: Mapping[str, float]
    same_as: str = ""


@dataclass(frozen=True, kw_only=True)
class TouchScoring:
    """All settings of `data/touch.toml`; unknown scales count by ``other``."""

    faults: Mapping[str, FaultRule]
    other: FaultRule
    agreement: Mapping[str, float]
    trials: Mapping[str, float]
    taste: Mapping[str, float]

    def rule(self, scale: str) -> FaultRule:
        return self.faults.get(scale, self.other)


@cache
def load_touch_scoring() -> TouchScoring:
    """The settings that come with pianolab.

    Examples
    --------
    >>> load_touch_scoring().rule("evenness").same_as
    'touch-even'
    """
    data = tomllib.loads((files("pianolab.assess") / "data" / "touch.toml").read_text(encoding="utf-8"))
    return TouchScoring(
        faults={name: FaultRule(**raw) for name, raw in data["fault"].items()},
        other=FaultRule(**data["fault_of_other_scale"]),
        agreement=data["agreement"],
        trials=data["trials"],
        taste=data["taste"],
    )


def technicians_of(
    examiners: Iterable[Examiner], findings: Iterable[Finding] = (), *, scoring: Scoring | None = None
) -> frozenset[str]:
    """The names of those whose role, or who call themselves, what builds, tunes or repairs pianos.

    Parameters
    ----------
    examiners : the people that a casebook knows, with their roles
    findings : what was found; whoever entered it as "tuner" needs no record of their own

    Examples
    --------
    >>> technicians_of([Examiner(name="Ada", role="piano technician"), Examiner(name="Ben", role="pianist")])
    frozenset({'Ada'})
    >>> technicians_of([], [Finding(visit_id="v", point="pins-look", grade=4, examiner="the tuner")])
    frozenset({'the tuner'})
    """
    words = (scoring or load_scoring()).who["technician_roles"]
    known = {e.name: e.role for e in examiners}
    names = {*known, *(f.examiner for f in findings)}
    return frozenset(n for n in names if any(w in known.get(n, n).casefold() for w in words))


def findings_that_count(
    findings: Iterable[Finding],
    piano: Piano,
    *,
    checklist: Checklist,
    technicians: frozenset[str] = frozenset(),
    days: Mapping[str, date] | None = None,
) -> tuple[Finding, ...]:
    """What is left once it is clear whose word counts at each point.

    Parameters
    ----------
    findings : all of one piano, by everybody
    piano : the instrument; a part that every such piano has and that somebody wrote off as missing counts as not looked at
    checklist : the points
    technicians : names of examiners whose word stands above the others' (`technicians_of`)
    days : day of each visit by its id. With it a later look at a place replaces an earlier one by the same sort of
        examiner, and a technician's is not set above what somebody else saw on a later day

    Returns
    -------
    tuple of Finding, in the order in which they came

    Examples
    --------
    >>> from pianolab.checklist import load_checklist
    >>> worry = Finding(visit_id="v", point="pins-look", grade=2, examiner="Ben")
    >>> look = Finding(visit_id="v", point="pins-look", grade=5, examiner="Ada")
    >>> kept = findings_that_count(
    ...     [worry, look], Piano(name="A"), checklist=load_checklist(), technicians=frozenset({"Ada"})
    ... )
    >>> [f.grade for f in kept]
    [5]
    """
    known = [_not_written_off(f, checklist.get(f.point), piano) for f in findings]
    if days is not None:
        known = _latest(known, checklist, technicians, days)
    over: dict[str, list[Finding]] = {}
    for f in known:
        if f.examiner in technicians and f.state == "checked":
            over.setdefault(f.point, []).append(f)
    return tuple(f for f in known if not _overruled(f, over.get(f.point, ()), checklist, technicians, days))


def _not_written_off(f: Finding, point: Point | None, piano: Piano) -> Finding:
    if f.state != "does not apply" or point is None or not point.applies(piano):
        return f
    return f if point.can_be_missing(piano) else replace(f, state="not checked")


def _latest(
    findings: Sequence[Finding],
    checklist: Checklist,
    technicians: frozenset[str],
    days: Mapping[str, date],
) -> list[Finding]:
    """For each place, and of each sort of examiner, what was found on the latest day on which anybody looked."""
    counted = {p.id for p in checklist if p.record == "count"}
    newest: dict[tuple[object, ...], tuple[bool, date]] = {}
    ranks = []
    for f in findings:
        place = (f.point, f.place, () if f.point in counted else f.keys, f.examiner in technicians)
        rank = (f.state == "checked", days.get(f.visit_id, date.min))
        newest[place] = max(newest.get(place, rank), rank)
        ranks.append((place, rank))
    return [f for f, (place, rank) in zip(findings, ranks, strict=True) if rank == newest[place]]


def _overruled(
    f: Finding,
    over: Sequence[Finding],
    checklist: Checklist,
    technicians: frozenset[str],
    days: Mapping[str, date] | None,
) -> bool:
    point = checklist.get(f.point)
    if f.examiner in technicians or point is None or _told_by_papers(point):
        return False
    return any(_covers(t, f, point) and not _later(f, t, days) for t in over)


def _told_by_papers(point: Point) -> bool:
    return point.nature == "information" and not point.aspects


def _covers(t: Finding, f: Finding, point: Point) -> bool:
    """Whether one finding is about all that another is about."""
    if t.place not in ("", f.place):
        return False
    return point.record == "count" or not t.keys or t.keys == f.keys


def _later(f: Finding, t: Finding, days: Mapping[str, date] | None) -> bool:
    if days is not None and f.visit_id in days and t.visit_id in days:
        return days[f.visit_id] > days[t.visit_id]
    return f.at is not None and t.at is not None and f.at.date() > t.at.date()
