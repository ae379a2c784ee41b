"""What arrived of a recording, read back: put in order, its gaps known, made a recording of the casebook.

A piece that never came leaves silence of its own length, so that time stays right, and is named. So is silence that
somebody put in: runs of exact zeros between sounds, which no microphone gives, and a clock of the page that ran on
while no sound came.
"""

from __future__ import annotations

import mmap
import zlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from pianolab.casebook.arriving import (
    BYTES,
    HEAD,
    MARK,
    MOST_FRAMES,
    PIECES,
    About,
    Arriving,
    is_going_on,
    read_about,
    throw_away,
)
from pianolab.casebook.codec import UNFIT
from pianolab.casebook.media import KeptSound
from pianolab.errors import BadInput, CasebookError
from pianolab.io.write import write_blocks
from pianolab.model import Capture, GapKind, Processing, Recording, SoundGap

if TYPE_CHECKING:
    from pianolab.casebook.book import Casebook

LEAST_ZEROS_S = 0.004
"""A run of exact zeros this long is no microphone's: at 16 bits the quietest room moves the last bit sooner [practice]."""
JUMP_S = 0.006
"""Browsers hand sound on in blocks of 10 ms and leave out whole ones; a delay that grows by more and stays was lost
[practice]."""
SETTLE_S = 3.0
"""The smallest delay of the pieces within so long is the sound's own: a busy computer delays some of them [practice]."""
STATES: dict[str, Processing] = {"off": "off", "on": "on"}
Blocks = Iterator[NDArray[np.int32]]


@dataclass(frozen=True)
class _Piece:
    number: int
    first_frame: int
    frames: int
    checksum: int
    clock_ms: float
    offset: int


@dataclass(frozen=True)
class Arrived:
    """A recording as it lies on the disk; ``pieces`` in the order of their numbers."""

    folder: Path
    about: About
    pieces: tuple[_Piece, ...]

    @property
    def id(self) -> str:
        return self.folder.name

    @property
    def frames(self) -> int:
        """Frames from its beginning to the end of the last piece, what is missing among them."""
        return max((p.first_frame + p.frames for p in self.pieces), default=0)

    @property
    def seconds(self) -> float:
        return self.frames / self.about.rate_hz

    @property
    def going_on(self) -> bool:
        """Whether another notebook seems to be recording it still."""
        return is_going_on(self.folder)

    def blocks(self) -> Blocks:
        """Its samples, shape (frames, channels), in whole numbers of 24 bits; silence where a piece is missing."""
        at = 0
        with (self.folder / PIECES).open("rb") as file:
            for piece in self.pieces:
                yield from self._silence(piece.first_frame - at)
                file.seek(piece.offset)
                samples = unpack(file.read(BYTES * self.about.channels * piece.frames), self.about.channels)
                yield samples[max(at - piece.first_frame, 0) :]
                at = max(at, piece.first_frame + piece.frames)

    def _silence(self, frames: int) -> Blocks:
        while frames > 0:
            some = min(frames, MOST_FRAMES)
            yield np.zeros((some, self.about.channels), dtype=np.int32)
            frames -= some

    def gaps(self) -> tuple[SoundGap, ...]:
        """Everything in it that the microphone did not hear, in order."""
        found = [*self._missing(), *self._jumps()]
        silent = [g for g in self._zeros() if not any(_within(g, other) for other in found)]
        return tuple(sorted((*found, *silent), key=lambda g: g.begin_s))

    def _missing(self) -> Iterator[SoundGap]:
        at = 0
        for piece in self.pieces:
            if piece.first_frame > at:
                yield self._gap("never came", at, piece.first_frame)
            at = max(at, piece.first_frame + piece.frames)

    def _zeros(self) -> Iterator[SoundGap]:
        """Runs of exact zeros with sound before and after them."""
        least, at, last = round(LEAST_ZEROS_S * self.about.rate_hz), 0, -1
        for block in self.blocks():
            loud = at + np.flatnonzero(block.any(axis=1))
            edges = np.append(last, loud) if last >= 0 else loud
            for i in np.flatnonzero(np.diff(edges) > least):
                yield self._gap("silence put in", int(edges[i]) + 1, int(edges[i + 1]))
            last = int(loud[-1]) if len(loud) else last
            at += len(block)

    def _jumps(self) -> Iterator[SoundGap]:
        """Places where the page's clock went on and the sound did not.

        The sound's delay at a piece is the least of those that follow soon; what it grows by was lost, in that piece or
        the one before.
        """
        rate = self.about.rate_hz
        ends = np.array([(p.first_frame + p.frames) / rate for p in self.pieces])
        late = np.array([p.clock_ms / 1000.0 for p in self.pieces]) - ends
        delay = np.array([late[(ends >= end) & (ends < end + SETTLE_S)].min() for end in ends])
        for i in np.flatnonzero(np.diff(delay) > JUMP_S) + 1:
            if ends[-1] - ends[i] >= 0.5 * SETTLE_S:
                begin, lost = self.pieces[i - 1].first_frame / rate, float(delay[i] - delay[i - 1])
                yield SoundGap(kind="clock jumped", begin_s=begin, end_s=float(ends[i]), lost_s=lost)

    def _gap(self, kind: GapKind, first: int, last: int) -> SoundGap:
        rate = self.about.rate_hz
        return SoundGap(kind=kind, begin_s=first / rate, end_s=last / rate, lost_s=(last - first) / rate)


def _within(inner: SoundGap, outer: SoundGap) -> bool:
    return outer.kind == "never came" and inner.begin_s >= outer.begin_s and inner.end_s <= outer.end_s


