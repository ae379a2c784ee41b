"""What was done to the take and what that forbids: wandering speed, limiter, gate, pedal, sounds from elsewhere.

Each state that is heard becomes an `Impairment`: one sentence, the columns it empties and the faults that can't be judged;
`forbid` takes these out of the rows. How the states are heard stands in `wander`, `knee`, `gate`, `pedal` and `elsewhere`.
Where it is the recording of single keys that leaves a fault open, the sentence is empty and the reason stands with these
keys. Source: practice.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pianolab.acoustics.columns import Column, resting_with
from pianolab.acoustics.judging.buzz import over_neighbours
from pianolab.acoustics.judging.tuning_need import slipped_strings
from pianolab.acoustics.limits import limits
from pianolab.acoustics.notes import NoteMeasures
from pianolab.acoustics.recorder.elsewhere import (
    buzz_from_elsewhere,
    buzzing_notes,
    dampers_from_elsewhere,
    fades_from_elsewhere,
    hugs_partials,
    lines_of_the_room,
    struck_again,
    undamped_perhaps,
)
from pianolab.acoustics.recorder.gate import find_gate
from pianolab.acoustics.recorder.knee import hear_knee, peaks
from pianolab.acoustics.recorder.pedal import pedal_held, ring_on
from pianolab.acoustics.recorder.wander import hear_wander
from pianolab.acoustics.spectra import Samples
from pianolab.acoustics.survey_result import Row

GATE, PEDAL = "noise gate", "pedal held or keys played into one another"
LONG_ROOM = "a long room or slow dampers"


@dataclass(frozen=True, kw_only=True)
class Impairment:
    """Something wrong with the recording and what it forbids.

    ``keys`` None means all keys; ``trust`` is the word for the column ``sustain_trust``; ``name`` is the reason
    that stands in ``gaps`` and ``not_judged``. With each of ``columns`` goes all that is read from the same side of
    the sound. ``summary`` names fields of the summary that it empties.
    """

    name: str
    says: str
    columns: tuple[str, ...] = ()
    faults: tuple[str, ...] = ()
    keys: tuple[int, ...] | None = None
    trust: str = ""
    summary: tuple[str, ...] = ()


def states_of(channels: Samples, m: NoteMeasures, *, rate_hz: int, lossy: bool = False) -> list[Impairment]:
    """Everything of this kind that is heard in a recording, the most serious first.

    Parameters
    ----------
    channels : shape (channels, frames)
    m : the measured notes, times in s from the first frame
    rate_hz : Hz
    lossy : whether the file's codec leaves something out
    """
    return [
        *_wander(channels, m, rate_hz=rate_hz),
        *_knee(channels, m, rate_hz=rate_hz),
        *_gate(channels, m, rate_hz=rate_hz),
        *_pedal(m),
        *_too_soft(channels, m),
        *_elsewhere(channels, m, rate_hz=rate_hz),
        *_single_keys(channels, m, rate_hz=rate_hz),
        *(_codec(m) if lossy else _coded_before(channels, m, rate_hz=rate_hz)),
    ]


def _keys(m: NoteMeasures, which: NDArray[np.bool_]) -> tuple[int, ...]:
    return tuple(int(k) for k in m.strikes.key[which])


def _wander(channels: Samples, m: NoteMeasures, *, rate_hz: int) -> list[Impairment]:
    wander = hear_wander(
        channels,
        rate_hz=rate_hz,
        onset_s=m.strikes.onset_s,
        hold_s=np.nan_to_num(m.usable_s),
        partial_hz=np.where(m.partial_weight > 0, m.partial_hz, np.nan),
    )
    if not wander.heard:
        return []
    says = (
        f"the recorder's speed wanders (all partials of a note move together by {wander.together_cents:.1f} cents): "
        "pitch, unisons and beats are not judged; record again with another recorder"
    )
    return [
        Impairment(
            name="speed wander",
            says=says,
            faults=("off_pitch", "unison", "short_sustain"),
            columns=("f1_hz", "unison_cents", "beat_hz", "string_db_per_s"),
        )
    ]


def _knee(channels: Samples, m: NoteMeasures, *, rate_hz: int) -> list[Impairment]:
    onset_s = m.strikes.onset_s
    knee = hear_knee(
        channels,
        rate_hz=rate_hz,
        key=m.strikes.key,
        onset_s=onset_s,
        hold_s=np.nan_to_num(m.usable_s),
        f1_hz=m.f1_hz,
        inharmonicity=m.inharmonicity,
    )
    loud = knee.squeezed(peaks(channels, rate_hz=rate_hz, onset_s=onset_s)) >= limits()["knee"]["spoils"]
    if not loud.any():
        return []
    says = (
        f"the recorder rounds off what is loud, as a limiter does: sustain, brightness and buzz of {int(loud.sum())} keys "
        "are not judged; record again at a lower level"
    )
    return [
        Impairment(
            name="soft clipping",
            says=says,
            keys=_keys(m, loud),
            trust="clipped",
            faults=("short_sustain", "buzz", "voicing"),
            columns=("decay_20_s", "brightness_db", "buzz_db", "level_db"),
        )
    ]


def _gate(channels: Samples, m: NoteMeasures, *, rate_hz: int) -> list[Impairment]:
    gate = find_gate(channels, rate_hz=rate_hz, notes=len(m.strikes.key))
    if gate is None:
        return []
    cut = m.level_db < gate.level_db + limits()["gate"]["seen_db"]
    says = (
        f"a noise gate shuts off whatever is softer than {gate.level_db:.0f} dB: dampers, the room and buzzes are "
        "not judged; switch noise suppression off and record again"
    )
    too = f"the noise gate cuts {int(cut.sum())} soft notes before they have fallen 20 dB: their sustain is not judged"
    whole = Impairment(
        name=GATE,
        says=says,
        faults=("damper", "buzz"),
        columns=("release_20_s", "late_db_per_s", "buzz_db"),
        summary=("t60_s",),
    )
    soft = Impairment(
        name=GATE,
        says=too,
        keys=_keys(m, cut),
        faults=("short_sustain",),
        trust="noisy",
        columns=("decay_20_s", "late_db_per_s", "string_db_per_s"),
    )
    return [whole, soft] if cut.any() else [whole]


def _pedal(m: NoteMeasures) -> list[Impairment]:
    pedal = pedal_held(m)
    room = ring_on(m) & ~pedal
    told = (
        (
            pedal,
            PEDAL,
            "which dampers don't do all at once: a pedal held down, or keys played into one another",
        ),
        (
            room,
            LONG_ROOM,
            "but fall faster than before: a long room, or slow dampers, which can't be told apart",
        ),
    )
    return [
        Impairment(
            name=name,
            says=f"keys {_from_to(m, which)} ring on after they are let go, {why}; dampers are not judged there",
            keys=_keys(m, which),
            faults=("damper",),
            columns=("release_20_s",),
            summary=("t60_s",),
        )
        for which, name, why in told
        if which.any()
    ]


def _from_to(m: NoteMeasures, which: NDArray[np.bool_]) -> str:
    key = m.strikes.key[which]
    return f"{int(key.min())} to {int(key.max())}"


def _too_soft(channels: Samples, m: NoteMeasures) -> list[Impairment]:
    lim = limits()["quality"]
    peak_db = 20.0 * float(np.log10(max(float(np.abs(channels).max()), 1e-9)))
    if peak_db > lim["soft_peak_db"] or m.noise_db <= lim["soft_noise_db"]:
        return []
    says = (
        f"the take is too soft: its loudest moment stays {-peak_db:.0f} dB under full scale and its noise is only "
        f"{-m.noise_db:.0f} dB under the notes: buzz is not judged; move the recorder nearer or raise its level"
    )
    return [Impairment(name="too soft", says=says, faults=("buzz",))]


def _elsewhere(channels: Samples, m: NoteMeasures, *, rate_hz: int) -> list[Impairment]:
    buzz = buzz_from_elsewhere(channels, m, rate_hz=rate_hz)
    damper = dampers_from_elsewhere(channels, m, rate_hz=rate_hz)
    fades = fades_from_elsewhere(channels, m, buzz, rate_hz=rate_hz)
    why_buzz = "neither begin with the blow nor fade with the note: buzz is not judged there"
    why_damper = "cover what the damper leaves: dampers are not judged there"
    why_fades = "come while it fades: sustain is not judged there"
    return [
        Impairment(
            name="sounds from elsewhere",
            keys=_keys(m, which),
            faults=(fault,),
            columns=columns,
            trust="noisy" if fault == "short_sustain" else "",
            says=f"sounds from elsewhere over {int(which.sum())} note{'s' if which.sum() > 1 else ''} {why}",
        )
        for which, fault, columns, why in (
            (buzz, "buzz", ("buzz_db",), why_buzz),
            (damper, "damper", ("release_20_s",), why_damper),
            (fades, "short_sustain", ("decay_20_s",), why_fades),
        )
        if which.any()
    ]


def _single_keys(channels: Samples, m: NoteMeasures, *, rate_hz: int) -> list[Impairment]:
    """What the recording of single keys leaves open."""
    spoilt = ("decay_20_s", "late_db_per_s", "string_db_per_s", "unison_cents", "beat_hz")
    told: tuple[tuple[str, NDArray[np.bool_], tuple[str, ...], tuple[str, ...]], ...] = (
        ("perhaps no damper on this key", undamped_perhaps(m), ("damper",), ()),
        (
            "the room rings on, not the string",
            lines_of_the_room(channels, m, rate_hz=rate_hz),
            ("damper",),
            ("release_20_s",),
        ),
        (
            "too few partials to tell a string from a resonance",
            top_string_perhaps(m),
            ("unison", "off_pitch"),
            ("unison_cents", "beat_hz"),
        ),
        (
            "the room hides how far the strings are apart",
            m.unison.room_hides,
            ("unison",),
            ("unison_cents", "beat_hz"),
        ),
        (
            "struck again while it sounded",
            struck_again(m),
            ("unison", "off_pitch", "short_sustain", "buzz"),
            spoilt,
        ),
    )
    return [
        Impairment(name=name, says="", keys=_keys(m, which), faults=faults, columns=columns)
        for name, which, faults, columns in told
        if which.any()
    ]


def top_string_perhaps(m: NoteMeasures) -> NDArray[np.bool_]:
    """Notes one of whose strings seems far off by one or two partials, which a board may have split: at the top, or in noise."""
    key, lim = m.strikes.key, limits()["unison"]
    slipped = slipped_strings(m.unison.spread_cents, m.unison.spread_sd, key)
    few = np.sum(m.partial_weight > 0, axis=1) <= lim["few_partials"]
    return np.asarray(slipped & (few | (key > lim["few_partials_above"])))


def _codec(m: NoteMeasures) -> list[Impairment]:
    lim, seem = limits()["elsewhere"], buzzing_notes(m)
    if seem.sum() < lim["coded_keys"]:
        # One or two that stand out so far no codec makes.
        seem &= over_neighbours(m.between, key=m.strikes.key).db < lim["coded_over_db"]
    says = (
        f"the sound was stored with loss, and what a codec adds between the partials sounds like a buzz: {int(seem.sum())} "
        f"key{'s seem' if seem.sum() > 1 else ' seems'} to buzz, which is not judged there"
    )
    return [_codec_noise(m, seem, says)] if seem.any() else []


def _coded_before(channels: Samples, m: NoteMeasures, *, rate_hz: int) -> list[Impairment]:
    """A file that keeps everything may have been made from one that didn't."""
    hug = hugs_partials(channels, m, rate_hz=rate_hz)
    says = (
        f"what is heard between the partials of {int(hug.sum())} key{'s' if hug.sum() > 1 else ''} hugs them, as what a "
        "codec adds does and a buzz does not: buzz is not judged there; record to a file without loss"
    )
    return [_codec_noise(m, hug, says)] if hug.any() else []


