"""The photos of one visit in the notebook: those of the whole piano, and those taken at points of the walk."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import TYPE_CHECKING, Any

import anywidget
import traitlets

from pianolab.checklist.points import Checklist
from pianolab.errors import BadInput, PianolabError
from pianolab.html import items, paragraphs
from pianolab.widgets.browser import browser_code
from pianolab.widgets.pictures import keep_picture, small_pictures
from pianolab.widgets.still import StillTwin
from pianolab.widgets.wrote import Wrote

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
