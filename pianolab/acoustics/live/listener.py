"""The notes of a sound that grows: which key each is, whether it still rings, and whether it must be played again.

A blow is known some 0.2 s after it came. Its key is read twice: when half a second of it has sounded, so that a wrong
key is noticed at once, and for good when the part of it that is looked at (1.1 s) or the note is over. Each reading is
the path of `keypath` through the last notes together, with the evidence of each note as it is for a file; notes further
back keep the key they had.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from pianolab.acoustics.keys.fresh_lines import fresh_lines
from pianolab.acoustics.keys.keypath import NO_NOTE
from pianolab.acoustics.keys.line_evidence import LineEvidence, joined, weigh
from pianolab.acoustics.keys.onsets import STRONG_SHARE, Onsets, next_strong_s, rise_share
from pianolab.acoustics.keys.reading_keys import read_evidence
from pianolab.acoustics.limits import limits
from pianolab.acoustics.live.note_level import Sounding, note_sounding
from pianolab.acoustics.live.recent import RecentSound
from pianolab.errors import BadInput
from pianolab.io.sound import check_form
from pianolab.keyboard import check_key

KNOWN_AFTER_S = 0.2
"""A blow this old is known, and its rise as well."""
FIRST_LOOK_S, WHOLE_LOOK_S = 0.5, 1.2
SAME_S = 0.03
"""Two candidates this close are one, seen twice."""
TOGETHER, AT_FIRST = 200, 24
"""So many candidates are read together, for good and at the first look; those before them keep their key.

