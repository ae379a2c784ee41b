"""Is it the note's own? A fault of a key begins with its blow, fades with its note, and lies where its note lies.

What buzzes at a key is loudest right after the blow, was not there in the pause before, and does not come again while the
note fades; a passing car, a voice or a horn keeps no such hours. What a bad damper leaves sounding are the partials of its
own note; what a voice adds after the release lies anywhere.

A damper stops all partials of its string alike; a room rings on at one line or another. So where one line is slow and
the other strong partials have gone, it is the room's. And a key that rings on above the last damper that is heard at work
has perhaps none.

Limits: a rattle that starts late in a note, or that is set off by the release, is taken for one of the surroundings and
said not to be judged; a noise that begins with the blow by chance is taken for the note's. Source: practice.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pianolab.acoustics.envelope.decay import note_decay
from pianolab.acoustics.envelope.reverberation import APART, LONG_ROOM_S
from pianolab.acoustics.envelope.sustain import judge_sustain, slow_dampers
from pianolab.acoustics.judging.buzz import HIGH_HZ as BUZZ_HIGH_HZ
from pianolab.acoustics.judging.buzz import LOW_HZ as BUZZ_LOW_HZ
from pianolab.acoustics.judging.buzz import MIDDLE_OF_NOISE, buzzes, over_neighbours
from pianolab.acoustics.limits import limits
from pianolab.acoustics.notes import NoteMeasures
from pianolab.acoustics.spectra import Samples, fast_size, line_spectra
from pianolab.acoustics.strings.partials import series_from_first_hz
from pianolab.units import FloatArray

WINDOW_S, STEP_S, LONGEST_S = 0.20, 0.10, 1.3
EARLY = 2
"""Windows that count as right after the blow."""
TAIL_FROM_S, LEAST_TAIL_S = 0.06, 0.12
AGAIN_FROM_S, RISE_S = 0.25, 0.05
MIDDLE_FROM_S, MIDDLE_LENGTH_S = 0.15, 0.4
BESIDE_SHARE, MIDDLE_SHARE, LEAST_BINS = 0.12, 0.36, 4
"""Shares of the distance between two partials: how wide "beside" is, and how far from both the middle begins."""


def buzzing_notes(m: NoteMeasures) -> NDArray[np.bool_]:
    """Notes that would be called buzzing, whatever the recording says, shape (notes,)."""
    over = over_neighbours(m.between, key=m.strikes.key)
    called = [buzzes(over, i, key=int(key)) == "yes" for i, key in enumerate(m.strikes.key)]
    return np.asarray(m.between.heard & np.array(called, dtype=bool))


def buzz_from_elsewhere(channels: Samples, m: NoteMeasures, *, rate_hz: int) -> NDArray[np.bool_]:
    """Notes with something between their partials that did not begin with the blow or came again, shape (notes,)."""
    seem = buzzing_notes(m)
    out = np.zeros(len(seem), dtype=bool)
    for i in np.flatnonzero(seem):
        out[i] = not begins_with_blow(*_between_over_time(channels, m, int(i), rate_hz=rate_hz))
    # Where most of what seems to buzz is not the piano's, what is left began with its blow by chance.
    many = out.sum() >= limits()["elsewhere"]["many_notes"] and 2 * out.sum() > seem.sum()
    return seem if many else out


def begins_with_blow(before_db: float, after_db: FloatArray) -> bool:
    """Whether a sound that stood at one level before the blow and at some after it began with the blow and fades.

    Examples
    --------
    >>> begins_with_blow(-80.0, np.array([-40.0, -41.0, -44.0, -46.0]))
    True
    >>> begins_with_blow(-43.0, np.array([-40.0, -41.0, -44.0, -46.0]))
    False
    >>> begins_with_blow(-80.0, np.array([-47.0, -48.0, -40.0, -46.0]))
    False
    """
    lim = limits()["elsewhere"]
    if len(after_db) <= EARLY:
        return True
    early = float(after_db[:EARLY].max())
    lowest_so_far = np.minimum.accumulate(after_db)
    loud = after_db > early - lim["loud_db"]
    comes_again = bool(np.any(loud & (after_db - lowest_so_far > lim["again_db"])))
    return bool(early - before_db > lim["over_before_db"] and not comes_again)


def _between_over_time(
    channels: Samples, m: NoteMeasures, i: int, *, rate_hz: int
) -> tuple[float, FloatArray]:
    """Level between the partials before the blow, and at every step after it, dB."""
    onset_s, until_s = float(m.strikes.onset_s[i]), min(float(m.usable_s[i]), LONGEST_S)
    begins_s = np.arange(0.04, max(until_s - WINDOW_S, 0.05), STEP_S)
    starts = np.round((onset_s + np.concatenate([[-WINDOW_S - 0.03], begins_s])) * rate_hz).astype(np.int64)
    early_start = starts[0] < 0
    starts = np.maximum(starts, 0)
    length = round(WINDOW_S * rate_hz)
    size = fast_size(2 * length)
    lengths = np.clip(np.full(len(starts), length), 8, np.maximum(channels.shape[1] - starts, 8))
    power = line_spectra(channels, starts=starts, lengths=lengths, size=size)
    hz = np.arange(power.shape[1]) * rate_hz / size
    free = (hz >= BUZZ_LOW_HZ) & (hz <= min(BUZZ_HIGH_HZ, 0.45 * rate_hz)) & ~_near_partials(m, i, hz)
    if free.sum() < 20:
        return -np.inf, np.zeros(0)
    level = np.sort(power[:, free], axis=1)
    count = level.shape[1]
    middle = level[:, count // 4 : (3 * count) // 4 + 1].mean(axis=1) / MIDDLE_OF_NOISE
    db = 10.0 * np.log10(middle + 1e-20)
    return -np.inf if early_start else float(db[0]), db[1:]


def _own_partials_hz(m: NoteMeasures, i: int, count: int) -> FloatArray:
    """The note's partials by its measured pitch, or where there is none by that of its strike; shape (count,)."""
    f1_hz = float(np.nan_to_num(m.f1_hz[i], nan=m.strikes.f1_hz[i]))
    return series_from_first_hz(f1_hz, float(np.nan_to_num(m.inharmonicity[i])), count)


