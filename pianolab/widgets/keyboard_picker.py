"""The instrument's keyboard in the notebook: choose keys, mark them, see and hear what is known of each."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

import anywidget
import traitlets

from pianolab.checklist.points import Checklist
from pianolab.errors import BadInput, PianolabError
from pianolab.model import Finding, Piano, Recording
from pianolab.report.twin_keyboard import keyboard_twin, read_keys
from pianolab.widgets.form_parts import StillTwin, Wrote, browser_code
from pianolab.widgets.one_key import KeyMarking, KeyMarks, key_clip, key_marks, measured_lines
from pianolab.widgets.walk_view import keyboard_view
from pianolab.words import keys_in_words

if TYPE_CHECKING:
    from pianolab.acoustics import Survey
    from pianolab.casebook import Casebook

__all__ = ["KeyMarks", "KeyboardPicker", "key_marks"]


class KeyboardPicker(Wrote, StillTwin, anywidget.AnyWidget):
    """The piano's own keyboard: touch or arrow keys choose keys, marks show what was found and heard.

    ``chosen`` holds the chosen keys as a tuple and can be observed or set. With a casebook and a visit keys
    can be marked (chip, sticking, buzz …), each mark being saved as it is made, and the sound of a key is
    played from the visit's recording.

    Parameters
    ----------
    piano : Piano; its compass is drawn
    findings, survey, checklist : what is known, as in `key_marks`; read from the casebook where one is given
    chosen : keys chosen at the start
    casebook, visit_id : where marks are saved and the recording lies; None for a keyboard to look at
    examiner : str; who marks; empty takes the examiner named in the visit

    Raises
    ------
    BadInput
        Where a chosen key is not on this keyboard, or the casebook has no such visit of this piano.

    Examples
    --------
    >>> picker = KeyboardPicker(Piano(name="the one upstairs"), chosen=(40, 44))
    >>> picker.chosen
    (40, 44)
    """

    _esm = browser_code("page.js", "keyboard.js", "picker.js")
    _css = browser_code("page.css", "keyboard.css", "picker.css")
    title = traitlets.Unicode().tag(sync=True)
    keyboard = traitlets.Dict().tag(sync=True)
    marks = traitlets.Dict().tag(sync=True)
    facts = traitlets.Dict().tag(sync=True)
    kinds = traitlets.List[Any]().tag(sync=True)
    marked = traitlets.Dict().tag(sync=True)
    playable = traitlets.List[Any]().tag(sync=True)
    chosen = traitlets.Tuple().tag(sync=True)
    line = traitlets.Unicode().tag(sync=True)
    told = traitlets.Int(0).tag(sync=True)

    def __init__(
        self,
        piano: Piano,
        *,
        findings: Iterable[Finding] = (),
        survey: Survey | None = None,
        checklist: Checklist | None = None,
        chosen: Iterable[int] = (),
        casebook: Casebook | None = None,
        visit_id: str = "",
        examiner: str = "",
    ) -> None:
        self._piano, self._findings, self._survey = piano, tuple(findings), survey
        self._checklist = checklist if checklist is not None or casebook is None else casebook.checklist()
        self._marking = self._marking_in(casebook, visit_id, examiner) if casebook is not None else None
        self._recording: Recording | None = None
        if self._marking is not None:
            self._find_recording()
        super().__init__(
            title=self._title(),
            keyboard=keyboard_view(piano.first_key, piano.last_key),
            kinds=[{"id": p.id, "text": p.mark} for p in (self._marking.points if self._marking else ())],
            chosen=self._on_this_piano(chosen),
            facts={str(k): lines for k, lines in measured_lines(self._survey).items()},
            playable=self._playable(),
        )
        self._read()
        self.on_msg(self._on_message)

    def __repr__(self) -> str:
        return f"<KeyboardPicker {self.title}: {keys_in_words(self.chosen, most=None) or 'no key'} chosen>"

    def _title(self) -> str:
        if self._marking is None:
            return self._piano.name
        visit = self._marking.casebook.visit(self._marking.visit_id)
        return f"{self._piano.name}, visit of {visit.day.isoformat()}"

    def _marking_in(self, casebook: Casebook, visit_id: str, examiner: str) -> KeyMarking:
        visit = casebook.visit(visit_id)
        if visit.piano_id != self._piano.id:
            raise BadInput("visit", "a visit to another piano", f"a visit to {self._piano.name}")
        assert self._checklist is not None
        own = self._checklist.for_piano(self._piano)
        return KeyMarking(casebook, visit_id, checklist=own, examiner=examiner or visit.examiner)

    def _find_recording(self) -> None:
        """The visit's last surveyed recording, unless a survey was handed over."""
        assert self._marking is not None
        casebook, visit_id = self._marking.casebook, self._marking.visit_id
        recordings = {r.id: r for r in casebook.recordings(visit_id)}
        records = [s for s in casebook.surveys(self._piano.id) if s.recording_id in recordings]
        if not records:
            return
        self._recording = recordings[records[-1].recording_id]
        if self._survey is None:
            from pianolab.acoustics import Survey

            self._survey = Survey.from_json(records[-1].survey_json)

    def _playable(self) -> list[int]:
        if self._recording is None or self._survey is None:
            return []
        table = self._survey.table
        return [int(k) for k in table.loc[table["onset_s"].notna(), "key"]]

    def _read(self) -> None:
        """What is known now; others may have marked keys since."""
        if self._marking is not None:
            self._findings = self._marking.casebook.findings(visit_id=self._marking.visit_id)
            self.marked = self._marking.marked()
        self._marks = key_marks(findings=self._findings, survey=self._survey, checklist=self._checklist)
        self.marks = {
            str(k): [{"shape": m.shape, "text": m.text} for m in found] for k, found in self._marks.items()
        }

    def _on_message(self, _widget: Any, content: Any, _buffers: Any) -> None:
        self.receive(content)

    def receive(self, event: Any) -> None:
        """Take one event of the screen: mark or unmark the chosen keys, or send one key's sound."""
        try:
            line = self._handle(event if isinstance(event, dict) else {})
        except PianolabError as error:
            line = f"Not done. {error}"
        before = self.marked
        with self.hold_sync():
            self._read()
            self.line = line
            self.told += 1
        if self.marked != before:
            self.wrote()

    def refresh(self) -> None:
        """Show what has been entered, taken back or heard elsewhere."""
        if self._marking is not None:
            self._find_recording()
            self.facts = {str(k): lines for k, lines in measured_lines(self._survey).items()}
            self.playable = self._playable()
        self._read()

    def _handle(self, event: dict[str, Any]) -> str:
        do = event.get("do")
        if do == "mark" and self._marking is not None:
            keys = self._on_this_piano(event.get("keys") or ())
            line = self._marking.set(event.get("point"), keys, on=bool(event.get("on")))
            self.chosen = ()  # the next mark is for the next keys
            return line
        if do == "play":
            (key,) = self._on_this_piano([event.get("key")])
            self._play(key)
            return ""
        raise BadInput("message", repr(do)[:40], "mark or play", "Run the cell again.")

    def _play(self, key: int) -> None:
        """Send the clip to the page that asked; it is never part of the widget's state."""
        if self._recording is None or self._survey is None or self._marking is None:
            raise BadInput("sound", "a visit without a recording", "a recording of every key in the casebook")
        path = self._marking.casebook.media_path(self._recording.media)
        clip = key_clip(path, self._survey, key=key)
        self.send({"kind": "sound", "key": key, "mime": clip.mime}, buffers=[clip.data])

    def _on_this_piano(self, keys: Iterable[Any]) -> tuple[int, ...]:
        if not isinstance(keys, (list, tuple)):
            raise BadInput("keys", repr(keys)[:40], "a list of keys", "Run the cell again.")
        words = ", ".join(str(k) for k in keys)
        return read_keys(words, first_key=self._piano.first_key, last_key=self._piano.last_key)

    @traitlets.validate("chosen")
    def _check_chosen(self, proposal: Any) -> tuple[int, ...]:
        try:
            return self._on_this_piano(proposal["value"])
        except PianolabError as error:
            raise traitlets.TraitError(str(error)) from error

    def to_html(self) -> str:
        """A still picture of the keyboard, escaped, with the marks in words below it."""
        return keyboard_twin(
            first_key=self._piano.first_key,
            last_key=self._piano.last_key,
            chosen=self.chosen,
            marks=self._marks,
            facts={int(k): lines for k, lines in self.facts.items()},
            title=self.title,
        )
