"""What a page still holds of recordings that were cut off: it goes to where the rest of them lies."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pianolab.casebook.arrived import go_on, waiting
from pianolab.casebook.arriving import About, Arriving, begin, place_for
from pianolab.errors import PianolabError

if TYPE_CHECKING:
    from pianolab.casebook import Casebook


class Rest:
    """Recordings of an earlier kernel or page, opened again for the pieces that come late."""

    def __init__(self, place: Path) -> None:
        self._place = place
        self._open: dict[str, Arriving] = {}

    def of(self, page: str, about: Any, read: Callable[[dict[str, Any]], About]) -> Arriving | None:
        """The recording of a page; None where nobody knows it and the page doesn't say what it is.

        Parameters
        ----------
        page : the name that the page gave the recording
        about : what the page says of it, where it has reason to think that nobody else knows
        read : makes an `About` of that
        """
        if page not in self._open:
            found = next((a for a in waiting(self._place) if a.about.page == page), None)
            if found is not None:
                self._open[page] = go_on(found.folder)
            elif isinstance(about, dict):
                self._open[page] = begin(self._place, read({**about, "page": page}))
        return self._open.get(page)

    def close(self, page: str) -> None:
        """Nothing more comes of it."""
        arriving = self._open.pop(page, None)
        if arriving is not None:
            arriving.close()


def offers(casebook: Casebook) -> list[dict[str, Any]]:
    """Recordings that arrived and were not kept, as the screen lists them."""
    return [
        {
            "id": a.id,
            "seconds": a.seconds,
            "begun": a.about.begun,
            "going_on": a.going_on,
            "where": _named(casebook, a.about),
        }
        for a in waiting(place_for(casebook))
    ]


def _named(casebook: Casebook, about: About) -> str:
    try:
        visit = casebook.visit(about.visit_id)
        return f"{casebook.piano(visit.piano_id).name}, {visit.day.isoformat()}"
    except PianolabError:
        return "a visit that is no longer there"