def _near_partials(m: NoteMeasures, i: int, hz: FloatArray) -> NDArray[np.bool_]:
    """Bins that belong to the note's own partials."""
    f_hz = _own_partials_hz(m, i, 200)
    f_hz = f_hz[f_hz < hz[-1]]
    spacing = f_hz[1] - f_hz[0] if len(f_hz) > 1 else f_hz[0]
    half = min(0.3 * spacing, 12.0 + 0.004 * spacing)
    nearest = np.abs(hz[:, None] - f_hz[None, :]).min(axis=1) if len(f_hz) else np.full(len(hz), np.inf)
    return np.asarray(nearest <= half)


def fades_from_elsewhere(
    channels: Samples, m: NoteMeasures, met: NDArray[np.bool_], *, rate_hz: int
) -> NDArray[np.bool_]:
    """Notes over whose fading other sounds come, shape (notes,); ``met`` are those of `buzz_from_elsewhere`.

    A note that seems short, while something between its partials comes again. And where several notes meet sounds from
    elsewhere: each whose whole sound falls at another time than its own partials do; without such sounds the two differ in
    one note of twenty, by knocks.
    """
    _, verdict = judge_sustain(m, clipped=np.zeros(len(m.levels), dtype=bool))
    out = np.array([v == "short" for v in verdict], dtype=bool)
    for i in np.flatnonzero(out):
        out[i] = not begins_with_blow(-np.inf, _between_over_time(channels, m, int(i), rate_hz=rate_hz)[1])
    lim = limits()["elsewhere"]
    if met.sum() < lim["many_notes"]:
        return out
    return out | np.array([_falls_apart(m, i, share=lim["apart_share"]) for i in range(len(out))], dtype=bool)


def _falls_apart(m: NoteMeasures, i: int, *, share: float) -> bool:
    """Whether the whole sound's time to fall 20 dB is off that of the note's own part by more than this share."""
    if m.decays[i].bound != "=":
        return False
    own = note_decay(m.levels[i], usable_s=float(m.usable_s[i]))
    return own.bound != "=" or abs(own.decay_20_s / m.decays[i].decay_20_s - 1.0) > share


