"""One recording while it goes on: pieces to the disk first, then to the live listening and the guide."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from time import monotonic
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pianolab.acoustics.live import Guide, LiveListener, LiveNote
from pianolab.casebook.arrived import LEAST_ZEROS_S, unpack
from pianolab.casebook.arriving import About, Arriving
from pianolab.casebook.arriving import begin as begin_arriving
from pianolab.keyboard import note_name
from pianolab.widgets.recorder_plan import Choice

FULL_SCALE = float(2**23)
PATIENCE = 24
"""So many pieces after one that is missing, listening goes on without it; it may still arrive for the file."""
BEHIND_S, TOGETHER = 1.0, 8
"""Where the machine is so busy that pieces wait this long, so many are listened to at once: that takes little longer
than one, and what waits is confirmed first."""


@dataclass
class Session:
    """A recording that is going on; ``choice`` is what is being recorded."""

    arriving: Arriving
    choice: Choice
    guide: Guide | None
    listener: LiveListener | None
    notes: tuple[LiveNote, ...] = ()
    _early: dict[int, tuple[int, NDArray[np.float32]]] = field(default_factory=dict)
    _next: int = 0
    _at: int = 0
    _zeros: int = 0
    _least_s: float = float("inf")
    _behind: bool = False

    @property
    def about(self) -> About:
        return self.arriving.about

    def take(self, number: int, samples: bytes, *, first_frame: int, clock_ms: float) -> None:
        """Keep a piece; when this returns, it is on the disk and may be confirmed."""
        self.arriving.take(number, samples, first_frame=first_frame, clock_ms=clock_ms)
        late_s = monotonic() - clock_ms / 1000.0
        self._least_s = min(self._least_s, late_s)
        self._behind = late_s - self._least_s > BEHIND_S

    def listen(self, number: int, samples: bytes, *, first_frame: int) -> None:
        """Listen to a piece that was kept; pieces that come early wait for those before them."""
        if self.listener is None or number < self._next:
            return
        sound = unpack(samples, self.about.channels).astype(np.float32) / np.float32(FULL_SCALE)
        same = not np.any(sound != sound[:, :1])
        self._early[number] = (first_frame, sound[:, :1] if same else sound)
        if not self._behind or len(self._early) >= TOGETHER:
            self._hear_early()

    def _hear_early(self) -> None:
        """All pieces that wait and have no gap before them, those that join as one."""
        if len(self._early) > PATIENCE:
            self._next = min(self._early)
        joined = list[tuple[int, list[NDArray[np.float32]]]]()
        end = -1
        while self._next in self._early:
            first_frame, sound = self._early.pop(self._next)
            if not joined or first_frame != end or sound.shape[1] != joined[-1][1][0].shape[1]:
                joined.append((first_frame, []))
            joined[-1][1].append(sound)
            end = first_frame + len(sound)
            self._next += 1
        for first_frame, parts in joined:
            self._hear(first_frame, np.concatenate(parts))
        if self.guide is not None and self.listener is not None:
            self.guide.take(self.notes, now_s=self.listener.recent.end_s)

    def _hear(self, first_frame: int, sound: NDArray[np.float32]) -> None:
        assert self.listener is not None
        rate = self.about.rate_hz
        if first_frame > self._at:
            self.listener.mark_gap(self._at / rate, first_frame / rate)
            while first_frame > self._at:
                some = min(first_frame - self._at, 10 * rate)
                self.listener.take(np.zeros((some, 1), np.float32))
                self._at += some
        self._mark_zeros(sound)
        self.notes = self.listener.take(sound)
        self._at += len(sound)

    def _mark_zeros(self, sound: NDArray[np.float32]) -> None:
        """Runs of exact zeros are no sound of a microphone: the notes that they fall into are played again."""
        assert self.listener is not None
        rate, least = self.about.rate_hz, round(LEAST_ZEROS_S * self.about.rate_hz)
        loud = np.flatnonzero(sound.any(axis=1))
        edges = np.concatenate([[-1 - self._zeros], loud, [len(sound)]])
        runs = np.flatnonzero(np.diff(edges[:-1]) > least)
        heard_before = self._at > self._zeros
        for i in runs:
            if i > 0 or heard_before:
                self.listener.mark_gap((self._at + edges[i] + 1) / rate, (self._at + edges[i + 1]) / rate)
        self._zeros = len(sound) - 1 - int(loud[-1]) if len(loud) else self._zeros + len(sound)

    def finish(self) -> None:
        """No more sound comes."""
        if self.listener is not None:
            while self._early:
                self._next = min(self._early)
                self._hear_early()
            self.notes = self.listener.finish()
            if self.guide is not None:
                self.guide.take(self.notes, now_s=self.listener.recent.end_s)
        self.arriving.close()

    def compass(self) -> tuple[int, int]:
        """Lowest and highest key that was asked for or surely heard."""
        keys = [self.about.first_key, self.about.last_key, *(n.key for n in self.notes if n.sure)]
        return min(keys), max(keys)

    def view(self) -> dict[str, Any]:
        """What the screen shows of it."""
        out: dict[str, Any] = {
            "title": self.choice.title,
            "how": self.choice.how,
            "seconds": self.arriving.frames / self.about.rate_hz,
        }
        if self.guide is not None:
            shown = self.guide.view()
            named = {} if shown.key is None else {"key": shown.key, "note": note_name(shown.key)}
            wrong = {} if shown.wrong is None else {"wrong": note_name(shown.wrong)}
            states = {
                str(k): {"state": s, "why": list(shown.reasons.get(k, ()))} for k, s in shown.states.items()
            }
            out |= {
                **named,
                **wrong,
                "paused": shown.paused,
                "ringing": shown.ringing,
                "hold_s": shown.hold_s,
                "left_s": shown.left_s,
                "states": states,
                "keys": list(self.guide.keys),
            }
        return out


def start(place: Path, about: About, choice: Choice, *, compass: tuple[int, int]) -> Session:
    """Begin a recording; ``compass`` are the piano's lowest and highest key, any of which may be struck by mistake.

    Raises
    ------
    BadInput, CasebookError
        as `pianolab.casebook.arriving.begin`
    """
    guide = Guide(choice.keys) if choice.keys else None
    listener = None
    if choice.keys:
        listener = LiveListener(
            rate_hz=about.rate_hz, first_key=compass[0], last_key=compass[1], a4_hz=about.a4_hz
        )
    return Session(begin_arriving(place, about), choice, guide, listener)