A scale is read as a whole: a path through few strikes takes a slip for a way of playing."""

Again = Literal["clipped", "too soft", "too short", "doubtful", "gap"]


@dataclass(frozen=True)
class LiveNote:
    """A note as it is known by now.

    ``key`` is the one that was read; ``sure`` whether it is told; ``settled`` whether the reading is for good. ``again``
    names why it should be played again. ``peak`` is its largest sample re full scale, ``snr_db`` its level over the
    noise, ``rings_s`` how long it was heard; both NaN while unknown.
    """

    key: int
    onset_s: float
    sure: bool
    settled: bool
    sounding: Sounding
    again: tuple[Again, ...] = ()

    @property
    def over(self) -> bool:
        """Whether it was let go, faded or gave way to the next."""
        return self.sounding.ended_s is not None


@dataclass
class _Candidate:
    """A blow, what it added, and what was read."""

    time_s: float
    rise: float
    looked_s: float = 0.0
    evidence: LineEvidence | None = None
    key: int = NO_NOTE
    sure: bool = False
    sounding: Sounding | None = None


class LiveListener:
    """Takes sound in pieces and keeps the list of notes heard so far.

    Parameters
    ----------
    rate_hz : int, Hz, 16 000 to 192 000
    first_key, last_key : the keys that will be played lie within these
    a4_hz : float, Hz
    noise_power : mean power of the silent room, where it was measured before

    Raises
    ------
    BadInput
        a rate that can't carry a piano, keys that are none

    Examples
    --------
    >>> from pianolab.io import read_sound, real_notes
    >>> with real_notes()[49].open("rb") as file:
    ...     note = read_sound(file)
    >>> live = LiveListener(rate_hz=note.rate_hz)
    >>> for piece in (1e-4 * note.samples[-24000:], note.samples[:24000], note.samples[24000:96000]):
    ...     notes = live.take(piece)
    >>> [(n.key, n.sure) for n in notes]
    [(49, True)]
    """

    def __init__(
        self,
        *,
        rate_hz: int,
        first_key: int = 1,
        last_key: int = 88,
        a4_hz: float = 440.0,
        noise_power: float | None = None,
    ) -> None:
        check_form("recording", rate_hz=rate_hz, channels=1)
        check_key(first_key, name="first key")
        check_key(last_key, name="last key")
        if first_key > last_key:
            raise BadInput(
                "keys", f"{first_key} to {last_key}", "the first key not above the last", "Exchanged?"
            )
        self.recent = RecentSound(rate_hz=rate_hz)
        self.noise_power = noise_power
        self._first, self._last = first_key, last_key
        self._scale_hz = round(rate_hz * 440.0 / a4_hz)
        self._candidates: list[_Candidate] = []
        self._gaps_s: list[tuple[float, float]] = []

    def mark_gap(self, begin_s: float, end_s: float) -> None:
        """Say that the sound is not the microphone's there: the notes that it falls into are played again."""
        self._gaps_s.append((begin_s, end_s))

    def take(self, samples: NDArray[np.floating]) -> tuple[LiveNote, ...]:
        """Add sound, shape (frames, channels), and give all notes known by now, in the order in which they came."""
        self.recent.take(samples)
        onsets = self.recent.onsets()
        if onsets is not None:
            self._merge(onsets)
            if self._look():
                self._read()
            self._measure()
        return self.notes

    def finish(self) -> tuple[LiveNote, ...]:
        """All notes, the last ones read for good although no more sound comes."""
        if self._look(at_end=True):
            self._read()
        self._measure()
        return self.notes

    @property
    def notes(self) -> tuple[LiveNote, ...]:
        """All notes known by now."""
        heard = [c for c in self._candidates if c.key != NO_NOTE and c.sounding is not None]
        return tuple(self._note(c) for c in heard)

    def _note(self, c: _Candidate) -> LiveNote:
        assert c.sounding is not None
        note = LiveNote(c.key, c.time_s, c.sure, c.looked_s >= WHOLE_LOOK_S, c.sounding)
        return replace(note, again=tuple(self._reasons(note)))

    def _reasons(self, note: LiveNote) -> list[Again]:
        """Why it should be played again; nothing before that can be said."""
        lim, out = limits()["live"], list[Again]()
        sound = note.sounding
        if sound.clipped and sound.peak > 0.98 * self.recent.loudest:
            out.append("clipped")
        if sound.snr_db < lim["least_snr_db"]:
            out.append("too soft")
        if note.over and sound.rings_s < lim["least_s"] and not sound.faded:
            out.append("too short")
        if note.settled and not note.sure:
            out.append("doubtful")
        end = note.onset_s + (sound.rings_s if np.isfinite(sound.rings_s) else 0.0)
        if any(begin < end and stop > note.onset_s for begin, stop in self._gaps_s):
            out.append("gap")
        return out

    def _merge(self, onsets: Onsets) -> None:
        """Bring the candidates up to what is seen now; those that were read for good stay."""
        known_until = self.recent.end_s - KNOWN_AFTER_S
        from_s = self.recent.begin_s + 0.5 if self.recent.begin_s > 0 else 0.0
        kept = [c for c in self._candidates if c.time_s < from_s or c.looked_s >= WHOLE_LOOK_S]
        times = np.array([c.time_s for c in kept])
        before = {round(c.time_s, 2): c for c in self._candidates}
        for time_s, rise in zip(onsets.times_s.tolist(), onsets.rise.tolist(), strict=True):
            if not from_s <= time_s <= known_until:
                continue
            if len(times) and np.min(np.abs(times - time_s)) <= SAME_S:
                continue
            old = before.get(round(time_s, 2))
            if old is not None:
                old.rise = rise
            kept.append(old or _Candidate(time_s, rise))
        self._candidates = sorted(kept, key=lambda c: c.time_s)

    def _look(self, *, at_end: bool = False) -> bool:
        """Weigh the candidates of which more has sounded than when they were last weighed; whether there was one."""
        recent, end_s = self.recent, self.recent.end_s
        from_s = recent.begin_s + 0.4 if recent.begin_s > 0 else 0.0
        tail = [c for c in self._candidates if c.time_s > from_s]
        if not tail:
            return False
        times, rise = np.array([c.time_s for c in tail]), np.array([c.rise for c in tail])
        until = next_strong_s(times, rise, end_s=end_s)
        looked = False
        for i, c in enumerate(tail):
            here = WHOLE_LOOK_S if until[i] < end_s or at_end else float(until[i]) - c.time_s
            if c.looked_s >= WHOLE_LOOK_S or here < FIRST_LOOK_S:
                continue
            if c.looked_s >= FIRST_LOOK_S and here < WHOLE_LOOK_S:
                continue
            self._weigh(c, until_s=float(until[i]), before_s=times[i - 1] if i else None)
            c.looked_s, looked = min(here, WHOLE_LOOK_S), True
        return looked

    def _weigh(self, c: _Candidate, *, until_s: float, before_s: float | None) -> None:
        """The evidence of one blow; the one before it says what rang already."""
        recent = self.recent
        begins = np.array([c.time_s] if before_s is None else [before_s, c.time_s]) - recent.begin_s
        ends = np.array([until_s] if before_s is None else [c.time_s, until_s]) - recent.begin_s
        fresh = fresh_lines(recent.channels, begins, ends, rate_hz=recent.rate_hz)
        last = np.array([len(begins) - 1])
        c.evidence = weigh(fresh[last], rate_hz=self._scale_hz, first_key=self._first, last_key=self._last)

    def _read(self) -> None:
        """Read the last candidates together."""
        some = [c for c in self._candidates if c.evidence is not None]
        for c in some[:-TOGETHER]:  # keep their key; an hour of evidence would fill the memory
            c.evidence = None
        for_good = some[-1:] and all(c.looked_s >= WHOLE_LOOK_S for c in some[-AT_FIRST:])
        some = some[-TOGETHER if for_good else -AT_FIRST :]
        if not some:
            return
        rise = np.array([c.rise for c in some])
        if not (rise_share(rise) >= STRONG_SHARE).any():
            return
        evidence = joined([c.evidence for c in some if c.evidence is not None])
        times = np.array([c.time_s for c in some])
        path = read_evidence(evidence, times, rise, first_key=self._first, last_key=self._last)
        for c, key, sure in zip(some, path.keys.tolist(), path.sure.tolist(), strict=True):
            if c.looked_s >= WHOLE_LOOK_S and not for_good and c.key != NO_NOTE:
                continue
            c.key, c.sure = int(key), bool(sure)

    def _measure(self) -> None:
        """Level, fall and end of the notes that are not over yet."""
        heard, unread_s = [c for c in self._candidates if c.key != NO_NOTE], self._unread_s()
        for i, c in enumerate(heard):
            done = c.sounding is not None and c.sounding.settled
            if done or (c.time_s < self.recent.begin_s + 0.2 and self.recent.begin_s > 0):
                continue
            next_s = heard[i + 1].time_s if i + 1 < len(heard) else None
            coming_s = next((t for t in unread_s if t > c.time_s + FIRST_LOOK_S), None)
            sounding = note_sounding(
                self.recent,
                key=c.key,
                onset_s=c.time_s,
                next_s=coming_s if next_s is None else next_s,
                noise_power=self.noise_power,
            )
            # A blow that hasn't been read ends the note before it, unless it turns out to be none.
            known = next_s is not None or coming_s is None
            c.sounding = replace(sounding, settled=sounding.settled and known)

    def _unread_s(self) -> list[float]:
        """When blows came that rise like the others and of which too little has sounded to be read."""
        shares = rise_share(np.array([c.rise for c in self._candidates]))
        both = zip(self._candidates, shares, strict=True)
        return [c.time_s for c, share in both if c.looked_s == 0.0 and share >= STRONG_SHARE]