def hugs_partials(channels: Samples, m: NoteMeasures, *, rate_hz: int) -> NDArray[np.bool_]:
    """Notes that seem to buzz, by what hugs their partials and leaves the middle between two of them free, shape (notes,).

    What buzzes or rattles lies as high in the middle between two partials as beside them (within 1 dB on 24 seeded buzzes
    of three generators, own measurement); what a codec adds is highest beside each partial and falls off from there.
    """
    out, seem = np.zeros(len(m.strikes.key), dtype=bool), buzzing_notes(m)
    for i in np.flatnonzero(seem):
        over_db = beside_over_middle_db(channels, m, int(i), rate_hz=rate_hz)
        out[i] = over_db > limits()["elsewhere"]["hugs_db"]
    return out


def beside_over_middle_db(channels: Samples, m: NoteMeasures, i: int, *, rate_hz: int) -> float:
    """How far the power beside a note's partials stands over that in the middle between two, dB; the median of all pairs.

    NaN where partials lie too close for a middle.
    """
    start, length = (
        round(s * rate_hz) for s in (float(m.strikes.onset_s[i]) + MIDDLE_FROM_S, MIDDLE_LENGTH_S)
    )
    size = fast_size(2 * length)
    power = line_spectra(channels, starts=np.array([start]), lengths=np.array([length]), size=size)[0]
    hz = np.arange(len(power)) * rate_hz / size
    f_hz = _own_partials_hz(m, i, 200)
    spacing = float(f_hz[1] - f_hz[0])
    band = (hz >= BUZZ_LOW_HZ) & (hz <= min(BUZZ_HIGH_HZ, 0.45 * rate_hz)) & (hz < f_hz[-1])
    above = np.searchsorted(f_hz, hz).clip(1, len(f_hz) - 1)
    away = np.minimum(hz - f_hz[above - 1], f_hz[above] - hz) / spacing
    from_share = min(0.3, 25.0 / spacing + 0.004)
    beside = band & (away > from_share) & (away < from_share + BESIDE_SHARE)
    middle = band & (away > MIDDLE_SHARE)
    pairs = [(power[beside & (above == j)], power[middle & (above == j)]) for j in np.unique(above[band])]
    both = [(np.median(a), np.median(b)) for a, b in pairs if min(len(a), len(b)) >= LEAST_BINS]
    return float(np.median([10.0 * np.log10((a + 1e-20) / (b + 1e-20)) for a, b in both])) if both else np.nan


def dampers_from_elsewhere(channels: Samples, m: NoteMeasures, *, rate_hz: int) -> NDArray[np.bool_]:
    """Notes after whose release something sounds that is not their own, though their damper seems slow, shape (notes,)."""
    slow, _ = slow_dampers(m)
    out = np.zeros(len(m.strikes.key), dtype=bool)
    lim = limits()["elsewhere"]
    for i in np.flatnonzero(slow):
        foreign = own_over_between_db(channels, m, int(i), rate_hz=rate_hz) < lim["own_db"]
        out[i] = foreign or _steepest_fall_db(m, int(i)) > lim["steep_db"]
    return out | (slow & _broken_into(m))


def _broken_into(m: NoteMeasures) -> NDArray[np.bool_]:
    """Notes in which something else begins before they are let go: a tick, a word; their damper was never at work."""
    interval_s = m.strikes.interval_s
    early = interval_s < limits()["elsewhere"]["early_share"] * np.median(interval_s)
    return np.asarray(early & np.isnan(m.release.hold_s))


def _steepest_fall_db(m: NoteMeasures, i: int) -> float:
    """How far the note falls within 0.1 s after its release: a damper that is slow shows no such step.

    A step late in the pause is a good damper whose release was taken for earlier than it was.
    """
    level = m.levels[i]
    after = level.time_s > m.release.assumed_s[i] + 0.02
    db = np.maximum(level.level_db, level.floor_db)[after]
    step = round(0.1 / float(np.median(np.diff(level.time_s))))
    return float(np.max(db[:-step] - db[step:])) if len(db) > step else 0.0


def own_over_between_db(channels: Samples, m: NoteMeasures, i: int, *, rate_hz: int) -> float:
    """How far the power at the note's own partials stands over that between them after the release, dB per bin."""
    begin_s = float(m.strikes.onset_s[i] + m.release.assumed_s[i]) + TAIL_FROM_S
    length_s = min(float(m.strikes.next_s[i]) - 0.02 - begin_s, 0.5)
    if length_s < LEAST_TAIL_S:
        return np.inf
    length = round(length_s * rate_hz)
    size = fast_size(2 * length)
    power = line_spectra(
        channels, starts=np.array([round(begin_s * rate_hz)]), lengths=np.array([length]), size=size
    )[0]
    hz = np.arange(len(power)) * rate_hz / size
    f1_hz = float(m.strikes.f1_hz[i])
    band = (hz > 0.6 * f1_hz) & (hz < min(12.0 * f1_hz, 6000.0))
    own = _near_partials(m, i, hz)
    if not (band & own).any() or not (band & ~own).any():
        return np.inf
    return float(10.0 * np.log10((power[band & own].mean() + 1e-20) / (power[band & ~own].mean() + 1e-20)))


