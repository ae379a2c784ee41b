"""A pedal held, or a long room: stretches of notes that ring on after their keys are let go.

Dampers fail one by one: where many in a row seem to fail it is a pedal. But where notes fall faster once their keys are
let go it is a long room, or slow dampers. Source: practice.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pianolab.acoustics.envelope.levels import NoteLevel
from pianolab.acoustics.limits import limits
from pianolab.acoustics.notes import NoteMeasures

LET_GO_SHARES = (0.65, 0.75, 0.85)
"""Of the time to the next blow: where keys are let go at most tempi."""
HAMMER_S, LOOK_BACK_S, LEAST_SEEN_S, OVER_FLOOR_DB = 0.3, 0.6, 0.1, 4.0
"""A fall is read from so long after the blow, over so long before the key is let go, where so much of it stands so far over
the noise."""


def pedal_held(m: NoteMeasures) -> NDArray[np.bool_]:
    """Notes that ring on as under a pedal.

    A note that rings on in a long room falls faster once its key is let go, as the damper leaves only the room; under a
    pedal nothing changes at that moment.
    """
    goes_on = _goes_on(m)
    return _ring_on(m, goes_on & ~_let_go_in_a_room(m, goes_on))


def ring_on(m: NoteMeasures) -> NDArray[np.bool_]:
    """Notes of a stretch that rings on after its keys are let go, under a pedal or in a long room."""
    return _ring_on(m, _goes_on(m))


def _goes_on(m: NoteMeasures) -> NDArray[np.bool_]:
    return np.isnan(m.release.hold_s) & ~np.isnan([f.likely_s for f in m.falls])


def _ring_on(m: NoteMeasures, goes_on: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Notes in a stretch of which most go on, among keys that surely have dampers, and what follows it upwards.

    All notes that are never heard let go where these are most of the keys that surely have dampers.
    """
    lim = limits()["pedal_held"]
    key = m.strikes.key
    likely_s = np.array([f.likely_s for f in m.falls])
    rings = goes_on & (np.nan_to_num(likely_s) > lim["rings_s"])
    damped = np.flatnonzero(key <= limits()["damper"]["last_surely_damped"])
    out = np.zeros(len(key), dtype=bool)
    span = int(lim["stretch_keys"])
    for at in range(len(damped) - span + 1):
        stretch = damped[at : at + span]
        if rings[stretch].mean() >= lim["share"]:
            out[stretch] |= rings[stretch]
    if len(damped) >= span and goes_on[damped].mean() >= lim["share_of_all"]:
        out |= goes_on & bool(np.median(likely_s[damped][goes_on[damped]]) > lim["all_ring_s"])
    if out.any() and len(damped) and out[damped[-3:]].any():
        out[damped[-1] + 1 :] = True
    return out


def _let_go_in_a_room(m: NoteMeasures, goes_on: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Notes that fall faster from where keys are let go: not each by itself, as one may beat, but with those about it.

    In a long room the moment that was assumed may be wrong, so others before the next blow are tried as well.
    """
    lim = limits()["pedal_held"]
    about = int(lim["stretch_keys"]) // 2
    tried_s = [m.release.assumed_s, *(share * m.strikes.interval_s for share in LET_GO_SHARES)]
    out = np.zeros(len(m.levels), dtype=bool)
    for let_go_s in tried_s:
        ends = zip(m.levels, let_go_s, m.strikes.interval_s - 0.02, strict=True)
        faster = np.array([_faster_db_per_s(v, let_go_s=float(at), stop_s=float(end)) for v, at, end in ends])
        seen = np.flatnonzero(goes_on & ~np.isnan(faster))
        for i in np.flatnonzero(goes_on):
            at = int(np.searchsorted(seen, i))
            near = faster[seen[max(at - about, 0) : at + about + 1]]
            out[i] |= len(near) > about and float(np.median(near)) > lim["room_faster_db_per_s"]
    return out


def _faster_db_per_s(level: NoteLevel, *, let_go_s: float, stop_s: float) -> float:
    """By how much a note falls faster after a moment than before it, dB/s; NaN where either is not seen."""
    before_s = max(HAMMER_S, let_go_s - LOOK_BACK_S)
    before = _fall_db_per_s(level, from_s=before_s, to_s=let_go_s - 0.06)
    return _fall_db_per_s(level, from_s=let_go_s + 0.03, to_s=stop_s) - before


def _fall_db_per_s(level: NoteLevel, *, from_s: float, to_s: float) -> float:
    t, db = level.time_s, level.level_db
    used = (t >= from_s) & (t <= to_s) & (db > level.floor_db + OVER_FLOOR_DB)
    if used.sum() < 8 or np.ptp(t[used]) < LEAST_SEEN_S:
        return float("nan")
    return float(-np.polyfit(t[used], db[used], 1)[0])
