"""Independent analysis, how loud: noise of a take, level of a note, when it has fallen 20 dB, and how surely.

Plain frames of power, no modes and no model of strings: what a level meter with a pencil would say. Power is added
over the channels, since channels with opposite phases cancel when they are mixed.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import fft

Floats = NDArray[np.float64]

WINDOW_S, HOP_S = 0.030, 0.001
"""The window of the definition of decay_20_s (design), and a hop fine enough to hit a maximum of the top octave."""
TOP_HZ = 10_000.0
"""Upper edge of the band that is listened to; the lower is 0.7 times partial 1. Little of a note lies outside it."""
CLEAR = 4.0
"""A level counts where it is 6 dB above noise and ringing together: then the subtraction is right within 1.2 dB."""
TOLERANCE_DB = 1.0
"""The level a careful person would grant; the interval of a time to fall is where -19 and -21 dB are passed."""


@dataclass(frozen=True)
class Strike:
    """One press as it stands in the take: blow, end of its clean hold, next blow (or end), s; whether let go first."""

    key: int
    onset_s: float
    end_s: float
    release_s: float
    next_s: float
    before_s: float

    @property
    def hold_s(self) -> float:
        return self.end_s - self.onset_s


@dataclass(frozen=True)
class Noise:
    """Power per Hz, channels added, on `hz`; ``high`` times that is not exceeded in 90 % of the pauses."""

    hz: Floats
    psd: Floats
    high: float

    def band(self, weight: Floats) -> float:
        """Power (samples squared) behind a filter whose power gain on `hz` is ``weight``."""
        return float(np.sum(self.psd * weight) * (self.hz[1] - self.hz[0]))


def pass_band(hz: Floats, low_hz: float, high_hz: float = TOP_HZ) -> Floats:
    """Amplitude gain on ``hz``: 1 between the edges, raised cosines of 15 % of the edge's frequency outside."""
    up = np.clip((hz / low_hz - 0.925) / 0.15, 0, 1) if low_hz > 0 else np.ones_like(hz)
    down = np.clip((1.075 - hz / high_hz) / 0.15, 0, 1)
    return np.sin(np.pi / 2 * up) * np.sin(np.pi / 2 * down)


def noise_of(samples: Floats, rate_hz: int, strikes: list[Strike], last_end_s: float) -> Noise:
    """The take's steady noise: mean spectrum of the quietest 40 % of the pieces before blows and in the lead-in.

    The quietest, because most pauses still hold the end of a note. Without any pause, the quietest pieces of all.
    """
    size = 2 ** int(np.log2(0.1 * rate_hz))
    spans = [(max(s.before_s, s.onset_s - 0.5), s.onset_s - 0.02) for s in strikes]
    spans.append((last_end_s + 0.5, len(samples) / rate_hz))
    starts = [a for low, high in spans for a in range(int(low * rate_hz), int(high * rate_hz) - size, size)]
    starts = [a for a in starts if 0 <= a <= len(samples) - size]
    if not starts:
        starts = list(range(0, max(len(samples) - size, 1), size))[:2000]
    hz = np.fft.rfftfreq(size, 1 / rate_hz)
    window = np.hanning(size)
    scale = 2 / (rate_hz * np.sum(window**2))
    pieces = np.zeros((len(starts), len(hz)))
    for row, start in enumerate(starts):
        piece = samples[start : start + size]
        piece = np.pad(piece, ((0, size - len(piece)), (0, 0)))
        pieces[row] = scale * np.sum(np.abs(fft.rfft(piece * window[:, None], axis=0)) ** 2, axis=1)
    loud = np.sum(np.log(pieces[:, hz > 40] + 1e-30), axis=1)
    quiet = np.argsort(loud)[: max(1, int(0.4 * len(starts)))]
    psd = pieces[quiet].mean(0)
    power = pieces[quiet][:, hz > 40].sum(1)
    high = float(np.quantile(power, 0.9) / max(power.mean(), 1e-30)) if len(quiet) > 2 else 1.5
    return Noise(hz, psd, max(high, 1.05))


@dataclass(frozen=True)
class Level:
    """Power of a note in frames: ``s`` from the blow to each window's middle, noise not yet taken off."""

    s: Floats
    power: Floats
    noise: float
    clear: float
    """Below this power the level is not the note's."""
    noise_hz: float
    """Greatest noise power per Hz in the band."""


def level_of(
    samples: Floats, rate_hz: int, strike: Strike, noise: Noise, low_hz: float, top_hz: float = TOP_HZ
) -> Level:
    """The level from 0.4 s before the blow to the next blow, behind a band."""
    first = max(0, int((strike.onset_s - 0.4) * rate_hz))
    last = min(len(samples), int(strike.next_s * rate_hz))
    piece = samples[first:last]
    size = fft.next_fast_len(len(piece) + int(0.05 * rate_hz), real=True)
    gain = pass_band(np.fft.rfftfreq(size, 1 / rate_hz), low_hz, top_hz)
    heard = fft.irfft(fft.rfft(piece, size, axis=0) * gain[:, None], size, axis=0)[: len(piece)]
    total = np.concatenate([[0.0], np.cumsum(np.sum(heard**2, axis=1))])
    width, hop = round(WINDOW_S * rate_hz), round(HOP_S * rate_hz)
    at = np.arange(0, max(len(piece) - width, 0), hop)
    power = np.maximum(total[at + width] - total[at], 0.0) / width
    s = (first + at + width / 2) / rate_hz - strike.onset_s
    weight = pass_band(noise.hz, low_hz, top_hz) ** 2
    steady = noise.band(weight)
    before = power[(s > strike.before_s - strike.onset_s + WINDOW_S / 2) & (s < -WINDOW_S)]
    ringing = max(float(before[-100:].mean()) - steady, 0.0) if len(before) else 0.0
    return Level(s, power, steady, CLEAR * (noise.high * steady + ringing), float(np.max(noise.psd * weight)))