PARTIALS = 10
FALL_WINDOW_S, FALL_AFTER_S = 0.10, 0.20


def lines_of_the_room(channels: Samples, m: NoteMeasures, *, rate_hz: int) -> NDArray[np.bool_]:
    """Notes whose damper seems slow while their strong partials have fallen but for a line, shape (notes,).

    Only where a room is heard: without one it is the string's. In a long room a note whose fall is within some times the
    room's own doesn't count either.
    """
    lim = limits()["elsewhere"]
    slow, _ = slow_dampers(m)
    out = np.zeros(len(slow), dtype=bool)
    in_room = not np.isnan(m.t60_s) or m.t60_reason == APART
    for i in np.flatnonzero(slow):
        fall_db = _strong_partials_fall_db(channels, m, int(i), rate_hz=rate_hz)
        one_line = (
            in_room
            and len(fall_db) >= 2
            and float(np.median(fall_db)) > max(lim["all_fall_db"], float(fall_db.min()) + lim["one_line_db"])
        )
        at_most_s = m.t60_s + 2.0 * float(np.nan_to_num(m.t60_sd_s))
        like_room = m.t60_s > LONG_ROOM_S and m.falls[i].likely_s < lim["like_long_room"] * at_most_s / 3.0
        out[i] = one_line or like_room
    return out


def _strong_partials_fall_db(channels: Samples, m: NoteMeasures, i: int, *, rate_hz: int) -> FloatArray:
    """How far each strong partial falls from just before the release to a quarter of a second after it, dB."""
    released_s = float(m.strikes.onset_s[i] + m.release.assumed_s[i])
    after_s = min(released_s + FALL_AFTER_S, float(m.strikes.next_s[i]) - 0.02 - FALL_WINDOW_S)
    size = round(FALL_WINDOW_S * rate_hz)
    starts = np.round(np.array([released_s - 0.03 - FALL_WINDOW_S, after_s]) * rate_hz).astype(int)
    f_hz = _own_partials_hz(m, i, PARTIALS)
    turning = np.exp(
        -2j * np.pi * f_hz[f_hz < 0.45 * rate_hz, None] / rate_hz * np.arange(size)
    ) * np.hanning(size)
    pieces = [channels[:, s : s + size] for s in starts]
    if starts[0] < 0 or any(p.shape[1] < size for p in pieces):
        return np.zeros(0)
    before, after = (10.0 * np.log10(np.sum(np.abs(turning @ p.T) ** 2, axis=1) + 1e-20) for p in pieces)
    strong = before > before.max() - limits()["elsewhere"]["strong_db"]
    return np.asarray(before[strong] - after[strong])


def undamped_perhaps(m: NoteMeasures) -> NDArray[np.bool_]:
    """Notes that seem to have a slow damper above the last one that is heard at work, shape (notes,)."""
    slow, _ = slow_dampers(m)
    last = m.release.last_damped_key
    return np.asarray(slow & (m.strikes.key > (last if last is not None else m.strikes.key.max())))


def struck_again(m: NoteMeasures) -> NDArray[np.bool_]:
    """Notes whose level, once fallen, rises as at a blow before they are let go, shape (notes,)."""
    lim = limits()["elsewhere"]
    out = np.zeros(len(m.levels), dtype=bool)
    for i, level in enumerate(m.levels):
        inside = (level.time_s > AGAIN_FROM_S) & (level.time_s < np.nan_to_num(m.usable_s[i]))
        db = np.maximum(level.level_db, level.floor_db)[inside]
        step = round(RISE_S / float(np.median(np.diff(level.time_s)))) if inside.sum() > 1 else 0
        if step and len(db) > step:
            rise = db[step:] - db[:-step]
            loud = db[step:] > float(level.level_db.max()) - lim["again_loud_db"]
            out[i] = bool(np.any(loud & (rise > lim["again_rise_db"])))
    return out
