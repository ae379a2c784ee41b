"""A second source of piano sound with known truth, so that the listening isn't tuned to the library's own one.

It shares no code, no parameters and no method with `pianolab.sound_model`: strings are stepped in time by finite
differences (`benchmarks.fd_string`), one to three for a key plus one string's sideways motion, all holding on to
one bridge point of a soundboard with some hundred modes, struck by a hammer with nonlinear felt, and stopped by
felt that takes energy out where it lies. The room is a shoebox by image sources (`benchmarks.shoebox`).

Truth
-----
``f1_hz`` is the mean of the strings' partial 1 with the bridge at rest, exact from the scheme's dispersion
relation to rounding (tested against a long undamped run); each string is put there by its tension.
``inharmonicity`` is the straight line through (f_n / n)**2 over n**2 of the same exact partials 1 to 8 below
14 kHz; the scheme keeps to the stiff-string formula within 0.1 cents there. ``brightness_db`` is the power of the partials above
4 f1 (above key 76: 2 f1) over the whole, dry, in the first half second. ``heard_cents`` says how far the bridge
moves what can be heard: energy centroid of partial 1 of the dry note, less ``f1_hz``. ``decay_20_s`` is measured on the
dry note, before any noise, from its maximum after the hammer to the last crossing of -20 dB before release;
``decay_20_room_s`` is the same read from the level of the note in the room without noise: as near as a level can
come to the dry value. ``decay_s_per_db`` says how far that time moves with the level: where the knee of the decay lies near -20 dB a
small error of level is a large one of time.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import signal

from benchmarks import fd_string, shoebox
from benchmarks.blows import buzzing, knock
from benchmarks.instrument import Board, KeyDesign, make_board, make_keys, stretch_cents
from benchmarks.notes import RATE_HZ, NotePlan, render, string_grids

LEAD_S, TAIL_S, WINDOW_S, HOP_S = 0.7, 1.5, 0.030, 0.005
Floats = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True, eq=False)
class GeneratedScale:
    """Samples, (frames,) or (frames, 2), the truth per key, and the reverberation time of the room (0 when dry)."""

    samples: NDArray[np.float32]
    rate_hz: int
    truth: pd.DataFrame
    t60_s: float


@dataclass(frozen=True, kw_only=True)
class _Struck:
    plan: NotePlan
    dry: Floats
    onset_s: float
    faults: tuple[str, ...]
    silent: bool = False


def build_scale(
    seed: int,
    *,
    first_key: int = 1,
    last_key: int = 88,
    hold_s: float = 2.0,
    gap_s: float = 0.5,
    rate_hz: int = RATE_HZ,
    room: str = "home",
    snr_db: float = 45.0,
    offset_cents: float = 0.0,
    key_scatter_cents: float = 1.0,
    unison_spread_cents: float = 0.6,
    silent: Sequence[int] = (),
    skipped: Sequence[int] = (),
    repeated: Sequence[int] = (),
    off_pitch: Mapping[int, float] | None = None,
    short_sustain: Mapping[int, float] | None = None,
    leaking: Mapping[int, float] | None = None,
    buzz: Mapping[int, float] | None = None,
    voicing: Mapping[int, float] | None = None,
    microphones: int = 1,
) -> GeneratedScale:
    """One recording of a chromatic scale with its truth; the same arguments give the same sound.

    Parameters
    ----------
    seed : instrument, its tuning, the player and the room
    room : ``dry``, ``home`` (T60 about 0.4 s) or ``hall`` (about 1.1 s)
    snr_db : mean power while keys are held, over the microphone's noise
    key_scatter_cents : standard deviation of the keys about the stretched tuning curve
    unison_spread_cents : median of largest minus smallest string; keys differ (log-normal, 0.7 nepers)
    silent, skipped, repeated : keys struck without a string, not played at all, played twice
    off_pitch : cents that one string of the key is moved by
    short_sustain : factor on the decay time, below 1
    leaking : share of the damper's grip that is left
    buzz : level in dB of the rattle against the tone
    voicing : factor on the felt's stiffness
    """
    wrong = {
        "off_pitch": dict(off_pitch or {}),
        "short_sustain": dict(short_sustain or {}),
        "damper": dict(leaking or {}),
        "buzz": dict(buzz or {}),
        "voicing": dict(voicing or {}),
    }
    designs, board = make_keys(np.random.default_rng([seed, 1])), make_board(np.random.default_rng([seed, 2]))
    strings_hz = _tune(
        designs, seed, offset_cents, key_scatter_cents, unison_spread_cents, wrong["off_pitch"]
    )
    keys = [k for k in range(first_key, last_key + 1) if k not in skipped]
    struck, end_s = _play(
        keys, designs, board, strings_hz, wrong, seed, hold_s, gap_s, set(silent), set(repeated)
    )
    dry = _mix(struck, board, end_s, seed)
    responses, t60_s = _responses(room, np.random.default_rng([seed, 5]), microphones)
    sound = np.array([shoebox.in_room(one, h) for one, h in zip(dry, responses, strict=False)])
    sound = _with_noise(sound, struck, snr_db, np.random.default_rng([seed, 6]))
    if rate_hz != RATE_HZ:
        common = np.gcd(rate_hz, RATE_HZ)
        sound = signal.resample_poly(sound, rate_hz // common, RATE_HZ // common, axis=-1)
    sound = (0.5 * sound / np.max(np.abs(sound))).astype(np.float32)
    truth = _truth(range(first_key, last_key + 1), struck, designs, strings_hz, board, responses[0])
    samples = sound[0] if microphones == 1 else np.ascontiguousarray(sound.T)
    return GeneratedScale(samples=samples, rate_hz=rate_hz, truth=truth, t60_s=t60_s)


def equal_hz(key: int) -> float:
    """Equal temperament, A4 (key 49) = 440 Hz."""
    return 440.0 * 2.0 ** ((key - 49) / 12)


def _tune(
    designs: Mapping[int, KeyDesign],
    seed: int,
    offset_cents: float,
    scatter_cents: float,
    spread_cents: float,
    off_pitch: Mapping[int, float],
) -> dict[int, tuple[float, ...]]:
    """Partial 1 of every string, in Hz."""
    rng, out = np.random.default_rng([seed, 3]), {}
    curve = stretch_cents(dict(designs)) * rng.uniform(0.7, 1.1)
    for key, design in designs.items():
        own = offset_cents + curve[key - 1] + scatter_cents * rng.standard_normal()
        place = np.append(np.sort(rng.uniform(0, 1, 3))[1], [0.0, 1.0])[:3] - 0.5
        place = np.array([0.0]) if design.strings == 1 else rng.permutation(place[3 - design.strings :])
        spread = spread_cents * np.exp(0.7 * rng.standard_normal())
        cents = own + (place - place.mean()) * spread
        cents[0] += off_pitch.get(key, 0.0)
        out[key] = tuple(float(equal_hz(key) * 2 ** (c / 1200)) for c in cents)
    return out


def _play(
    keys: Sequence[int],
    designs: Mapping[int, KeyDesign],
    board: Board,
    strings_hz: Mapping[int, tuple[float, ...]],
    wrong: Mapping[str, Mapping[int, float]],
    seed: int,
    hold_s: float,
    gap_s: float,
    silent: set[int],
    repeated: set[int],
) -> tuple[list[_Struck], float]:
    """Every strike in order, with its dry sound; the time the recording ends."""
    rng, now, out = np.random.default_rng([seed, 4]), LEAD_S, []
    for key in keys:
        jitter, again = rng.normal(0, 0.012, 2), key in repeated
        faults = ("silent",) if key in silent else tuple(f for f, at in wrong.items() if key in at)
        holds = [0.3 * hold_s, hold_s] if again else [hold_s]
        for hold in holds:
            plan = _plan(key, designs[key], strings_hz[key], wrong, seed, hold)
            dry = np.zeros((2, 1)) if key in silent else render(plan, board).astype(np.float64)
            out.append(
                _Struck(plan=plan, dry=dry, onset_s=now + jitter[0], faults=faults, silent=key in silent)
            )
            now += hold + gap_s
    level = _levels(out, rng)
    played = []
    for one, gain in zip(out, level, strict=True):
        sound = one.dry * gain
        if "buzz" in one.faults:
            rattle = buzzing(
                sound[0], wrong["buzz"][one.plan.design.key], np.random.default_rng(one.plan.seed), RATE_HZ
            )
            sound = sound + rattle
        played.append(replace(one, dry=sound))
    return played, now + TAIL_S


def _plan(
    key: int,
    design: KeyDesign,
    strings_hz: tuple[float, ...],
    wrong: Mapping[str, Mapping[int, float]],
    seed: int,
    hold_s: float,
) -> NotePlan:
    share = wrong["damper"].get(key, 1.0)
    return NotePlan(
        design=design,
        strings_hz=strings_hz,
        hold_s=hold_s,
        ring_s=2.5 if design.damped and share > 0.5 else 5.0,
        seed=seed * 1000 + key,
        sustain=wrong["short_sustain"].get(key, 1.0),
        damper_share=share,
        felt_factor=wrong["voicing"].get(key, 1.0),
    )


def _levels(struck: Sequence[_Struck], rng: np.random.Generator) -> Floats:
    """Gains that bring the keys' median level along the compass to a gentle slope, and leave each key's own level."""
    keys = np.array([s.plan.design.key for s in struck])
    raw = np.array([np.nan if s.silent else level_curve(s.dry[0])[1].max() for s in struck])
    wanted = np.interp(keys, [1, 20, 50, 88], [-3.0, 0.0, 0.0, -7.0])
    near = np.abs(keys[:, None] - keys[None, :]) <= 4
    local = np.array([np.nanmedian(raw[n]) if np.any(np.isfinite(raw[n])) else 0.0 for n in near])
    return 10 ** ((wanted - local + rng.normal(0, 0.8, keys.size)) / 20)


def level_curve(sound: Floats, *, rate_hz: int = RATE_HZ) -> tuple[Floats, Floats]:
    """Centre times in s and level in dB of 30 ms windows every 5 ms."""
    width, hop = int(WINDOW_S * rate_hz), int(HOP_S * rate_hz)
    total = np.concatenate([[0.0], np.cumsum(np.asarray(sound, dtype=np.float64) ** 2)])
    start = np.arange(0, max(sound.size - width, 1), hop)
    stop = np.minimum(start + width, sound.size)
    power = np.maximum(total[stop] - total[start], 0.0) / width
    return (start + width / 2) / rate_hz, 10 * np.log10(power + 1e-30)


def time_to_fall(sound: Floats, *, until_s: float, fall_db: float = 20.0) -> float:
    """Seconds from the loudest window to the last time the level is above -fall_db; NaN if it is at ``until_s``."""
    time, level = level_curve(sound)
    time, level = time[time + WINDOW_S / 2 <= until_s], level[time + WINDOW_S / 2 <= until_s]
    top = int(np.argmax(level))
    above = np.flatnonzero(level >= level[top] - fall_db)[-1]
    if above == level.size - 1:
        return float("nan")
    part = (level[above] - level[top] + fall_db) / (level[above] - level[above + 1])
    return float(time[above] + part * (time[above + 1] - time[above]) - time[top])


def _mix(struck: Sequence[_Struck], board: Board, end_s: float, seed: int) -> Floats:
    """All strikes on one time line, with the blow of every key and the thump of its release."""
    rng = np.random.default_rng([seed, 7])
    out = np.zeros((2, int((end_s + 6.0) * RATE_HZ)))
    for one in struck:
        at = round(one.onset_s * RATE_HZ)
        out[:, at : at + one.dry.shape[1]] += one.dry
        blow = knock(board.f_hz, rng, RATE_HZ, low_hz=70, high_hz=1500, level_db=-22.0 + rng.normal(0, 1.5))
        out[:, at : at + blow.size] += blow
        let_go = at + round(one.plan.hold_s * RATE_HZ)
        thump = knock(board.f_hz, rng, RATE_HZ, low_hz=60, high_hz=400, level_db=-38.0 + rng.normal(0, 2))
        out[:, let_go : let_go + thump.size] += thump
    return out[:, : int(end_s * RATE_HZ)]


def _responses(room: str, rng: np.random.Generator, microphones: int) -> tuple[list[Floats], float]:
    """Impulse response at each microphone and the reverberation time (0 when dry)."""
    if room == "dry":
        return [np.ones(1)] * microphones, 0.0
    box = shoebox.room_of(room, rng)
    heard = [shoebox.impulse_response(box, m, rate_hz=RATE_HZ, rng=rng) for m in range(microphones)]
    return heard, shoebox.measured_t60(heard[0], rate_hz=RATE_HZ)


def _with_noise(sound: Floats, struck: Sequence[_Struck], snr_db: float, rng: np.random.Generator) -> Floats:
    held = np.zeros(sound.shape[1], dtype=bool)
    for one in struck:
        at = round(one.onset_s * RATE_HZ)
        held[at : at + round(one.plan.hold_s * RATE_HZ)] |= not one.silent
    power = np.mean(sound[:, held] ** 2)
    noise = np.array([shoebox.microphone_noise(sound.shape[1], rng) for _ in sound])
    return sound + noise * np.sqrt(power * 10 ** (-snr_db / 10))


def _truth(
    keys: Sequence[int],
    struck: Sequence[_Struck],
    designs: Mapping[int, KeyDesign],
    strings_hz: Mapping[int, tuple[float, ...]],
    board: Board,
    response: Floats,
) -> pd.DataFrame:
    """A row per key; of repeated strikes the longest."""
    by_key = {s.plan.design.key: s for s in struck}
    return pd.DataFrame(
        [_truth_row(k, by_key.get(k), designs[k], strings_hz[k], board, response) for k in keys]
    )


def _truth_row(
    key: int,
    one: _Struck | None,
    design: KeyDesign,
    strings_hz: tuple[float, ...],
    board: Board,
    response: Floats,
) -> dict[str, object]:
    f1 = float(np.mean(strings_hz))
    sounding = one is not None and not one.silent
    nan = float("nan")
    row: dict[str, object] = {
        "key": key,
        "struck": one is not None,
        "onset_s": one.onset_s if one else nan,
        "release_s": one.onset_s + one.plan.hold_s if one else nan,
        "f1_hz": f1 if sounding else nan,
        "cents": 1200 * float(np.log2(f1 / equal_hz(key))) if sounding else nan,
        "inharmonicity": nan,
        "unison_cents": 1200 * float(np.log2(max(strings_hz) / min(strings_hz))) if sounding else nan,
        "n_strings": design.strings,
        "decay_20_s": nan,
        "decay_20_room_s": nan,
        "decay_s_per_db": nan,
        "release_20_s": nan,
        "heard_cents": nan,
        "brightness_db": nan,
        "damped": design.damped,
        "faults": ";".join(one.faults) if one else "",
    }
    if one is not None and sounding:
        plain = render(one.plan, board)[0].astype(np.float64)
        row |= _measured(plain, one.plan, f1, response)
    return row


def _measured(plain: Floats, plan: NotePlan, f1_hz: float, response: Floats) -> dict[str, float]:
    """What only the sound itself can tell: decay, release, pitch pulled by the bridge; and B of the first string."""
    mode = np.arange(1.0, 9.0)
    f, _rate = fd_string.partials(string_grids(plan)[0], mode)
    inside = np.maximum(np.sum(f < fd_string.BAND_HZ), 2)
    let_go = int(plan.hold_s * RATE_HZ)
    held = plain[: let_go + 1]
    around = [time_to_fall(held, until_s=plan.hold_s, fall_db=fall) for fall in (19.0, 20.0, 21.0)]
    return {
        "inharmonicity": fd_string.fitted_inharmonicity(f[:inside], mode[:inside]),
        "decay_20_s": around[1],
        "decay_20_room_s": time_to_fall(shoebox.in_room(held, response), until_s=plan.hold_s),
        "decay_s_per_db": (around[2] - around[0]) / 2,
        "release_20_s": time_to_fall(plain[let_go:], until_s=np.inf) if plan.design.damped else float("nan"),
        "heard_cents": _centroid_cents(plain[int(0.05 * RATE_HZ) : let_go], f1_hz),
        "brightness_db": _brightness_db(
            plain[: int(0.5 * RATE_HZ)], f1_hz, 4.5 if plan.design.key <= 76 else 2.5
        ),
    }


def _brightness_db(sound: Floats, f1_hz: float, above: float) -> float:
    """Power above ``above`` times f1 over the whole, in dB, in the note's first half second."""
    power = np.abs(np.fft.rfft(sound * np.hanning(sound.size))) ** 2
    f = np.fft.rfftfreq(sound.size, 1 / RATE_HZ)
    return float(10 * np.log10(np.sum(power[f > above * f1_hz]) / np.sum(power)))


def _centroid_cents(sound: Floats, f1_hz: float) -> float:
    """Power-weighted mean of the spectrum about f1, in cents from it."""
    n = 1 << 17
    power = np.abs(np.fft.rfft(sound * np.hanning(sound.size), n)) ** 2
    f = np.fft.rfftfreq(n, 1 / RATE_HZ)
    near = np.abs(f - f1_hz) < max(3.0, 0.012 * f1_hz)
    return float(1200 * np.log2(np.sum(f[near] * power[near]) / np.sum(power[near]) / f1_hz))
