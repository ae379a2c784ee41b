"""The parts of a visit's screen: each is made when it is first looked at, and kept with its visit."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from pianolab.model import Piano
from pianolab.widgets.desk_state import ScreenPlace
from pianolab.widgets.findings_form import FindingsForm
from pianolab.widgets.keyboard_picker import KeyboardPicker
from pianolab.widgets.photo_form import PhotoForm
from pianolab.widgets.piano_form import PianoForm
from pianolab.widgets.recorder import RecorderForm
from pianolab.widgets.room_form import RoomForm
from pianolab.widgets.touch_form import TouchForm
from pianolab.widgets.wrote import Wrote

if TYPE_CHECKING:
    from pianolab.casebook import Casebook

STAYS = ("recording", "players")
"""Parts that something may be going on in: these are never made anew."""
PART_NAMES = {
    "walk": "Walk",
    "keyboard": "Keyboard",
    "recording": "Recording",
    "players": "Players",
    "photos": "Photos",
    "room": "Room",
    "piano": "Piano",
}


class DeskParts(Wrote):
    """Makes and keeps the parts; says when one of them has written something.

    Parameters
    ----------
    casebook, examiner : as for `VisitDesk`
    pianos : the form of the pianos, which is one for all
    minutes : how long the walk may take
    """

    def __init__(
        self,
        casebook: Casebook,
        examiner: str,
        *,
        pianos: PianoForm,
        minutes: float | None,
    ) -> None:
        self._casebook, self._by, self._minutes = casebook, examiner, minutes
        self._pianos = pianos
        self._made: dict[tuple[str, str], tuple[Piano, Any]] = {}

    def part(self, place: ScreenPlace) -> Any:
        """The widget of a place, showing what the casebook holds now."""
        if place.part == "piano":
            return self._pianos
        key = (place.part, place.visit_id)
        piano = self._casebook.piano(place.piano_id)
        before, made = self._made.get(key, (None, None))
        if before is None or (before != piano and place.part not in STAYS):
            made = self._make(place, piano, before=made)
            if (listen := getattr(made, "when_written", None)) is not None:
                listen(self.wrote)
        elif (refresh := getattr(made, "refresh", None)) is not None:
            refresh()
        self._made[key] = piano, made
        return made

    def weigh(self, visit_id: str, worth: Mapping[str, float]) -> None:
        """Tell the walk of a visit what a look at each open point is worth now."""
        _, walk = self._made.get(("walk", visit_id), (None, None))
        if walk is not None:
            walk.weigh(worth)

    def _make(self, place: ScreenPlace, piano: Piano, *, before: Any) -> Any:
        """A part anew; of a walk whose piano was changed the time that was chosen stays."""
        book, visit = self._casebook, place.visit_id
        if place.part == "keyboard":
            return KeyboardPicker(piano, casebook=book, visit_id=visit, examiner=self._by)
        if place.part == "recording":
            return RecorderForm(book, visit, examiner=self._by, on_kept=lambda _: self.wrote())
        if place.part == "players":
            return TouchForm(book, visit)
        if place.part == "photos":
            return PhotoForm(book, visit, examiner=self._by)
        if place.part == "room":
            return RoomForm(book, visit, examiner=self._by)
        minutes = self._minutes if before is None else before.minutes
        form = FindingsForm(book, visit, examiner=self._by, minutes=minutes)
        form.inside = True
        return form
