"""The recorder of the notebook: from the microphone into the casebook, listened to while one plays.

The browser sends numbered pieces of raw sound; each is on the disk before it is confirmed, and until then the browser
keeps it too. What is played is heard as it comes: the screen names the next key, says at once when it was another one,
and which keys are worth playing again. After the scale the whole is listened to as a file is.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import anywidget
import traitlets

from pianolab.acoustics.live import LevelCheck, check_chord, check_silence
from pianolab.casebook.arrived import read_arrived, waiting
from pianolab.casebook.arriving import About, is_going_on, place_for, throw_away
from pianolab.errors import BadInput, PianolabError
from pianolab.model import Visit
from pianolab.report.twin_recording import recorder_twin
from pianolab.widgets.findings_form import browser_code
from pianolab.widgets.form_parts import StillTwin
from pianolab.widgets.recorder_chores import BackgroundJob, Rest, Tell, Upload, check_view, floats_of, offers
from pianolab.widgets.recorder_keeping import Kept, Order, keep_arrived, keep_file, leaving_view, with_picture
from pianolab.widgets.recorder_plan import BLOWS, about_of, choice_of, choices
from pianolab.widgets.recorder_session import Session, start
from pianolab.widgets.walk_view import keyboard_view
from pianolab.words import with_stop

if TYPE_CHECKING:
    from pianolab.casebook import Casebook


class RecorderForm(StillTwin, anywidget.AnyWidget):
    """Record at the piano, or take in a file; what is kept is in the casebook before it is called kept.

    Parameters
    ----------
    casebook : an open casebook
    visit : Visit, or the id of one; whose recording it is. Assigning another to ``visit`` turns the form to it
    examiner : str; who records; empty takes the examiner named in the visit
    on_kept : called with each `Kept` recording
    apart : whether the listening after a scale runs in a thread of its own

    Raises
    ------
    BadInput
        where the casebook has no such visit

    Notes
    -----
    Browsers give a microphone only to pages on this computer (localhost) or over https. Sound is taken as the microphone
    gives it: echo cancellation, noise suppression and automatic gain are asked to be off, and what the browser answers is
    kept with the recording; what it doesn't tell is unknown.

    Examples
    --------
    In a notebook::

        import pianolab as pl
        casebook = pl.open_casebook("my-casebook")
        pl.forms.recorder_form(casebook, casebook.visits()[0])
    """

    _esm = browser_code(
        "page.js", "recorder_store.js", "recorder_sound.js", "recorder_strip.js", "recorder.js"
    )
    _css = browser_code("page.css", "recorder.css")
    head = traitlets.Dict().tag(sync=True)
    keyboard = traitlets.Dict().tag(sync=True)
    offered = traitlets.List[Any]().tag(sync=True)
    checks = traitlets.Dict().tag(sync=True)
    playing = traitlets.Dict().tag(sync=True)
    leaving = traitlets.Dict().tag(sync=True)
    work = traitlets.Dict().tag(sync=True)
    line = traitlets.Unicode().tag(sync=True)

    def __init__(
        self,
        casebook: Casebook,
        visit: Visit | str,
        *,
        examiner: str = "",
        on_kept: Callable[[Kept], None] | None = None,
        apart: bool = True,
    ) -> None:
        self._casebook, self._examiner, self._on_kept = casebook, examiner, on_kept
        self._session: Session | None = None
        self._rest = Rest(place_for(casebook))
        self._chord: LevelCheck | None = None
        self._upload, self._picture = Upload(), ""
        self._work = BackgroundJob(changed=self._working, failed=self._failed, apart=apart)
        self._visit = self._found(visit)
        super().__init__()
        self._turn()
        self.on_msg(self._on_message)

    def __repr__(self) -> str:
        return f"<RecorderForm {self.head['piano']}, visit of {self.head['day']}>"

    @property
    def visit(self) -> Visit:
        """The visit at which recordings are kept."""
        return self._visit

    @visit.setter
    def visit(self, visit: Visit | str) -> None:
        if self._session is not None:
            raise BadInput("visit", "another one while recording", "the recording stopped first")
        self._visit = self._found(visit)
        self._turn()

    def _found(self, visit: Visit | str) -> Visit:
        return self._casebook.visit(visit.id if isinstance(visit, Visit) else visit)

    @property
    def _by(self) -> str:
        return self._examiner or self._visit.examiner or "me"

    def _turn(self) -> None:
        """Show the present visit, and nothing of the one before."""
        self._piano = self._casebook.piano(self._visit.piano_id)
        with self.hold_sync():
            self.head = {
                "casebook": self._casebook.id,
                "visit": self._visit.id,
                "piano": self._piano.name,
                "day": self._visit.day.isoformat(),
                "choices": [c.view() for c in choices(self._piano)],
                "blows": [{"id": k, "title": v} for k, v in BLOWS.items()],
            }
            self.keyboard = keyboard_view(self._piano.first_key, self._piano.last_key)
            self.checks, self.playing, self.leaving, self.line = {}, {}, {}, ""
            self._picture = ""
            self._offer()

    def _offer(self) -> None:
        """Recordings that arrived and were not kept, whatever visit they belong to."""
        own = self._session.arriving.id if self._session else ""
        self.offered = [o for o in offers(self._casebook) if o["id"] != own]

    # what the page says

    def _on_message(self, _widget: Any, content: Any, buffers: Any) -> None:
        self.receive(content, buffers)

    def receive(self, event: Any, buffers: Sequence[Any] = ()) -> None:
        """Take one event of the page; what goes wrong is said in one line and loses nothing."""
        event = event if isinstance(event, dict) else {}
        try:
            does = getattr(self, f"_do_{event.get('do')}", None)
            if does is None:
                raise BadInput(
                    "message", repr(event.get("do"))[:40], "one this form knows", "Run the cell again."
                )
            does(event, [bytes(b) for b in buffers])
        except PianolabError as error:
            self.line = f"Not done. {error}"
            self.send({"says": "trouble", "do": event.get("do"), "line": str(error)})
        except (TypeError, KeyError, ValueError) as error:
            self.line = f"Not done: a message that can't be read ({error})."

    def _do_hello(self, _event: dict[str, Any], _data: list[bytes]) -> None:
        """A page has come, or come back: it learns which recordings are known, and sends what it still holds."""
        self._offer()
        here = [a.about.page for a in waiting(place_for(self._casebook))]
        on = self._session.about.page if self._session else ""
        self.send({"says": "known", "pages": [*here, on], "on": on})

    def _do_begin(self, event: dict[str, Any], _data: list[bytes]) -> None:
        if self._session is not None and not is_going_on(self._session.arriving.folder):
            self._cut()
        if self._session is not None:
            raise BadInput("recording", "one that is going on", "it stopped first", "In another tab?")
        if event.get("visit", self._visit.id) != self._visit.id:
            raise BadInput(
                "recording", "one of another visit", "the visit that is shown", "Press Record again."
            )
        choice = choice_of(self._piano, event["what"], event.get("keys"))
        about = self._about(event)
        self._session = start(
            place_for(self._casebook), about, choice, compass=(self._piano.first_key, self._piano.last_key)
        )
        with self.hold_sync():
            self.line, self.leaving = "", {}
            self._show()
        self.send({"says": "begun", "page": about.page})

    def _about(self, event: dict[str, Any]) -> About:
        """What a page says of a recording; one that comes late may be of another visit than the one that is shown."""
        visit = self._found(str(event.get("visit") or self._visit.id))
        return about_of(event, piano=self._casebook.piano(visit.piano_id), visit_id=visit.id, by=self._by)

    def _do_piece(self, event: dict[str, Any], data: list[bytes]) -> None:
        page, number, samples = str(event["page"]), int(event["number"]), data[0]
        place = {"first_frame": int(event["first_frame"])}
        session = self._session
        if session is not None and session.about.page == page:
            session.take(number, samples, clock_ms=float(event["clock_ms"]), **place)
            self.send({"says": "have", "page": page, "numbers": [number]})
            session.listen(number, samples, **place)
            self._show()
            return
        arriving = self._rest.of(page, event.get("about"), self._about)
        if arriving is None:
            return
        arriving.take(number, samples, clock_ms=float(event["clock_ms"]), **place)
        self.send({"says": "have", "page": page, "numbers": [number]})

    def _do_cut(self, event: dict[str, Any], _data: list[bytes]) -> None:
        """The page that was recording is gone: what arrived is offered."""
        if self._session is not None and self._session.about.page == event["page"]:
            self._cut()

    def _cut(self) -> None:
        session, self._session = self._session, None
        if session is not None:
            session.arriving.close()
            with self.hold_sync():
                self.playing = {**session.view(), "on": False}
                self._offer()

    def _do_rest(self, event: dict[str, Any], _data: list[bytes]) -> None:
        """The page has brought all that it held of a recording that was cut off."""
        self._rest.close(str(event["page"]))
        self._offer()

    def _do_end(self, event: dict[str, Any], _data: list[bytes]) -> None:
        session = self._session
        if session is None or session.about.page != event["page"]:
            self._offer()
            return
        missing = sorted(set(range(int(event["count"]))) - session.arriving.numbers)
        if missing and not event.get("without"):
            self.send({"says": "missing", "page": event["page"], "numbers": missing[:200]})
            return
        self._session = None
        session.finish()
        with self.hold_sync():
            self.playing = {**session.view(), "on": False}
        self.send({"says": "ended", "page": event["page"]})
        if session.arriving.numbers:
            self._keep(session.arriving.folder, session.choice.keys, session.compass())
        else:
            throw_away(session.arriving.folder)

    def _keep(self, folder: Path, asked: tuple[int, ...], compass: tuple[int, int] | None = None) -> None:
        def job(tell: Tell) -> None:
            arrived = read_arrived(folder)
            keys = asked or tuple(range(arrived.about.first_key, arrived.about.last_key + 1))
            self._done(keep_arrived(self._casebook, arrived, self._order(keys, tell), compass=compass))

        if not self._work.start(job):
            self._offer()
            self.line = "Kept for now: another recording is being listened to. Keep this one after it."

    def _order(self, asked: tuple[int, ...], tell: Tell) -> Order:
        return Order(asked, self._by, tell)

    def _done(self, kept: Kept) -> None:
        kept = with_picture(self._casebook, kept)
        self._picture = kept.picture
        with self.hold_sync():
            self.leaving = leaving_view(kept)
            self.line = f"Kept: {with_stop(kept.says)}"
            self._offer()
        if self._on_kept is not None:
            self._on_kept(kept)

    def _do_keep(self, event: dict[str, Any], _data: list[bytes]) -> None:
        self._keep(self._offered_folder(event), ())

    def _do_discard(self, event: dict[str, Any], _data: list[bytes]) -> None:
        throw_away(self._offered_folder(event))
        self._offer()

    def _offered_folder(self, event: dict[str, Any]) -> Path:
        place = place_for(self._casebook)
        found = next((a for a in waiting(place) if a.id == event["id"]), None)
        if found is None or (self._session and self._session.arriving.id == found.id):
            raise BadInput("recording", "one that isn't waiting", "one of those offered", "Kept already?")
        return found.folder

    def _do_guide(self, event: dict[str, Any], _data: list[bytes]) -> None:
        guide = self._session.guide if self._session else None
        if guide is None:
            return
        moves: dict[str, Callable[[], None]] = {
            "pause": lambda: guide.pause(True),
            "resume": lambda: guide.pause(False),
            "back": guide.back,
            "repeat": guide.repeat,
            "silent": lambda: guide.pass_over("silent"),
            "leave out": lambda: guide.pass_over("passed over"),
            "go": lambda: guide.go(int(event["key"])),
        }
        moves[event["what"]]()
        self._show()

    def _do_chord(self, event: dict[str, Any], data: list[bytes]) -> None:
        self._chord = check_chord(floats_of(data[0], event))
        self.checks = {**self.checks, "chord": check_view(self._chord)}

    def _do_silence(self, event: dict[str, Any], data: list[bytes]) -> None:
        found = check_silence(floats_of(data[0], event), rate_hz=int(event["rate_hz"]), chord=self._chord)
        self.checks = {**self.checks, "silence": check_view(found)}

    def _do_file(self, event: dict[str, Any], data: list[bytes]) -> None:
        """A piece of a file that somebody picked; the last one sets the listening going."""
        path = self._upload.take(event, data[0])
        if path is None:
            self.send({"says": "more", "offset": self._upload.size})
            return
        choice = choice_of(self._piano, event["what"], event.get("keys"))
        about = self._about({"rate_hz": 48000, "page": "", **event})

        def job(tell: Tell) -> None:
            try:
                self._done(keep_file(self._casebook, path, about, self._order(choice.keys, tell)))
            finally:
                self._upload.drop()

        if not self._work.start(job):
            raise BadInput("file", "another that is being listened to", "one at a time", "Wait, or stop it.")

    def _do_stop(self, _event: dict[str, Any], _data: list[bytes]) -> None:
        self._work.stop()

    # what the page shows

    def _show(self) -> None:
        if self._session is not None:
            self.playing = {**self._session.view(), "on": True, "page": self._session.about.page}

    def _working(self, what: str, share: float) -> None:
        self.work = {"what": what, "share": share} if what else {}

    def _failed(self, line: str) -> None:
        self._offer()
        self.line = line

    def to_html(self) -> str:
        """A still picture: what was recorded, and what should be played again."""
        return recorder_twin(self.head, self.leaving, self.line, picture=self._picture)
