"""A second opinion on single notes: what the raw sound allows, by plain spectra and levels.

Shares no code with `pianolab.acoustics` and uses other methods, so that the two err apart. It is told which key was
struck when (`benchmarks.takes.Press`) and is used to catch values that the sound contradicts: `excludes`. Where it
knows little its intervals are wide.

Limits: a note needs a pause before it or its ringing neighbours cost lines; partial 1 of a piano more than 130 cents
from equal temperament isn't found; which string is off, and how far locked strings are apart, no spectrum says.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from benchmarks.independent_beats import unison_of
from benchmarks.independent_levels import Fall, Level, Noise, Strike, decay_of, level_of, noise_of, release_of
from benchmarks.independent_lines import LEAST_SE_CENTS, Line, Views, cents_of, equal_hz, views_of
from benchmarks.independent_rules import excludes
from benchmarks.independent_series import SERIES_TO_KEY, Scored, fit_series, follow, score_pitches, usual_b
from benchmarks.takes import Press, Take

__all__ = ["analyse", "excludes", "strikes_of"]

Floats = NDArray[np.float64]

SHORTEST_S = 0.15
"""Nothing is said of a note that was held shorter: 30 ms windows and spectra have too little of it."""


def strikes_of(take: Take) -> list[Strike]:
    """For every key its press with the longest clean hold, which ends when it is let go or any other blow comes."""
    presses = sorted(take.presses, key=lambda press: press.onset_s)
    best: dict[int, Strike] = {}
    held_to = 0.0
    for i, press in enumerate(presses):
        after = presses[i + 1].onset_s - 0.005 if i + 1 < len(presses) else take.seconds
        strike = _strike(press, after, max(held_to, presses[i - 1].onset_s + 0.05 if i else 0.0))
        held_to = max(held_to, press.release_s)
        if press.key not in best or strike.hold_s > best[press.key].hold_s:
            best[press.key] = strike
    return [best[key] for key in sorted(best)]


def _strike(press: Press, after_s: float, free_s: float) -> Strike:
    """``free_s``: when the keys before were let go."""
    end = min(press.release_s, after_s)
    return Strike(press.key, press.onset_s, end, press.release_s, after_s, min(free_s, press.onset_s))


def analyse(take: Take) -> pd.DataFrame:
    """What can be known of every key that was pressed, by itself.

    Returns
    -------
    frame, a row per key: ``key onset_s hold_s sounds lines`` (tuples of partial, peak Hz, centroid Hz, se cents),
    ``f1_hz cents cents_se inharmonicity inharmonicity_se``, ``decay_20_s decay_kind decay_low_s decay_high_s``,
    ``release_20_s release_kind``, ``beat_hz beat_db beat_partial unison_low_cents unison_high_cents``, ``t60_s`` of
    the room that was added, and ``why``: ``;``-separated ``column=reason`` for what is NaN.
    """
    samples = np.asarray(take.samples, float)
    samples = samples[:, None] if samples.ndim == 1 else samples
    samples = np.nan_to_num(samples - samples.mean(0)) if len(samples) else samples
    strikes = strikes_of(take)
    if not strikes or not len(samples):
        return pd.DataFrame()
    last_end = max(press.release_s for press in take.presses)
    noise = noise_of(samples, take.rate_hz, strikes, last_end)
    looked = [_look(samples, take.rate_hz, strike, noise) for strike in strikes]
    common = _common_cents(looked)
    rows = [_row(samples, take.rate_hz, look, common) for look in looked]
    return pd.DataFrame(rows).assign(t60_s=np.nan if take.t60_s is None else take.t60_s)


class _Look:
    """A note's level and spectra, before it is known how high the whole piano stands."""

    def __init__(
        self,
        strike: Strike,
        noise: Noise,
        level: Level,
        wide: Level,
        views: Views | None,
        scored: Scored | None,
    ) -> None:
        self.strike, self.noise, self.level, self.wide = strike, noise, level, wide
        self.views, self.scored = views, scored


def _look(samples: Floats, rate_hz: int, strike: Strike, noise: Noise) -> _Look:
    low_hz = 0.7 * equal_hz(strike.key)
    level = level_of(samples, rate_hz, strike, noise, low_hz)
    wide = level_of(samples, rate_hz, strike, noise, 20.0, rate_hz)
    if strike.hold_s < SHORTEST_S or equal_hz(strike.key) > 0.4 * rate_hz:
        return _Look(strike, noise, level, wide, None, None)
    views = views_of(samples, rate_hz, strike, noise, _useful_s(level, strike))
    return _Look(strike, noise, level, wide, views, score_pitches(views, strike.key))


def _useful_s(level: Level, strike: Strike) -> float:
    """How long a note stands above noise and 40 dB under its top: longer spectra would hold nothing but noise."""
    inside = np.flatnonzero((level.s > 0) & (level.s < strike.hold_s))
    if not len(inside):
        return strike.hold_s
    power = level.power[inside]
    heard = inside[power > max(level.clear, 1e-4 * power.max())]
    useful = level.s[heard[-1]] if len(heard) else 0.0
    return float(np.clip(useful, min(max(0.25, 40 / equal_hz(strike.key)), strike.hold_s), strike.hold_s))


def _common_cents(looked: list[_Look]) -> float:
    """How high the piano stands: median of what each note by itself says, over the keys where spectra are richest."""
    found = [
        (look.scored.cents[np.argmax(look.scored.score.max(1))], abs(look.strike.key - 40))
        for look in looked
        if look.scored is not None and look.scored.score.max() > 12
    ]
    middle = sorted(found, key=lambda pair: pair[1])[:40]
    return float(np.median([cents for cents, _ in middle])) if middle else 0.0


