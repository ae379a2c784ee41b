"""The modes of one struck key: strings, hammer, bridge, board and damper together.

The strings move along themselves too: lines of their own, and what the partials force on them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pianolab.errors import BadInput
from pianolab.keyboard import check_key
from pianolab.sound_model.hammer_and_body import CONTACT_S, at_key, body_layers
from pianolab.sound_model.piano import OFF_DB, PianoModel
from pianolab.sound_model.stringing import (
    FULL_LEVEL,
    MOST_PARTIALS,
    bridge_modes,
    damper_rates,
    partial_levels,
    rise_rates,
)
from pianolab.sound_model.strings import ComplexArray, FloatArray
from pianolab.units import db_to_amplitude, power_to_db, t60_to_rate

BAR_M = {"upright": ((1, 1.2), (40, 0.62), (88, 0.055)), "grand": ((1, 1.9), (40, 0.65), (88, 0.055))}
BAR_SPEED_M_PER_S = 5050.0
ALONG_DB, ALONG_T60_S, ALONG_TOP_HZ = -45.0, 0.5, 5000.0
HIGHER_LINES, HIGHER_DB, HIGHER_TOP_HZ = 5, -5.0, 9000.0
PHANTOM_DB, PHANTOM_PARTIALS, PHANTOM_LAST_KEY = -34.0, 14, 50
Lines = tuple[ComplexArray, ComplexArray]


def longitudinal_lines(model: PianoModel, key: int, level: FloatArray) -> Lines:
    """The weak, short lines of the movement along the strings; they fit none of the partials."""
    rng = model.stream(key, "along")
    f_hz = BAR_SPEED_M_PER_S / (2.0 * at_key(BAR_M[model.kind], key)) * np.exp(0.05 * rng.standard_normal())
    loud = np.sqrt(np.sum(level**2)) * db_to_amplitude(ALONG_DB) * (f_hz < ALONG_TOP_HZ)
    phase = np.exp(2j * np.pi * rng.random())
    first = np.array([loud * phase]), np.array([complex(-t60_to_rate(ALONG_T60_S), 2.0 * np.pi * f_hz)])
    if model.phantom_db <= OFF_DB or model.longitudinal_db <= OFF_DB:
        return first if model.longitudinal_db > OFF_DB else (np.zeros(0, complex), np.zeros(0, complex))
    n = np.arange(2, HIGHER_LINES + 2)
    f_n = n * f_hz * np.exp(0.01 * rng.standard_normal(n.size))
    size = loud * db_to_amplitude(HIGHER_DB * (n - 1) + 3.0 * rng.standard_normal(n.size))
    more = size * (f_n < HIGHER_TOP_HZ) * np.exp(2j * np.pi * rng.random(n.size))
    rate = t60_to_rate(ALONG_T60_S) * np.sqrt(n)
    gain = db_to_amplitude(model.longitudinal_db)
    return gain * np.concatenate([first[0], more]), np.concatenate([first[1], -rate + 2j * np.pi * f_n])


def phantom_lines(model: PianoModel, key: int, level: FloatArray, poles: ComplexArray) -> Lines:
    """Sums of neighbouring partials, forced by the string's tension: near the odd partials but below them.

    Parameters
    ----------
    level : amplitudes of partials 1, 2, ..., shape (partials,)
    poles : one pole of each, 1/s

    Notes
    -----
    The tension follows the square of the movement, so two partials f_m, f_n leave a line at f_m + f_n
    [conklin1999]; here n and n + 1, which fall at the sum of their rates.
    """
    count = min(PHANTOM_PARTIALS, level.size - 1)
    if model.phantom_db <= OFF_DB or key > PHANTOM_LAST_KEY or count < 1:
        return np.zeros(0, complex), np.zeros(0, complex)
    loud = float(np.sqrt(np.sum(level**2)))
    size = db_to_amplitude(PHANTOM_DB + model.phantom_db) * level[:count] * level[1 : count + 1] / loud
    return size * np.arange(1, count + 1) ** 0.5 + 0j, poles[:count] + poles[1 : count + 1]


FLOOR_DB = -95.0
TOP_HZ = 20000.0


@dataclass(frozen=True, eq=False)
class NoteModes:
    """The modes of one struck key; the sound is the real part of the sum of amplitude e^(pole t).

    ``amplitudes``, ``poles`` (1/s) and ``numbers`` (the partial a mode belongs to, 0 or less for
    what belongs to none: lines along the strings, board, other strings) have shape (modes,);
    ``damping_per_s`` is what the damper adds to each mode, ``leak`` the share it doesn't reach;
    ``rise_per_s``, if any, is the rate at which each mode comes up: it sounds as
    amplitude e^(pole t) (1 - e^(-rise t)), infinite for at once. ``softness`` of the damper: 0 takes hold at once.
    """

    key: int
    amplitudes: ComplexArray
    poles: ComplexArray
    numbers: NDArray[np.int64]
    damping_per_s: FloatArray
    leak: float
    contact_s: float
    rise_per_s: FloatArray | None = None
    softness: float = 0.0

    def sounding(self) -> tuple[ComplexArray, ComplexArray, FloatArray]:
        """Amplitudes, poles and damping with the coming up of the modes written as modes that die at once."""
        if self.rise_per_s is None:
            return self.amplitudes, self.poles, self.damping_per_s
        late = np.isfinite(self.rise_per_s)
        return (
            np.concatenate([self.amplitudes, -self.amplitudes[late]]),
            np.concatenate([self.poles, self.poles[late] - self.rise_per_s[late]]),
            np.concatenate([self.damping_per_s, self.damping_per_s[late]]),
        )

    def power(self, time_s: FloatArray) -> FloatArray:
        """Smooth power over time: partials add their power, modes of one partial interfere."""
        moving = self.amplitudes * np.exp(np.multiply.outer(time_s, self.poles))
        if self.rise_per_s is not None:
            moving = moving * -np.expm1(-np.multiply.outer(time_s, np.minimum(self.rise_per_s, 1e6)))
        starts = np.flatnonzero(np.diff(self.numbers, prepend=self.numbers[0] - 1))
        return np.asarray(0.5 * np.sum(np.abs(np.add.reduceat(moving, starts, axis=1)) ** 2, axis=1))

    def brightness_db(self) -> float:
        """Power above 4 f1 (above key 76: 2 f1) over that of all partials, at the blow, in dB."""
        own = self.numbers > 0
        numbers, amplitudes = self.numbers[own], self.amplitudes[own]
        parts = np.bincount(numbers, amplitudes.real) ** 2 + np.bincount(numbers, amplitudes.imag) ** 2
        high = np.arange(parts.size) > (4 if self.key <= 76 else 2)
        return float(power_to_db(parts[high].sum() / parts.sum()))


def note_modes(
    model: PianoModel,
    key: int,
    *,
    blow_db: float = 0.0,
    rate_hz: int = 44100,
    blow: np.random.Generator | None = None,
) -> NoteModes:
    """Modes of a key after a blow: hammer, strings, bridge and board together.

    Parameters
    ----------
    model : PianoModel
    key : key number, on the model's keyboard
    blow_db : level of the blow against a medium one
    rate_hz : partials end at 20 kHz or 0.48 times this
    blow : draws what differs from blow to blow (by the model's ``blow_spread``); None gives the mean blow

    Raises
    ------
    BadInput : a key this piano doesn't have

    Examples
    --------
    >>> modes = note_modes(PianoModel(), 49)
    >>> bool(modes.poles.real.max() < 0)
    True
    """
    top_hz = min(TOP_HZ, 0.48 * rate_hz)
    f_hz = _recordable(model, key, top_hz, rate_hz)
    level = partial_levels(model, key, f_hz.mean(axis=1), blow_db=blow_db, blow=blow)
    loud = level > level.max() * db_to_amplitude(FLOOR_DB)
    numbers = np.arange(1, level.size + 1)[loud]
    poles, shares = bridge_modes(model, key, f_hz[loud], numbers=numbers, blow=blow)
    phase = np.exp(2j * np.pi * model.stream(key, "partials").random(MOST_PARTIALS)[numbers - 1])
    amplitudes = (level[loud] * phase)[:, None] * shares
    damping, rise = damper_rates(model, key, numbers), rise_rates(model, key, numbers)
    along = longitudinal_lines(model, key, level)
    phantoms = phantom_lines(model, key, level[loud], _loudest(poles, shares))
    body = body_layers(
        model,
        key,
        full=FULL_LEVEL,
        blow_db=blow_db,
        partials_hz=f_hz[loud].mean(axis=1),
        levels=level[loud],
        blow=blow,
    )
    heard = body[1].imag < 2.0 * np.pi * top_hz
    beside = np.concatenate([along[0], phantoms[0]]), np.concatenate([along[1], phantoms[1]])
    kept = beside[1].imag < 2.0 * np.pi * top_hz
    extra, others, strings = int(kept.sum()), int(heard.sum()), poles.shape[1]
    leak = model.fault(key, "damper")
    return NoteModes(
        key=key,
        amplitudes=np.concatenate([body[0][heard], beside[0][kept], amplitudes.ravel()]),
        poles=np.concatenate([body[1][heard], beside[1][kept], poles.ravel()]),
        numbers=np.concatenate([np.arange(1 - others - extra, 1), np.repeat(numbers, strings)]),
        damping_per_s=np.concatenate(
            [np.zeros(others), np.repeat(damping[:1], extra), np.repeat(damping, strings)]
        ),
        leak=float(leak.amount or 0.0) if leak else 0.0,
        contact_s=at_key(CONTACT_S, key),
        rise_per_s=np.concatenate([body[2][heard], np.repeat(rise[:1], extra), np.repeat(rise, strings)]),
        softness=model.damper_softness,
    )


def _recordable(model: PianoModel, key: int, top_hz: float, rate_hz: int) -> FloatArray:
    """Partials of each string in Hz that the recording can hold, shape (partials, strings)."""
    if not model.first_key <= check_key(key) <= model.last_key:
        raise BadInput("key", key, f"a key of this piano, {model.first_key} to {model.last_key}")
    f_hz = model.partials(key, np.arange(1.0, MOST_PARTIALS + 1.0))
    if f_hz[0].max() >= top_hz:
        need = f"{np.ceil(f_hz[0].max() / 0.48):g} or more for key {key}"
        raise BadInput("rate_hz", rate_hz, need, "Its first partial would lie above the recording's range.")
    return np.asarray(f_hz[f_hz.max(axis=1) < top_hz])


def _loudest(poles: ComplexArray, shares: ComplexArray) -> ComplexArray:
    """The pole of each partial's strongest mode, shape (partials,)."""
    at = np.argmax(np.abs(shares), axis=1)
    return np.asarray(np.take_along_axis(poles, at[:, None], axis=1)[:, 0])
