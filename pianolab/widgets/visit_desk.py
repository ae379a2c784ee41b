"""One screen for the hour at a piano: which piano, the walk, keys, recording, players, photos, what is known so far."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import date
from html import escape
from typing import TYPE_CHECKING, Any, Protocol

import anywidget
import ipywidgets
import traitlets

from pianolab.errors import BadInput, PianolabError
from pianolab.model import Piano, Visit
from pianolab.widgets.desk_parts import PART_NAMES, DeskParts
from pianolab.widgets.desk_state import ScreenPlace, is_live, leave, take_over, visits_of, where_left
from pianolab.widgets.form_parts import StillTwin, browser_code
from pianolab.widgets.later import Later
from pianolab.widgets.piano_form import PianoForm

if TYPE_CHECKING:
    from pianolab.casebook import Casebook

OLD = "This screen is old: a newer one of this notebook records now. Nothing can be entered here."


Take = Callable[[dict[str, Any]], None]


class DeskBar(anywidget.AnyWidget):
    """Names piano and visit, leads to the parts; ``take`` gets each event of the screen."""

    _esm = browser_code("page.js", "desk.js")
    _css = browser_code("page.css", "desk.css")
    view = traitlets.Dict().tag(sync=True)
    line = traitlets.Unicode().tag(sync=True)

    def __init__(self, take: Take) -> None:
        super().__init__()
        self.on_msg(lambda _widget, content, _buffers: take(content if isinstance(content, dict) else {}))


class KnownPanel(anywidget.AnyWidget):
    """What is known of the piano so far: six bands, reasons to stop, the verdict as it would be now."""

    _esm = browser_code("page.js", "known.js")
    _css = browser_code("page.css", "known.css")
    view = traitlets.Dict().tag(sync=True)


class Known(Protocol):
    """What the panel needs to be told of a piano."""

    @property
    def bands(self) -> tuple[tuple[str, float, float], ...]: ...
    @property
    def blind(self) -> tuple[str, ...]: ...
    @property
    def stops(self) -> tuple[str, ...]: ...
    @property
    def verdict(self) -> tuple[str, ...]: ...
    @property
    def worth(self) -> Mapping[str, float]: ...
    def stops_in_words(self) -> str: ...


class VisitDesk(StillTwin, ipywidgets.VBox):
    """The hour at a piano on one screen: one current piano and visit, which every part follows.

    Made again, after a restart or on another day, it opens where you were. Of several in one notebook the newest
    records; an older one says that it is old and can be taken up again with a button.

    Parameters
    ----------
    casebook : an open casebook; an empty one gets its first piano and a visit of today
    examiner : str; who records
    minutes : how long there is, min, or None; it can be chosen on the screen too
    know : a function of casebook and piano id that says what is known now; None leaves the panel out

    Notes
    -----
    `pianolab.forms.visit_desk` makes one with the panel.

    Examples
    --------
    In a notebook::

        import pianolab as pl
        pl.forms.visit_desk(pl.open_casebook("my-casebook"), examiner="Ana", minutes=40)
    """

    def __init__(
        self,
        casebook: Casebook,
        *,
        examiner: str = "me",
        minutes: float | None = None,
        know: Callable[[Casebook, str], Known] | None = None,
    ) -> None:
        self._casebook, self._by, self._know = casebook, examiner, know
        self.place: ScreenPlace | None = None
        self.bar, self.known = DeskBar(self.receive), KnownPanel()
        self.body = ipywidgets.VBox([])
        self.body.add_class("pl-desk-part")
        beside = [self.body, self.known] if know is not None else [self.body]
        self.below = ipywidgets.Box(beside)
        self.below.add_class("pl-desk-below")
        super().__init__([self.bar, self.below])
        self.add_class("pl-desk-all")
        self.later = Later(self._work_out, self._show_known, self._not_known)
        self.pianos = PianoForm(casebook, examiner=examiner)
        self.pianos.choice.layout.display = "none"
        self.pianos.choice.observe(self._piano_chosen, names="value")
        self.made = DeskParts(casebook, examiner, pianos=self.pianos, minutes=minutes)
        self.made.when_written(self._written)
        take_over(casebook, self)
        self.go(
            where_left(casebook) or ScreenPlace(piano_id=self.pianos.piano.id, visit_id=self.pianos.visit.id)
        )

    def __repr__(self) -> str:
        return f"<VisitDesk {self.piano.name}, visit of {self.visit.day.isoformat()}>"

    @property
    def piano(self) -> Piano:
        """The current piano, as the casebook holds it."""
        assert self.place is not None
        return self._casebook.piano(self.place.piano_id)

    @property
    def visit(self) -> Visit:
        """The current visit."""
        assert self.place is not None
        return self._casebook.visit(self.place.visit_id)

    @property
    def part(self) -> Any:
        """The part on the screen, as a widget."""
        return self.body.children[0] if self.body.children else None

    # ---- what the screen asks ----------------------------------------------------------------------------------

    def receive(self, event: Mapping[str, Any]) -> None:
        """Take one event of the bar; what can't be done is said in one line, and nothing moves."""
        try:
            line = self._do(event)
        except PianolabError as error:
            line = f"Not done. {error}"
        self.bar.line = line
        self._show_bar()

    def _do(self, event: Mapping[str, Any]) -> str:
        do = event.get("do")
        if do == "take over":
            take_over(self._casebook, self)
            self.go(self.place or where_left(self._casebook))
            return ""
        if not is_live(self._casebook, self):
            raise BadInput(
                "screen", "an old one", "the newest one of this notebook", "Or press Use this screen."
            )
        if do == "piano":
            self.choose_piano(str(event.get("id", "")))
        elif do == "visit":
            self._choose_visit(str(event.get("id", "")))
        elif do == "part":
            self._choose_part(str(event.get("part", "")))
        elif do == "new piano":
            self.pianos.another.click()
            self._choose_part("piano")
        elif do == "new visit":
            return self._begin_visit()
        else:
            raise BadInput("message", repr(do)[:40], "an event of this screen", "Run the cell again.")
        return ""

    def choose_piano(self, piano_id: str) -> None:
        """Go to a piano of the casebook, to its latest visit; one without a visit gets one of today."""
        piano = self._casebook.piano(piano_id)
        visits = visits_of(self._casebook, piano)
        visit = visits[-1] if visits else self._add_visit(piano)
        self.go(ScreenPlace(piano_id=piano.id, visit_id=visit.id, part=self._now().part))

    def _choose_visit(self, visit_id: str) -> None:
        visit = self._casebook.visit(visit_id)
        self.go(ScreenPlace(piano_id=visit.piano_id, visit_id=visit.id, part=self._now().part))

    def _choose_part(self, part: str) -> None:
        if part not in PART_NAMES:
            raise BadInput("part", repr(part)[:40], "one of " + ", ".join(PART_NAMES))
        now = self._now()
        self.go(ScreenPlace(piano_id=now.piano_id, visit_id=now.visit_id, part=part))

    def _begin_visit(self) -> str:
        piano = self.piano
        today = [v for v in visits_of(self._casebook, piano) if v.day == date.today()]
        visit = today[-1] if today else self._add_visit(piano)
        self.go(ScreenPlace(piano_id=piano.id, visit_id=visit.id, part=self._now().part))
        return "There is a visit of today already; it goes on." if today else "A visit of today has begun."

    def _add_visit(self, piano: Piano) -> Visit:
        with self._casebook.editing(by=self._by) as edit:
            return edit.add(Visit(piano_id=piano.id, day=date.today(), examiner=self._by))

    def _now(self) -> ScreenPlace:
        assert self.place is not None
        return self.place

    # ---- showing -------------------------------------------------------------------------------------------------

    def go(self, place: ScreenPlace | None) -> None:
        """Bring a place on the screen; every part is about its piano and visit from now on."""
        if place is None:
            return
        before, self.place = self.place, place
        leave(self._casebook, place)
        if self.pianos.choice.value != place.piano_id:
            self._bring_form(place.piano_id)
        self.body.children = (self.made.part(place),)
        self._show_bar()
        if before is None or before.piano_id != place.piano_id:
            self._wait_for_known()
        elif before.part == "piano":
            self._written()

    def _bring_form(self, piano_id: str) -> None:
        """The form of the pianos follows; its own change does not come back here."""
        self.pianos.choice.unobserve(self._piano_chosen, names="value")
        try:
            ids = [value for _, value in self.pianos.choice.options]
            if piano_id not in ids:
                self.pianos.choice.options = [(p.name, p.id) for p in self._casebook.pianos()]
            self.pianos.choice.value = piano_id
        finally:
            self.pianos.choice.observe(self._piano_chosen, names="value")

    def _piano_chosen(self, change: Any) -> None:
        if change["new"] is not None and is_live(self._casebook, self):
            self.choose_piano(change["new"])

    def _written(self) -> None:
        """Something is in the casebook that was not: the other parts of this visit follow, the judgement later."""
        self._show_bar()
        if self._know is not None:
            self.later.ask()

    def _show_bar(self) -> None:
        place, live = self._now(), is_live(self._casebook, self)
        piano = self.piano
        self.bar.view = {
            "live": live,
            "old": "" if live else OLD,
            "pianos": [[p.id, p.name, p.id == piano.id] for p in self._casebook.pianos()],
            "visits": [
                [v.id, f"{v.day.day} {v.day:%B %Y}", v.id == place.visit_id]
                for v in visits_of(self._casebook, piano)
            ],
            "parts": [[p, PART_NAMES[p], p == place.part] for p in PART_NAMES],
            "examiner": self._by,
        }

    def became_old(self) -> None:
        """A newer screen records now: this one shows nothing that could be written into."""
        self.body.children = ()
        self.known.view = {}
        self._show_bar()

    # ---- what is known -------------------------------------------------------------------------------------------

    def _wait_for_known(self) -> None:
        self.known.view = {"name": self.piano.name, "waiting": True}
        if self._know is not None:
            self.later.ask()

    def _work_out(self) -> tuple[str, Known]:
        assert self._know is not None
        piano_id = self._now().piano_id
        return piano_id, self._know(self._casebook, piano_id)

    def _show_known(self, found: tuple[str, Known]) -> None:
        piano_id, known = found
        if piano_id != self._now().piano_id or not is_live(self._casebook, self):
            return
        self.known.view = known_view(self.piano.name, known)
        self.made.weigh(self._now().visit_id, known.worth)

    def _not_known(self, error: Exception) -> None:
        self.known.view = {"name": self.piano.name, "why": str(error) or type(error).__name__}

    def to_html(self) -> str:
        """Which piano and visit, and the walk so far, as a still, escaped page part."""
        walk = self.made.part(ScreenPlace(piano_id=self._now().piano_id, visit_id=self._now().visit_id))
        named = f"<p>{escape(self.piano.name)}, visit of {self.visit.day.isoformat()}.</p>"
        return named + str(walk.to_html())


def known_view(name: str, known: Known) -> dict[str, Any]:
    """The panel as plain data."""
    return {
        "name": name,
        "bands": [
            {"aspect": a, "low": low, "high": high, "blind": a in known.blind} for a, low, high in known.bands
        ],
        "stops": list(known.stops),
        "stops_line": known.stops_in_words(),
        "verdict": list(known.verdict),
    }
