"""One note of the modelled piano: its modes, its sound, and the truth about them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pianolab.errors import BadInput
from pianolab.keyboard import check_key
from pianolab.sound_model.hammer import (
    BAR_M,
    BAR_SPEED_M_PER_S,
    CONTACT_S,
    DAMPER_T60_S,
    LEVEL_DB,
    PROMPT_DB_PER_S,
    at_key,
    buzz_pulses,
    hammer_spectrum,
    noise_burst,
    voicing_gain,
)
from pianolab.sound_model.piano import PianoModel
from pianolab.sound_model.strings import ComplexArray, FloatArray, coupled_modes
from pianolab.units import (
    CENTS_PER_NEPER,
    db_per_s_to_rate,
    db_to_amplitude,
    key_to_hz,
    power_to_db,
    t60_to_rate,
)

BLOCK = 512
FLOOR_DB = -95.0
TOP_HZ = 20000.0
FULL_LEVEL = 0.25
WINDOW_S = 0.030
LATE_SHARE = 0.22
SLOWER_PER_PARTIAL = 0.12
REACTIVE_SHARE = 0.2
CROSSWISE_WEIGHT = 0.22
KNOCK_DB, SILENT_KNOCK_DB, RETURN_DB = -34.0, -36.0, -50.0
LONGEST_RING_S = 60.0
SEEPING = 0.08
ALONG_DB, ALONG_T60_S, ALONG_TOP_HZ = -45.0, 0.5, 5000.0
Float32Array = NDArray[np.float32]


@dataclass(frozen=True, eq=False)
class NoteModes:
    """The modes of one struck key; the sound is the real part of the sum of amplitude e^(pole t).

    ``amplitudes``, ``poles`` (1/s) and ``numbers`` (the partial a mode belongs to, 0 for
    the longitudinal line) have shape (modes,);
    ``damping_per_s`` is what the damper adds to each mode, ``leak`` the share it doesn't reach.
    """

    key: int
    amplitudes: ComplexArray
    poles: ComplexArray
    numbers: NDArray[np.int64]
    damping_per_s: FloatArray
    leak: float
    contact_s: float

    def power(self, time_s: FloatArray) -> FloatArray:
        """Smooth power over time: partials add their power, modes of one partial interfere."""
        moving = self.amplitudes * np.exp(np.multiply.outer(time_s, self.poles))
        starts = np.flatnonzero(np.diff(self.numbers, prepend=-1))
        return np.asarray(0.5 * np.sum(np.abs(np.add.reduceat(moving, starts, axis=1)) ** 2, axis=1))

    def brightness_db(self) -> float:
        """Power above 4 f1 (above key 76: 2 f1) over all power, at the blow, in dB."""
        above = self.numbers > (4 if self.key <= 76 else 2)
        parts = np.bincount(self.numbers, self.amplitudes.real) ** 2
        parts = parts + np.bincount(self.numbers, self.amplitudes.imag) ** 2
        high = np.bincount(self.numbers[above], minlength=parts.size) > 0
        return float(power_to_db(parts[high].sum() / parts.sum()))


def note_modes(model: PianoModel, key: int, *, blow_db: float = 0.0, rate_hz: int = 44100) -> NoteModes:
    """Modes of a key after a blow: hammer, strings and bridge together.

    Parameters
    ----------
    model : PianoModel
    key : key number, on the model's keyboard
    blow_db : level of the blow against a medium one
    rate_hz : partials end at 20 kHz or 0.48 times this

    Raises
    ------
    BadInput : a key this piano doesn't have

    Examples
    --------
    >>> modes = note_modes(PianoModel(), 49)
    >>> bool(modes.poles.real.max() < 0)
    True
    """
    if not model.first_key <= check_key(key) <= model.last_key:
        raise BadInput("key", key, f"a key of this piano, {model.first_key} to {model.last_key}")
    f_hz = model.partials(key, np.arange(1.0, 261.0))
    top_hz = min(TOP_HZ, 0.48 * rate_hz)
    if f_hz[0].max() >= top_hz:
        need = f"{np.ceil(f_hz[0].max() / 0.48):g} or more for key {key}"
        raise BadInput("rate_hz", rate_hz, need, "Its first partial would lie above the recording's range.")
    f_hz = f_hz[f_hz.max(axis=1) < top_hz]
    level = _partial_levels(model, key, f_hz.mean(axis=1), blow_db=blow_db)
    loud = level > level.max() * db_to_amplitude(FLOOR_DB)
    numbers = np.arange(1, level.size + 1)[loud]
    poles, shares = _bridge_modes(model, key, f_hz[loud], numbers=numbers)
    phase = np.exp(2j * np.pi * model.stream(key, "partials").random(260)[numbers - 1])
    amplitudes = (level[loud] * phase)[:, None] * shares
    strings = poles.shape[1]
    damping = _damper_rate(model, key, numbers)
    along, along_pole = _longitudinal(model, key, level)
    leak = model.fault(key, "damper")
    return NoteModes(
        key=key,
        amplitudes=np.concatenate([along, amplitudes.ravel()]),
        poles=np.concatenate([along_pole, poles.ravel()]),
        numbers=np.concatenate([[0], np.repeat(numbers, strings)]),
        damping_per_s=np.concatenate([damping[:1], np.repeat(damping, strings)]),
        leak=float(leak.amount or 0.0) if leak else 0.0,
        contact_s=at_key(CONTACT_S, key),
    )


def _partial_levels(model: PianoModel, key: int, f_hz: FloatArray, *, blow_db: float) -> FloatArray:
    """Amplitude of each partial at the blow; the register sets the level, voicing the balance."""
    rng = model.stream(key, "partials")
    rng.random(260)
    uneven = db_to_amplitude(3.0 * rng.standard_normal(260)[: f_hz.size])
    spectrum = hammer_spectrum(key, f_hz, blow_db=blow_db) * uneven
    total = np.sqrt(0.5 * np.sum(spectrum**2))
    level = FULL_LEVEL * db_to_amplitude(at_key(LEVEL_DB, key) + blow_db)
    voicing = model.fault(key, "voicing")
    brightness = model.hardness_db + model.voicing_spread_db * model.stream(key, "voicing").normal()
    brightness += float(voicing.amount or 0.0) if voicing else 0.0
    gain = voicing_gain(key, np.arange(1, f_hz.size + 1), brightness_db=brightness)
    return np.asarray(level * spectrum / total * gain)


def _longitudinal(model: PianoModel, key: int, level: FloatArray) -> tuple[ComplexArray, ComplexArray]:
    """The weak, short line of the strings' movement along themselves; it fits none of the partials."""
    rng = model.stream(key, "along")
    f_hz = BAR_SPEED_M_PER_S / (2.0 * at_key(BAR_M[model.kind], key)) * np.exp(0.05 * rng.standard_normal())
    loud = np.sqrt(np.sum(level**2)) * db_to_amplitude(ALONG_DB) * (f_hz < ALONG_TOP_HZ)
    phase = np.exp(2j * np.pi * rng.random())
    return np.array([loud * phase]), np.array([complex(-t60_to_rate(ALONG_T60_S), 2.0 * np.pi * f_hz)])


