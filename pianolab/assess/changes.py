"""What is different on a second visit: point by point, promise by promise, and by ear."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

from pianolab.acoustics.survey_result import Survey
from pianolab.assess.by_recording import HeardKeys, hear
from pianolab.assess.findings import PointView, found_there, not_looked_at, value_of, view_point
from pianolab.assess.marks import MarkChange, mark_changes
from pianolab.assess.scoring import Scoring, load_scoring
from pianolab.assess.tuning_state import tuning_state
from pianolab.checklist import Checklist, Point
from pianolab.errors import BadInput
from pianolab.model import Finding, Piano
from pianolab.recordings.holding import Holding, holds_tuning
from pianolab.show import Row, Showable
from pianolab.statements import Statement, as_written, statement
from pianolab.words import say

Direction = Literal["better", "worse", "different", "the same", "first time", "not looked at again"]
Kept = Literal["", "kept", "partly kept", "not kept", "not looked at again"]

NOTICEABLE = 0.02
"""Shares of the full loss closer than this count as the same."""

GOOD_SHARE = 0.05
"""Up to this share a point is as it should be: grade 4 or better, or next to the usual range."""


@dataclass(frozen=True, kw_only=True)
class PointChange:
    """One checklist point on both visits; ``promised`` is what the seller said, ``kept`` what came of it."""

    point: str
    title: str
    was: Statement
    now: Statement
    direction: Direction
    promised: str = ""
    kept: Kept = ""

    @property
    def before(self) -> str:
        return say(self.was)

    @property
    def after(self) -> str:
        return say(self.now)


@dataclass(frozen=True, kw_only=True)
class HeardChange:
    """One thing that listening judges, on both recordings: how many keys, and where the difference comes from.

    ``item`` is what is heard, by its key in ``data/scoring.toml``. ``came_to_light`` are keys faulty now that could not be judged before, ``new`` those that were sound before,
    ``gone`` those faulty before and judged sound now.
    """

    item: str
    total: int
    before: int
    after: int
    hidden_before: int
    hidden_after: int
    judged_before: int | None = None
    judged_after: int | None = None
    came_to_light: tuple[int, ...] = ()
    new: tuple[int, ...] = ()
    gone: tuple[int, ...] = ()

    @property
    def what(self) -> str:
        return say(statement(f"heard.{self.item}.what"))

    @property
    def of(self) -> str:
        return say(statement(f"heard.{self.item}.of"))

    @property
    def tells(self) -> bool:
        """Whether the two recordings differ in this, or one could judge nothing of what the other could."""
        before = self.before, self.hidden_before, self.judged_before == 0
        return before != (self.after, self.hidden_after, self.judged_after == 0) or bool(self.new)

    def says(self) -> Statement:
        """The difference: both counts, and the keys behind it."""
        what, of = (statement(f"heard.{self.item}.{name}") for name in ("what", "of"))
        before, after = self.found()
        parts = [statement("changed.counts", what=what, of=of, total=self.total, before=before, after=after)]
        for kind, keys in (("came to light", self.came_to_light), ("new", self.new), ("gone", self.gone)):
            parts += [statement(f"changed.{kind}", keys=keys)] if keys else []
        if self.hidden_before != self.hidden_after:
            parts.append(statement("changed.hidden", before=self.hidden_before, after=self.hidden_after))
        return statement("changed.heard", self.item, evidence=["listening"], parts=tuple(parts))

    def found(self) -> tuple[Statement, Statement]:
        """What each recording told: how many of those that it could judge; of none judged nothing is known."""
        sides = ((self.before, self.judged_before), (self.after, self.judged_after))
        return _told(*sides[0], self.total), _told(*sides[1], self.total)

    def sentence(self) -> str:
        """The difference in one sentence.

        Examples
        --------
        >>> change = HeardChange(item="sustain treble", total=24, before=0, after=14, hidden_before=24,
        ...     hidden_after=0, judged_before=0, came_to_light=(60, 61))
        >>> change.sentence()
        'short sustain, of 24 treble notes: before not known, as none could be judged, now 14; at G#5 and A5 ...'
        """
        return say(self.says())


def _told(found: int, judged: int | None, total: int) -> Statement:
    if judged is None or judged >= total:
        return statement("changed.found", found=found)
    if judged <= 0:
        return statement("changed.none judged")
    return statement("changed.found of judged", found=found, judged=judged)


@dataclass(frozen=True, kw_only=True, repr=False)
class VisitChanges(Showable):
    """Two visits to one piano compared; points nobody looked at twice and nobody promised anything about are left out.

    ``pitch_before_cents`` and ``pitch_after_cents`` are the whole piano against A4, None where not heard;
    ``holding`` says which keys moved by themselves, None with ``why_no_holding`` where that can't be told.
    ``survey_before`` and ``survey_after`` are what was recorded, None where nothing was; ``chart`` draws them together.
    ``marks`` are the keys that either visit named.
    """

    piano: Piano
    points: tuple[PointChange, ...]
    heard: tuple[HeardChange, ...] = ()
    pitch_before_cents: float | None = None
    pitch_after_cents: float | None = None
    holding: Holding | None = None
    why_no_holding: Statement | None = None
    survey_before: Survey | None = None
    survey_after: Survey | None = None
    marks: tuple[MarkChange, ...] = ()
    header = ("what", "before", "now", "difference", "promised", "kept")

    @property
    def promises(self) -> tuple[PointChange, ...]:
        return tuple(p for p in self.points if p.promised)

    @property
    def broken(self) -> tuple[PointChange, ...]:
        """Promises not kept, or not wholly, or that nobody looked after."""
        return tuple(p for p in self.promises if p.kept != "kept")

    def headline(self) -> str:
        better, worse = (sum(p.direction == way for p in self.points) for way in ("better", "worse"))
        kept = len(self.promises) - len(self.broken)
        said = f"; {kept} of {len(self.promises)} promises kept" if self.promises else ""
        points = "point" if better == 1 else "points"
        return f"{self.piano.name}: {better} {points} better, {worse} worse{said}"

    def rows(self) -> list[Row]:
        order = {
            "worse": 0,
            "better": 1,
            "first time": 2,
            "different": 3,
            "not looked at again": 4,
            "the same": 5,
        }
        points = sorted(self.points, key=lambda p: (not p.promised, order[p.direction], p.point))
        rows: list[Row] = [(p.title, p.before, p.after, p.direction, p.promised, p.kept) for p in points]
        return (
            rows
            + [
                (f"by ear: {h.what} ({h.of})", *(say(side) for side in h.found()), h.sentence(), "", "")
                for h in self.heard
            ]
            + [("pins", "", "", self.pins_sentence(), "", "")]
        )

    def pins_sentence(self) -> str:
        """Whether the pins hold, as far as two recordings tell."""
        if self.holding is None:
            why = self.why_no_holding or statement("changed.two recordings")
            return say(statement("changed.pins not known", why=why))
        return self.holding.headline()


def compare_visits(
    piano: Piano,
    before: Iterable[Finding],
    after: Iterable[Finding],
    *,
    checklist: Checklist,
    heard_before: Survey | None = None,
    heard_after: Survey | None = None,
    days: float | None = None,
) -> VisitChanges:
    """What is different between two visits to one piano.

    Read it as: what was promised and what came of it, what got better or worse, and what is heard now that
    was not heard before, because it is new or because the tuning hid it.

    Parameters
    ----------
    piano : the instrument
    before : the findings that held after the first visit
    after : the findings of the second visit alone
    checklist : the points of both
    heard_before, heard_after : surveys of the two recordings, None where there is none
    days : days between the two recordings

    Returns
    -------
    VisitChanges

    Raises
    ------
    BadInput
        For a finding at a point that the checklist does not have.

    Examples
    --------
    >>> from pianolab.checklist import load_checklist
    >>> first = Finding(visit_id="1", point="tuning-pitch", reading=-25, promised="raised to pitch")
    >>> again = Finding(visit_id="2", point="tuning-pitch", reading=0)
    >>> compare_visits(Piano(name="A"), [first], [again], checklist=load_checklist())
    <VisitChanges A: 1 point better, 0 worse; 1 of 1 promises kept>
    """
    scoring = load_scoring()
    old, new = tuple(before), tuple(after)
    for f in (f for f in (*old, *new) if f.point not in checklist):
        raise BadInput("finding", repr(f.point), "the id of a checklist point", "From another checklist?")
    points = [
        change
        for point in checklist.for_piano(piano)
        if (change := _point_change(point, old, new, scoring)) is not None
    ]
    holding, why = _holding(heard_before, heard_after, days)
    return VisitChanges(
        piano=piano,
        points=tuple(points),
        heard=_heard_changes(piano, heard_before, heard_after, scoring),
        pitch_before_cents=None if heard_before is None else heard_before.summary.offset_cents,
        pitch_after_cents=None if heard_after is None else heard_after.summary.offset_cents,
        holding=holding,
        why_no_holding=why,
        survey_before=heard_before,
        survey_after=heard_after,
        marks=mark_changes(piano, old, new, checklist=checklist),
    )


def _holding(
    before: Survey | None, after: Survey | None, days: float | None
) -> tuple[Holding | None, Statement | None]:
    if before is None or after is None:
        return None, statement("changed.two recordings")
    try:
        return holds_tuning(before, after, days=days), None
    except BadInput as error:
        return None, as_written(str(error))


def _point_change(
    point: Point, old: Sequence[Finding], new: Sequence[Finding], scoring: Scoring
) -> PointChange | None:
    mine = [f for f in old if f.point == point.id]
    promised = "; ".join(dict.fromkeys(f.promised.strip() for f in mine if f.promised.strip()))
    was, now = view_point(point, mine, scoring=scoring), view_point(point, new, scoring=scoring)
    if not now.checked and not promised:
        return None
    direction = _direction(was, now)
    return PointChange(
        point=point.id,
        title=point.title,
        was=_says(was, scoring),
        now=_says(now, scoring),
        direction=direction,
        promised=promised,
        kept=_kept(now, direction) if promised else "",
    )


def _direction(was: PointView, now: PointView) -> Direction:
    if not now.checked:
        return "not looked at again"
    if not was.checked:
        return "first time"
    if abs(now.share - was.share) < NOTICEABLE:
        return "the same" if _values(was) == _values(now) else "different"
    return "better" if now.share < was.share else "worse"


def _values(view: PointView) -> list[float]:
    """What was found, whether it is good, bad or only information."""
    return sorted(float(value_of(f, view.point)) for f in view.findings if f.state == "checked")


def _kept(now: PointView, direction: Direction) -> Kept:
    """A promise is kept where the point is as it should be now, partly where it is at least better."""
    if not now.checked:
        return "not looked at again"
    if now.worst <= GOOD_SHARE:
        return "kept"
    return "partly kept" if direction == "better" else "not kept"


def _says(view: PointView, scoring: Scoring) -> Statement:
    return found_there(view, scoring) or not_looked_at(view.findings) or statement("unknown.not checked")


def _heard_changes(
    piano: Piano, before: Survey | None, after: Survey | None, scoring: Scoring
) -> tuple[HeardChange, ...]:
    if before is None or after is None:
        return ()
    old = _hear(piano, before, scoring)
    now = _hear(piano, after, scoring)
    changes = [_heard_change(old[key], now[key]) for key in old if key in now]
    return tuple(c for c in changes if c.tells)


def _hear(piano: Piano, survey: Survey, scoring: Scoring) -> dict[str, HeardKeys]:
    state = tuning_state(survey, scoring=scoring)
    return {h.item.key: h for h in hear(piano, survey, state, scoring=scoring)}


def _heard_change(old: HeardKeys, now: HeardKeys) -> HeardChange:
    was, blind = set(old.faulty), {*old.hidden, *old.mute, *old.unheard}
    unsure = {*now.hidden, *now.mute, *now.unheard}
    return HeardChange(
        judged_before=old.total - len(blind),
        judged_after=now.total - len(unsure),
        item=now.item.key,
        total=now.total,
        before=len(old.faulty),
        after=len(now.faulty),
        hidden_before=len(old.hidden),
        hidden_after=len(now.hidden),
        came_to_light=tuple(k for k in now.faulty if k in blind),
        new=tuple(k for k in now.faulty if k not in was and k not in blind),
        gone=tuple(k for k in old.faulty if k not in now.faulty and k not in unsure),
    )
