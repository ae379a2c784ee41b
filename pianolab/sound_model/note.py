"""One note of the modelled piano as sound: its modes summed, with buzz, knock and the key's return."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pianolab.errors import BadInput
from pianolab.sound_model.hammer_and_body import buzz_pulses, noise_burst
from pianolab.sound_model.note_modes import NoteModes, note_modes
from pianolab.sound_model.piano import OFF_DB, PianoModel
from pianolab.sound_model.stringing import FULL_LEVEL
from pianolab.sound_model.strings import ComplexArray, FloatArray
from pianolab.units import amplitude_to_db, db_to_amplitude

BLOCK = 512
LONGEST_RING_S = 60.0
SEEPING = 0.08
KNOCK_DB, SILENT_KNOCK_DB, RETURN_DB, DAMPER_NOISE_DB = -34.0, -36.0, -50.0, -56.0
LANDING_S = ((0.012, 0.2), (0.012, 0.55), (0.012, 0.85))
"""How a soft damper takes hold: so long with such a share of what it does when it lies."""
SLOW_SHARE, SLOW_REACH = 0.07, 0.35
"""Part of the sound that the damper takes more slowly, and how much of its grip it feels."""
Float32Array = NDArray[np.float32]


def sum_modes(
    amplitudes: ComplexArray, poles: ComplexArray, *, frames: int, rate_hz: int, floor: float = 1e-6
) -> Float32Array:
    """The real part of a sum of decaying modes, in blocks: one matrix product for many of them.

    Parameters
    ----------
    amplitudes, poles : complex arrays, shape (modes,); poles in 1/s
    frames : length of the sound
    floor : modes fallen below it are left out

    Returns
    -------
    float32 ndarray, shape (frames,)

    Examples
    --------
    >>> fading = sum_modes(np.array([1 + 0j]), np.array([-1 + 0j]), frames=101, rate_hz=100)
    >>> round(float(fading[100]), 4)
    0.3679
    """
    sound = np.zeros(-(-frames // BLOCK) * BLOCK, dtype=np.float32)
    span = 64 * BLOCK
    inside = _powers(np.exp(poles / rate_hz), min(BLOCK, max(frames, 1)))
    kernel = np.concatenate([inside.real, -inside.imag])
    for start in range(0, sound.size, span):
        stop = min(start + span, sound.size)
        begin = amplitudes * np.exp(poles * (start / rate_hz))
        alive = np.abs(begin) > floor
        if not alive.any():
            break
        steps = np.arange((stop - start) // BLOCK) * (BLOCK / rate_hz)
        state = begin[alive] * np.exp(np.multiply.outer(steps, poles[alive]))
        rows = np.concatenate([state.real, state.imag], axis=1).astype(np.float32)
        block = rows @ kernel[np.tile(alive, 2)]
        sound[start : start + block.size] = block.ravel()
    return sound[:frames]


def _powers(turn: ComplexArray, count: int) -> NDArray[np.complex64]:
    """Powers 0 to count - 1 of each number, shape (modes, count), by doubling: far cheaper than exponentials."""
    powers = np.ones((turn.size, count), dtype=complex)
    done = 1
    while done < count:
        more = min(done, count - done)
        powers[:, done : done + more] = powers[:, :more] * (turn**done)[:, None]
        done += more
    return powers.astype(np.complex64)


def ring(
    modes: NoteModes, *, hold_s: float | None, frames: int, rate_hz: int, floor: float = 1e-6
) -> Float32Array:
    """The strings' sound of a note: struck, held for ``hold_s`` (None: for good), then damped."""
    held = frames if hold_s is None else min(frames, round(hold_s * rate_hz))
    amplitudes, poles, damping = modes.sounding()
    sound = sum_modes(amplitudes, poles, frames=held, rate_hz=rate_hz, floor=floor)
    ramp = min(held, max(2, round(modes.contact_s * rate_hz)))
    sound[:ramp] *= (0.5 - 0.5 * np.cos(np.pi * np.arange(ramp) / ramp)).astype(np.float32)
    if held == frames:
        return sound
    left = amplitudes * np.exp(poles * (held / rate_hz))
    alive = np.abs(left) > floor
    after = np.zeros(frames - held, dtype=np.float32)
    for share, reach in _release_parts(modes):
        parts = _damped(
            share * left[alive], poles[alive], reach * damping[alive], modes, after.size, rate_hz, floor
        )
        after += np.concatenate(parts)
    return np.concatenate([sound, after])


