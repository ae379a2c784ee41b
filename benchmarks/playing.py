"""Strings the notes of a source together as somebody plays them, in a room and with noise.

How it is played stands in `benchmarks.plans` (`CASES`); what a recorder does to it in `benchmarks.telephones`.

    take = play(source, family="modelled", case="legato", room="home", seed=3)
    survey = scoring.listened(take)
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from inspect import Parameter, signature
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import signal

from benchmarks import shoebox
from benchmarks.plans import CASES, FULL_TAKE_DBFS, Pace, Plan, Stroke
from benchmarks.takes import TRUTH_COLUMNS, NoteSource, Press, Sound, Take
from pianolab.errors import BadInput
from pianolab.keyboard import FIRST_KEY, LAST_KEY

__all__ = ["CASES", "Retuned", "held_power", "play"]

Floats = NDArray[np.float64]
THUMP_DB = -40.0
"""Peak of a key's thump where no string sounds, over the usual peak of a note."""

HEARD_OF_STRINGS = ("f1_hz", "cents", "inharmonicity", "unison_cents", "decay_20_s")


@dataclass(frozen=True)
class Retuned:
    """A source moved in pitch by ``by_cents``, each of its notes resampled: B and unisons stay, times change.

    Only the keys' own sound is moved; holds, room and noise are those of the take.
    """

    source: NoteSource
    by_cents: float

    def __getattr__(self, name: str) -> Any:
        return getattr(self.source, name)

    @property
    def faster(self) -> Fraction:
        """Nearest ratio that can be resampled exactly; 440 : 415 is one, others are within 0.01 cents."""
        return Fraction(2 ** (self.by_cents / 1200)).limit_denominator(500)

    def note(self, key: int, *, hold_s: float, **how: Any) -> Sound:
        """The note of the source, held so long that it is let go after ``hold_s`` when it has been resampled."""
        sound = self.source.note(key, hold_s=hold_s * float(self.faster), **how)
        moved = signal.resample_poly(
            sound, self.faster.denominator, self.faster.numerator, window=("kaiser", 9.0)
        )
        return np.asarray(moved, np.float32)

    def truth(self, key: int, **blow: Any) -> Mapping[str, object]:
        """What is true of the source, in its new pitch; cents still count from A4 = 440 Hz."""
        row: dict[str, Any] = dict(true_of_blow(self.source, key, **blow))
        ratio = float(self.faster)
        row["f1_hz"] *= ratio
        row["cents"] += 1200 * np.log2(ratio)
        row["decay_20_s"] /= ratio
        return row


def play(
    source: NoteSource,
    *,
    family: str,
    seed: int,
    case: str = "plain",
    name: str | None = None,
    hold_s: float = 2.0,
    gap_s: float = 0.5,
    room: float | str | None = None,
    snr_db: float = 45.0,
    first_key: int | None = None,
    last_key: int | None = None,
    jitter: float = 0.05,
    blow_spread_db: float = 1.5,
    lead_s: float = 0.7,
    tail_s: float = 1.5,
) -> Take:
    """One take of a source, played as ``case`` says.

    Parameters
    ----------
    family, name : where the sound comes from, and which take it is (put together from source, case, room and seed
        where it isn't given)
    seed : int; the same arguments give the same take
    hold_s, gap_s : s a key is held, and from letting go to the next; a case may ask for others
    room : None for no room, ``"home"``, ``"hall"``, or a reverberation time of 0.15 to 2 s
    snr_db : mean power while keys are held over the noise's, in dB; a source with a ``background`` brings its own
        (under its notes, too, unless it says that they carry noise, ``carries_noise``)
    first_key, last_key : what is played and said to be; where neither is given, every key, and nothing is said
    jitter : sd of the steps' lengths, as a share
    blow_spread_db : sd of the blows

    Returns
    -------
    Take; ``truth`` carries ``status_true`` besides: measured, silent or skipped as played. Keys without sound have
    no truth but that. Where neither key is named the rows go from 1 to 88. ``cents`` count from A4 = 440 Hz,
    whatever ``asked`` names. The loudest sample is at -6 dB of full scale before noise comes in.

    Raises
    ------
    BadInput
        an unknown case or room, no key to play
    """
    if case not in CASES:
        raise BadInput("case", repr(case), "one of " + ", ".join(CASES), "Misspelt?")
    pace = Pace(
        hold_s=hold_s,
        gap_s=gap_s,
        jitter=jitter,
        blow_spread_db=blow_spread_db,
        first_key=first_key,
        last_key=last_key,
    )
    plan = CASES[case](source, seed, pace)
    played = Retuned(source, plan.retuned_cents) if plan.retuned_cents else source
    rng = np.random.default_rng([seed, 11])
    presses = _timed(source, plan, lead_s)
    frames = round((max(p.release_s for p in presses) + tail_s) * source.rate_hz)
    dry, rests = _mixed(played, plan, presses, frames=frames, seed=seed)
    wet, t60_s = _in_room(dry, room, source.rate_hz, rng)
    samples = _recorded(wet, source, plan, presses, rests, snr_db=snr_db, seed=seed)
    truth = _truth(played, plan, presses, seed)
    asked = dict(plan.asked)
    first, last = int(truth["key"].iloc[0]), int(truth["key"].iloc[-1])
    if plan.named:
        asked |= {"first_key": first, "last_key": last}
    where = "dry" if room is None else str(room)
    struck = truth[truth["status_true"] == "measured"]
    return Take(
        family=family,
        case=case,
        name=name or f"{source.name}, {case}, {where}, seed {seed}",
        samples=samples[:, 0] if samples.shape[1] == 1 else samples,
        rate_hz=source.rate_hz,
        presses=presses,
        truth=truth,
        first_key=first,
        last_key=last,
        t60_s=t60_s,
        healthy=all(p.sounds for p in presses) and bool((struck["faults"] == "").all()),
        knows=_known(struck),
        asked=asked,
    )


