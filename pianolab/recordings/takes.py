"""Several takes of one piano in one survey: registers recorded apart, repeats, soft and loud.

Every key gets the best that its takes give (`merging`), the spread between takes stands beside it, and a fault that one
take heard and another did not says so. The tuning curve is drawn anew through all keys. A take that is given twice
counts once. The order in which takes are given plays no part.

Where all takes had one gain (told by their background noise) and differ in level, the dependence of brightness on the
blow is read from the same strings struck softly and loudly, and taken out; otherwise each take's own correction stays.

Source: common practice of repeated measurement; no published method.

Limits
------
Levels of takes recorded with different gain don't compare; each key keeps that of its best take. Faults are united,
not decided anew: a limit that one take just crosses stays crossed, with the remark.

Failure cases
-------------
Takes of different pianos, another pitch standard, a reading that lies a semitone off, or a piano that was tuned
between the takes: `BadInput`, one line.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from pianolab.acoustics.columns import column, is_empty
from pianolab.acoustics.judging.tuning import robust_spread, tuning_curve
from pianolab.acoustics.keys.compass import usual_stretch_cents
from pianolab.acoustics.strings.unison import weighted_median
from pianolab.acoustics.survey_result import Row, Survey, SurveySummary, count_faults, rows_of, table_of
from pianolab.acoustics.survey_rows import absent_row, tuning_fields, warning_sentences
from pianolab.errors import BadInput
from pianolab.keyboard import REGISTERS, register_of
from pianolab.recordings.merged import MergedSurvey, Take
from pianolab.recordings.merging import merge_key, spreads
from pianolab.recordings.pairing import check_one_piano
from pianolab.units import FloatArray

if TYPE_CHECKING:
    import pandas as pd


ONE_GAIN_DB = 2.0
"""Takes whose background, re full scale, agrees within this were made at one gain [practice]."""

LEAST_LOUDER_DB, LEAST_PAIRS = 1.5, 8
"""How far from the key's mean level a take must lie to show the slope, and how many such values a register needs."""
IN_NO_TAKE = "in no take"


def merge_takes(surveys: Sequence[Survey], *, lost: Sequence[Collection[int]] = ()) -> MergedSurvey:
    """One survey from several takes of one piano.

    Parameters
    ----------
    surveys : one or more, in any order
    lost : for each survey, the keys of which a piece of sound is missing (`lost_keys`); none where it isn't given. What
        such a take says of such a key counts only where no other take has heard that key whole

    Returns
    -------
    MergedSurvey

    Raises
    ------
    BadInput
        no take, another A4, a reading a semitone off, or takes that can't be of one piano in one tuning

    Examples
    --------
    >>> from pianolab.acoustics import listen
    >>> from pianolab.sound_model import PianoModel, render_scale
    >>> def take(first, last, seed):
    ...     scale = render_scale(PianoModel(seed=3), first_key=first, last_key=last, hold_s=0.8, rate_hz=16000, seed=seed)
    ...     return listen(scale.samples, rate_hz=16000, first_key=first, last_key=last)
    >>> low, high = take(40, 46, 1), take(44, 50, 2)
    >>> merged = merge_takes([low, high])
    >>> merged.summary.measured, float(merged.table.takes.max()), bool(merged.spread.cents_spread.max() < 0.5)
    (11, 2.0, True)
    """
    import pandas as pd

    if not surveys:
        raise BadInput("takes", "none", "one survey or more")
    missing = tuple(frozenset(keys) for keys in lost) or (frozenset[int](),) * len(surveys)
    if len(missing) != len(surveys):
        raise BadInput("lost keys", f"of {len(missing)} takes", f"of {len(surveys)}, one for each take")
    each = {s.to_json(): (s, keys) for s, keys in zip(surveys, missing, strict=True)}
    texts = sorted(each.items(), key=lambda item: _place(item[1][0], item[0]))
    takes, missing = [s for _text, (s, _) in texts], tuple(keys for _text, (_, keys) in texts)
    check_one_piano(takes)
    summary = takes[0].summary
    tables, slopes = at_one_level(takes)
    keys = range(min(t.summary.first_key for t in takes), max(t.summary.last_key for t in takes) + 1)
    rows, chosen, apart = [], [], []
    for key in keys:
        own = [(n, table[key]) for n, table in enumerate(tables) if key in table]
        own = _heard_whole(own, key, missing) or [
            (0, {**absent_row(key, "unclear", IN_NO_TAKE), "status": "skipped"})
        ]
        row, index = merge_key([r for _n, r in own], a4_hz=summary.a4_hz)
        rows.append(row)
        chosen.append(own[index][0])
        apart.append({"key": key, **spreads([r for _n, r in own])})
    table = table_of(_with_curve(rows) if len(takes) > 1 else rows, merged=True)
    return MergedSurvey(
        table=table,
        summary=_summary(takes, table),
        curves=tuple(c for t, n in _best(takes, table, chosen) for c in t.curves if c.key == n),
        strikes=tuple({**s, "take": n + 1} for n, t in enumerate(takes) for s in t.strikes),
        partials=tuple(p for t, n in _best(takes, table, chosen) for p in t.partials if p.key == n),
        takes=tuple(_take(n + 1, t) for n, t in enumerate(takes)),
        spread=pd.DataFrame(apart),
        best_take=tuple(n + 1 for n in chosen),
        brightness_slopes=slopes,
    )


