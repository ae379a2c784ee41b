"""The parts of a visit's screen, each made when it is first looked at and kept with its visit; the photos among them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import TYPE_CHECKING, Any

import anywidget
import traitlets

from pianolab.checklist.points import Checklist
from pianolab.errors import BadInput, PianolabError
from pianolab.html import items, paragraphs
from pianolab.model import Piano
from pianolab.widgets.desk_state import ScreenPlace
from pianolab.widgets.findings_form import FindingsForm
from pianolab.widgets.form_parts import StillTwin, Wrote, browser_code
from pianolab.widgets.keyboard_picker import KeyboardPicker
from pianolab.widgets.piano_form import PianoForm
from pianolab.widgets.pictures import keep_picture, small_pictures
from pianolab.widgets.recorder import RecorderForm
from pianolab.widgets.room_form import RoomForm
from pianolab.widgets.touch_form import TouchForm

if TYPE_CHECKING:
    from pianolab.casebook import Casebook


class PhotoForm(Wrote, StillTwin, anywidget.AnyWidget):
    """All photos of a visit side by side; new ones are taken with the camera or chosen from a file.

    Parameters
    ----------
    casebook : an open casebook
    visit_id : whose photos
    examiner : str; who takes them; empty takes the examiner named in the visit

    Raises
    ------
    BadInput
        Where the casebook has no such visit.
    """

    _esm = browser_code("page.js", "photo.js", "photos.js")
    _css = browser_code("page.css", "photos.css")
    view = traitlets.Dict().tag(sync=True)
    pictures = traitlets.Dict().tag(sync=True)
    answer = traitlets.Dict().tag(sync=True)

    def __init__(self, casebook: Casebook, visit_id: str, *, examiner: str = "") -> None:
        self._casebook, self._visit = casebook, casebook.visit(visit_id)
        self._piano = casebook.piano(self._visit.piano_id)
        self._by = examiner or self._visit.examiner or "unnamed examiner"
        self._checklist: Checklist = casebook.checklist()
        super().__init__()
        self.refresh()
        self.on_msg(lambda _widget, content, buffers: self.receive(content, buffers))

    def __repr__(self) -> str:
        return f"<PhotoForm {self.view['title']}: {self.view['count']}>"

    def receive(self, event: Any, buffers: Sequence[object] = ()) -> None:
        """Take one event of the screen: a new photo, or one to be taken out."""
        number = event.get("n") if isinstance(event, dict) else None
        try:
            line = (
                f"{self._do(event if isinstance(event, dict) else {}, buffers)} at {datetime.now():%H:%M:%S}"
            )
            ok = True
        except PianolabError as error:
            line, ok = f"Not saved. {error}", False
        with self.hold_sync():
            self.refresh()
            self.answer = {"n": number, "ok": ok, "line": line}
        if ok:
            self.wrote()

    def _do(self, event: dict[str, Any], buffers: Sequence[object]) -> str:
        if event.get("do") == "photo":
            keep_picture(
                self._casebook, self._visit.id, point="", name=event.get("name"), buffers=buffers, by=self._by
            )
            return "Photo saved"
        photos = {p.id for p in self._casebook.photos(visit_id=self._visit.id)}
        if event.get("do") != "drop photo" or event.get("photo") not in photos:
            raise BadInput("photo", "one that is not here any more", "a photo of this visit")
        with self._casebook.editing(by=self._by) as edit:
            edit.remove(str(event["photo"]))
        return "Photo taken out"

    def refresh(self) -> None:
        """Show the photos as the casebook has them now."""
        photos = self._casebook.photos(visit_id=self._visit.id)
        groups: dict[str, list[str]] = {}
        for photo in photos:
            groups.setdefault(photo.point, []).append(photo.id)
        self.pictures = small_pictures(self._casebook, photos)
        self.view = {
            "title": f"{self._piano.name}, visit of {self._visit.day.isoformat()}",
            "count": f"{len(photos)} {'photo' if len(photos) == 1 else 'photos'}"
            if photos
            else "no photo yet",
            "whole": groups.pop("", []),
            "groups": [{"title": self._title_of(point), "photos": ids} for point, ids in groups.items()],
        }

    def _title_of(self, point_id: str) -> str:
        point = self._checklist.get(point_id)
        return point.title if point is not None else point_id

    def to_html(self) -> str:
        """How many photos there are, and of what; the pictures themselves stand on the exported page."""
        groups = items(f"{g['title']}: {len(g['photos'])}" for g in self.view["groups"])
        title = f"{self.view['title']}: {self.view['count']}."
        return f"{paragraphs([title])}<ul>{groups}</ul>"


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
