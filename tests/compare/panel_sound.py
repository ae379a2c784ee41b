"""What a panel's case says of its recording, written as the survey that listening would have made of it.

The case's lists are the faults, nothing is added to them: a wide unison is no slipped string unless the case says so.
What the case leaves open (which unisons are wide, by how much) is laid out evenly over the keys, always the same.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from math import copysign, log

import numpy as np

from pianolab.acoustics.columns import declared
from pianolab.acoustics.judging.tuning_need import need_of_table
from pianolab.acoustics.judging.voicing import VOICING_UNTOLD
from pianolab.acoustics.recorder.gain import GainEvidence
from pianolab.acoustics.recorder.recorder_states import Impairment, forbid
from pianolab.acoustics.recorder.signal_states import automatic_gain, clipping
from pianolab.acoustics.survey_result import Row, Survey, SurveySummary, count_faults, table_of
from pianolab.keyboard import note_name, usual_strings, usually_damped
from pianolab.units import key_to_hz
from tests.compare.panel_entries import Sound

KEYS = tuple(range(1, 89))
NARROW_CENTS = 0.8
"""A unison some weeks after a tuning; own estimate, well under the 2 cents from which `limits.toml` calls it wide."""

WIDE_CENTS = (2.2, 8.0)
"""Wide unisons of a tuning that has drifted lie evenly between these on a logarithmic scale; own estimate."""

SOUR_CENTS = 12.0
"""A unison that hides how long its note lasts; own estimate."""

FALL_S = {"long": 1.3, "ordinary": 1.0, "short": 0.6, "not told": np.nan}
"""How the time of the first 20 dB stands to what is usual, where a note is not listed as short; own estimate."""

SHORT = 0.3
NOISY = Impairment(
    name="noisy",
    says="noise is loud beside the notes",
    trust="noisy",
    faults=("short_sustain", "buzz"),
    columns=("decay_20_s", "buzz_db"),
)


def survey_of(sound: Sound) -> Survey:
    """The survey of 88 keys that fits what a case says of its sound."""
    widths = _widths(sound)
    states = _impairments(sound.quality)
    table = table_of(forbid([_row(key, sound, widths) for key in KEYS], states))
    need = need_of_table(table)
    verdicts = table["sustain_verdict"]
    return Survey(
        table=table,
        summary=SurveySummary(
            first_key=KEYS[0],
            last_key=KEYS[-1],
            a4_hz=440.0,
            rate_hz=48000,
            channels=1,
            seconds=2.5 * len(KEYS),
            measured=int((table["status"] == "measured").sum()),
            silent=sound.silent,
            skipped=(),
            unclear=(),
            offset_cents=sound.pitch_cents,
            tuning_spread_cents=0.5,
            reading="clear",
            other_first_key=None,
            t60_s=None,
            t60_reason="a case says nothing of its room",
            noise_db=-60.0 if sound.quality != "noisy" else -25.0,
            clipped_keys=KEYS if sound.quality == "clipped" else (),
            quality=tuple(state.says for state in states),
            sustain_hidden=int((verdicts == "tune first").sum()),
            sustain_heard=int(verdicts.isin(["sound", "short"]).sum()),
            warnings=(),
            fault_counts=count_faults(table),
            impairments=tuple(state.name for state in states),
            unisons_judged=need.judged,
            wide_unisons=need.wide,
            needs_tuning=need.needed,
        ),
    )


def _impairments(quality: str) -> list[Impairment]:
    if quality == "clipped":
        return clipping(np.array(KEYS))
    if quality == "automatic gain":
        return automatic_gain(GainEvidence(state="automatic", fall_share=0.2))
    return [NOISY] if quality == "noisy" else []


def _widths(sound: Sound) -> dict[int, float]:
    """Key to the distance of its strings, cents, for as many keys as the case says were judged and were wide."""
    wide, judged = sound.unisons_wide
    several = [k for k in KEYS if usual_strings(k) > 1 and k not in sound.silent]
    slipped = {k: abs(cents) for k, cents in sound.slipped if k in several}
    sour = [k for k in sound.masked if k in several and k not in slipped]
    given = slipped | dict.fromkeys(sour, SOUR_CENTS)
    others = [k for k in several if k not in given]
    further = _spread(others, wide - len(given))
    low, high = (log(cents) for cents in WIDE_CENTS)
    drifted = np.exp(np.linspace(low, high, len(further)))
    # Wide beside less wide in every register: the order of widths has nothing to do with that of the keys.
    mixed = sorted(further, key=lambda k: (k * 37 % 89, k))
    given |= {k: float(cents) for k, cents in zip(mixed, drifted, strict=True)}
    fine = [k for k in others if k not in given]
    return given | dict.fromkeys(_spread(fine, judged - len(given)), NARROW_CENTS)


def _spread(keys: Sequence[int], count: int) -> list[int]:
    """So many of the keys, evenly over all of them; none where more are given already than the case counts."""
    at = np.linspace(0, len(keys) - 1, min(max(count, 0), len(keys)))
    return [keys[i] for i in np.unique(at.round().astype(int))]


def _row(key: int, sound: Sound, widths: dict[int, float]) -> Row:
    row: Row = {c.name: c.empty for c in declared()} | {
        "key": key,
        "note": note_name(key),
        "onset_s": 2.5 * key,
        "gaps": {},
        "not_judged": {},
    }
    if key in sound.silent:
        return row | {"status": "silent", "faults": ("silent",), "gaps": {"f1_hz": "silent"}}
    off = dict(sound.slipped).get(key, 0.0)
    # With several strings only one has slipped: the key's pitch follows by its share.
    moved = off / usual_strings(key) if key in widths else off
    cents = sound.pitch_cents + moved
    trust, verdict = _sustain(key, sound, widths)
    untold = {"voicing": VOICING_UNTOLD} | ({} if verdict else {"short_sustain": trust or "not judged"})
    if usually_damped(key) is False:
        untold["damper"] = "no damper here"
    return row | {
        "status": "measured",
        "strikes": 1,
        "hold_s": 2.0,
        "snr_db": 42.0,
        "f1_hz": float(key_to_hz(key)) * 2.0 ** (cents / 1200.0),
        "cents": cents,
        "cents_sd": 0.1,
        "curve_cents": sound.pitch_cents,
        # A hair to either side, as any tuning has it; 0 throughout would be no measurement.
        "off_curve_cents": moved + copysign(0.3, key % 2 - 0.5),
        "inharmonicity": 1e-4 * 1.08 ** abs(key - 30),
        "unison_cents": widths.get(key, np.nan),
        "unison_cents_sd": 0.1 if key in widths else np.nan,
        "decay_20_s": _fall_s(key, sound),
        "decay_20_bound": "" if np.isnan(_fall_s(key, sound)) else "=",
        "sustain_trust": trust,
        "sustain_verdict": verdict,
        "not_judged": untold,
        "faults": tuple(_faults(key, sound, widths)),
    }


def _fall_s(key: int, sound: Sound) -> float:
    return (4.0 if key < 40 else 1.5) * (SHORT if key in sound.short else FALL_S[sound.decay])


def _sustain(key: int, sound: Sound, widths: dict[int, float]) -> tuple[str, str]:
    """Trust and verdict: what a sour unison hides waits for a tuning; where nobody can tell, nothing is said."""
    sour = key in sound.masked or (sound.decay == "not told" and widths.get(key, 0.0) >= WIDE_CENTS[0])
    if sour:
        return "masked by unison", "tune first"
    if key in sound.short:
        return "ok", "short"
    return ("ok", "") if sound.decay == "not told" else ("ok", "sound")


def _faults(key: int, sound: Sound, widths: dict[int, float]) -> Iterable[str]:
    if key in dict(sound.slipped):
        yield "off_pitch"
        if key in widths:
            yield "unison"
    for fault, keys in (("short_sustain", sound.short), ("damper", sound.dampers), ("buzz", sound.buzz)):
        if key in keys:
            yield fault
