"""What lies under the notes: mains hum, a codec's low-pass, gaps of digital silence, an offset, a dead channel.

Hum is a line at 50 or 60 Hz and its multiples that never stops: the level each line keeps even in its quietest
tenth of the time, against that of its neighbourhood. A low-pass shows as an edge above which the spectrum holds
nothing up to half the sampling rate: hard in the loud frames, or a fall of the noise itself that no room and no
microphone makes. A gap is a stretch of exact zeros with sound of the same level on either side. A channel is dead
where its level doesn't rise at the blows beside what another's does. Source: practice.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import fft as sp_fft

from pianolab.acoustics.limits import limits
from pianolab.acoustics.spectra import Samples, framed
from pianolab.units import FloatArray

BAND_HZ = 250.0
HUM_RATE_HZ = 2000
HUM_LINES = 8
MOST_S = 90.0
MOST_SILENT = 0.02
LEAST_S = 20.0
"""How much sound it takes to tell an edge: few notes have edges of their own, where their partials end."""
STEADY_DB = 4.0
"""How little the level of the quietest frames varies where they hold a background and not the end of a fade."""
MOST_FADING = 0.1
"""The share of the bands below an edge that may still be fading where the edge is the noise's."""
NYQUIST_SHARE = 0.88
"""Edges above this share of half the sampling rate belong to the converter."""


@dataclass(frozen=True, kw_only=True)
class Hum:
    """Mains hum: its first line (50 or 60 Hz), the power of its lines together, and how many were heard."""

    mains_hz: float
    power: float
    lines: int