def unpack(data: bytes, channels: int) -> NDArray[np.int32]:
    """Whole-number samples, shape (frames, channels), of 24-bit bytes, little end first.

    Examples
    --------
    >>> unpack(bytes([1, 0, 0, 255, 255, 255]), 1).tolist()
    [[1], [-1]]
    """
    raw = np.frombuffer(data, dtype=np.uint8).reshape(-1, BYTES)
    wide = np.zeros((len(raw), 4), dtype=np.uint8)
    wide[:, 1:] = raw
    return (wide.view("<i4").reshape(-1, channels) >> 8).astype(np.int32, copy=False)


def read_arrived(folder: Path) -> Arrived:
    """A recording that arrived; what was cut off in the middle of writing is left out.

    Raises
    ------
    CasebookError
        a folder that holds none
    """
    about = read_about(folder)
    pieces: dict[int, _Piece] = {}
    for piece in _scan(folder / PIECES, BYTES * about.channels):
        pieces.setdefault(piece.number, piece)
    return Arrived(folder, about, tuple(pieces[number] for number in sorted(pieces)))


def _scan(path: Path, frame_bytes: int) -> Iterator[_Piece]:
    """Whole pieces of a file, in the order in which they came; after a damaged one the next mark is looked for."""
    try:
        size = path.stat().st_size
    except OSError:
        return
    if not size:
        return
    with path.open("rb") as file, mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ) as whole:
        at = 0
        while 0 <= at <= len(whole) - HEAD.size:
            mark, number, first_frame, frames, checksum, clock_ms = HEAD.unpack_from(whole, at)
            begin, end = at + HEAD.size, at + HEAD.size + frame_bytes * frames
            sound = mark == MARK and 0 < frames <= MOST_FRAMES and end <= len(whole)
            if sound and zlib.crc32(whole[begin:end]) == checksum:
                yield _Piece(number, first_frame, frames, checksum, clock_ms, begin)
                at = end
            else:
                at = whole.find(MARK, at + 1)


def go_on(folder: Path) -> Arriving:
    """Open a recording again, to take the pieces that the browser still holds."""
    arrived = read_arrived(folder)
    frames = sum(p.frames for p in arrived.pieces)
    return Arriving(folder, arrived.about, numbers={p.number for p in arrived.pieces}, frames=frames)


def waiting(place: Path) -> tuple[Arrived, ...]:
    """Recordings that arrived and were neither filed nor thrown away, the oldest first; without the empty ones.

    Parameters
    ----------
    place : folder for recordings that arrive, see `arriving.place_for`
    """
    if not place.is_dir():
        return ()
    found = []
    for folder in sorted(p for p in place.iterdir() if p.is_dir() and not p.name.startswith(".")):
        try:
            found.append(read_arrived(folder))
        except CasebookError:
            continue
    return tuple(a for a in found if a.pieces)


def file_away(
    casebook: Casebook,
    arrived: Arrived,
    *,
    by: str,
    keys: tuple[int, int] | None = None,
    progress: Callable[[str, float], None] | None = None,
) -> Recording:
    """Make a recording of the casebook of what arrived; what arrived is thrown away only when that is done.

    Parameters
    ----------
    casebook : an open casebook
    arrived : Arrived
    by : who enters it
    keys : lowest and highest key that was played, where that is known better than it was at the beginning
    progress : called with what is being done and a share from 0 to 1

    Returns
    -------
    Recording

    Raises
    ------
    BadInput
        nothing arrived, or its visit is no longer there
    CasebookError
        a full disk; all that arrived stays where it is
    """
    tell = progress or (lambda _what, _share: None)
    if not arrived.pieces:
        raise BadInput("recording", "0 s of sound", "a recording", "Was it stopped at once?")
    about = arrived.about
    casebook.visit(about.visit_id)
    tell("writing the sound", 0.0)
    kept = _kept(casebook, arrived)
    tell("entering it", 0.8)
    first_key, last_key = keys or (about.first_key, about.last_key)
    with casebook.editing(by=by) as edit:
        recording = edit.add_sound(
            about.visit_id,
            kept,
            first_key=first_key,
            last_key=last_key,
            a4_hz=about.a4_hz,
            purpose=about.purpose,
            note=about.note,
            capture=capture_of(arrived),
        )
    throw_away(arrived.folder)
    tell("done", 1.0)
    return recording


def capture_of(arrived: Arrived) -> Capture:
    """What the browser said when it began, and what is missing of the sound."""
    said = arrived.about.processing
    return Capture(
        device=" ".join(UNFIT.sub(" ", arrived.about.device).split()),
        echo_cancellation=STATES.get(said.get("echoCancellation", ""), "unknown"),
        noise_suppression=STATES.get(said.get("noiseSuppression", ""), "unknown"),
        automatic_gain=STATES.get(said.get("autoGainControl", ""), "unknown"),
        gaps=arrived.gaps(),
    )


def _kept(casebook: Casebook, arrived: Arrived) -> KeptSound:
    """As FLAC, with the bits and channels that say something: many microphones give one signal twice."""
    rate_hz, fine, apart = arrived.about.rate_hz, False, False
    for block in arrived.blocks():
        fine = fine or bool(np.any(block & 0xFF))
        apart = apart or bool(np.any(block != block[:, :1]))
    bits, channels = 24 if fine else 16, arrived.about.channels if apart else 1
    with TemporaryDirectory() as temporary:
        path = Path(temporary) / f"{arrived.id}.flac"
        blocks = (block[:, :channels] >> (24 - bits) for block in arrived.blocks())
        write_blocks(path, blocks, rate_hz=rate_hz, channels=channels, bits=bits)
        return casebook.keep_sound(path)