def _heard_whole(
    own: list[tuple[int, Row]], key: int, missing: Sequence[Collection[int]]
) -> list[tuple[int, Row]]:
    """The rows of the takes that lack no piece of this key, if one of them measured it; else all."""
    whole = [(n, row) for n, row in own if key not in missing[n]]
    return whole if any(row["status"] == "measured" for _n, row in whole) else own


def _place(survey: Survey, text: str) -> tuple[int, int, float, str]:
    return survey.summary.first_key, survey.summary.last_key, survey.summary.seconds, text


def _best(takes: Sequence[Survey], table: pd.DataFrame, chosen: Sequence[int]) -> list[tuple[Survey, int]]:
    return [(takes[n], int(key)) for key, n in zip(table["key"], chosen, strict=True)]


def _take(number: int, survey: Survey) -> Take:
    s = survey.summary
    return Take(
        number=number,
        first_key=s.first_key,
        last_key=s.last_key,
        measured=s.measured,
        seconds=s.seconds,
        rate_hz=s.rate_hz,
        noise_db=s.noise_db,
        quality=s.quality,
    )


def _with_curve(rows: Sequence[Row]) -> list[Row]:
    """The tuning curve through all keys, whichever take they come from."""
    cents = np.array([row["cents"] for row in rows], dtype=float)
    known = ~np.isnan(cents)
    curve = np.full(len(rows), np.nan)
    curve[known] = tuning_curve(cents[known], np.array([row["key"] for row in rows])[known])
    return [
        _with_values(row, {"curve_cents": float(at), "off_curve_cents": float(own - at)})
        for row, own, at in zip(rows, cents, curve, strict=True)
    ]


def _with_values(row: Row, values: dict[str, float]) -> Row:
    """The row with these measures anew, a reason beside each that is empty now and beside none that isn't."""
    gaps = {name: why for name, why in row["gaps"].items() if is_empty(values.get(name, np.nan))}
    usual = {name: column(name).absent for name, value in values.items() if is_empty(value)}
    return {**row, **values, "gaps": {**usual, **gaps}}


def _summary(takes: Sequence[Survey], table: pd.DataFrame) -> SurveySummary:
    if len(takes) == 1:
        return takes[0].summary
    all_of = [t.summary for t in takes]
    measured = table["status"] == "measured"
    cents = table.loc[measured, "cents"].to_numpy(float)
    offset = (
        float(np.nanmedian(cents - usual_stretch_cents(table.loc[measured, "key"].to_numpy(int))))
        if len(cents)
        else None
    )
    doubtful = all(s.reading == "doubtful" for s in all_of)
    rooms = [s.t60_s for s in all_of if s.t60_s is not None]
    quality = _said(all_of)
    at = {
        s: tuple(int(k) for k in table.loc[table["status"] == s, "key"])
        for s in ("silent", "skipped", "unclear")
    }
    return replace(
        all_of[0],
        first_key=int(table["key"].min()),
        last_key=int(table["key"].max()),
        rate_hz=min(s.rate_hz for s in all_of),
        channels=max(s.channels for s in all_of),
        seconds=sum(s.seconds for s in all_of),
        measured=int(measured.sum()),
        silent=at["silent"],
        skipped=at["skipped"],
        unclear=at["unclear"],
        offset_cents=offset,
        tuning_spread_cents=robust_spread(table["off_curve_cents"].to_numpy(float))
        if len(cents) > 4
        else None,
        reading="doubtful" if doubtful else "clear",
        other_first_key=all_of[0].other_first_key if doubtful else None,
        t60_s=float(np.median(rooms)) if rooms else None,
        t60_reason="" if rooms else all_of[0].t60_reason,
        noise_db=max(s.noise_db for s in all_of),
        clipped_keys=tuple(sorted(set.intersection(*(set(s.clipped_keys) for s in all_of)))),
        quality=quality,
        sustain_hidden=int((table["sustain_verdict"] == "tune first").sum()),
        sustain_heard=int(measured.sum()),
        warnings=warning_sentences(table, offset=offset, doubtful=doubtful, quality=quality),
        fault_counts=count_faults(table),
        impairments=tuple(i for i in all_of[0].impairments if all(i in s.impairments for s in all_of)),
        quality_unknown=tuple(dict.fromkeys(u for s in all_of for u in s.quality_unknown)),
        **tuning_fields(table),
    )