def find_hum(channels: Samples, *, rate_hz: int) -> Hum | None:
    """Mains hum that goes on through the whole recording, None where there is none.

    Examples
    --------
    >>> t = np.arange(0, 20 * 8000) / 8000
    >>> wave = 0.01 * np.random.default_rng(1).standard_normal(t.size)
    >>> find_hum(wave[None].astype(np.float32), rate_hz=8000) is None
    True
    >>> wave += 0.01 * np.sin(2 * np.pi * 50 * t) + 0.005 * np.sin(2 * np.pi * 150 * t)
    >>> hum = find_hum(wave[None].astype(np.float32), rate_hz=8000)
    >>> hum.mains_hz, round(10 * np.log10(hum.power / 1.25e-4))
    (50.0, 0)
    """
    step = max(1, rate_hz // HUM_RATE_HZ)
    size = round(0.5 * rate_hz / step)
    channels = _middle(channels, int(MOST_S * rate_hz))
    count = channels.shape[1] // step
    if count < 6 * size or _silent_share(channels) > MOST_SILENT:
        return None
    window = np.hanning(size + 1)[:-1].astype(np.float32)
    window *= np.float32(2.0 / window.sum())
    power: NDArray[np.float32] | None = None
    for channel in channels:
        slow = channel[: count * step].reshape(count, step).mean(axis=1)
        spectrum = sp_fft.rfft(framed(np.ascontiguousarray(slow), size=size, hop=size // 2) * window, axis=1)
        own = spectrum.real**2 + spectrum.imag**2
        power = own if power is None else power + own
    assert power is not None
    kept = np.percentile(power, 10, axis=0).astype(float)
    f_hz = np.arange(kept.size) * rate_hz / step / size
    found = [_lines(kept, f_hz, mains_hz=m) for m in (50.0, 60.0)]
    return max(found, key=lambda h: h.power if h else 0.0)


def _middle(channels: Samples, most: int) -> Samples:
    """The middle of a long recording."""
    spare = max(0, channels.shape[1] - most) // 2
    return channels[:, spare : channels.shape[1] - spare]


def _silent_share(channels: Samples) -> float:
    """Share of digital silence between the first and the last sound: a hum that never stops leaves none."""
    sounding = np.asarray(channels[:, ::61].any(axis=0))
    at = np.flatnonzero(sounding)
    return 1.0 - float(sounding[at[0] : at[-1] + 1].mean()) if at.size else 1.0


def _lines(kept: FloatArray, f_hz: FloatArray, *, mains_hz: float) -> Hum | None:
    lim = limits()["hum"]
    over, power = [], 0.0
    for n in range(1, HUM_LINES + 1):
        away = np.abs(f_hz - n * mains_hz)
        near, beside = kept[away <= 2.1], kept[(away >= 6.0) & (away <= 16.0)]
        floor = float(np.median(beside))
        line = float(near.max())
        db = 10.0 * np.log10(max(line, 1e-20) / max(floor, 1e-20))
        over.append(db)
        if db > lim["line_db"]:
            power += line
    lines = sum(bool(db > lim["line_db"]) for db in over)
    if lines < lim["least_lines"] or max(over) < lim["strongest_db"] or max(over[:3]) < lim["strongest_db"]:
        return None
    return Hum(mains_hz=mains_hz, power=power, lines=lines)


def find_low_pass(channels: Samples, *, rate_hz: int) -> float | None:
    """Frequency in Hz above which the recording holds nothing; None where it reaches up, or is too short to tell."""
    size = int(2 ** np.round(np.log2(0.046 * rate_hz)))
    if channels.shape[1] < 8 * size:
        return None
    window = np.hanning(size + 1)[:-1].astype(np.float32)
    hop = max(size, round(0.2 * rate_hz))
    power: NDArray[np.float32] | None = None
    for channel in channels:
        spectrum = sp_fft.rfft(framed(channel, size=size, hop=hop) * window, axis=1)
        own = spectrum.real**2 + spectrum.imag**2
        power = own if power is None else power + own
    assert power is not None
    total = power.sum(axis=1)
    sounding = np.flatnonzero(total > 0)
    if len(sounding) * hop < LEAST_S * rate_hz:
        return None
    order = sounding[np.argsort(total[sounding])]
    width = max(1, round(BAND_HZ * size / rate_hz))
    count = power.shape[1] // width
    bands = power[:, : count * width].reshape(len(power), count, width).mean(axis=2)
    band_hz = width * rate_hz / size
    loud = 10.0 * np.log10(bands[order[-max(4, len(order) // 3) :]].mean(axis=0) + 1e-20)
    quiet = 10.0 * np.log10(bands[order[: max(4, len(order) // 10)]].mean(axis=0) + 1e-20)
    quiet_total = total[order[: max(4, len(order) // 10)]]
    steady = 10.0 * np.log10(np.percentile(quiet_total, 80) / np.percentile(quiet_total, 20)) < STEADY_DB
    by_noise = _empty_from(quiet, band_hz) if steady else _empty_of_noise(bands[sounding], band_hz)
    # Fades into digital silence are no background: what a codec leaves of them ends anywhere.
    found = (_hard_edge(loud, band_hz), by_noise if _silent_share(channels) <= MOST_SILENT else None)
    edges = [e for e in found if e is not None]
    highest = min(NYQUIST_SHARE * rate_hz / 2, limits()["low_pass"]["matters_below_hz"])
    edges = [e for e in edges if e < highest]
    return max(edges) if edges else None


def _hard_edge(level_db: FloatArray, band_hz: float) -> float | None:
    """Where the level drops within two bands, never to come back; single partials high up are no edge."""
    drop = limits()["low_pass"]["drop_db"]
    for i in range(6, len(level_db) - 3):
        before = float(np.min(level_db[i - 4 : i + 1]))
        if level_db[i + 2 :].max() < before - drop:
            return (i + 1) * band_hz
    return None


def _empty_from(level_db: FloatArray, band_hz: float) -> float | None:
    """Where the background itself falls away, never to come back."""
    drop = limits()["low_pass"]["drop_db"]
    for i in range(8, len(level_db) - 3):
        before = float(np.median(level_db[int(0.4 * i) : int(0.8 * i) + 1]))
        if before > -170.0 and level_db[i:].max() < before - drop:
            return i * band_hz
    return None


def _empty_of_noise(bands: NDArray[np.float32], band_hz: float) -> float | None:
    """The same where notes ring through the pauses: each band by its own quietest moments, if noise holds them up.

    A band that is still fading varies in its quietest quarter; the noise of a room or a microphone does not.
    """
    low, high = np.percentile(bands, [10, 25], axis=0).astype(float)
    edge_hz = _empty_from(10.0 * np.log10(low + 1e-20), band_hz)
    if edge_hz is None:
        return None
    fades = 10.0 * np.log10((high + 1e-20) / (low + 1e-20)) > STEADY_DB
    below = slice(int(0.4 * edge_hz / band_hz), int(0.8 * edge_hz / band_hz) + 1)
    return edge_hz if fades[below].mean() <= MOST_FADING else None


def find_gaps(channels: Samples, *, rate_hz: int) -> list[tuple[float, float]]:
    """Begin and length in s of gaps of digital silence in the middle of sound.

    Silence after a note that has faded is none: on both sides the sound must be as loud right at the gap as a
    little away from it.

    Examples
    --------
    >>> wave = np.sin(0.05 * np.arange(44100)).astype(np.float32)[None]
    >>> wave[:, 20000:20441] = 0.0
    >>> [(round(at, 3), round(length, 3)) for at, length in find_gaps(wave, rate_hz=44100)]
    [(0.454, 0.01)]
    """
    lim = limits()["gaps"]
    shortest = int(lim["least_s"] * rate_hz)
    looked_at = np.asarray(~channels[:, :: shortest // 2].any(axis=0))
    if not (looked_at[1:] & looked_at[:-1]).any():
        return []
    zero = np.asarray(~channels.any(axis=0))
    change = np.flatnonzero(np.diff(zero.astype(np.int8), prepend=0, append=0))
    begins, ends = change[::2], change[1::2]
    long = (ends - begins >= shortest) & (ends - begins <= lim["most_s"] * rate_hz)
    least = max(lim["least_rms"], lim["least_of_peak"] * float(np.abs(channels).max()))
    near, far = int(0.002 * rate_hz), int(0.020 * rate_hz)
    inside = long & (begins >= far) & (ends + far <= channels.shape[1])
    loud = np.abs(channels).max(axis=0) >= least
    edge = np.arange(near)
    begins, ends = begins[inside], ends[inside]
    abrupt = loud[begins[:, None] - 1 - edge].any(axis=1) & loud[ends[:, None] + edge].any(axis=1)
    found = []
    for a, b in zip(begins[abrupt], ends[abrupt], strict=True):
        sides = [_rms(channels[:, a - near : a]), _rms(channels[:, b : b + near])]
        away = [_rms(channels[:, a - far : a - near]), _rms(channels[:, b + near : b + far])]
        if min(sides) >= least and all(
            0.3 < s / max(w, 1e-12) < 3.0 for s, w in zip(sides, away, strict=True)
        ):
            found.append((float(a) / rate_hz, float(b - a) / rate_hz))
    return found


def _rms(piece: NDArray[np.float32]) -> float:
    return float(np.sqrt(np.mean(piece.astype(float) ** 2))) if piece.size else 0.0


def offset_share(channels: Samples) -> float:
    """The largest channel mean over the peak: a steady offset of the recorder.

    Examples
    --------
    >>> round(offset_share(np.array([[0.1, 0.5, 0.1, 0.1]], dtype=np.float32)), 2)
    0.4
    """
    some = channels[:, ::7] if channels.shape[1] > 10**6 else channels
    peak = float(np.abs(some).max())
    return float(np.abs(some.mean(axis=1, dtype=np.float64)).max()) / peak if peak > 0 else 0.0


def find_dead_channels(channels: Samples, *, rate_hz: int, onset_s: FloatArray) -> tuple[int, ...]:
    """The channels in which nothing of the notes is heard while another hears them; the first is 1.

    What rises at a blow is the piano's, whatever stands still is the recorder's or the room's: a microphone that is
    switched off leaves zeros, noise or hum, and each is told from a channel that is only softer.

    Examples
    --------
    >>> t = np.arange(44100) / 44100
    >>> heard = np.sin(2500 * t) * np.exp(-3 * t) * (t > 0.2)
    >>> hum = 0.1 * np.sin(314 * t)
    >>> find_dead_channels(np.array([heard, hum], dtype=np.float32), rate_hz=44100, onset_s=np.array([0.2]))
    (2,)
    """
    if len(channels) < 2 or not len(onset_s):
        return ()
    after, before = int(0.2 * rate_hz), int(0.1 * rate_hz)
    lead = int(0.02 * rate_hz)
    at = np.round(onset_s * rate_hz).astype(int)
    rise = np.array(
        [
            [
                _rms(c[b : b + after]) ** 2 - _rms(c[max(0, b - lead - before) : max(0, b - lead)]) ** 2
                for b in at
            ]
            for c in channels
        ]
    )
    heard = np.median(rise, axis=1)
    least = float(heard.max()) * 10.0 ** (-limits()["recorder"]["dead_db"] / 10.0)
    return tuple(int(n) + 1 for n in np.flatnonzero(heard < least)) if least > 0 else ()