def _start(look: _Look, common: float) -> tuple[float, float]:
    """Best pitch (cents) and B, with a little trust in the piano as a whole: a semitone off needs 4 dB per partial."""
    assert look.scored is not None
    from_usual = (look.scored.cents - common - stretch_cents(look.strike.key)) / 50
    score = look.scored.score - np.minimum(from_usual**2, 4.0)[:, None]
    row, column = np.unravel_index(int(np.argmax(score)), score.shape)
    return float(look.scored.cents[row]), usual_b(look.strike.key) * float(look.scored.factor[column])


def stretch_cents(key: int) -> float:
    """Usual stretch (from memory of tuned grands, rough: -25 at A0, +35 at C8); only a hint where to look."""
    return float(np.interp(key, (1, 20, 40, 60, 76, 88), (-25, -6, 0, 2, 18, 40)))


def _row(samples: Floats, rate_hz: int, look: _Look, common: float) -> dict[str, object]:
    strike = look.strike
    row: dict[str, object] = {"key": strike.key, "onset_s": strike.onset_s, "hold_s": strike.hold_s}
    lines: list[Line] = []
    b = usual_b(strike.key)
    if look.views is not None:
        cents, b = _start(look, common)
        lines = follow(look.views, strike.key, cents, b)
    sounds = _sounds(look, lines)
    row["sounds"] = sounds
    row["lines"] = tuple((a.n, a.peak_hz, a.centroid_hz, a.se_cents) for a in lines)
    why: dict[str, str] = {}
    row |= _pitch(strike.key, lines if sounds else [], b, why)
    row |= _falls(look, sounds, why)
    row |= _unison(samples, rate_hz, look, lines if sounds else [], why)
    return row | {"why": ";".join(f"{column}={reason}" for column, reason in why.items())}


def _sounds(look: _Look, lines: list[Line]) -> bool:
    """Whether partials stand up at the blow: three of them, above key 60 one (little else is below 10 kHz)."""
    inside = (look.level.s > 0) & (look.level.s < look.strike.hold_s)
    if not inside.any() or look.level.power[inside].max() < look.level.clear:
        return False
    return len(lines) >= (3 if look.strike.key <= SERIES_TO_KEY else 1)


def _pitch(key: int, lines: list[Line], b: float, why: dict[str, str]) -> dict[str, float]:
    names = ("f1_hz", "cents", "cents_se", "inharmonicity", "inharmonicity_se")
    if not lines:
        why["cents"] = why["inharmonicity"] = "no clear lines"
        return dict.fromkeys(names, np.nan)
    f0 = lines[0].centroid_hz / lines[0].n / np.sqrt(1 + b * lines[0].n ** 2)
    f1, se, b_se = np.nan, np.nan, np.nan
    if len(lines) >= 3:
        f0, b, se, b_se = fit_series(lines, f0, b)
        f1 = f0 * np.sqrt(1 + b)
    else:
        b = np.nan
        why["inharmonicity"] = "fewer than three lines"
    if key > SERIES_TO_KEY and lines[0].n == 1:
        f1, se = lines[0].centroid_hz, lines[0].se_cents
    if not np.isfinite(f1):
        why["cents"] = "partial 1 not seen and too few others"
        return dict.fromkeys(names, np.nan)
    cents = float(cents_of(f1, equal_hz(key)))
    return dict(zip(names, (f1, cents, float(np.hypot(se, LEAST_SE_CENTS)), b, b_se), strict=True))


def _falls(look: _Look, sounds: bool, why: dict[str, str]) -> dict[str, object]:
    nothing = Fall(np.nan, "", np.nan, np.nan, "does not sound")
    fall = decay_of(look.level, look.strike.hold_s) if sounds else nothing
    if fall.kind == "=":
        fall = _with_whole_band(fall, look)
    release = release_of(look.level, look.strike) if sounds else nothing
    if not fall.kind or fall.kind == ">":
        why["decay_20_s"] = fall.why
    if not release.kind:
        why["release_20_s"] = release.why
    return {
        "decay_20_s": fall.s,
        "decay_kind": fall.kind,
        "decay_low_s": fall.low_s,
        "decay_high_s": fall.high_s,
        "release_20_s": release.s,
        "release_kind": release.kind,
    }


def _with_whole_band(fall: Fall, look: _Look) -> Fall:
    """Whole sound where noise is far below -20 dB, else the band; the interval holds both.

    Nobody says whether thump and hiss outside the band count as level.
    """
    wide = decay_of(look.wide, look.strike.hold_s)
    if wide.kind != "=":
        return fall
    inside = (look.wide.s >= 0) & (look.wide.s <= look.strike.hold_s)
    quiet = look.wide.clear < 0.25 * 0.01 * look.wide.power[inside].max()
    low, high = min(fall.low_s, wide.low_s), max(fall.high_s, wide.high_s)
    return Fall(wide.s if quiet else fall.s, "=", low, high)


def _unison(
    samples: Floats, rate_hz: int, look: _Look, lines: list[Line], why: dict[str, str]
) -> dict[str, float]:
    names = ("beat_hz", "beat_db", "beat_partial", "unison_low_cents", "unison_high_cents")
    if look.views is None or not lines:
        why["unison"] = "no clear lines"
        return dict.fromkeys(names, np.nan)
    apart = lines[0].centroid_hz / lines[0].n
    found = unison_of(samples, rate_hz, look.strike, look.noise, lines, apart)
    if found.why:
        why["unison"] = found.why
    values = (found.beat_hz, found.beat_db, found.beat_partial, found.low_cents, found.high_cents)
    return dict(zip(names, values, strict=True))