def _bridge_modes(
    model: PianoModel, key: int, f_hz: FloatArray, *, numbers: NDArray[np.int64]
) -> tuple[ComplexArray, ComplexArray]:
    """Poles (1/s) and shares of all modes, shape (partials, strings + 1).

    The last oscillator is the strings' movement across the bridge: weakly struck, weakly coupled, so it
    gives single strings their aftersound and their false beat [capleton2004].
    """
    partials, strings = f_hz.shape
    rng = model.stream(key, "false beats")
    cents = model.false_beat_cents * rng.standard_normal((260, strings + 1))[numbers - 1]
    centre = f_hz.mean(axis=1)
    each = np.concatenate([f_hz, centre[:, None]], axis=1) * (1.0 + cents / CENTS_PER_NEPER)
    prompt, reactive = _prompt_rates(model, key, numbers)
    weights = np.array([*np.ones(strings), CROSSWISE_WEIGHT])
    uneven = 0.1 * model.stream(key, "hammer").standard_normal(strings + 1)
    struck = weights * (1.0 + uneven)
    eta = (1.0 - LATE_SHARE) * prompt / strings
    poles, shares = coupled_modes(
        2.0 * np.pi * (each - centre[:, None]),
        coupling_per_s=eta * (1.0 + 1j * reactive),
        loss_per_s=LATE_SHARE * prompt,
        weights=np.broadcast_to(weights, (partials, strings + 1)),
        excitation=np.broadcast_to(struck, (partials, strings + 1)),
    )
    total = float(np.sum(weights * struck))
    return poles + 2j * np.pi * centre[:, None], shares / total


def _prompt_rates(model: PianoModel, key: int, numbers: NDArray[np.int64]) -> tuple[FloatArray, FloatArray]:
    """Rate (1/s) at which strings that move together die, and the bridge's reactive share, by partial."""
    rng = model.stream(key, "decay")
    usual = at_key(PROMPT_DB_PER_S, key) * (1.1 if model.kind == "upright" else 0.9)
    uneven_key = np.exp(0.06 * rng.standard_normal())
    uneven = np.exp(0.25 * rng.standard_normal(260)[numbers - 1])
    reactive = REACTIVE_SHARE * rng.standard_normal(260)[numbers - 1]
    short = model.fault(key, "short_sustain")
    left = model.sustain * (float(short.amount or 1.0) if short else 1.0)
    rate = db_per_s_to_rate(usual * uneven_key) * uneven * (1.0 + SLOWER_PER_PARTIAL * (numbers - 1))
    return np.asarray(rate / left), np.asarray(reactive)