@dataclass(frozen=True)
class Fall:
    """A time to fall 20 dB, s: ``=`` measured, ``>`` not fallen when let go or drowned; ``low`` to ``high`` hold it."""

    s: float
    kind: str
    low_s: float
    high_s: float
    why: str = ""


UNKNOWN = Fall(np.nan, "", np.nan, np.nan)


def _last_above(level_db: Floats, s: Floats, limit_db: float) -> tuple[float, bool]:
    """When the level is last above the limit (between frames), and whether it goes below it at all afterwards."""
    # the first frame is where the fall begins, whatever margin the noise asks for
    last = int(np.flatnonzero(np.append(True, level_db[1:] >= limit_db))[-1])
    if last >= len(s) - 1:
        return float(s[-1]), False
    rise = (level_db[last] - limit_db) / max(level_db[last] - level_db[last + 1], 1e-9)
    return float(s[last] + rise * (s[last + 1] - s[last])), True


def _fall_from(level: Level, top: int, stop: int) -> Fall:
    """From frame ``top`` to frame ``stop``, both valid."""
    s = level.s[top : stop + 1] - level.s[top]
    power = np.maximum(level.power[top : stop + 1] - level.noise, 1e-30)
    level_db = 10 * np.log10(power / power[0])
    at_20 = 0.01 * power[0]
    # a steady line in noise: its power over T s has variance 2 P S / T, the noise alone about 2 S N / T
    doubt = np.sqrt(2 * level.noise_hz * (at_20 + level.noise) / WINDOW_S)
    margin = TOLERANCE_DB + 10 * np.log10(1 + 2 * doubt / at_20)
    time, fallen = _last_above(level_db, s, -20.0)
    low, _ = _last_above(level_db, s, -20.0 + margin)
    high, sure = _last_above(level_db, s, -20.0 - margin)
    if not fallen:
        return Fall(time, ">", low if low < time else time, np.inf)
    return Fall(time, "=", low, high if sure else np.inf)


def _joined(falls: list[Fall]) -> Fall:
    """The first, its interval widened to hold all of them."""
    low = min(f.low_s for f in falls)
    return Fall(falls[0].s, falls[0].kind, low, max(f.high_s for f in falls), falls[0].why)


def decay_of(level: Level, hold_s: float) -> Fall:
    """From the maximum after the blow to the last crossing of -20 dB before the key is let go.

    Where the loudest frame comes late (beats, a slow attack), the time from the loudest of the first 0.3 s lies in
    the interval too, for nobody says which maximum is meant.
    """
    inside = np.flatnonzero((level.s >= 0) & (level.s <= hold_s - WINDOW_S / 2))
    clear = inside[level.power[inside] >= level.clear] if len(inside) else inside
    if not len(clear):
        return Fall(np.nan, "", np.nan, np.nan, "no level 6 dB above noise and ringing")
    stop = int(clear[-1])
    loudest = int(clear[np.argmax(level.power[clear])])
    early = clear[level.s[clear] <= 0.3]
    tops = {loudest}
    if len(early):
        tops.add(int(early[np.argmax(level.power[early])]))
    falls = [_fall_from(level, top, stop) for top in sorted(tops, key=lambda t: t != loudest)]
    why = "" if falls[0].kind == "=" else ("let go" if stop == inside[-1] else "drowned")
    first = falls[0]
    return _joined([Fall(first.s, first.kind, first.low_s, first.high_s, why), *falls[1:]])


def release_of(level: Level, strike: Strike) -> Fall:
    """Time for the level to fall 20 dB once the key is let go, as heard, before the next blow or the noise."""
    let_go = strike.release_s - strike.onset_s
    last = strike.next_s - strike.onset_s - WINDOW_S / 2
    inside = np.flatnonzero((level.s >= let_go - WINDOW_S / 2) & (level.s <= last))
    if strike.release_s > strike.next_s or len(inside) < 3:
        return Fall(np.nan, "", np.nan, np.nan, "next note before or at the release")
    if level.power[inside[0]] < level.clear:
        return Fall(np.nan, "", np.nan, np.nan, "drowned before it was let go")
    stop = int(inside[level.power[inside] >= level.clear][-1])
    fall = _fall_from(level, int(inside[0]), stop)
    # the first window ends at the release: the fall begins half a window later
    return Fall(
        max(fall.s - WINDOW_S / 2, 0.0), fall.kind, max(fall.low_s - WINDOW_S, 0.0), fall.high_s, fall.why
    )
