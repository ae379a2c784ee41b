"""A third source of piano sound with known truth: partials added up, drawn wide, quick enough for many pianos.

It shares no law and no number with `pianolab.sound_model` (modes of coupled strings) or
`benchmarks.second_generator` (strings stepped in time). Here nothing is coupled: a string's partial is the sum of
two decaying sines of one frequency, and strings beat because they are apart (`benchmarks.third_parts` has the
laws). Knock, thump, return and rattle are filtered noise.

Truth
-----
``f1_hz`` is the mean of the strings' partial 1; higher partials wander from the stiff series by up to 2 cents,
partial 1 never does. ``inharmonicity`` is the series' B. ``decay_20_s`` is read from the 30 ms level of tone and
knock of a medium blow whose key stays down, without the rattle, from the loudest window to the last at -20 dB; of
two channels their power counts.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy import signal

from benchmarks.third_parts import (
    RATE_HZ,
    Design,
    Floats,
    Lines,
    draw_design,
    inharmonicity,
    note_lines,
    other_strings,
    strings_hz,
)
from pianolab.errors import BadInput

Sound = NDArray[np.float32]
BLOCK, SPAN = 1024, 16
FAINT = 1e-6
LONGEST_RING_S, LONGEST_TRUTH_S = 10.0, 90.0
FULL = 0.1
"""Amplitude of a mean tone of the middle: knock and sympathy are said against it."""


class ThirdPiano:
    """One instrument of the third kind; a `benchmarks.takes.NoteSource`."""

    def __init__(self, design: Design) -> None:
        self.design = design
        self.name = f"third-{design.seed}" + ("-faulty" if design.faults else "")
        self.rate_hz = RATE_HZ
        self.channels = design.channels
        self.keys = design.keys
        self.wide = design.wide
        self.last_damped = design.last_damped
        self._truth: dict[tuple[int, float, int], dict[str, object]] = {}

    def note(
        self, key: int, *, hold_s: float, blow_db: float = 0.0, seed: int = 0, pedal: bool = False
    ) -> Sound:
        """The dry sound of one press, shape (frames, channels); see `benchmarks.takes.NoteSource`."""
        design = self.design
        if key not in self.keys:
            raise BadInput("key", key, f"a key of this piano, {self.keys[0]} to {self.keys[-1]}")
        damped = design.damped(key) and not pedal
        held = round(hold_s * RATE_HZ)
        blow = self._level_db(key, blow_db, seed)
        strings = self._strings(key, blow, seed)
        ringing = _ring_s(strings, hold_s, damped=damped)
        frames = held + round(ringing * RATE_HZ)
        out = np.zeros((design.channels, frames), dtype=np.float32)
        if design.fault(key, "silent") is None:
            out += self._tone(key, strings, held, frames, damped=damped)
            out += add_lines(_louder(other_strings(design, key, pedal=pedal), blow), frames)
            level = design.fault(key, "buzz")
            if level is not None:
                out += self._rattle(key, out, level, seed)
        self._noises(out, key, blow, seed, held)
        fade = min(frames, round(0.05 * RATE_HZ))
        out[:, frames - fade :] *= np.linspace(1, 0, fade, dtype=np.float32)
        return np.ascontiguousarray(out.T)

    def truth(self, key: int, *, blow_db: float = 0.0, seed: int = 0) -> Mapping[str, object]:
        """`benchmarks.takes.TRUTH_COLUMNS` of one key; the time to fall is that of this very blow."""
        asked = key, blow_db, seed
        if asked not in self._truth:
            self._truth[asked] = self._true_values(*asked)
        return self._truth[asked]

    def _level_db(self, key: int, blow_db: float, seed: int) -> float:
        """How hard this blow really is: nobody strikes twice with the same speed (5 %)."""
        return blow_db + (float(self.design.stream(key, 5, seed).normal(0, 0.45)) if seed else 0.0)

    def _strings(self, key: int, blow_db: float, seed: int) -> Lines:
        """The key's own strings after this blow: a harder one has more of the high partials."""
        lines = _risen(self.design, key, note_lines(self.design, key))
        number = np.maximum(lines.f_hz / lines.f_hz.min(), 1.0)
        size = 10 ** (blow_db / 20) * number ** (self.design.blow_tilt * blow_db)
        if seed:
            rng = self.design.stream(key, 6, seed)
            turn = 0.12 * rng.standard_normal(number.size // 2).repeat(2)
            size = (
                size * 10 ** (0.3 * rng.standard_normal(number.size // 2).repeat(2) / 20) * np.exp(1j * turn)
            )
        return replace(lines, strength=lines.strength * size)

    def _tone(self, key: int, lines: Lines, held: int, frames: int, *, damped: bool) -> Sound:
        """Strings rising, ringing, and stopped by their damper over some ms."""
        stop = frames if not damped else min(frames, held + round(self.design.damper_ramp_s * RATE_HZ))
        out = np.zeros((lines.strength.shape[0], frames), dtype=np.float32)
        out[:, :stop] = add_lines(lines, stop)
        if damped and frames > held:
            pole = -lines.per_s + 2j * np.pi * lines.f_hz
            left = replace(
                lines,
                strength=lines.strength * np.exp(pole * held / RATE_HZ),
                per_s=lines.per_s + lines.damping_per_s,
            )
            after = add_lines(left, frames - held)
            down = np.ones(frames - held, dtype=np.float32)
            down[: stop - held] = np.sin(0.5 * np.pi * np.linspace(0, 1, stop - held)) ** 2
            out[:, held:] = (1 - down) * out[:, held:] + down * after
        rise = max(2, round(np.interp(key, [1, 88], self.design.rise_s) * RATE_HZ))
        rise = min(rise, frames)
        out[:, :rise] *= (np.sin(0.5 * np.pi * np.arange(rise) / rise) ** 2).astype(np.float32)
        return out

    def _noises(self, out: Sound, key: int, blow_db: float, seed: int, held: int | None) -> None:
        """Adds what isn't a tone: the knock, the key at its bottom, and its return."""
        d, rng = self.design, self.design.stream(key, 7, seed)
        soft_db = 0.6 * blow_db + rng.normal(0, 1.0)
        low, high = d.knock_hz
        late = round(d.thump_at_s * RATE_HZ)
        _mix_in(out, 0, _burst(rng, d.channels, (low, high), d.knock_s, d.knock_db + soft_db))
        _mix_in(out, late, _burst(rng, d.channels, (45.0, 240.0), 0.03, d.thump_db + soft_db))
        if held is not None:
            band = (low * 0.8, high * 0.5)
            _mix_in(out, held, _burst(rng, d.channels, band, 0.02, d.return_db + rng.normal(0, 2)))

    def _rattle(self, key: int, tone: Sound, level_db: float, seed: int) -> Sound:
        """Noise let through once a period while the note is loud, ``level_db`` against its first half second."""
        rng = self.design.stream(key, 8, seed)
        envelope = np.sqrt(np.maximum(signal.lfilter([0.002], [1, -0.998], np.mean(tone**2, axis=0)), 0))
        turn = 2 * np.pi * strings_hz(self.design, key)[0] * np.arange(tone.shape[1]) / RATE_HZ
        gate = np.maximum(np.cos(turn), 0) ** 6 * envelope * np.clip(8 * envelope / envelope.max() - 1, 0, 1)
        low = float(rng.uniform(900, 2200))
        band = signal.butter(2, [low, low * rng.uniform(2, 3.5)], "bandpass", fs=RATE_HZ, output="sos")
        noise = signal.sosfilt(band, rng.standard_normal(tone.shape) * gate, axis=1)
        half = slice(0, RATE_HZ // 2)
        want = 10 ** (level_db / 20) * np.sqrt(np.mean(tone[:, half].astype(float) ** 2))
        return (noise * want / np.sqrt(np.mean(noise[:, half] ** 2))).astype(np.float32)

    def held_sound(self, key: int, *, blow_db: float = 0.0, seed: int = 0) -> Sound:
        """Tone and knock of a blow while the key stays down, until it is 35 dB down: (channels, frames)."""
        blow = self._level_db(key, blow_db, seed)
        lines = self._strings(key, blow, seed)
        frames = round((_fall_s(lines, 35.0, longest_s=LONGEST_TRUTH_S) + 0.2) * RATE_HZ)
        out = self._tone(key, lines, frames, frames, damped=False)
        out += add_lines(_louder(other_strings(self.design, key, pedal=False), blow), frames)
        self._noises(out, key, blow, seed, None)
        return out

    def _true_values(self, key: int, blow_db: float, seed: int) -> dict[str, object]:
        strings, nan = strings_hz(self.design, key), float("nan")
        silent = self.design.fault(key, "silent") is not None
        f1 = float(strings.mean())
        return {
            "key": key,
            "f1_hz": nan if silent else f1,
            "cents": nan if silent else float(1200 * np.log2(f1 / 440.0) - 100 * (key - 49)),
            "inharmonicity": nan if silent else inharmonicity(self.design, key),
            "unison_cents": nan if silent else float(1200 * np.log2(strings.max() / strings.min())),
            "strings": strings.size,
            "decay_20_s": nan if silent else time_to_fall(self.held_sound(key, blow_db=blow_db, seed=seed)),
            "damped": self.design.damped(key),
            "faults": self.design.faults.get(key, ("", 0.0))[0],
        }


def draw_third(seed: int, healthy: bool = True) -> ThirdPiano:
    """One piano of this kind, everything about it drawn; unhealthy ones have two keys of each fault.

    Examples
    --------
    >>> draw_third(4).note(40, hold_s=0.2).shape[1]
    1
    """
    return ThirdPiano(draw_design(seed, healthy=healthy))


def add_lines(lines: Lines, frames: int) -> Sound:
    """The sum of decaying sines, (channels, frames): in blocks, one product of matrices for many of them."""
    pole = (-lines.per_s + 2j * np.pi * lines.f_hz) / RATE_HZ
    blocks = -(-frames // BLOCK)
    out = np.zeros((lines.strength.shape[0], blocks, BLOCK), dtype=np.float32)
    loudest = np.abs(lines.strength).max(axis=0)
    last = np.log(np.maximum(loudest / FAINT, 1.0)) / np.maximum(lines.per_s / RATE_HZ, 1e-12)
    order = np.argsort(-last)
    inside = _block_of(pole[order])
    for start in range(0, blocks, SPAN):
        stop = min(start + SPAN, blocks)
        alive = int(np.sum(last > start * BLOCK))
        if not alive:
            break
        mine = order[:alive]
        turned = np.exp(np.multiply.outer(np.arange(start, stop) * float(BLOCK), pole[mine]))
        state = (lines.strength[:, None, mine] * turned).astype(np.complex64)
        kernel = inside[:alive]
        out[:, start:stop] = state.real @ kernel.real - state.imag @ kernel.imag
    return out.reshape(out.shape[0], -1)[:, :frames]


def _block_of(pole: NDArray[np.complex128]) -> NDArray[np.complex64]:
    """exp(pole * k) for k = 0 .. BLOCK - 1, by doubling: one exponential per power of two."""
    out = np.ones((pole.size, BLOCK), dtype=np.complex64)
    have = 1
    while have < BLOCK:
        out[:, have : 2 * have] = out[:, :have] * np.exp(pole * have)[:, None].astype(np.complex64)
        have *= 2
    return out


def _risen(design: Design, key: int, lines: Lines) -> Lines:
    """Strengths larger by what decays during the rise, so that quick partials aren't lost in it."""
    rise_s = float(np.interp(key, [1, 88], design.rise_s))
    return replace(lines, strength=lines.strength * np.exp(np.minimum(0.5 * rise_s * lines.per_s, 1.0)))


def _louder(lines: Lines, blow_db: float) -> Lines:
    return replace(lines, strength=lines.strength * 10 ** (blow_db / 20))


def _power(lines: Lines, t: Floats, damping: bool) -> Floats:
    rate = lines.per_s + (lines.damping_per_s if damping else 0.0)
    size = np.sum(np.abs(lines.strength) ** 2, axis=0)
    return np.asarray(np.exp(-2 * np.multiply.outer(t, rate)) @ size)


def _fall_s(lines: Lines, fall_db: float, *, longest_s: float, damping: bool = False) -> float:
    """Time after which the lines' power stays ``fall_db`` under where it began, s."""
    t = np.geomspace(0.02, longest_s, 200)
    level = 10 * np.log10(_power(lines, t, damping) / _power(lines, np.zeros(1), damping) + 1e-30)
    return float(np.interp(fall_db, -level, t))


def _ring_s(lines: Lines, hold_s: float, *, damped: bool) -> float:
    """How long the note has to go on after the key went up: to 75 dB under the blow, at most 10 s."""
    before = 10 * np.log10(
        (_power(lines, np.array([hold_s]), False) / _power(lines, np.zeros(1), False))[0] + 1e-30
    )
    left = replace(lines, strength=lines.strength * np.exp(-lines.per_s * hold_s))
    ring = _fall_s(left, max(75.0 + float(before), 1.0), longest_s=LONGEST_RING_S, damping=damped)
    return max(ring + 0.1, 0.3)


def _burst(
    rng: np.random.Generator, channels: int, band_hz: tuple[float, float], length_s: float, level_db: float
) -> Floats:
    """Filtered noise that dies away; its first 30 ms have ``level_db`` against a medium tone."""
    n = round(min(8 * length_s, 0.4) * RATE_HZ)
    band = signal.butter(1, band_hz, "bandpass", fs=RATE_HZ, output="sos")
    same, own = rng.standard_normal(n), rng.standard_normal((channels, n))
    noise = signal.sosfilt(band, 0.8 * same + 0.6 * own, axis=1)
    t = np.arange(n) / RATE_HZ
    noise *= np.minimum(t / 0.001, 1.0) * np.exp(-t / length_s)
    first = np.sqrt(np.mean(noise[:, : round(0.03 * RATE_HZ)] ** 2))
    return np.asarray(noise * FULL * 10 ** (level_db / 20) / first)


def _mix_in(out: Sound, at: int, part: Floats) -> None:
    room = out[:, at : at + part.shape[1]]
    room += part[:, : room.shape[1]].astype(np.float32)


def time_to_fall(sound: Sound, fall_db: float = 20.0) -> float:
    """From the loudest 30 ms window to the last time the level of (channels, frames) is above -fall_db, s."""
    width, hop = round(0.03 * RATE_HZ), round(0.0025 * RATE_HZ)
    power = np.concatenate([[0.0], np.cumsum(np.mean(sound.astype(np.float64) ** 2, axis=0))])
    start = np.arange(0, power.size - width, hop)
    level = 10 * np.log10((power[start + width] - power[start]) / width + 1e-30)
    top = int(np.argmax(level))
    last = int(np.flatnonzero(level >= level[top] - fall_db)[-1])
    if last + 1 >= level.size:
        return float("nan")
    part = (level[last] - level[top] + fall_db) / (level[last] - level[last + 1])
    return float((last + part - top) * hop / RATE_HZ)