def _said(all_of: Sequence[SurveySummary]) -> tuple[str, ...]:
    """Sentences on the recordings; those that not all takes have say how many do."""
    each = dict.fromkeys(q for s in all_of for q in s.quality)
    out = []
    for sentence in each:
        times = sum(sentence in s.quality for s in all_of)
        out.append(sentence if times == len(all_of) else f"in {times} of {len(all_of)} takes: {sentence}")
    return tuple(out)


def at_one_level(takes: Sequence[Survey]) -> tuple[list[dict[int, Row]], dict[str, float]]:
    """The takes' rows by key, brightness brought to one level where the takes allow it; and the slopes used."""
    tables = [{int(row["key"]): row for row in rows_of(t.table)} for t in takes]
    if len(takes) < 2 or not _one_gain(takes):
        return tables, {}
    keys = np.array(sorted({k for t in tables for k in t}))
    names = [r.name for r in REGISTERS]
    register = np.array([names.index(register_of(int(k))) for k in keys])
    flat, slopes = touch_taken_out(
        _grid(tables, keys, "brightness_db"), _grid(tables, keys, "level_db"), register=register
    )
    for i, key in enumerate(keys):
        for n, table in enumerate(tables):
            if int(key) in table:
                table[int(key)] = {**table[int(key)], "brightness_db": float(flat[i, n])}
    return tables, {names[n]: slope for n, slope in slopes.items()}


def _grid(tables: Sequence[dict[int, Row]], keys: np.ndarray[Any, Any], name: str) -> FloatArray:
    nothing: Row = {}
    return np.array([[float(t.get(int(k), nothing).get(name, np.nan)) for t in tables] for k in keys])


def _one_gain(takes: Sequence[Survey]) -> bool:
    """Whether the background shows one gain for all."""
    noise = [t.summary.noise_db + float(t.table["level_db"].median()) for t in takes]
    return bool(np.all(np.isfinite(noise)) and max(noise) - min(noise) <= ONE_GAIN_DB)


def touch_taken_out(
    brightness_db: FloatArray, level_db: FloatArray, *, register: NDArray[np.int64]
) -> tuple[FloatArray, dict[int, float]]:
    """Brightness of every take brought to the key's mean level over the takes.

    One strike per key leaves the slope of brightness on level to be guessed from neighbours; soft and loud takes show
    it on the same strings. Within each register the slope through the differences between takes is taken by least
    absolute deviations (a weighted median of ratios), kept between 0 and 2 dB per dB.

    Parameters
    ----------
    brightness_db, level_db : shape (keys, takes), NaN where unknown; takes at one gain
    register : shape (keys,)

    Returns
    -------
    brightness, slopes : same shape; dB per dB by register, only where the takes differ enough

    Examples
    --------
    >>> level = np.array([[-20.0, -10.0]] * 6)
    >>> flat, slope = touch_taken_out(-30.0 + 0.4 * level, level, register=np.zeros(6, dtype=int))
    >>> slope, bool(np.allclose(flat, -36.0))
    ({0: 0.4}, True)
    """
    known = ~np.isnan(brightness_db) & ~np.isnan(level_db)
    count = np.maximum(known.sum(axis=1, keepdims=True), 1)
    middle = np.where(known, level_db, 0.0).sum(axis=1, keepdims=True) / count
    louder = np.where(known, level_db - middle, 0.0)
    brighter = np.where(
        known, brightness_db - np.where(known, brightness_db, 0.0).sum(axis=1, keepdims=True) / count, 0.0
    )
    out, slopes = brightness_db.copy(), {}
    for name in np.unique(register):
        own = (register == name)[:, None] & known & (np.abs(louder) >= LEAST_LOUDER_DB)
        if own.sum() < LEAST_PAIRS:
            continue
        ratio = weighted_median((brighter[own] / louder[own])[None], np.abs(louder[own])[None])
        slopes[int(name)] = float(np.clip(np.round(ratio[0], 3), 0.0, 2.0))
        rows = register == name
        out[rows] = brightness_db[rows] - slopes[int(name)] * louder[rows]
    return out, slopes
