"""The room where a piano was heard and the room at home, on one form: saved as it is changed, and taken back."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import UTC, datetime
from html import escape
from typing import TYPE_CHECKING, Any

import ipywidgets

from pianolab.errors import BadInput, PianolabError
from pianolab.html import not_saved, paragraphs
from pianolab.model import Buyer, Finding, Room, load_profiles, new_id
from pianolab.rooms import RoomAsFound, compare_rooms, room_of_visit
from pianolab.rooms.as_found import SIZES
from pianolab.show import html_table
from pianolab.widgets.asking import Asking
from pianolab.widgets.form_parts import StillTwin, Wrote, big_enough
from pianolab.widgets.room_fields import (
    ANSWERS,
    METRES,
    POINTS,
    SAYS,
    RoomFields,
    answer_controls,
    answers_of,
)

if TYPE_CHECKING:
    from pianolab.casebook import Casebook

USUAL_BUYER = "first piano"
Change = tuple[Any, Any]
"""A record before and after; None where it is not there."""


class RoomForm(Wrote, StillTwin, ipywidgets.VBox):
    """The room of a visit and the buyer's room at home, and what the one changes against the other.

    Size, lid, wall and hardness are the walk's own points: what is entered here stands answered there, and the
    other way round. Surfaces there belong to the visit, the room at home to the buyer. Each change that can be used
    is in the casebook before the form says "Saved"; *Take back* undoes what was changed on this form, step by step.

    Parameters
    ----------
    casebook : an open casebook
    visit_id : the visit whose room it is
    examiner : str; who enters it; empty takes the examiner named in the visit
    buyer : str; whose home; empty takes the buyer that the casebook remembers, else the usual one

    Raises
    ------
    BadInput
        no such visit, a buyer that neither the casebook nor pianolab knows

    Examples
    --------
    In a notebook::

        from pianolab.widgets import RoomForm
        RoomForm(casebook, visit.id, examiner="Ana")
    """

    def __init__(self, casebook: Casebook, visit_id: str, *, examiner: str = "", buyer: str = "") -> None:
        self._casebook, self._visit = casebook, casebook.visit(visit_id)
        self._piano = casebook.piano(self._visit.piano_id)
        self._by = examiner or self._visit.examiner or "unnamed examiner"
        self._checklist = casebook.checklist()
        self._buyer = _buyer_of(casebook, buyer)
        self._quiet = True
        self._done: list[list[Change]] = []
        self._last: list[Change] = []
        self.there, self.home = RoomFields("The room there"), RoomFields("The room at home")
        self.answers = answer_controls()
        self.title, self.sum, self.line = (ipywidgets.HTML() for _ in range(3))
        self.back = ipywidgets.Button(
            description="Take back", layout={"width": "auto", "align_self": "flex-start"}
        )
        self.asking = Asking(lambda record, was: self._write([(was, record)]), METRES)
        super().__init__()
        style = big_enough(self)
        self.there.box.children = (*self.there.box.children, *self.answers.values())
        self.at_home = ipywidgets.Accordion(
            [self.home.box], titles=("The room at home",), selected_index=None
        )
        self.children = (
            *(style, self.title, self.there.box, self.back, self.line, self.asking, self.sum),
            self.at_home,
        )
        for control in (*self.there.controls, *self.answers.values()):
            control.observe(lambda _: self._typed(self._changes_there), names="value")
        for control in self.home.controls:
            control.observe(lambda _: self._typed(self._changes_at_home), names="value")
        self.back.on_click(lambda _: self.take_back())
        self.refresh()
        self.line.value = "Every change is saved as you make it."

    def __repr__(self) -> str:
        return f"<RoomForm {self._piano.name}, visit of {self._visit.day.isoformat()}>"

    @property
    def found(self) -> RoomAsFound:
        """The room of the visit as the casebook holds it."""
        return room_of_visit(self._visit.room, self._casebook.findings(self._visit.id))

    @property
    def home_room(self) -> Room:
        """The buyer's room as the casebook holds it."""
        return self._buyer.home_room

    def refresh(self) -> None:
        """Show what the casebook holds now, whoever entered it."""
        self._visit = self._casebook.visit(self._visit.id)
        self._buyer = _buyer_of(self._casebook, self._buyer.name)
        found = self.found
        self._quiet = True
        try:
            self.there.show(found.room)
            self.home.show(self._buyer.home_room)
            for name, value in answers_of(found).items():
                self.answers[name].value = value
        finally:
            self._quiet = False
        self.back.disabled = not self._done
        name = f"{self._piano.name}, visit of {self._visit.day.isoformat()}; at home: {self._buyer.name}"
        self.title.value = f"<b>{escape(name)}</b>"
        self.sum.value = paragraphs(self._said(found))

    def _said(self, found: RoomAsFound) -> tuple[str, ...]:
        change = compare_rooms(found, self._buyer.home_room, kind=self._piano.kind)
        open_ = found.not_known()
        return (change.sentence, *([f"Not known: {'; '.join(open_)}."] if open_ else []))

    # ---- entering ------------------------------------------------------------------------------------------------

    def _typed(self, changes: Any) -> None:
        if self._quiet:
            return
        try:
            found = changes()
        except PianolabError as error:
            self.line.value = not_saved(error)
            return
        if found and self._write(found):
            self._done.append(self._last)
            self.back.disabled = False

    def _changes_at_home(self) -> list[Change]:
        room = self.home.read(self._buyer.home_room)
        same = room == self._buyer.home_room
        return [] if same else [(self._buyer, replace(self._buyer, home_room=room))]

    def _changes_there(self) -> list[Change]:
        """What the controls say against what is known: the visit's own record, and findings at the walk's points."""
        found = self.found
        room = self.there.read(found.room)
        moved = {
            name: getattr(room, name) for name in METRES if getattr(room, name) != getattr(found.room, name)
        }
        # A size stands in one place only, where the walk sees it too.
        unsaid: dict[str, Any] = dict.fromkeys(moved)
        own = replace(self._visit.room, surfaces=room.surfaces, **unsaid)
        changes: list[Change] = []
        if own != self._visit.room:
            changes.append((self._visit, replace(self._visit, room=own)))
        for point, name in SIZES.items():
            if name in moved:
                changes += self._at_point(point, moved[name], reading=True)
        shown = answers_of(found)
        for name, control in self.answers.items():
            if control.value != shown[name]:
                said = SAYS.get((name, control.value), {})
                for point in POINTS[name]:
                    changes += self._at_point(point, said.get(point), reading=False)
        return changes

    def _at_point(self, point: str, value: Any, *, reading: bool) -> list[Change]:
        """The last finding at a point brought to a value; no value takes out every one that had been looked at."""
        before = [f for f in self._casebook.findings(self._visit.id) if f.point == point]
        if value is None:
            return [(f, None) for f in before if f.state == "checked"]
        fields: dict[str, Any] = {
            "reading" if reading else "answer": value,
            "state": "checked",
            "reason": "",
            "examiner": self._by,
            "at": datetime.now(UTC),
        }
        if before:
            return [(before[-1], replace(before[-1], **fields))]
        return [(None, Finding(visit_id=self._visit.id, point=point, **fields))]

    def take_back(self) -> None:
        """Undo the last change made on this form; what another has changed since is asked about, not set back."""
        if not self._done:
            self.line.value = "Nothing to take back."
            return
        back = [
            (after, _anew(before) if after is None else before) for before, after in reversed(self._done[-1])
        ]
        if not self._write(back, done="Taken back"):
            return
        ids = {
            before.id: again.id
            for (before, _), (_, again) in zip(reversed(self._done.pop()), back, strict=True)
            if isinstance(before, Finding) and again is not None
        }
        self._done = [[(_moved(b, ids), _moved(a, ids)) for b, a in step] for step in self._done]
        self.back.disabled = not self._done

    def _write(self, changes: Sequence[Change], *, done: str = "Saved") -> bool:
        """All changes in one step, or none."""
        from pianolab.casebook import Clash  # loaded with the casebook that is open here

        self.asking.put_away()
        try:
            with self._casebook.editing(by=self._by, checklist=self._checklist) as edit:
                kept = [(before, self._written(edit, before, after)) for before, after in changes]
        except Clash as clash:
            self.line.value = ""
            self.asking.ask(clash)
            return False
        except PianolabError as error:
            self.line.value = not_saved(error)
            return False
        self._last = kept
        self.refresh()
        self.line.value = f"{done} at {datetime.now():%H:%M:%S}"
        self.wrote()
        return True

    def _written(self, edit: Any, before: Any, after: Any) -> Any:
        """One record entered, changed or taken out; as it is kept."""
        if after is None:
            edit.remove(before.id, was=before)
            return None
        names = [p.name for p in self._casebook.profiles()]
        new = before is None or (isinstance(after, Buyer) and after.name not in names)
        return edit.add(after) if new else edit.change(after, was=before)

    def to_html(self) -> str:
        """Both rooms as still, escaped tables, with what is not known."""
        found = self.found
        rows: list[tuple[Any, ...]] = [
            (words.lower(), getattr(found.room, n) or "not noted", getattr(self.home_room, n) or "not noted")
            for n, words in METRES.items()
        ]
        named = [", ".join(room.surfaces) or "not noted" for room in (found.room, self.home_room)]
        rows.append(("surfaces", *named))
        shown = answers_of(found)
        rows += [(title.lower(), _words(name, shown[name]), "") for name, (title, _) in ANSWERS.items()]
        said = paragraphs(self._said(found))
        return html_table(f"Rooms: {self._piano.name}", ("what", "there", "at home"), rows) + said


def _words(name: str, value: str) -> str:
    return next(words for words, known in ANSWERS[name][1] if known == value)


def _anew(record: Finding) -> Finding:
    """What was taken out, to be entered once more: an id is given out once."""
    return replace(record, id=new_id())


def _moved(record: Any, ids: Mapping[str, str]) -> Any:
    return replace(record, id=ids[record.id]) if isinstance(record, Finding) and record.id in ids else record


def _buyer_of(casebook: Casebook, name: str) -> Buyer:
    from pianolab.casebook import kept_settings  # loaded with the casebook that is open here

    name = name or kept_settings(casebook).profile or USUAL_BUYER
    known = {**load_profiles(), **{p.name: p for p in casebook.profiles()}}
    if name not in known:
        raise BadInput("buyer", repr(name), "one of " + ", ".join(sorted(known)), "Misspelt?")
    return known[name]
