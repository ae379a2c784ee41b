"""`listen`: one continuous recording of the scale in, the survey table out."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray
from threadpoolctl import threadpool_limits

from pianolab.acoustics.compass import usual_stretch_cents
from pianolab.acoustics.decay import decay_sd_s
from pianolab.acoustics.judge import NOT_STRUCK, Judged, judge_notes
from pianolab.acoustics.keypath import NO_NOTE, STRONG_SHARE, KeyPath, fresh_spectra, read_keys, rise_share
from pianolab.acoustics.limits import limits
from pianolab.acoustics.notes import NoteMeasures, Progress, measure_notes
from pianolab.acoustics.onsets import Onsets, find_onsets
from pianolab.acoustics.quality import RecordingQuality, clipped_share, forbid, judge_recording
from pianolab.acoustics.results import (
    COLUMNS,
    EXTRA_COLUMNS,
    FAULTS,
    TEXT_COLUMNS,
    LevelCurve,
    PartialPitches,
    Survey,
    SurveySummary,
)
from pianolab.acoustics.sequence import Sequence, next_sounds, read_sequence
from pianolab.acoustics.spectra import Samples, as_channels
from pianolab.acoustics.strikes import Strikes
from pianolab.acoustics.tuning import robust_spread
from pianolab.errors import BadInput
from pianolab.keyboard import FIRST_KEY, LAST_KEY, check_key, note_name
from pianolab.units import key_to_hz

LEAD_S = 0.25
LEAST_SCORE = 8.0
"""Median score of a reading below which it is no piano."""


def _quiet(step: str, share: float) -> None:
    """Say nothing."""


def listen(
    samples: NDArray[np.floating],
    *,
    rate_hz: int,
    first_key: int = 1,
    last_key: int = 88,
    a4_hz: float = 440.0,
    lossy: bool = False,
    expected_offset_cents: float | None = None,
    name: str = "recording",
    progress: Progress | None = None,
) -> Survey:
    """Measure every key of a piano from one recording in which all keys were played in turn.

    Read the result as: a row per key, with the reason beside every value that could not be had.

    Parameters
    ----------
    samples : array, shape (frames,) or (frames, channels), full scale 1
    rate_hz : int, Hz, 16 000 or more; the sound is analysed as recorded
    first_key, last_key : int; the keys that were played lie within these (A0 = 1, A4 = 49)
    a4_hz : float, Hz; what A4 should be
    lossy : bool; whether the sound was stored with loss
    expected_offset_cents : float, cents; the piano's pitch against A4 where it is known from elsewhere (a
        tuning device, a fork): then a wrong playback speed shows
    name : str; what to call the recording in error messages
    progress : called with what is being done and a share from 0 to 1

    Returns
    -------
    Survey

    Raises
    ------
    BadInput
        silence, no notes, a rate too low, or keys that don't fit ``first_key`` and ``last_key``

    Notes
    -----
    Sources and limits stand in the modules that measure: `keypath`, `modes`, `unison`, `decay`, `damper`,
    `voicing`, `buzz`, `tuning`.

    Examples
    --------
    >>> import numpy as np
    >>> t = np.arange(3 * 16000) / 16000
    >>> tone = sum(np.sin(2 * np.pi * 440 * n * t) / n for n in range(1, 8)) * np.exp(-2 * t) * (t > 0.5)
    >>> survey = listen(tone + 1e-4 * np.sin(50 * t), rate_hz=16000, first_key=49, last_key=49)
    >>> abs(float(survey.table.cents.iloc[0])) < 0.5
    True
    """
    tell = progress or _quiet
    heard = _checked(samples, rate_hz=rate_hz, first_key=first_key, last_key=last_key, a4_hz=a4_hz, name=name)
    channels, lead_s = _with_lead(heard, rate_hz=rate_hz)
    tell("where notes begin", 0.05)
    onsets = find_onsets(channels, rate_hz=rate_hz)
    tell("which key each note is", 0.15)
    path = _read_path(
        channels, onsets, rate_hz=rate_hz, first_key=first_key, last_key=last_key, a4_hz=a4_hz, name=name
    )
    end_s = channels.shape[1] / rate_hz
    sequence = read_sequence(
        path.keys,
        onsets.times_s,
        path.score,
        rise_share(onsets.rise),
        first_key=first_key,
        last_key=last_key,
        end_s=end_s,
    )
    strikes = _strikes(path, onsets, sequence, end_s=end_s)
    # Many small matrices: threads of the linear algebra would only wait for one another.
    with threadpool_limits(limits=1, user_api="blas"):
        measures = measure_notes(channels, strikes, rate_hz=rate_hz, progress=tell)
        clipped = _clipped(channels, strikes, rate_hz=rate_hz)
        judged = judge_notes(measures, expected_hz=key_to_hz(strikes.key, a4_hz=a4_hz), clipped=clipped)
    tell("table", 0.95)
    quality = judge_recording(
        channels, measures, rate_hz=rate_hz, lossy=lossy, clipped=clipped, lead_s=lead_s,
        offset_cents=_offset_cents(measures, judged), expected_offset_cents=expected_offset_cents,
    )  # fmt: skip
    table = _table(measures, judged, sequence, first_key=first_key, last_key=last_key)
    table = forbid(table, quality.impairments)
    table["onset_s"] -= lead_s
    summary = _summary(
        measures, judged, path, table, channels=channels, rate_hz=rate_hz, first_key=first_key,
        last_key=last_key, a4_hz=a4_hz, quality=quality, clipped=clipped,
    )  # fmt: skip
    tell("done", 1.0)
    return Survey(
        table=table,
        summary=summary,
        curves=_curves(measures),
        strikes=_all_strikes(path, onsets, sequence, lead_s=lead_s),
        partials=_partials(measures),
    )


def _checked(
    samples: NDArray[np.floating], *, rate_hz: int, first_key: int, last_key: int, a4_hz: float, name: str
) -> Samples:
    check_key(first_key, name="first key")
    check_key(last_key, name="last key")
    if first_key > last_key:
        raise BadInput("keys", f"{first_key} to {last_key}", "the first key not above the last", "Exchanged?")
    if not 380.0 <= a4_hz <= 500.0:
        raise BadInput("a4", f"{a4_hz:g} Hz", "380 to 500 Hz", "A4 is 440 Hz unless you know better.")
    if not 16000 <= rate_hz <= 192000:
        raise BadInput(
            name, f"a sampling rate of {rate_hz} Hz", "16000 to 192000 Hz", "Telephone or voice-memo quality?"
        )
    array = np.asarray(samples)
    if array.ndim not in (1, 2) or array.size == 0:
        raise BadInput(name, "no sound", "a recording of notes", "An empty file?")
    if array.shape[0] < 0.6 * rate_hz:
        raise BadInput(name, f"{array.shape[0] / rate_hz:.2f} s of sound", "0.6 s or more", "Cut off?")
    channels = as_channels(array)
    if not np.isfinite(channels).all():
        raise BadInput(name, "samples that are no numbers", "finite samples", "A damaged file?")
    if float(np.max(np.abs(channels))) < 1e-4:
        raise BadInput(
            name, "silence", "a recording of notes", "Wrong input chosen, or the microphone muted?"
        )
    return channels


def _with_lead(channels: Samples, *, rate_hz: int) -> tuple[Samples, float]:
    """A little silence in front of a recording that begins in the middle of a blow, and how much in s."""
    begin, whole = channels[:, : int(0.06 * rate_hz)], channels
    if float(np.mean(begin**2)) < 0.02 * float(np.mean(whole**2)):
        return channels, 0.0
    lead = int(LEAD_S * rate_hz)
    return np.concatenate(
        [np.zeros((channels.shape[0], lead), dtype=np.float32), channels], axis=1
    ), lead / rate_hz


def _read_path(
    channels: Samples, onsets: Onsets, *, rate_hz: int, first_key: int, last_key: int, a4_hz: float, name: str
) -> KeyPath:
    nothing = BadInput(
        name, "no piano notes", "keys played one after another", "Speech, noise or silence only?"
    )
    if len(onsets.times_s) == 0:
        raise nothing
    fresh, size = fresh_spectra(channels, onsets.times_s, onsets.rise, rate_hz=rate_hz)
    scale = rate_hz * 440.0 / a4_hz
    path = read_keys(
        fresh, onsets.rise, rate_hz=round(scale), size=size, first_key=first_key, last_key=last_key
    )
    path = _at_pitch(path, a4_hz)
    strong = rise_share(onsets.rise) >= STRONG_SHARE
    loud = int(strong.sum())
    fits = (path.keys != NO_NOTE).sum() >= max(1.0, 0.75 * loud)
    if fits and first_key <= FIRST_KEY and last_key >= LAST_KEY:
        return path
    free = read_keys(
        fresh[strong],
        onsets.rise[strong],
        rate_hz=round(scale),
        size=size,
        first_key=min(first_key, FIRST_KEY),
        last_key=max(last_key, LAST_KEY),
    )
    found = free.keys[free.keys != NO_NOTE]
    plausible = len(found) >= max(1, 0.5 * loud) and float(np.nanmedian(free.score)) >= LEAST_SCORE
    if not fits and not plausible:
        raise nothing
    if plausible and _fits_better(free, path, strong, first_key=first_key, last_key=last_key):
        low, high = int(found.min()), int(found.max())
        raise BadInput(
            "first and last key",
            f"{first_key} to {last_key}, but the notes sound like keys {low} ({note_name(low)}) to {high} ({note_name(high)})",
            "the compass that was played",
            f"Is it --first-key {low}?",
        )
    if not (path.keys != NO_NOTE).any():
        raise nothing
    return path


def _fits_better(
    free: KeyPath, path: KeyPath, strong: NDArray[np.bool_], *, first_key: int, last_key: int
) -> bool:
    """Whether a reading over all keys is so much better that the given compass must be wrong."""
    found = free.keys[free.keys != NO_NOTE]
    if first_key <= found.min() and found.max() <= last_key:
        return False
    whole, given = float(np.nansum(free.score)), float(np.nansum(path.score[strong]))
    kept = path.score[strong & (path.keys != NO_NOTE)]
    poor = len(kept) == 0 or float(np.median(kept)) < 0.7 * float(np.nanmedian(free.score))
    forced = abs(path.offset_cents) >= 110.0 and abs(free.offset_cents) <= 50.0
    return (poor and whole > 1.4 * given) or (forced and whole >= given)


def _at_pitch(path: KeyPath, a4_hz: float) -> KeyPath:
    return KeyPath(
        path.keys, path.f1_hz * a4_hz / 440.0, path.b_factor, path.score, path.offset_cents, path.other_shift
    )


def _strikes(path: KeyPath, onsets: Onsets, sequence: Sequence, *, end_s: float) -> Strikes:
    key = np.array(sorted(sequence.strike_of), dtype=np.int64)
    at = np.array([sequence.strike_of[int(k)] for k in key], dtype=np.int64)
    next_s = next_sounds(path.keys, onsets.times_s, end_s=end_s)
    return Strikes(key, onsets.times_s[at], next_s[at], path.f1_hz[at], path.b_factor[at])


def _clipped(channels: Samples, strikes: Strikes, *, rate_hz: int) -> NDArray[np.bool_]:
    share = [
        clipped_share(channels, begin=int(max(o, 0) * rate_hz), stop=int(min(n, o + 1.0) * rate_hz))
        for o, n in zip(strikes.onset_s, strikes.next_s, strict=True)
    ]
    ceiling = float(np.max(np.abs(channels)))
    tops = np.array([
        float(np.max(np.abs(channels[:, int(max(o, 0) * rate_hz) : int(min(n, o + 1.0) * rate_hz)])))
        for o, n in zip(strikes.onset_s, strikes.next_s, strict=True)
    ])  # fmt: skip
    return (np.array(share) > limits()["quality"]["clip_share"]) & (tops > 0.98 * ceiling)


def _join(reasons: dict[str, str]) -> str:
    return ";".join(f"{name}={why}" for name, why in reasons.items())


def _table(m: NoteMeasures, j: Judged, sequence: Sequence, *, first_key: int, last_key: int) -> Any:
    import pandas as pd

    rows: dict[int, dict[str, Any]] = {}
    decay_sd = decay_sd_s(m.decays, t60_s=m.t60_s)
    for i, key in enumerate(m.strikes.key):
        d, f = m.decays[i], m.falls[i]
        rows[int(key)] = {
            "status": "measured", "onset_s": m.strikes.onset_s[i], "hold_s": m.release.hold_s[i],
            "snr_db": m.snr_db[i], "f1_hz": m.f1_hz[i], "cents": j.cents[i], "curve_cents": j.curve_cents[i],
            "off_curve_cents": j.cents[i] - j.curve_cents[i], "inharmonicity": np.nan if np.isnan(m.f1_hz[i]) else m.inharmonicity[i],
            "unison_cents": m.unison.spread_cents[i], "beat_hz": m.unison.beat_hz[i],
            "beat_partial": m.unison.beat_partial[i], "decay_20_s": d.decay_20_s, "decay_20_bound": d.bound,
            "early_db_per_s": d.early_db_per_s, "late_db_per_s": d.late_db_per_s, "release_20_s": f.release_20_s,
            "release_bound": f.bound, "brightness_db": j.brightness.brightness_db[i],
            "brightness_dev": j.brightness.dev[i], "buzz_db": j.buzz_db[i], "sustain_trust": j.trust[i],
            "sustain_verdict": j.verdict[i], "not_judged": _join(j.not_judged[i]), "gaps": _join(j.gaps[i]),
            "faults": ";".join(j.faults[i]), "strikes": sequence.count[int(key)], "level_db": m.level_db[i],
            "cents_sd": m.f1_sd_cents[i], "unison_cents_sd": m.unison.spread_sd[i], "inharmonicity_sd": m.b_sd[i],
            "brightness_db_sd": j.brightness.sd[i], "string_db_per_s": m.string_db_per_s[i], "decay_20_s_sd": decay_sd[i],
        }  # fmt: skip
    for key, (status, why) in sequence.absent.items():
        rows[key] = absent_row(status, why)
    table = pd.DataFrame(
        [{"key": k, "note": note_name(k), **rows[k]} for k in range(first_key, last_key + 1)]
    )
    for column in (*COLUMNS, *EXTRA_COLUMNS, "inharmonicity_sd", "brightness_db_sd", "string_db_per_s"):
        if column not in table:
            table[column] = "" if column in TEXT_COLUMNS else np.nan
        if column in TEXT_COLUMNS:
            table[column] = table[column].fillna("").astype(str)
        elif column != "key":
            table[column] = table[column].astype(float)
    return table[[*COLUMNS, *(c for c in table.columns if c not in COLUMNS)]]


STATED_COLUMNS = TEXT_COLUMNS - {"decay_20_bound", "release_bound"}
"""Texts that are statements themselves; an empty one needs no reason."""


def absent_row(status: str, why: str) -> dict[str, Any]:
    """The row of a key that was not measured: every measure and every fault with the reason."""
    reason = why if status != "skipped" else NOT_STRUCK
    measures = [c for c in COLUMNS if c not in STATED_COLUMNS and c != "key"]
    untested = [f for f in FAULTS if not (status == "silent" and f == "silent")]
    return {
        "status": status, "strikes": 0, "sustain_trust": "not sounded", "gaps": _join(dict.fromkeys(measures, reason)),
        "not_judged": _join(dict.fromkeys(untested, reason)), "faults": "silent" if status == "silent" else "",
    }  # fmt: skip


def _curves(m: NoteMeasures) -> tuple[LevelCurve, ...]:
    out = []
    for key, level in zip(m.strikes.key, m.levels, strict=True):
        if len(level.power) == 0:
            continue
        db = level.level_db
        top = float(db.max())
        step = max(4, len(db) // 300)
        out.append(
            LevelCurve(
                key=int(key),
                time_s=tuple(float(t) for t in np.round(level.time_s[::step], 3)),
                level_db=tuple(float(v) for v in np.round(db[::step] - top, 2)),
                floor_db=round(level.floor_db - top, 2),
            )
        )
    return tuple(out)


def _partials(m: NoteMeasures) -> tuple[PartialPitches, ...]:
    heard = (m.partial_weight > 0) & ~np.isnan(m.partial_hz)
    return tuple(
        PartialPitches(
            key=int(key),
            f_hz=tuple(round(float(f), 6) if h else None for f, h in zip(hz, own, strict=True)),
            weight=tuple(round(float(w), 3) if h else 0.0 for w, h in zip(weight, own, strict=True)),
        )
        for key, hz, weight, own in zip(m.strikes.key, m.partial_hz, m.partial_weight, heard, strict=True)
    )


def _all_strikes(
    path: KeyPath, onsets: Onsets, sequence: Sequence, *, lead_s: float
) -> tuple[dict[str, Any], ...]:
    used = set(sequence.strike_of.values())
    return tuple(
        {
            "onset_s": round(float(t) - lead_s, 4),
            "key": None if k == NO_NOTE else int(k),
            "score": None if np.isnan(s) else round(float(s), 2),
            "used": i in used,
        }
        for i, (t, k, s) in enumerate(zip(onsets.times_s, path.keys, path.score, strict=True))
    )


def _summary(
    m: NoteMeasures,
    j: Judged,
    path: KeyPath,
    table: Any,
    *,
    channels: Samples,
    rate_hz: int,
    first_key: int,
    last_key: int,
    a4_hz: float,
    quality: RecordingQuality,
    clipped: NDArray[np.bool_],
) -> SurveySummary:
    counts = {f: int(table["faults"].str.split(";").apply(lambda v, f=f: f in v).sum()) for f in FAULTS}
    by_status = {
        s: tuple(int(k) for k in table.loc[table["status"] == s, "key"])
        for s in ("silent", "skipped", "unclear")
    }
    offset = _offset_cents(m, j)
    hidden = int((table["sustain_verdict"] == "tune first").sum())
    doubtful = path.other_shift != 0
    says = tuple(i.says for i in quality.impairments)
    t60_s, t60_reason = (
        (np.nan, "automatic gain") if quality.has("automatic gain") else (m.t60_s, m.t60_reason)
    )
    return SurveySummary(
        first_key=first_key, last_key=last_key, a4_hz=a4_hz, rate_hz=rate_hz, channels=channels.shape[0],
        seconds=channels.shape[1] / rate_hz, measured=len(m.strikes.key), silent=by_status["silent"],
        skipped=by_status["skipped"], unclear=by_status["unclear"], offset_cents=offset,
        tuning_spread_cents=robust_spread(j.cents - j.curve_cents) if len(j.cents) > 4 else None,
        reading="doubtful" if doubtful else "clear",
        other_first_key=int(m.strikes.key.min()) + path.other_shift if doubtful else None,
        t60_s=None if np.isnan(t60_s) else float(t60_s), t60_reason=t60_reason, noise_db=m.noise_db,
        clipped_keys=tuple(int(k) for k in m.strikes.key[clipped]), quality=says, sustain_hidden=hidden,
        sustain_heard=len(j.verdict), fault_counts=counts,
        warnings=warning_sentences(table, offset=offset, doubtful=doubtful, quality=says),
        impairments=tuple(i.name for i in quality.impairments), quality_unknown=quality.unknown,
    )  # fmt: skip


def _offset_cents(m: NoteMeasures, j: Judged) -> float | None:
    return float(np.nanmedian(j.cents - usual_stretch_cents(m.strikes.key))) if len(j.cents) else None


def warning_sentences(
    table: Any, *, offset: float | None, doubtful: bool, quality: tuple[str, ...]
) -> tuple[str, ...]:
    """What the reader must know first: what the recording forbids, what the tuning hides, what can't be told."""
    out = list(quality)
    treble = (table["status"] == "measured") & (table["key"] >= 52)
    masked = int((treble & (table["sustain_verdict"] == "tune first")).sum())
    if masked >= max(3, 0.15 * treble.sum()):
        out.append(
            f"tune before deciding: the sustain of {masked} of {int(treble.sum())} treble notes can't be judged through their tuning"
        )
    if offset is not None and abs(offset) > 15.0:
        out.append(f"the whole piano stands {abs(offset):.0f} cents {'flat' if offset < 0 else 'sharp'}")
    if doubtful:
        out.append("the keys may all be one semitone off: --first-key N settles it")
    return tuple(out)
