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
from dataclasses import dataclass, field, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from benchmarks import fd_string, shoebox
from benchmarks.blows import buzzing, knock
from benchmarks.instrument import Board, KeyDesign, make_board, make_keys, stretch_cents
from benchmarks.notes import RATE_HZ, NotePlan, render, string_grids

LEAD_S, HOLD_S, GAP_S, TAIL_S, WINDOW_S, HOP_S = 0.7, 2.0, 0.5, 1.5, 0.030, 0.005
KEY_SCATTER_CENTS, UNISON_SPREAD_CENTS = 1.0, 0.6
"""Standard deviation of the keys about the stretched tuning curve; median of largest minus smallest string (keys differ,
log-normal, 0.7 nepers)."""
ORDER = ("key", "struck", "onset_s", "release_s", "f1_hz", "cents", "inharmonicity", "unison_cents")
ORDER += ("n_strings", "decay_20_s", "decay_20_room_s", "decay_s_per_db", "release_20_s", "heard_cents")
ORDER += ("brightness_db", "damped", "faults")
SOUNDING_FAULTS = ("off_pitch", "short_sustain", "damper", "buzz", "voicing")
Floats = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Faults:
    """Key to amount for every kind; keys not struck and struck twice.

    Amounts: ``off_pitch`` cents that one string is moved by, ``short_sustain`` factor on the decay time, ``damper`` what
    is left of its grip, ``buzz`` the rattle in dB against the tone, ``voicing`` factor on the felt's stiffness.
    """

    at: Mapping[str, Mapping[int, float]] = field(default_factory=dict)
    skipped: tuple[int, ...] = ()
    repeated: tuple[int, ...] = ()

    def of(self, kind: str, key: int, sound: float) -> float:
        """How bad a key is in one way; ``sound`` where it isn't."""
        return self.at.get(kind, {}).get(key, sound)

    def named(self, key: int) -> tuple[str, ...]:
        """What is wrong with a key; of one without sound nothing else can be told."""
        if key in self.at.get("silent", {}):
            return ("silent",)
        return tuple(kind for kind in SOUNDING_FAULTS if key in self.at.get(kind, {}))


NO_FAULTS = Faults()


@dataclass(frozen=True, kw_only=True, eq=False)
class GeneratedScale:
    """Samples, (frames,), the truth per key, and the reverberation time of the room (0 when dry)."""

    samples: NDArray[np.float32]
    rate_hz: int
    truth: pd.DataFrame
    t60_s: float


@dataclass(frozen=True, kw_only=True, eq=False)
class Instrument:
    """A piano in its tuning: how every key is made, the board, partial 1 of every string in Hz, what is wrong with it."""

    seed: int
    designs: Mapping[int, KeyDesign]
    board: Board
    strings_hz: Mapping[int, tuple[float, ...]]
    faults: Faults = NO_FAULTS


@dataclass(frozen=True, kw_only=True)
class Struck:
    """One blow: its dry sound, (2, frames), when it begins, and the faults in it."""

    plan: NotePlan
    dry: Floats
    onset_s: float
    faults: tuple[str, ...]

    @property
    def silent(self) -> bool:
        """Whether no string sounds."""
        return "silent" in self.faults


def build_scale(
    seed: int,
    *,
    first_key: int = 1,
    last_key: int = 88,
    hold_s: float = HOLD_S,
    room: str = "home",
    snr_db: float = 45.0,
    faults: Faults = NO_FAULTS,
) -> GeneratedScale:
    """One recording of a chromatic scale with its truth; the same arguments give the same sound.

    Parameters
    ----------
    seed : instrument, its tuning, the player and the room
    hold_s : s a key is held; half a second later comes the next
    room : ``dry``, ``home`` (T60 about 0.4 s) or ``hall`` (about 1.1 s)
    snr_db : mean power while keys are held, over the microphone's noise
    faults : what is wrong, and what is played otherwise
    """
    piano = make_instrument(seed, faults=faults)
    keys = range(first_key, last_key + 1)
    struck, end_s = play_scale(piano, [k for k in keys if k not in faults.skipped], hold_s=hold_s)
    dry = mixed(struck, piano.board, end_s, seed)
    response, t60_s = _response(room, np.random.default_rng([seed, 5]))
    sound = with_noise(
        shoebox.in_room(dry[0], response), struck, snr_db=snr_db, rng=np.random.default_rng([seed, 6])
    )
    truth = _truth(keys, struck, piano, response)
    return GeneratedScale(samples=sound, rate_hz=RATE_HZ, truth=truth, t60_s=t60_s)


def make_instrument(seed: int, *, faults: Faults = NO_FAULTS) -> Instrument:
    """A piano drawn by its seed, tuned but for what is ``off_pitch``."""
    designs = make_keys(np.random.default_rng([seed, 1]))
    return Instrument(
        seed=seed,
        designs=designs,
        board=make_board(np.random.default_rng([seed, 2])),
        strings_hz=_tune(designs, seed, faults.at.get("off_pitch", {})),
        faults=faults,
    )


def equal_hz(key: int) -> float:
    """Equal temperament, A4 (key 49) = 440 Hz."""
    return 440.0 * 2.0 ** ((key - 49) / 12)


