"""What a change of rooms means, in plain sentences for somebody who buys a piano."""

from __future__ import annotations

from collections.abc import Mapping

from pianolab.rooms.room_acoustics import RoomAcoustics, Span

AUDIBLE_DB = 1.0
"""Smallest change of level that is worth a word; about what can be heard, from memory."""
ALIKE_DB = 1.5
"""Registers whose changes differ by less are told together; own estimate."""
AUDIBLE_S = 0.07
"""Smallest change of reverberation time that is worth a word; own estimate."""
WHERE = {"treble": "above 2 kHz", "middle": "in the middle", "bass": "in the bass"}


def change_words(
    bass: Span | None, middle: Span | None, treble: Span | None, t60: Span | None, *, why: str = ""
) -> str:
    """The change at the player's ear in one or two sentences.

    Examples
    --------
    >>> treble, ring = Span(-6.0, -4.0, -2.5), Span(-0.4, -0.3, -0.2)
    >>> change_words(Span(-0.5, 0.1, 0.6), Span(-0.9, 0.2, 1.0), treble, ring)
    'At home it will be about 4 dB quieter above 2 kHz (2.5 to 6), about the same in the middle and in the bass. It
    will ring about 0.3 s less.'
    """
    rest = f" {_ring(t60)}" if t60 is not None else ""
    if bass is None or middle is None or treble is None:
        return f"How it will sound at home nobody can say yet: {why}.{rest}"
    return f"At home it will be {_levels({'treble': treble, 'middle': middle, 'bass': bass})}.{rest}"


def _levels(spans: Mapping[str, Span]) -> str:
    sure = {name: s for name, s in spans.items() if _direction(s)}
    same = [WHERE[name] for name, s in spans.items() if name not in sure and _same(s)]
    open_ones = {name: s for name, s in spans.items() if name not in sure and not _same(s)}
    if len(same) == len(spans):
        return "about as loud as in the showroom, in all registers"
    if len(sure) == len(spans) and _alike(list(sure.values())):
        return _amount(list(sure.values())) + " in all registers " + _range(list(sure.values()))
    parts = [f"{_amount([s])} {WHERE[name]} {_range([s])}" for name, s in sure.items()]
    if same:
        parts.append("about the same " + " and ".join(same))
    if open_ones:
        told = " and ".join(
            f"{WHERE[n]} ({_signed(s.low)} to {_signed(s.high)} dB)" for n, s in open_ones.items()
        )
        parts.append(f"{'perhaps ' if not parts else ''}a little louder or quieter {told}")
    return ", ".join(parts)


def _direction(span: Span) -> int:
    """-1 quieter, 1 louder, 0 where it is too little or the range leaves it open."""
    if span.low > 0.0 and span.middle >= AUDIBLE_DB:
        return 1
    return -1 if span.high < 0.0 and span.middle <= -AUDIBLE_DB else 0


def _same(span: Span) -> bool:
    return abs(span.middle) < AUDIBLE_DB and max(abs(span.low), abs(span.high)) < 2.0 * AUDIBLE_DB


def _alike(spans: list[Span]) -> bool:
    middles = [s.middle for s in spans]
    return len({_direction(s) for s in spans}) == 1 and max(middles) - min(middles) < ALIKE_DB


def _amount(spans: list[Span]) -> str:
    middle = sum(s.middle for s in spans) / len(spans)
    return f"about {abs(middle):.0f} dB {'louder' if middle > 0 else 'quieter'}"


def _range(spans: list[Span]) -> str:
    ends = [abs(e) for s in spans for e in (s.low, s.high)]
    return f"({_short(min(ends))} to {_short(max(ends))})"


def _short(value: float) -> str:
    return f"{round(value, 1):g}"


def _signed(value: float) -> str:
    return f"{round(value):+d}" if round(value) else "0"


def _ring(t60: Span) -> str:
    if abs(t60.middle) < AUDIBLE_S and max(abs(t60.low), abs(t60.high)) < 3.0 * AUDIBLE_S:
        return "It will ring about as long."
    if t60.low > 0.0 or t60.high < 0.0:
        return f"It will ring about {abs(t60.middle):.1f} s {'longer' if t60.middle > 0 else 'less'}."
    return f"Whether it will ring longer or less is open ({t60.low:+.1f} to {t60.high:+.1f} s)."


def caution_words(here: RoomAcoustics, there: RoomAcoustics) -> tuple[str, ...]:
    """What the calculation can't know, and what was only assumed of each room."""
    said = list(general_cautions(here, there))
    for name, room in (("showroom", here), ("home", there)):
        said += [f"{name}: {text}." for text in room.assumed]
    return tuple(said)


def general_cautions(here: RoomAcoustics, there: RoomAcoustics) -> tuple[str, ...]:
    """What the calculation can't know of any two rooms, and where its figures end."""
    said = [
        "Only the rooms differ here; moving a piano also puts it out of tune, and that is not in these figures."
    ]
    limits = [r.schroeder_hz.high for r in (here, there) if r.schroeder_hz is not None]
    if limits:
        said.append(
            f"Below about {max(limits):.0f} Hz single resonances of the room decide; there these figures say little."
        )
    return tuple(said)