def _release_parts(modes: NoteModes) -> list[tuple[float, float]]:
    """Shares of the sound by how much of the damper they feel: what leaks, what it takes slowly, the rest."""
    slow = SLOW_SHARE * modes.softness * (1.0 - modes.leak)
    parts = [(1.0 - modes.leak - slow, 1.0), (slow, SLOW_REACH), (modes.leak, SEEPING)]
    return [part for part in parts if part[0] > 0]


def _damped(
    left: ComplexArray,
    poles: ComplexArray,
    damping: FloatArray,
    modes: NoteModes,
    frames: int,
    rate_hz: int,
    floor: float,
) -> list[Float32Array]:
    """One share of the sound after the release: the landing of a soft damper, then its full grip."""
    pieces: list[Float32Array] = []
    done = 0
    for seconds, grip in LANDING_S if modes.softness > 0 else ():
        count = min(round(seconds * modes.softness * rate_hz), frames - done)
        slower = poles - grip * damping
        pieces.append(sum_modes(left, slower, frames=count, rate_hz=rate_hz, floor=floor))
        left, done = left * np.exp(slower * (count / rate_hz)), done + count
    pieces.append(sum_modes(left, poles - damping, frames=frames - done, rate_hz=rate_hz, floor=floor))
    return pieces


def ring_seconds(modes: NoteModes, *, hold_s: float | None, below_db: float, from_s: float = 0.0) -> float:
    """When the note has fallen ``below_db`` under its level at ``from_s`` for good; at most 60 s after it."""
    t = from_s + np.concatenate([np.arange(0.0, 2.0, 0.02), np.arange(2.0, LONGEST_RING_S, 0.2)])
    power = np.abs(modes.amplitudes) ** 2 * np.exp(np.multiply.outer(t, 2.0 * modes.poles.real))
    if hold_s is not None:
        landing = modes.softness * sum(seconds * (1.0 - grip) for seconds, grip in LANDING_S)
        after = np.maximum(t - hold_s - landing, 0.0)
        power = power * sum(
            share**2 * np.exp(np.multiply.outer(after, -2.0 * reach * modes.damping_per_s))
            for share, reach in _release_parts(modes)
        )
    total = power.sum(axis=1)
    above = np.flatnonzero(total > total[0] * 10.0 ** (below_db / 10.0))
    return float(t[above[-1]] + (0.05 if t[above[-1]] < from_s + 2.0 else 0.2))


@dataclass(frozen=True, kw_only=True)
class Press:
    """One press of a key: how long it is held (None: to the end), the blow's level against a medium one, and
    whether the noise of hammer and key is heard with it.
    """

    hold_s: float | None = None
    blow_db: float = 0.0
    knock: bool = True


def strike(
    model: PianoModel,
    key: int,
    press: Press,
    *,
    seconds: float,
    rate_hz: int,
    rng: np.random.Generator,
    modes: NoteModes | None = None,
) -> Float32Array:
    """Everything one press of a key sounds: strings, board, buzz, knock, and the noises of the key's return.

    Parameters
    ----------
    model : PianoModel
    key : key number, on the model's keyboard
    press : how long it is held and how hard it is struck
    seconds : length of the sound
    rate_hz : samples per second
    rng : draws the noises
    modes : those of this very blow, if the caller has drawn them from ``rng`` already

    Returns
    -------
    float32 ndarray, shape (frames,)
    """
    hold_s, blow_db = press.hold_s, press.blow_db
    frames = round(seconds * rate_hz)
    silent = model.fault(key, "silent") is not None
    sound = np.zeros(frames, dtype=np.float32)
    if modes is None:
        modes = note_modes(model, key, blow_db=blow_db, rate_hz=rate_hz, blow=rng)
    if not silent:
        sound += ring(modes, hold_s=hold_s, frames=frames, rate_hz=rate_hz)
        _add(sound, _buzz(model, key, modes, sound, rate_hz=rate_hz, rng=rng), at=0)
    if press.knock:
        full_db = float(amplitude_to_db(FULL_LEVEL)) + model.knock_db + 0.5 * blow_db
        level = full_db + (SILENT_KNOCK_DB if silent else KNOCK_DB)
        _add(
            sound, noise_burst(rng, rate_hz=rate_hz, band_hz=(90, 1600), decay_s=0.025, level_db=level), at=0
        )
        if hold_s is not None:
            level = full_db + RETURN_DB + rng.normal()
            burst = noise_burst(rng, rate_hz=rate_hz, band_hz=(60, 900), decay_s=0.03, level_db=level)
            _add(sound, burst, at=round(hold_s * rate_hz))
            if model.damper_noise_db > OFF_DB and model.damped(key) and not silent:
                level = full_db + DAMPER_NOISE_DB + model.damper_noise_db - model.knock_db
                burst = noise_burst(rng, rate_hz=rate_hz, band_hz=(300, 4000), decay_s=0.04, level_db=level)
                _add(sound, burst, at=round((hold_s + 0.01) * rate_hz))
    return sound