def _damper_rate(model: PianoModel, key: int, numbers: NDArray[np.int64]) -> FloatArray:
    """What the damper adds to the decay of each partial, 1/s; 0 where the key has none."""
    if not model.damped(key):
        return np.zeros(numbers.size)
    uneven = np.exp(0.1 * model.stream(key, "damper").standard_normal())
    rate = float(t60_to_rate(at_key(DAMPER_T60_S, key))) * uneven
    return np.asarray(rate * np.minimum(1.0 + 0.04 * (numbers - 1), 3.0))


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
    inside = np.exp(np.multiply.outer(poles, np.arange(BLOCK) / rate_hz))
    kernel = np.concatenate([inside.real, -inside.imag]).astype(np.float32)
    for start in range(0, sound.size, span):
        stop = min(start + span, sound.size)
        begin = amplitudes * np.exp(poles * (start / rate_hz))
        alive = np.abs(begin) > floor
        if not alive.any():
            break
        steps = np.arange((stop - start) // BLOCK) * (BLOCK / rate_hz)
        state = begin[alive] * np.exp(np.multiply.outer(steps, poles[alive]))
        rows = np.concatenate([state.real, state.imag], axis=1).astype(np.float32)
        sound[start:stop] = (rows @ kernel[np.tile(alive, 2)]).ravel()
    return sound[:frames]


def ring(
    modes: NoteModes, *, hold_s: float | None, frames: int, rate_hz: int, floor: float = 1e-6
) -> Float32Array:
    """The strings' sound of a note: struck, held for ``hold_s`` (None: for good), then damped."""
    held = frames if hold_s is None else min(frames, round(hold_s * rate_hz))
    sound = sum_modes(modes.amplitudes, modes.poles, frames=held, rate_hz=rate_hz, floor=floor)
    ramp = min(held, max(2, round(modes.contact_s * rate_hz)))
    sound[:ramp] *= (0.5 - 0.5 * np.cos(np.pi * np.arange(ramp) / ramp)).astype(np.float32)
    if held == frames:
        return sound
    left = modes.amplitudes * np.exp(modes.poles * (held / rate_hz))
    after = np.zeros(frames - held, dtype=np.float32)
    for share, reach in ((1.0 - modes.leak, 1.0), (modes.leak, SEEPING)):
        if share > 0:
            damped = modes.poles - reach * modes.damping_per_s
            after += sum_modes(share * left, damped, frames=after.size, rate_hz=rate_hz, floor=floor)
    return np.concatenate([sound, after])


def ring_seconds(modes: NoteModes, *, hold_s: float | None, below_db: float, from_s: float = 0.0) -> float:
    """When the note has fallen ``below_db`` under its level at ``from_s`` for good; at most 60 s after it."""
    t = from_s + np.concatenate([np.arange(0.0, 2.0, 0.02), np.arange(2.0, LONGEST_RING_S, 0.2)])
    power = np.abs(modes.amplitudes) ** 2 * np.exp(np.multiply.outer(t, 2.0 * modes.poles.real))
    if hold_s is not None:
        after = np.maximum(t - hold_s, 0.0)
        fast, slow = (
            np.exp(np.multiply.outer(after, -2.0 * f * modes.damping_per_s)) for f in (1.0, SEEPING)
        )
        power = power * ((1.0 - modes.leak) ** 2 * fast + modes.leak**2 * slow)
    total = power.sum(axis=1)
    above = np.flatnonzero(total > total[0] * 10.0 ** (below_db / 10.0))
    return float(t[above[-1]] + (0.05 if t[above[-1]] < from_s + 2.0 else 0.2))


def strike(
    model: PianoModel,
    key: int,
    *,
    hold_s: float | None,
    seconds: float,
    rate_hz: int,
    blow_db: float,
    rng: np.random.Generator,
    knock: bool = True,
) -> Float32Array:
    """Everything one press of a key sounds: strings, buzz, knock, and the noise of the key's return."""
    frames = round(seconds * rate_hz)
    silent = model.fault(key, "silent") is not None
    sound = np.zeros(frames, dtype=np.float32)
    modes = note_modes(model, key, blow_db=blow_db, rate_hz=rate_hz)
    if not silent:
        sound += ring(modes, hold_s=hold_s, frames=frames, rate_hz=rate_hz)
        _add(sound, _buzz(model, key, modes, sound, rate_hz=rate_hz, rng=rng), at=0)
    if knock:
        full_db = 20.0 * np.log10(FULL_LEVEL) + model.knock_db + 0.5 * blow_db
        level = full_db + (SILENT_KNOCK_DB if silent else KNOCK_DB)
        _add(
            sound, noise_burst(rng, rate_hz=rate_hz, band_hz=(90, 1600), decay_s=0.025, level_db=level), at=0
        )
        if hold_s is not None:
            level = full_db + RETURN_DB + rng.normal()
            burst = noise_burst(rng, rate_hz=rate_hz, band_hz=(60, 900), decay_s=0.03, level_db=level)
            _add(sound, burst, at=round(hold_s * rate_hz))
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
    return strike(
        model, key, hold_s=hold_s, seconds=seconds, rate_hz=rate_hz, blow_db=blow_db, rng=rng, knock=knock
    )


@dataclass(frozen=True, kw_only=True)
class NoteTruth:
    """How long a note really sounds: dry, without noise, knock and buzz, from its own modes."""

    decay_20_s: float
    release_20_s: float
    brightness_db: float


def note_truth(modes: NoteModes, *, hold_s: float, rate_hz: int) -> NoteTruth:
    """True decay and release times of a note, read off its own sound without end.

    ``decay_20_s`` runs from the loudest 30 ms window to the last crossing of -20 dB while the key stays
    down; ``release_20_s`` from the release until the level last crosses 20 dB under that of the 30 ms
    before it.
    """
    free = _ring_down(modes, hold_s=None, from_s=0.0, rate_hz=rate_hz)
    time_s, level_db = level_curve(free, rate_hz=rate_hz)
    decay = fall_time(time_s, level_db, start=int(np.argmax(level_db)), drop_db=20.0)
    time_s, level_db = level_curve(
        _ring_down(modes, hold_s=hold_s, from_s=hold_s, rate_hz=rate_hz), rate_hz=rate_hz
    )
    start = int(np.searchsorted(time_s, hold_s - 0.5 * WINDOW_S + 1e-9) - 1)
    release = fall_time(time_s, level_db, start=start, drop_db=20.0) - (hold_s - time_s[start])
    return NoteTruth(decay_20_s=decay, release_20_s=release, brightness_db=modes.brightness_db())


def _ring_down(modes: NoteModes, *, hold_s: float | None, from_s: float, rate_hz: int) -> Float32Array:
    """The note until it lies 45 dB under its modes' level at ``from_s``: a dip between beats may be deep."""
    seconds = ring_seconds(modes, hold_s=hold_s, below_db=-45.0, from_s=from_s) + 2.0 * WINDOW_S
    left = np.abs(modes.amplitudes) * np.exp(modes.poles.real * from_s)
    floor = min(1e-6, 1e-4 * float(left.max()))
    return ring(modes, hold_s=hold_s, frames=round(seconds * rate_hz), rate_hz=rate_hz, floor=floor)


def level_curve(sound: Float32Array, *, rate_hz: int, hop_s: float = 0.005) -> tuple[FloatArray, FloatArray]:
    """Level over time: power in a 30 ms window, in dB, at the window's middle."""
    window, hop = round(WINDOW_S * rate_hz), max(1, round(hop_s * rate_hz))
    summed = np.concatenate([[0.0], np.cumsum(sound.astype(float) ** 2)])
    starts = np.arange(0, sound.size - window + 1, hop)
    power = (summed[starts + window] - summed[starts]) / window
    return (starts + 0.5 * window) / rate_hz, np.asarray(power_to_db(power, floor=1e-20))


def fall_time(time_s: FloatArray, level_db: FloatArray, *, start: int, drop_db: float) -> float:
    """Time from ``start`` to the last crossing of the level there less ``drop_db``; NaN if never below.

    Examples
    --------
    >>> t = np.arange(0.0, 5.0, 0.01)
    >>> round(fall_time(t, -10.0 * t, start=0, drop_db=20.0), 6)
    2.0
    """
    limit = level_db[start] - drop_db
    above = start + np.flatnonzero(level_db[start:] >= limit)
    last = int(above[-1])
    if last + 1 >= level_db.size:
        return float("nan")
    step = (level_db[last] - limit) / max(level_db[last] - level_db[last + 1], 1e-12)
    return float(time_s[last] + step * (time_s[last + 1] - time_s[last]) - time_s[start])


def et_cents(f1_hz: float, key: int, *, a4_hz: float) -> float:
    """Distance of a first partial from equal temperament."""
    return float(CENTS_PER_NEPER * np.log(f1_hz / float(key_to_hz(key, a4_hz=a4_hz))))
