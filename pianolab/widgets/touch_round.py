"""A round of opinions on one touch: one player after the other, none seeing the others' answers before all are done."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

from pianolab.checklist import load_touch_scales
from pianolab.errors import BadInput
from pianolab.model import Piano, TouchOpinion, TouchTrial

if TYPE_CHECKING:
    from pianolab.casebook import Casebook

LONGEST_NAME = 40
LONGEST_NOTE = 4000
Event = Mapping[str, Any]
Answers = dict[str, Any]


class TouchRound:
    """The opinions of several players on one visit, each saved as it is given.

    A player is done when they say so; the time then stands in the opinion's ``at``. Until all are done
    nobody's answers leave this object, and somebody who comes back sees only which scales they answered.

    Parameters
    ----------
    casebook : an open casebook
    visit_id : the visit on which it is played
    players : who will play; more can be added
    """

    def __init__(
        self,
        casebook: Casebook,
        visit_id: str,
        *,
        players: Iterable[str] = (),
        now: Callable[[], datetime] = lambda: datetime.now(UTC),
    ) -> None:
        self.casebook = casebook
        self.visit = casebook.visit(visit_id)
        self.piano = casebook.piano(self.visit.piano_id)
        self.others: tuple[Piano, ...] = tuple(p for p in casebook.pianos() if p.id != self.piano.id)
        self.scales = load_touch_scales()
        self._now = now
        self.current = ""
        self.sitting: Answers = {}
        self.read()
        known = [o.player for o in self.opinions]
        self.players = tuple(dict.fromkeys([*(check_player(p) for p in players), *known]))

    def read(self) -> None:
        """Read the opinions and trials again; another form may have written."""
        self.opinions = self.casebook.touch_opinions(self.visit.id)
        self.trials = tuple(
            t for t in self.casebook.touch_trials() if self.piano.id in (t.piano_id, t.other_piano_id)
        )

    def opinion(self, player: str) -> TouchOpinion | None:
        """What a player has given so far."""
        return next((o for o in reversed(self.opinions) if o.player == player), None)

    def is_done(self, player: str) -> bool:
        opinion = self.opinion(player)
        return opinion is not None and opinion.at is not None

    @property
    def revealed(self) -> bool:
        """Whether all are done, so that the answers may be seen side by side."""
        return bool(self.players) and all(self.is_done(p) for p in self.players)

    def handle(self, event: Event) -> str:
        """Do what an event of the screen asks; the line that says what was saved."""
        self.read()
        do = str(event.get("do", "")) if isinstance(event, Mapping) else ""
        if do not in DOINGS:
            raise BadInput("message", repr(do)[:40], "an event of the form", "Run the cell again.")
        return DOINGS[do](self, event)

    def _add(self, event: Event) -> str:
        player = check_player(event.get("player"))
        if player in self.players:
            raise BadInput("player", f"{player} twice", "a name of their own for everybody")
        self.players = (*self.players, player)
        return self._sit({"player": player})

    def _sit(self, event: Event) -> str:
        """Somebody sits down: whatever the last one answered leaves the screen."""
        player = str(event.get("player", ""))
        if player not in self.players:
            raise BadInput("player", repr(player)[:40], "one of " + ", ".join(self.players))
        if self.is_done(player):
            raise BadInput(player, "somebody who has answered already", "a player who has not")
        self.current, self.sitting = player, {}
        return ""

    def _answer(self, event: Event) -> str:
        scale, value = str(event.get("scale", "")), event.get("value")
        field = self._field(scale)
        if isinstance(value, bool) or not isinstance(value, int) or not 1 <= value <= 5:
            raise BadInput(self._name(scale), repr(value)[:40], "one of the five places")
        opinion = self._mine()
        if field == "liking":
            given = replace(opinion, liking=value)
        elif field == "taste":
            given = replace(opinion, taste={**opinion.taste, scale: value})
        else:
            given = replace(opinion, faults={**opinion.faults, scale: value})
        self._save(given)
        self.sitting = {**self.sitting, scale: value}
        return "Saved"

    def _note(self, event: Event) -> str:
        note = str(event.get("note", ""))
        if len(note) > LONGEST_NOTE:
            raise BadInput("note", f"{len(note)} characters", f"up to {LONGEST_NOTE}")
        self._save(replace(self._mine(), note=note))
        self.sitting = {**self.sitting, "note": note}
        return "Saved"

    def _try(self, event: Event) -> str:
        """Which of two pianos this player would rather play; the last word on a pair counts."""
        player, other = self._somebody(), str(event.get("other", ""))
        if other not in {p.id for p in self.others}:
            raise BadInput("piano", "one that is not in this casebook", "another piano of this casebook")
        mine, theirs = (self.piano.id, other) if event.get("rather") == "this" else (other, self.piano.id)
        before = next(
            (
                t
                for t in self.trials
                if t.player == player and {t.piano_id, t.other_piano_id} == {mine, theirs}
            ),
            None,
        )
        with self.casebook.editing(by=player) as edit:
            if before is None:
                edit.add(TouchTrial(player=player, piano_id=mine, other_piano_id=theirs, day=self.visit.day))
            else:
                edit.change(replace(before, piano_id=mine, other_piano_id=theirs), was=before)
        self.read()
        self.sitting = {**self.sitting, f"trial {other}": "this" if mine == self.piano.id else "other"}
        return "Saved"

    def _done(self, _event: Event) -> str:
        """The player is done; their answers leave the screen until all are."""
        opinion = self.opinion(self._somebody())
        if opinion is None or not (opinion.taste or opinion.faults or opinion.liking):
            raise BadInput(self.current, "no answer yet", "at least one answer")
        self._save(replace(opinion, at=self._now()))
        self.current, self.sitting = "", {}
        return "Thank you. Saved"

    def _leave(self, event: Event) -> str:
        """Somebody will not play after all: only before their first answer."""
        player = str(event.get("player", ""))
        if player in self.players and self.opinion(player) is not None:
            raise BadInput(player, "somebody who has begun to answer", "a player without an answer")
        self.players = tuple(p for p in self.players if p != player)
        if self.current == player:
            self.current, self.sitting = "", {}
        return ""

    def _field(self, scale: str) -> str:
        if scale == "liking":
            return "liking"
        for field, scales in (("taste", self.scales.taste), ("faults", self.scales.faults)):
            if scale in {s.id for s in scales}:
                return field
        raise BadInput("scale", repr(scale)[:40], "one of the scales shown")

    def _name(self, scale: str) -> str:
        names = {s.id: s.name for s in self.scales.taste} | {s.id: s.name for s in self.scales.faults}
        return names.get(scale, "liking")

    def _somebody(self) -> str:
        if not self.current:
            raise BadInput("player", "nobody at the keys", "a player who has sat down")
        if self.is_done(self.current):
            raise BadInput(self.current, "somebody who has answered already", "a player who has not")
        return self.current

    def _mine(self) -> TouchOpinion:
        player = self._somebody()
        return self.opinion(player) or TouchOpinion(visit_id=self.visit.id, player=player)

    def _save(self, opinion: TouchOpinion) -> None:
        before = self.opinion(opinion.player)
        with self.casebook.editing(by=opinion.player) as edit:
            if before is None:
                edit.add(opinion)
            else:
                edit.change(opinion, was=before)
        self.read()


def check_player(name: object) -> str:
    """A first name or a number, in one short line.

    Examples
    --------
    >>> check_player("  Ana   Maria ")
    'Ana Maria'
    """
    text = " ".join(str(name or "").split())
    if not 0 < len(text) <= LONGEST_NAME:
        raise BadInput(
            "player", repr(text[:LONGEST_NAME]), f"a first name or a number, up to {LONGEST_NAME} letters"
        )
    return text


DOINGS: Mapping[str, Callable[[TouchRound, Event], str]] = {
    "add": TouchRound._add,
    "sit": TouchRound._sit,
    "answer": TouchRound._answer,
    "note": TouchRound._note,
    "try": TouchRound._try,
    "done": TouchRound._done,
    "leave": TouchRound._leave,
    "look": lambda _round, _event: "",
}