def _add(sound: Float32Array, part: FloatArray, *, at: int) -> None:
    """Mix a part in from one frame on, as far as the sound reaches."""
    room = sound[at : at + part.size]
    room += part[: room.size].astype(np.float32)


def _buzz(
    model: PianoModel,
    key: int,
    modes: NoteModes,
    tone: Float32Array,
    *,
    rate_hz: int,
    rng: np.random.Generator,
) -> FloatArray:
    """The key's buzz while the tone is loud: it follows the tone's level and stops 18 dB down."""
    fault = model.fault(key, "buzz")
    if fault is None or not np.any(tone):
        return np.zeros(0)
    frames = min(tone.size, round(4.0 * rate_hz))
    f1 = float(model.strings(key).mean())
    pulses = buzz_pulses(rng, rate_hz=rate_hz, frames=frames, f1_hz=f1, periodic=fault.manner == "periodic")
    grid = np.arange(0.0, frames / rate_hz, 0.01)
    envelope = np.sqrt(modes.power(grid))
    loud = envelope / envelope.max()
    gate = np.interp(np.arange(frames) / rate_hz, grid, loud * np.clip((loud - 0.126) / 0.2, 0.0, 1.0))
    first = slice(0, round(0.3 * rate_hz))
    tone_level = np.sqrt(np.mean(tone[first].astype(float) ** 2))
    buzz = pulses * gate
    return np.asarray(
        buzz
        * tone_level
        * db_to_amplitude(float(fault.amount or 0.0))
        / max(np.sqrt(np.mean(buzz[first] ** 2)), 1e-12)
    )


def render_note(
    model: PianoModel,
    key: int,
    *,
    seconds: float = 3.0,
    hold_s: float | None = None,
    rate_hz: int = 44100,
    blow_db: float = 0.0,
    knock: bool = True,
    seed: int = 0,
) -> Float32Array:
    """One note of the modelled piano, dry and free of noise.

    Parameters
    ----------
    model : PianoModel
    key : key number
    seconds : length of the sound
    hold_s : the key is let go after this long; None holds it to the end
    rate_hz : samples per second
    blow_db : level of the blow against a medium one
    knock : with the noise of hammer and key
    seed : draws those noises

    Returns
    -------
    float32 ndarray, shape (frames,); a medium blow is at about -15 dB re full scale

    Raises
    ------
    BadInput : a key this piano doesn't have, or no length

    Examples
    --------
    >>> render_note(PianoModel(seed=3), 40, seconds=0.5, rate_hz=16000).shape
    (8000,)
    """
    if not 0.0 < seconds <= 120.0:
        raise BadInput("seconds", seconds, "more than 0 and at most 120")
    if not 8000 <= rate_hz <= 192000:
        raise BadInput("rate_hz", rate_hz, "8000 to 192000")
    rng = np.random.default_rng([seed, key + 1000, 77])
    press = Press(hold_s=hold_s, blow_db=blow_db, knock=knock)
    return strike(model, key, press, seconds=seconds, rate_hz=rate_hz, rng=rng)
