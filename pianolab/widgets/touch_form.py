"""Players' opinions of a touch in the notebook: one after the other, each alone, taste apart from fault."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

import anywidget
import traitlets

from pianolab.checklist.touch_scales import short_end
from pianolab.errors import PianolabError
from pianolab.model import TouchOpinion, TouchTrial
from pianolab.report.twins import touch_rows, touch_twin
from pianolab.widgets.form_parts import StillTwin, Wrote, browser_code
from pianolab.widgets.touch_round import TouchRound

if TYPE_CHECKING:
    from pianolab.casebook import Casebook

View = dict[str, Any]


class TouchForm(Wrote, StillTwin, anywidget.AnyWidget):
    """Several people play one piano and say what they think, none seeing what the others said.

    Each sits down in turn, answers on described scales, and presses *Done*; each answer is in the casebook
    as it is given. When all are done, the answers appear side by side. Scales of taste have no good end;
    faults are graded as everywhere else.

    Parameters
    ----------
    casebook : an open casebook
    visit_id : the visit on which it is played
    players : names of those who will play; more can be added in the form

    Raises
    ------
    BadInput
        Where the casebook has no such visit, or a name is empty or too long.

    Examples
    --------
    In a notebook::

        from pianolab.widgets import TouchForm
        TouchForm(casebook, visit.id, players=("Ana", "Ben"))
    """

    _esm = browser_code("page.js", "touch.js")
    _css = browser_code("page.css", "touch.css")
    view = traitlets.Dict().tag(sync=True)
    answer = traitlets.Dict().tag(sync=True)

    def __init__(
        self,
        casebook: Casebook,
        visit_id: str,
        *,
        players: Iterable[str] = (),
    ) -> None:
        self._round = TouchRound(casebook, visit_id, players=players)
        super().__init__(view=touch_view(self._round))
        self.on_msg(self._on_message)

    def __repr__(self) -> str:
        done = sum(self._round.is_done(p) for p in self._round.players)
        return f"<TouchForm {self._round.piano.name}: {done} of {len(self._round.players)} players have answered>"

    @property
    def opinions(self) -> tuple[TouchOpinion, ...]:
        """All opinions of the visit as the casebook holds them, whether they may be shown yet or not."""
        self._round.read()
        return self._round.opinions

    def _on_message(self, _widget: Any, content: Any, _buffers: Any) -> None:
        self.receive(content)

    def receive(self, event: Any) -> None:
        """Take one event of the screen; answer it with the new view and one line."""
        sender = {k: event.get(k) for k in ("from", "n")} if isinstance(event, dict) else {}
        around = self._round
        before = (around.opinions, around.trials)
        try:
            reply = {"ok": True, "line": self._round.handle(event)}
        except PianolabError as error:
            reply = {"ok": False, "line": f"Not saved. {error}"}
        with self.hold_sync():
            self.view = touch_view(self._round)
            self.answer = {**sender, **reply}
        if (around.opinions, around.trials) != before:
            self.wrote()

    def refresh(self) -> None:
        """Show what has been answered elsewhere."""
        self._round.read()
        self.view = touch_view(self._round)

    def to_html(self) -> str:
        """The opinions side by side, escaped; only who has answered while somebody is still to do so."""
        around = self._round
        around.read()
        return touch_twin(
            title=_title(around),
            scales=around.scales,
            opinions=_finished(around),
            waiting=[p for p in around.players if not around.is_done(p)],
            trials=_trials(around),
        )


def touch_view(around: TouchRound) -> View:
    """Everything on the screen now; of answers only those of the player at the keys, or all when all are done."""
    return {
        "title": _title(around),
        "players": [
            {
                "name": p,
                "done": around.is_done(p),
                "begun": around.opinion(p) is not None,
                "here": p == around.current,
            }
            for p in around.players
        ],
        "current": around.current,
        "questions": _questions(around) if around.current else [],
        "trials": _pairs(around) if around.current else [],
        "note": around.sitting.get("note", ""),
        "revealed": around.revealed and not around.current,
        "names": [o.player for o in _finished(around)] if around.revealed else [],
        "rows": [list(r) for r in touch_rows(around.scales, _finished(around))] if around.revealed else [],
        "tried": _trials(around) if around.revealed else [],
    }


def _title(around: TouchRound) -> str:
    return f"{around.piano.name}, {around.visit.day.isoformat()}"


def _finished(around: TouchRound) -> list[TouchOpinion]:
    return [o for p in around.players if (o := around.opinion(p)) is not None and o.at is not None]


def _questions(around: TouchRound) -> list[View]:
    opinion, scales = around.opinion(around.current), around.scales
    answered = {*(opinion.taste if opinion else ()), *(opinion.faults if opinion else ())}
    if opinion is not None and opinion.liking is not None:
        answered.add("liking")
    taste = [_question("taste", s.id, s.name, s.question, _places(s.low, s.high)) for s in scales.taste]
    faults = [
        _question("fault", s.id, s.name, s.question, [[5 - i, a] for i, a in enumerate(s.anchors)])
        for s in scales.faults
    ]
    like = scales.liking
    last = _question("liking", "liking", "Liking", like.question, _places(like.low, like.high))
    return [
        {
            **q,
            "chosen": around.sitting.get(q["id"]),
            "before": q["id"] in answered and q["id"] not in around.sitting,
        }
        for q in (*taste, *faults, last)
    ]


def _places(low: str, high: str) -> list[list[Any]]:
    """The five places of a scale; the ends' first words name the places between."""
    nearer = [f"nearer to {short_end(end)}" for end in (low, high)]
    return [[1, low], [2, nearer[0]], [3, "in between"], [4, nearer[1]], [5, high]]


def _question(kind: str, scale: str, name: str, question: str, places: list[list[Any]]) -> View:
    return {"kind": kind, "id": scale, "name": name, "question": question, "places": places}


def _pairs(around: TouchRound) -> list[View]:
    return [
        {"id": p.id, "name": p.name, "rather": around.sitting.get(f"trial {p.id}", "")} for p in around.others
    ]


def _trials(around: TouchRound) -> list[str]:
    names = {p.id: p.name for p in (around.piano, *around.others)}
    return [_trial(t, names) for t in around.trials if t.player in around.players]


def _trial(trial: TouchTrial, names: dict[str, str]) -> str:
    rather, than = (names.get(i, "another piano") for i in (trial.piano_id, trial.other_piano_id))
    return f"{trial.player} would rather play {rather} than {than}."
