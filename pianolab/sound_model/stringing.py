"""The strings of one key at the bridge: how loud each partial is, how it comes up, beats, decays and is damped."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pianolab.sound_model.hammer_and_body import (
    DAMPER_T60_S,
    LEVEL_DB,
    PROMPT_DB_PER_S,
    STRIKE_POINT,
    at_key,
    hammer_spectrum,
    voicing_gain,
)
from pianolab.sound_model.piano import OFF_DB, PianoModel
from pianolab.sound_model.strings import ComplexArray, FloatArray, coupled_modes
from pianolab.units import CENTS_PER_NEPER, db_per_s_to_rate, db_to_amplitude, t60_to_rate

MOST_PARTIALS = 260
FULL_LEVEL = 0.25
LATE_SHARE = 0.22
SLOWER_PER_PARTIAL = 0.12
REACTIVE_SHARE = 0.2
CROSSWISE_WEIGHT = 0.22
AFTERSOUND_DB = (
    (1, -14.0),
    (26, -9.0),
    (28, -7.0),
    (35, -7.0),
    (42, -13.0),
    (64, -11.5),
    (76, -15.0),
    (88, -17.0),
)
AFTERSOUND_SCATTER, AFTERSOUND_PHASE = 0.6, 1.2
AFTERSOUND_CENTS = ((1, 0.3), (28, 0.5), (40, 0.5), (64, 1.8), (88, 3.5))
QUICKER_WITH_AFTERSOUND = (
    (1, 0.8),
    (13, 1.5),
    (20, 2.2),
    (34, 1.5),
    (46, 1.8),
    (60, 2.1),
    (72, 2.0),
    (88, 1.5),
)
LATE_WITH_AFTERSOUND = ((1, 0.2), (20, 0.17), (34, 0.18), (46, 0.22), (64, 0.12), (88, 0.13))
RISE_S = ((1, 0.011), (28, 0.008), (49, 0.009), (70, 0.0065), (88, 0.004))
RISE_SCATTER = 0.3
TURNS_PER_RISE = 1.475
BLOW_PARTIAL_DB, BLOW_STRING_SHARE = 0.3, 0.02
Numbers = NDArray[np.int64]


def partial_levels(
    model: PianoModel, key: int, f_hz: FloatArray, *, blow_db: float, blow: np.random.Generator | None
) -> FloatArray:
    """Amplitude of each partial at the blow; register and blow set the level, voicing only the balance."""
    rng = model.stream(key, "partials")
    rng.random(MOST_PARTIALS)
    count = f_hz.size
    uneven_db = model.partial_scatter_db * rng.standard_normal(MOST_PARTIALS)[:count]
    uneven_db += _hills_db(model, key, count)
    uneven_db[:1] += model.first_partial_db if _weak_first(model, key) else 0.0
    if blow is not None and model.blow_spread > 0:
        uneven_db += model.blow_spread * BLOW_PARTIAL_DB * blow.standard_normal(count)
    spectrum = hammer_spectrum(
        key, f_hz, blow_db=blow_db, touch=model.touch, strike_point_scale=model.strike_point_scale
    ) * db_to_amplitude(uneven_db)
    voicing = model.fault(key, "voicing")
    brightness = model.hardness_db + model.voicing_spread_db * model.stream(key, "voicing").normal()
    brightness += float(voicing.amount or 0.0) if voicing else 0.0
    spectrum *= voicing_gain(key, np.arange(1, count + 1), brightness_db=brightness)
    level = FULL_LEVEL * db_to_amplitude(at_key(LEVEL_DB, key) + blow_db)
    return np.asarray(level * spectrum / np.sqrt(0.5 * np.sum(spectrum**2)))


def _hills_db(model: PianoModel, key: int, count: int) -> FloatArray:
    """A smooth curve over the logarithm of the partial's number, its own for every key."""
    rng = model.stream(key, "colour")
    octaves = np.log2(np.arange(1, count + 1))
    waves = [
        a * np.cos(2.0 * np.pi * (octaves / span + turn))
        for a, span, turn in zip(rng.standard_normal(3), (6.0, 3.0, 1.5), rng.random(3), strict=True)
    ]
    return np.asarray(model.colour_scatter_db * np.sqrt(2.0 / 3.0) * np.sum(waves, axis=0))


def _weak_first(model: PianoModel, key: int) -> bool:
    drawn = model.stream(key, "weak first").random() < model.first_partial_share
    return key <= model.first_partial_up_to or bool(drawn)