def _codec_noise(m: NoteMeasures, which: NDArray[np.bool_], says: str) -> Impairment:
    return Impairment(
        name="codec noise", says=says, keys=_keys(m, which), faults=("buzz",), columns=("buzz_db",)
    )


def forbid(rows: Sequence[Row], impairments: Iterable[Impairment]) -> list[Row]:
    """The rows without what the recording forbids; the reasons stand in ``gaps`` and ``not_judged``.

    An impairment names columns; with each of them goes all that is read from the same side of the sound (`resting_with`).

    Parameters
    ----------
    rows : as in `survey_rows`
    impairments : the most serious first; its reason stands over those of later ones

    Returns
    -------
    list of rows, new ones where something is taken out
    """
    out = list(rows)
    for own in reversed(tuple(impairments)):
        columns = resting_with(own.columns)
        if columns or own.faults or own.trust:
            out = [_without(row, own, columns) if _meets(own, row) else row for row in out]
    return out


def _meets(own: Impairment, row: Row) -> bool:
    return row["status"] == "measured" and (own.keys is None or row["key"] in own.keys)


def _without(row: Row, own: Impairment, columns: Sequence[Column]) -> Row:
    here = [c for c in columns if c.name in row]
    verdict = {"sustain_trust": own.trust, "sustain_verdict": ""} if own.trust else {}
    return {
        **row,
        **{c.name: c.empty for c in here},
        **verdict,
        "gaps": row["gaps"] | {c.name: own.name for c in here if c.needs_reason},
        "not_judged": row["not_judged"] | dict.fromkeys(own.faults, own.name),
        "faults": tuple(f for f in row["faults"] if f not in own.faults),
    }
