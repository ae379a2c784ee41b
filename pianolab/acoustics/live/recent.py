"""The last seconds of a sound that grows, and its power in bands over the last minute: memory stays the same."""

from __future__ import annotations

from collections import deque

import numpy as np
from numpy.typing import NDArray

from pianolab.acoustics.keys.onsets import Onsets, band_power, onsets_in
from pianolab.acoustics.limits import limits
from pianolab.acoustics.spectra import Samples, as_channels, fast_size

KEPT_S = 14.0
"""As long as a note is looked at, and what came before it."""
BANDS_S = 60.0
"""So much says what noise is and what a blow is."""


class RecentSound:
    """Takes sound in pieces of any length; times count from the beginning of the whole.

    Examples
    --------
    >>> recent = RecentSound(rate_hz=16000)
    >>> for _ in range(40):
    ...     recent.take(np.zeros((8000, 1), np.float32))
    >>> recent.end_s, recent.begin_s, recent.channels.shape
    (20.0, 6.0, (1, 224000))
    """

    def __init__(self, *, rate_hz: int) -> None:
        self.rate_hz, self.frames = rate_hz, 0
        self.loudest = 0.0
        self._pieces: deque[Samples] = deque()
        self._held = 0
        self._bands: deque[NDArray[np.float32]] = deque()
        self._first_band = self._next_band = 0
        self._hop = round(limits()["segment"]["hop_s"] * rate_hz)
        self._size = fast_size(round(limits()["segment"]["window_s"] * rate_hz))

    @property
    def end_s(self) -> float:
        """How long the sound is by now."""
        return self.frames / self.rate_hz

    @property
    def begin_s(self) -> float:
        """Where the part begins that is still here."""
        return (self.frames - self._held) / self.rate_hz

    @property
    def channels(self) -> Samples:
        """What is still here, shape (channels, frames)."""
        if len(self._pieces) > 1:
            whole = np.concatenate(list(self._pieces), axis=1)
            self._pieces = deque([whole])
        return self._pieces[0] if self._pieces else np.zeros((1, 0), np.float32)

    def take(self, samples: NDArray[np.floating]) -> None:
        """Add sound, shape (frames, channels), full scale 1."""
        piece = self._as_before(as_channels(samples))
        self.loudest = max(self.loudest, float(np.abs(piece).max(initial=0.0)))
        self._pieces.append(piece)
        self.frames += piece.shape[1]
        self._held += piece.shape[1]
        self._take_bands()
        most = round(KEPT_S * self.rate_hz)
        if self._held > most:
            kept = np.ascontiguousarray(self.channels[:, self._held - most :])
            self._pieces, self._held = deque([kept]), most

    def _as_before(self, piece: Samples) -> Samples:
        """With as many channels as are here already: more are left out, a missing one is the first again."""
        if not self._pieces:
            return piece
        count = len(self._pieces[0])
        return piece[:count] if len(piece) >= count else np.repeat(piece[:1], count, axis=0)

    def _take_bands(self) -> None:
        begin = self._next_band * self._hop - (self.frames - self._held)
        if self.frames < self._next_band * self._hop + self._size:
            return
        bands, _ = band_power(self.channels[:, begin:], rate_hz=self.rate_hz)
        self._bands.append(bands)
        self._next_band += len(bands)
        most = round(BANDS_S * self.rate_hz / self._hop)
        while self._next_band - self._first_band - len(self._bands[0]) >= most:
            self._first_band += len(self._bands.popleft())

    def onsets(self) -> Onsets | None:
        """Candidate strikes of the last minute, from the beginning of the whole; None before there is sound enough."""
        if self._next_band - self._first_band < 30:
            return None
        hop_s = self._hop / self.rate_hz
        found = onsets_in(np.concatenate(list(self._bands)), hop_s=hop_s, rate_hz=self.rate_hz)
        times = found.times_s + self._first_band * hop_s
        return Onsets(times, found.rise, found.strength, found.level_db, hop_s)