def bridge_modes(
    model: PianoModel, key: int, f_hz: FloatArray, *, numbers: Numbers, blow: np.random.Generator | None
) -> tuple[ComplexArray, ComplexArray]:
    """Poles (1/s) and shares of all modes, shape (partials, modes).

    The last oscillators are the strings' movement along the board: weakly coupled to the bridge, so it gives single
    strings their aftersound and their false beat [weinreich1977] [capleton2004]. There is one, or two that beat with
    each other where there are several strings and the aftersound isn't off.
    """
    partials, strings = f_hz.shape
    prompt, reactive = _prompt_rates(model, key, numbers)
    rng = model.stream(key, "false beats")
    cents = model.false_beat_cents * rng.standard_normal((MOST_PARTIALS, strings + 1))[numbers - 1]
    weights = np.array([*np.ones(strings), CROSSWISE_WEIGHT])
    uneven = 0.1 * model.stream(key, "hammer").standard_normal(strings + 1)
    if blow is not None and model.blow_spread > 0:
        uneven = uneven + model.blow_spread * BLOW_STRING_SHARE * blow.standard_normal(strings + 1)
    struck = weights * (1.0 + uneven)
    total, late = float(np.sum(weights * struck)), LATE_SHARE
    heard = np.broadcast_to(weights, (partials, strings + 1))
    if model.aftersound_db > OFF_DB:
        late = at_key(LATE_WITH_AFTERSOUND, key)
        along, apart = _aftersound(model, key, numbers, ways=min(2, strings))
        heard = np.concatenate([heard[:, :-1], strings / CROSSWISE_WEIGHT * along], axis=1)
        cents = np.concatenate([cents[:, :-1], cents[:, -1:] + apart], axis=1)
        weights, struck = (_last_repeated(x, min(2, strings)) for x in (weights, struck))
    centre = f_hz.mean(axis=1)
    each = np.concatenate([f_hz, np.repeat(centre[:, None], weights.size - strings, axis=1)], axis=1)
    each = each * (1.0 + cents / CENTS_PER_NEPER)
    poles, shares = coupled_modes(
        2.0 * np.pi * (each - centre[:, None]),
        coupling_per_s=(1.0 - late) * prompt / strings * (1.0 + 1j * reactive),
        loss_per_s=late * prompt,
        weights=np.broadcast_to(weights, each.shape),
        excitation=np.broadcast_to(struck, each.shape),
        heard=heard,
    )
    return poles + 2j * np.pi * centre[:, None], shares / total


def _last_repeated(values: FloatArray, times: int) -> FloatArray:
    return np.concatenate([values[:-1], np.repeat(values[-1:], times)])


def _aftersound(
    model: PianoModel, key: int, numbers: Numbers, *, ways: int
) -> tuple[ComplexArray, FloatArray]:
    """How the movement along the board is heard in each partial, in or out of step, and its distance, cents.

    Both have shape (partials, ways).
    """
    rng = model.stream(key, "aftersound")
    rng.random(64)
    size, phase, apart = rng.standard_normal((3, MOST_PARTIALS, 2))[:, numbers - 1, :ways]
    usual = db_to_amplitude(at_key(AFTERSOUND_DB, key) + model.aftersound_db) / np.sqrt(ways)
    heard = usual * np.exp(AFTERSOUND_SCATTER * size + 1j * AFTERSOUND_PHASE * phase)
    return np.asarray(heard), at_key(AFTERSOUND_CENTS, key) * apart


def _prompt_rates(model: PianoModel, key: int, numbers: Numbers) -> tuple[FloatArray, FloatArray]:
    """Rate (1/s) at which strings that move together die, and the bridge's reactive share, by partial."""
    rng = model.stream(key, "decay")
    usual = at_key(PROMPT_DB_PER_S, key) * (1.1 if model.kind == "upright" else 0.9)
    if model.aftersound_db > OFF_DB:
        usual *= at_key(QUICKER_WITH_AFTERSOUND, key)
    uneven_key = np.exp(0.06 * rng.standard_normal())
    uneven = np.exp(model.decay_scatter * rng.standard_normal(MOST_PARTIALS)[numbers - 1])
    reactive = REACTIVE_SHARE * rng.standard_normal(MOST_PARTIALS)[numbers - 1]
    short = model.fault(key, "short_sustain")
    left = model.sustain * (float(short.amount or 1.0) if short else 1.0)
    rate = db_per_s_to_rate(usual * uneven_key) * uneven * (1.0 + SLOWER_PER_PARTIAL * (numbers - 1))
    return np.asarray(rate / left), np.asarray(reactive)


def rise_rates(model: PianoModel, key: int, numbers: Numbers) -> FloatArray:
    """Rate (1/s) at which each partial comes up through bridge and board; infinite where it is there at once."""
    if model.rise_scale <= 0:
        return np.full(numbers.size, np.inf)
    uneven = model.stream(key, "rise").standard_normal(MOST_PARTIALS)[numbers - 1]
    usual = TURNS_PER_RISE / (model.rise_scale * at_key(RISE_S, key))
    return np.asarray(usual * np.exp(RISE_SCATTER * uneven))


def damper_rates(model: PianoModel, key: int, numbers: Numbers) -> FloatArray:
    """What the damper adds to the decay of each partial, 1/s; 0 where the key has none.

    It lies where the hammer strikes, so a partial with a node there is damped less (unless ``damper_softness`` is 0).
    """
    if not model.damped(key):
        return np.zeros(numbers.size)
    uneven = np.exp(0.1 * model.stream(key, "damper").standard_normal())
    rate = float(t60_to_rate(at_key(DAMPER_T60_S, key))) * uneven
    place = np.sin(np.pi * numbers * at_key(STRIKE_POINT, key) * model.strike_point_scale) ** 2
    by_place = (0.4 + 0.6 * place / 0.5) ** (0.5 * model.damper_softness)
    return np.asarray(rate * np.minimum(1.0 + 0.04 * (numbers - 1), 3.0) * np.clip(by_place, 0.4, 1.5))