def true_of_blow(source: NoteSource, key: int, **blow: Any) -> Mapping[str, object]:
    """What is true of the very blow that sounds (``blow_db``, ``seed``), where the source tells blows apart.

    Times to fall differ from blow to blow of the same key: a harder one has more of the partials that die soon.
    """
    taken = signature(source.truth).parameters
    any_word = any(p.kind is Parameter.VAR_KEYWORD for p in taken.values())
    return source.truth(key, **(blow if any_word else {k: v for k, v in blow.items() if k in taken}))


def held_power(samples: Sound, presses: Sequence[Press], rate_hz: int) -> float:
    """Mean power of the samples (all channels) while a key that sounds is held; of all where none is."""
    held = np.zeros(len(samples), dtype=bool)
    for press in presses:
        if press.sounds:
            held[round(press.onset_s * rate_hz) : round(press.release_s * rate_hz)] = True
    return float(np.mean(np.square(samples[held] if held.any() else samples, dtype=np.float64)))


def _timed(source: NoteSource, plan: Plan, lead_s: float) -> tuple[Press, ...]:
    """When each key goes down and up; what neither the case nor the source lets sound is marked."""
    dead = {k for k in source.keys if "silent" in str(source.truth(k)["faults"]).split(";")}
    presses, now_s = [], lead_s
    for s in plan.strokes:
        sounds = s.sounds and s.key not in dead
        presses.append(Press(key=s.key, onset_s=now_s, release_s=now_s + s.hold_s, sounds=sounds))
        now_s += s.hold_s + s.gap_s
    return tuple(presses)


def _pedal_s(plan: Plan, presses: Sequence[Press]) -> tuple[float, float]:
    """When the pedal goes down and up; from infinity where there is none."""
    if plan.pedal is None:
        return np.inf, np.inf
    down, up = plan.pedal
    middle = [(p.onset_s + p.release_s) / 2 for p in presses]
    return middle[down] if down else 0.0, middle[up] if up < len(middle) else np.inf


def _mixed(
    source: NoteSource, plan: Plan, presses: Sequence[Press], *, frames: int, seed: int
) -> tuple[Sound, Floats]:
    """All notes at their onsets, dry, a thump where the case silences a key; and 1 where no note lies, else 0."""
    out, rests = np.zeros((frames, source.channels), np.float32), np.ones(frames)
    pedal_s = _pedal_s(plan, presses)
    both = list(zip(presses, plan.strokes, strict=True))
    peaks = []
    for i, (press, stroke) in enumerate(both):
        if stroke.sounds:
            sound = source.note(press.key, **_blow(stroke, seed, i), **_let_go(press, pedal_s))
            peaks.append(float(np.abs(sound).max()))
            at = _add(out, sound, press.onset_s, source.rate_hz)
            rests[at : at + len(sound)] = 0.0
    usual = float(np.median(peaks)) if peaks else 0.1
    rng = np.random.default_rng([seed, 12])
    for press, stroke in both:
        if not stroke.sounds:
            _add(out, usual * _thump(source.rate_hz, rng), press.onset_s, source.rate_hz)
    return out, rests


def _blow(stroke: Stroke, seed: int, place: int) -> dict[str, Any]:
    """The blow of a stroke, as a source is told of it."""
    return {"blow_db": stroke.blow_db, "seed": seed * 1000 + place}


def _let_go(press: Press, pedal_s: tuple[float, float]) -> dict[str, Any]:
    """How long a note is held, and whether the pedal holds it on; what it holds is damped when it goes up."""
    down_s, up_s = pedal_s
    caught = down_s <= press.release_s < up_s
    if caught and np.isfinite(up_s):
        return {"hold_s": up_s - press.onset_s, "pedal": False}
    return {"hold_s": press.release_s - press.onset_s, "pedal": caught}


def _add(out: Sound, sound: Sound, at_s: float, rate_hz: int) -> int:
    at = round(at_s * rate_hz)
    piece = sound[: len(out) - at]
    out[at : at + len(piece)] += piece.reshape(len(piece), -1)
    return at


