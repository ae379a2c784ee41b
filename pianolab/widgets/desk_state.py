"""Where a desk stands and which of several is the live one; nothing here draws."""

from __future__ import annotations

import weakref
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Protocol

from pianolab.model import Piano, Visit

if TYPE_CHECKING:
    from pianolab.casebook import Casebook


@dataclass(frozen=True, kw_only=True)
class ScreenPlace:
    """The piano, the visit and the part that are on the screen."""

    piano_id: str
    visit_id: str
    part: str = "walk"


class Screen(Protocol):
    """What may be the live screen of a casebook."""

    place: ScreenPlace | None

    def became_old(self) -> None: ...


_LIVE: dict[str, weakref.ref[Any]] = {}
_LEFT: dict[str, ScreenPlace] = {}


def take_over(casebook: Casebook, screen: Screen) -> None:
    """Make a screen the live one of its casebook; the one before is told that it is old."""
    before = _LIVE.get(casebook.name)
    old = before() if before is not None else None
    _LIVE[casebook.name] = weakref.ref(screen)
    if old is not None and old is not screen:
        old.became_old()


def is_live(casebook: Casebook, screen: Screen) -> bool:
    """Whether a screen is the one that records."""
    live = _LIVE.get(casebook.name)
    return live is not None and live() is screen


def leave(casebook: Casebook, place: ScreenPlace) -> None:
    """Remember where one is, for the next screen of this kernel."""
    _LEFT[casebook.name] = place


def where_left(casebook: Casebook) -> ScreenPlace | None:
    """Where one was: in this kernel, else at the visit that was written to last; None in an empty casebook.

    What this kernel remembers counts only while the casebook still has it.
    """
    visits = {v.id: v for v in casebook.visits()}
    left = _LEFT.get(casebook.name)
    if left is not None and left.visit_id in visits:
        return left
    last = _last_written(casebook, visits)
    return None if last is None else ScreenPlace(piano_id=last.piano_id, visit_id=last.id)


def _last_written(casebook: Casebook, visits: dict[str, Visit]) -> Visit | None:
    """The visit that the log's last change belongs to."""
    for change in reversed(casebook.log()):
        body = change.after or change.before or {}
        visit = visits.get(str(body.get("visit_id", ""))) or visits.get(change.record_id)
        if visit is not None:
            return visit
    return None


def visits_of(casebook: Casebook, piano: Piano) -> tuple[Visit, ...]:
    """The visits to a piano, the earliest first."""
    return tuple(sorted(casebook.visits(piano.id), key=lambda v: v.day))
