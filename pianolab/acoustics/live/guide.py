"""Leads through the keys of a scale: which one is next, whether it was the right one, and which to come back to.

The guide only looks at notes that began after it asked for a key. The right one, when it is over, moves it on; another one
is named at once. A key may be passed over with a reason (it makes no sound, there is none), repeated, or gone back to.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from pianolab.acoustics.limits import limits
from pianolab.acoustics.live.listener import LiveNote
from pianolab.errors import BadInput
from pianolab.keyboard import REGISTERS, note_name, register_of

KeyState = Literal["to play", "ringing", "found", "again", "silent", "passed over"]
SETTLED = ("found", "silent", "passed over")
HOLD_OF = {"bass": 0, "tenor": 1, "middle": 1, "treble": 2, "top": 3}
"""Which of the times in ``live.hold_s`` counts in a register."""


def hold_s(key: int) -> float:
    """How long a key is best held, s.

    Examples
    --------
    >>> hold_s(5) > hold_s(80)
    True
    """
    times: list[float] = limits()["live"]["hold_s"]
    return times[HOLD_OF[register_of(key)]]


def time_needed_s(keys: Sequence[int]) -> float:
    """How long it takes to play these keys one after another, s.

    Examples
    --------
    >>> 200 < time_needed_s(range(1, 89)) < 300
    True
    """
    return sum(hold_s(key) + limits()["live"]["gap_s"] for key in keys)


@dataclass(frozen=True)
class GuideView:
    """What the guide says now.

    ``key`` is the one to play, None when all are done; ``wrong`` the key that was struck instead; ``states`` what became of
    each key; ``hold_s`` how long to hold this one; ``left_s`` how long the rest takes.
    """

    key: int | None
    wrong: int | None
    paused: bool
    ringing: bool
    hold_s: float
    left_s: float
    states: dict[int, KeyState]
    reasons: dict[int, tuple[str, ...]]


class Guide:
    """Walks through keys in order.

    Parameters
    ----------
    keys : the keys to play, in the order in which they are asked for

    Raises
    ------
    BadInput
        no key at all

    Examples
    --------
    >>> guide = Guide(range(40, 43))
    >>> guide.pass_over("silent")
    >>> guide.view().key, guide.view().states[40]
    (41, 'silent')
    """

    def __init__(self, keys: Sequence[int]) -> None:
        self.keys = tuple(keys)
        if not self.keys:
            raise BadInput("keys", "none", "at least one key to play")
        self.states: dict[int, KeyState] = dict.fromkeys(self.keys, "to play")
        self.reasons: dict[int, tuple[str, ...]] = {}
        self.paused = False
        self._at, self._since_s, self._now_s = 0, 0.0, 0.0
        self._wrong: int | None = None
        self._ringing = False
        self._counted_s = -1.0

    @property
    def key(self) -> int | None:
        """The key to play now."""
        return self.keys[self._at] if self._at < len(self.keys) else None

    def take(self, notes: Sequence[LiveNote], *, now_s: float) -> None:
        """Look at all notes known by now; may move on by several keys.

        Parameters
        ----------
        notes : from `LiveListener`, the whole list
        now_s : float, s; how long the sound is
        """
        self._now_s = now_s
        if self.paused:
            return
        self._wrong, self._ringing = None, False
        for note in notes:
            if note.onset_s <= self._counted_s:
                continue
            self._look_at(note)
        for note in notes:
            if self.states.get(note.key) in ("found", "again") and note.onset_s <= self._counted_s:
                self._judge(note)

    def _look_at(self, note: LiveNote) -> None:
        if note.key != self.key:
            done = self.states.get(note.key) in SETTLED or self.states.get(note.key) == "again"
            stale = done and note.onset_s < self._since_s + 0.3
            self._wrong = note.key if note.sure and not stale else self._wrong
            return
        self._wrong, self._ringing = None, not note.over
        self.states[note.key] = "ringing"
        if note.over:
            self._counted_s = note.onset_s
            self._judge(note)
            self._step(1)

    def _judge(self, note: LiveNote) -> None:
        self.reasons[note.key] = note.again
        self.states[note.key] = "again" if note.again else "found"

    def _step(self, by: int) -> None:
        self._at = min(max(self._at + by, 0), len(self.keys))
        self._since_s, self._wrong, self._ringing = max(self._counted_s, 0.0), None, False

    def back(self) -> None:
        """Ask for the key before once more."""
        self._ask(max(self._at - 1, 0))

    def repeat(self) -> None:
        """Ask for this key once more, whatever was heard of it."""
        self._ask(min(self._at, len(self.keys) - 1))

    def go(self, key: int) -> None:
        """Ask for a key of the list.

        Raises
        ------
        BadInput
            a key that isn't among those to play
        """
        if key not in self.keys:
            raise BadInput(
                "key", key, f"one of those to play, {note_name(self.keys[0])} to {note_name(self.keys[-1])}"
            )
        self._ask(self.keys.index(key))

    def pass_over(self, why: Literal["silent", "passed over"]) -> None:
        """Go on without this key: it was struck and makes no sound, or it is left out."""
        if self.key is not None:
            self.states[self.key], self.reasons[self.key] = why, ()
            self._counted_s = max(self._counted_s, self._now_s)
            self._step(1)

    def _ask(self, at: int) -> None:
        self._at, self._since_s, self._counted_s = at, self._now_s, self._now_s
        self._wrong, self._ringing = None, False
        self.states[self.keys[at]] = "to play"

    def pause(self, on: bool) -> None:
        """Stop looking at what sounds, or go on."""
        self.paused = on
        if not on:
            self._since_s = self._counted_s = self._now_s

    def view(self) -> GuideView:
        """What to show now."""
        left = [k for k in self.keys[self._at :] if self.states[k] not in SETTLED]
        key = self.key
        return GuideView(
            key=key,
            wrong=self._wrong,
            paused=self.paused,
            ringing=self._ringing,
            hold_s=hold_s(key) if key is not None else 0.0,
            left_s=time_needed_s(left),
            states=dict(self.states),
            reasons=dict(self.reasons),
        )


def register_keys(name: str, *, first_key: int, last_key: int) -> tuple[int, ...]:
    """The keys of a register that this keyboard has; of ``all`` every key.

    Raises
    ------
    BadInput
        no such register, or none of its keys here

    Examples
    --------
    >>> register_keys("top", first_key=1, last_key=85)[0::9]
    (76, 85)
    """
    own = [r for r in REGISTERS if r.name == name]
    if name != "all" and not own:
        raise BadInput("register", repr(name), "all or " + ", ".join(r.name for r in REGISTERS))
    low, high = (own[0].first_key, own[0].last_key) if own else (first_key, last_key)
    keys = tuple(range(max(low, first_key), min(high, last_key) + 1))
    if not keys:
        raise BadInput("register", name, f"one with keys from {first_key} to {last_key}")
    return keys