def _thump(rate_hz: int, rng: np.random.Generator) -> Sound:
    """A key falling on its bed: 60 to 400 Hz, gone within about 60 ms, peak `THUMP_DB`."""
    band = signal.butter(2, [60.0, 400.0], "bandpass", fs=rate_hz, output="sos")
    t = np.arange(round(0.12 * rate_hz)) / rate_hz
    sound = signal.sosfilt(band, rng.standard_normal(t.size)) * np.exp(-t / 0.02)
    return np.asarray(sound * 10 ** (THUMP_DB / 20) / np.abs(sound).max(), np.float32)[:, None]


def _in_room(
    dry: Sound, room: float | str | None, rate_hz: int, rng: np.random.Generator
) -> tuple[Sound, float | None]:
    """The sound at one microphone per channel, and the room's reverberation time."""
    if room is None:
        return dry, None
    if isinstance(room, str) and room not in ("home", "hall"):
        raise BadInput("room", repr(room), "None, 'home', 'hall' or a reverberation time in s", "Misspelt?")
    box = shoebox.room_of(room, rng) if isinstance(room, str) else shoebox.room_for(room, rng)
    responses = [shoebox.impulse_response(box, m, rate_hz=rate_hz, rng=rng) for m in range(dry.shape[1])]
    wet = [shoebox.in_room(dry[:, c].astype(float), h).astype(np.float32) for c, h in enumerate(responses)]
    measured = [shoebox.measured_t60(h, rate_hz=rate_hz) for h in responses]
    return np.stack(wet, axis=1), float(np.mean(measured))


def _recorded(
    wet: Sound,
    source: NoteSource,
    plan: Plan,
    presses: Sequence[Press],
    rests: Floats,
    *,
    snr_db: float,
    seed: int,
) -> Sound:
    """At the take's level, with noise. A soft take has the noise of one at the full level."""
    peak = max(float(np.abs(wet).max()), 1e-9)
    full, wanted = 10 ** (FULL_TAKE_DBFS / 20) / peak, 10 ** (plan.peak_dbfs / 20) / peak
    gain: float | Floats = full
    if hasattr(source, "background"):
        noise = np.asarray(source.background(len(wet), seed)).reshape(len(wet), -1)
        if getattr(source, "carries_noise", False):
            # Notes that bring noise along get only what is missing to the noise of the rests.
            gain = np.sqrt(full**2 - wanted**2 * (1 - _opening(rests, source.rate_hz) ** 2))[:, None]
    else:
        rng = np.random.default_rng([seed, 13])
        each = [shoebox.microphone_noise(len(wet), rng).astype(np.float32) for _ in range(wet.shape[1])]
        power = held_power(wet, presses, source.rate_hz) * 10 ** (-snr_db / 10)
        noise = np.stack(each, axis=1) * np.float32(np.sqrt(power))
    return np.asarray(wanted * wet + gain * noise, np.float32)


def _opening(rests: Floats, rate_hz: int) -> Floats:
    """The rests, each opened within the 50 ms in which the note before it fades."""
    out = rests.copy()
    size = round(0.05 * rate_hz)
    for at in np.flatnonzero(np.diff(rests) > 0) + 1:
        fade = np.sin(np.linspace(0, np.pi / 2, size))[-at:]
        out[at - fade.size : at] = np.maximum(out[at - fade.size : at], fade)
    return out


def _truth(source: NoteSource, plan: Plan, presses: Sequence[Press], seed: int) -> pd.DataFrame:
    """A row per key; of a key that is struck again the blow that is held longest, which the survey measures too."""
    struck = {p.key for p in presses}
    longest = sorted(range(len(presses)), key=lambda i: presses[i].release_s - presses[i].onset_s)
    blows = {presses[i].key: _blow(plan.strokes[i], seed, i) for i in longest}
    first, last = plan.named or (min(FIRST_KEY, *struck), max(LAST_KEY, *struck))
    sounding = {p.key for p in presses if p.sounds}
    rows = []
    for key in range(first, last + 1):
        row = dict.fromkeys(TRUTH_COLUMNS, np.nan) | ({"key": key, "faults": ""})
        row |= dict(true_of_blow(source, key, **blows.get(key, {}))) if key in source.keys else {}
        status = "measured" if key in sounding else "silent" if key in struck else "skipped"
        if status == "silent":
            row |= dict.fromkeys(HEARD_OF_STRINGS, np.nan) | {"faults": "silent"}
        rows.append(row | {"status_true": status})
    return pd.DataFrame(rows)


def _known(struck: pd.DataFrame) -> frozenset[str]:
    """What truth there is for at least one key that sounded."""
    column = {"pitch": "f1_hz", "inharmonicity": "inharmonicity", "unison": "unison_cents"}
    column |= {"decay": "decay_20_s", "faults": "faults"}
    return frozenset(what for what, name in column.items() if struck[name].notna().any())
