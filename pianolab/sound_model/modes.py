"""The modes of one struck key: strings, hammer, bridge and damper together."""

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
    hammer_spectrum,
    voicing_gain,
)
from pianolab.sound_model.piano import PianoModel
from pianolab.sound_model.strings import ComplexArray, FloatArray, coupled_modes
from pianolab.units import CENTS_PER_NEPER, db_per_s_to_rate, db_to_amplitude, power_to_db, t60_to_rate

FLOOR_DB = -95.0
TOP_HZ = 20000.0
MOST_PARTIALS = 260
FULL_LEVEL = 0.25
UNEVEN_PARTIALS_DB = 3.0
LATE_SHARE = 0.22
SLOWER_PER_PARTIAL = 0.12
REACTIVE_SHARE = 0.2
CROSSWISE_WEIGHT = 0.22
ALONG_DB, ALONG_T60_S, ALONG_TOP_HZ = -45.0, 0.5, 5000.0


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
    f_hz = model.partials(key, np.arange(1.0, MOST_PARTIALS + 1.0))
    top_hz = min(TOP_HZ, 0.48 * rate_hz)
    if f_hz[0].max() >= top_hz:
        need = f"{np.ceil(f_hz[0].max() / 0.48):g} or more for key {key}"
        raise BadInput("rate_hz", rate_hz, need, "Its first partial would lie above the recording's range.")
    f_hz = f_hz[f_hz.max(axis=1) < top_hz]
    level = _partial_levels(model, key, f_hz.mean(axis=1), blow_db=blow_db)
    loud = level > level.max() * db_to_amplitude(FLOOR_DB)
    numbers = np.arange(1, level.size + 1)[loud]
    poles, shares = _bridge_modes(model, key, f_hz[loud], numbers=numbers)
    phase = np.exp(2j * np.pi * model.stream(key, "partials").random(MOST_PARTIALS)[numbers - 1])
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
    """Amplitude of each partial at the blow; register and blow set the level, voicing only the balance."""
    rng = model.stream(key, "partials")
    rng.random(MOST_PARTIALS)
    uneven = db_to_amplitude(UNEVEN_PARTIALS_DB * rng.standard_normal(MOST_PARTIALS)[: f_hz.size])
    spectrum = hammer_spectrum(key, f_hz, blow_db=blow_db) * uneven
    voicing = model.fault(key, "voicing")
    brightness = model.hardness_db + model.voicing_spread_db * model.stream(key, "voicing").normal()
    brightness += float(voicing.amount or 0.0) if voicing else 0.0
    spectrum *= voicing_gain(key, np.arange(1, f_hz.size + 1), brightness_db=brightness)
    level = FULL_LEVEL * db_to_amplitude(at_key(LEVEL_DB, key) + blow_db)
    return np.asarray(level * spectrum / np.sqrt(0.5 * np.sum(spectrum**2)))


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
    cents = model.false_beat_cents * rng.standard_normal((MOST_PARTIALS, strings + 1))[numbers - 1]
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
    uneven = np.exp(0.25 * rng.standard_normal(MOST_PARTIALS)[numbers - 1])
    reactive = REACTIVE_SHARE * rng.standard_normal(MOST_PARTIALS)[numbers - 1]
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