def _tune(
    designs: Mapping[int, KeyDesign], seed: int, off_pitch: Mapping[int, float]
) -> dict[int, tuple[float, ...]]:
    """Partial 1 of every string, in Hz."""
    rng, out = np.random.default_rng([seed, 3]), {}
    curve = stretch_cents(dict(designs)) * rng.uniform(0.7, 1.1)
    for key, design in designs.items():
        own = curve[key - 1] + KEY_SCATTER_CENTS * rng.standard_normal()
        place = np.append(np.sort(rng.uniform(0, 1, 3))[1], [0.0, 1.0])[:3] - 0.5
        place = np.array([0.0]) if design.strings == 1 else rng.permutation(place[3 - design.strings :])
        spread = UNISON_SPREAD_CENTS * np.exp(0.7 * rng.standard_normal())
        cents = own + (place - place.mean()) * spread
        cents[0] += off_pitch.get(key, 0.0)
        out[key] = tuple(float(equal_hz(key) * 2 ** (c / 1200)) for c in cents)
    return out


def play_scale(
    piano: Instrument, keys: Sequence[int], *, hold_s: float = HOLD_S
) -> tuple[list[Struck], float]:
    """Every strike in order, with its dry sound; the time the recording ends."""
    rng, now, out = np.random.default_rng([piano.seed, 4]), LEAD_S, []
    for key in keys:
        jitter, names = rng.normal(0, 0.012, 2), piano.faults.named(key)
        for hold in [0.3 * hold_s, hold_s] if key in piano.faults.repeated else [hold_s]:
            plan = _plan(piano, key, hold)
            sounding = "silent" not in names
            dry = render(plan, piano.board).astype(np.float64) if sounding else np.zeros((2, 1))
            out.append(Struck(plan=plan, dry=dry, onset_s=now + jitter[0], faults=names))
            now += hold + GAP_S
    level = _levels(out, rng)
    played = [_buzzed(one, gain, piano.faults) for one, gain in zip(out, level, strict=True)]
    return played, now + TAIL_S


def _buzzed(one: Struck, gain: float, faults: Faults) -> Struck:
    """A blow at its level in the scale, with the rattle that it sets off."""
    sound = one.dry * gain
    if "buzz" in one.faults:
        level_db = faults.of("buzz", one.plan.design.key, np.nan)
        sound = sound + buzzing(sound[0], level_db, np.random.default_rng(one.plan.seed), RATE_HZ)
    return replace(one, dry=sound)


def _plan(piano: Instrument, key: int, hold_s: float) -> NotePlan:
    design, share = piano.designs[key], piano.faults.of("damper", key, 1.0)
    return NotePlan(
        design=design,
        strings_hz=piano.strings_hz[key],
        hold_s=hold_s,
        ring_s=2.5 if design.damped and share > 0.5 else 5.0,
        seed=piano.seed * 1000 + key,
        sustain=piano.faults.of("short_sustain", key, 1.0),
        damper_share=share,
        felt_factor=piano.faults.of("voicing", key, 1.0),
    )


def _levels(struck: Sequence[Struck], rng: np.random.Generator) -> Floats:
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


def mixed(struck: Sequence[Struck], board: Board, end_s: float, seed: int) -> Floats:
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


def _response(room: str, rng: np.random.Generator) -> tuple[Floats, float]:
    """Impulse response at the microphone and the reverberation time (0 when dry)."""
    if room == "dry":
        return np.ones(1), 0.0
    heard = shoebox.impulse_response(shoebox.room_of(room, rng), 0, rate_hz=RATE_HZ, rng=rng)
    return heard, shoebox.measured_t60(heard, rate_hz=RATE_HZ)


def with_noise(
    sound: Floats, struck: Sequence[Struck], *, snr_db: float, rng: np.random.Generator
) -> NDArray[np.float32]:
    """The sound over a microphone's noise, so many dB under the power while keys are held, as half of full scale."""
    held = np.zeros(sound.shape[0], dtype=bool)
    for one in struck:
        at = round(one.onset_s * RATE_HZ)
        held[at : at + round(one.plan.hold_s * RATE_HZ)] |= not one.silent
    power = np.mean(sound[held] ** 2)
    noisy = sound + shoebox.microphone_noise(sound.shape[0], rng) * np.sqrt(power * 10 ** (-snr_db / 10))
    return (0.5 * noisy / np.max(np.abs(noisy))).astype(np.float32)


def _truth(
    keys: Sequence[int], struck: Sequence[Struck], piano: Instrument, response: Floats
) -> pd.DataFrame:
    """A row per key; of repeated strikes the longest."""
    by_key = {s.plan.design.key: s for s in struck}
    return pd.DataFrame([_truth_row(k, by_key.get(k), piano, response) for k in keys])


def _truth_row(key: int, one: Struck | None, piano: Instrument, response: Floats) -> dict[str, object]:
    strings_hz, design = piano.strings_hz[key], piano.designs[key]
    f1 = float(np.mean(strings_hz))
    row: dict[str, object] = dict.fromkeys(ORDER, float("nan")) | {
        "key": key,
        "struck": one is not None,
        "n_strings": design.strings,
        "damped": design.damped,
        "faults": "",
    }
    if one is not None:
        told = {"onset_s": one.onset_s, "release_s": one.onset_s + one.plan.hold_s}
        row |= {**told, "faults": ";".join(one.faults)}
    if one is not None and not one.silent:
        row |= {
            "f1_hz": f1,
            "cents": 1200 * float(np.log2(f1 / equal_hz(key))),
            "unison_cents": 1200 * float(np.log2(max(strings_hz) / min(strings_hz))),
        }
        plain = render(one.plan, piano.board)[0].astype(np.float64)
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
