"""A second visit: what is different, and what that does to the ranking; and the demonstration's own second visit."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from html import escape
from typing import Any

from pianolab.assess import VisitChanges, compare_visits
from pianolab.casebook import Casebook
from pianolab.compare import RankingChange, explain_change
from pianolab.errors import BadInput, PianolabError
from pianolab.io import read_sound
from pianolab.keyboard import note_name
from pianolab.model import Finding, Piano
from pianolab.report import Clip
from pianolab.shipped import shipped
from pianolab.show import Row, Showable, html_figure
from pianolab.workflow.clips import clip_keys, cut_note, equally_loud
from pianolab.workflow.deciding import decide
from pianolab.workflow.fault_clips import player
from pianolab.workflow.hearing import Heard, all_heard
from pianolab.workflow.judging import counted_findings
from pianolab.workflow.progress import quiet, stoppable
from pianolab.workflow.settings import Settings

THEN, NOW = "then", "now"


@dataclass(frozen=True, kw_only=True)
class SecondVisit:
    """The condition it belongs to, the sound that is heard, and what was looked at again."""

    condition: str
    sound: str
    day: date
    note: str
    found: dict[str, dict[str, Any]]

    def findings(self, *, visit_id: str, examiner: str) -> tuple[Finding, ...]:
        """The findings at the points that were looked at again."""
        return tuple(self._finding(point, visit_id=visit_id, examiner=examiner) for point in self.found)

    def _finding(self, point: str, *, visit_id: str, examiner: str) -> Finding:
        values: dict[str, Any] = {
            k: tuple(v) if isinstance(v, list) else v for k, v in self.found[point].items()
        }
        return Finding(id=f"{visit_id}-{point}", visit_id=visit_id, point=point, examiner=examiner, **values)


def load_second_visit() -> SecondVisit:
    """The second visit that comes with pianolab (``datasets/scenario/second_visit.toml``).

    Examples
    --------
    >>> load_second_visit().condition
    'masked treble'
    """
    raw = tomllib.loads(shipped("datasets/scenario/second_visit.toml").read_text(encoding="utf-8"))
    return SecondVisit(**raw)


def visit_changes(casebook: Casebook, piano: str, settings: Settings | None = None) -> VisitChanges:
    """What is different between the last day somebody was at a piano and what was known before it.

    Where several people looked, it is settled whose word counts as for a decision: a technician's above the others'.

    Parameters
    ----------
    casebook : an open casebook; it is only read
    piano : id or name
    settings : with which points; what the casebook remembers if not given

    Returns
    -------
    VisitChanges: point by point, promise by promise, and by ear

    Raises
    ------
    BadInput
        no such piano, or nobody was there on a second day
    """
    which = casebook.piano(piano)
    before, last = _last_two_days(casebook, which)
    points = (settings or Settings.of(casebook)).points
    then, now = heard_then_and_now(casebook, which)
    return compare_visits(
        which,
        counted_findings(casebook, which, points, until=before),
        counted_findings(casebook, which, points, on=last),
        checklist=points,
        heard_before=None if then is None else then.survey,
        heard_after=None if now is None else now.survey,
        days=float((last - before).days),
    )


@stoppable("Not compared to the end; the casebook is as it was.")
def ranking_changes(
    casebook: Casebook, settings: Settings | None = None, *, since: date | None = None, **changes: Any
) -> RankingChange:
    """What the visits since a day did to the ranking of a casebook's shortlist, and why: two decisions side by side.

    Parameters
    ----------
    casebook : an open casebook; it is only read
    settings, changes : as in `decide`; the same for both
    since : the first day that counts as after; None takes the day of the latest second visit to a piano

    Returns
    -------
    RankingChange: who moved, and by which changes in findings, sound, price and money

    Raises
    ------
    BadInput
        no piano was visited twice and no day given, and what `decide` refuses
    """
    day = since or _latest_return(casebook)
    after = decide(casebook, settings, **changes)
    before = decide(casebook, after.settings, until=day - timedelta(days=1))
    return explain_change(before.comparison, after.comparison)


def _last_two_days(casebook: Casebook, piano: Piano) -> tuple[date, date]:
    """The last day somebody was there, and the one before it; several may have been there on each."""
    visits = casebook.visits(piano.id)
    days = sorted({v.day for v in visits})
    if len(days) < 2:
        need, cause = "two, on different days", "Nobody has been there again yet."
        raise BadInput(f"visits to {piano.name}", f"{len(visits)}", need, cause)
    return days[-2], days[-1]


def _latest_return(casebook: Casebook) -> date:
    visited = [casebook.visits(p.id) for p in casebook.pianos()]
    days = [visits[-1].day for visits in visited if len({v.day for v in visits}) > 1]
    if not days:
        raise BadInput("since", "no piano visited twice", "a day, or a second visit")
    return max(days)


def heard_then_and_now(casebook: Casebook, piano: Piano) -> tuple[Heard | None, Heard | None]:
    """What was recorded of a piano before its last visit, and at it; None where nothing was.

    Raises
    ------
    BadInput
        only one visit to it
    """
    before, last = _last_two_days(casebook, piano)
    then = _heard(casebook, piano, until=before)
    now = _heard(casebook, piano)
    return then, None if now is None or now.day < last.isoformat() else now


def _heard(casebook: Casebook, piano: Piano, *, until: date | None = None) -> Heard | None:
    return all_heard(casebook, (piano,), {}, until=until, progress=quiet).get(piano.id)


@dataclass(frozen=True, kw_only=True, repr=False)
class ThenAndNow(Showable):
    """The same keys from two recordings, each pair made equally loud; a notebook shows them with players."""

    name: str
    pairs: tuple[tuple[Clip, Clip], ...]
    why_none: str = ""
    header = ("key", "then, s", "now, s")

    def headline(self) -> str:
        if not self.pairs:
            return f"{self.name}: nothing to play then and now, as {self.why_none}"
        keys = "key" if len(self.pairs) == 1 else "keys"
        return f"{self.name}: {len(self.pairs)} {keys} then and now, equally loud"

    def rows(self) -> list[Row]:
        return [(then.label, round(then.seconds, 2), round(now.seconds, 2)) for then, now in self.pairs]

    def _repr_html_(self) -> str:
        items = "".join(
            f"<li>{escape(then.label)}: then {player(then)} now {player(now)}</li>"
            for then, now in self.pairs
        )
        return html_figure(self.headline(), f'<ul style="margin:0">{items}</ul>')


def hear_then_and_now(casebook: Casebook, piano: str, keys: Sequence[int] = ()) -> ThenAndNow:
    """Play keys of one piano as they were recorded before the last visit, and at it.

    Parameters
    ----------
    casebook : an open casebook; it is only read
    piano : id or name
    keys : key numbers, A4 = 49; a few telling ones that both recordings hold if none are given

    Returns
    -------
    ThenAndNow; without a recording of either visit it says which one is missing

    Raises
    ------
    BadInput
        no such piano, only one visit to it, a key that isn't in both recordings

    Examples
    --------
    In a notebook::

        import pianolab as pl
        pl.forms.hear_then_and_now(casebook, "by the window", keys=[40, 64])
    """
    which = casebook.piano(piano)
    then, now = heard_then_and_now(casebook, which)
    if then is None or now is None:
        missing = " and ".join(when for when, h in ((THEN, then), (NOW, now)) if h is None)
        return ThenAndNow(name=which.name, pairs=(), why_none=f"nothing was recorded {missing}")
    heard = {THEN: then, NOW: now}
    chosen = _checked(keys, heard) or clip_keys({when: h.own for when, h in heard.items()})
    if not chosen:
        return ThenAndNow(
            name=which.name, pairs=(), why_none="the recordings share none of the keys compared"
        )
    try:
        sounds = {when: read_sound(casebook.media_path(h.recording.media)) for when, h in heard.items()}
    except PianolabError as error:  # the survey is there, the sound is gone
        return ThenAndNow(name=which.name, pairs=(), why_none=f"a sound file can't be read ({error})")
    cuts = [[cut_note(sounds[when], h.own, key=key) for when, h in heard.items()] for key in chosen]
    whole = [pair for pair in cuts if all(len(cut.samples) for cut in pair)]
    if not whole:
        return ThenAndNow(name=which.name, pairs=(), why_none="a sound file ends before these keys")
    return ThenAndNow(name=which.name, pairs=tuple((a, b) for a, b in map(equally_loud, whole)))


def _checked(keys: Sequence[int], heard: Mapping[str, Heard]) -> tuple[int, ...]:
    for when, h in heard.items():
        table = h.own.table
        there = {int(k) for k in table.loc[table["status"] == "measured", "key"]}
        for key in keys:
            if key not in there:
                name = note_name(key) if isinstance(key, int) else ""
                got = f"{key!r}{f' ({name})' if name else ''}, which was not measured {when}"
                raise BadInput("key", got, "keys that both recordings hold")
    return tuple(keys)
