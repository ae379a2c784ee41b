"""What the left pedal does: two recordings of all keys, the second with the left pedal down.

Method
------
Level and brightness of every key that sounds in both recordings are set against each other; by register the median
change is reported with its uncertainty from the scatter of the keys (the player's touch is most of it). A softer blow
alone darkens the sound too; what the change of level explains is taken out of the change of brightness with a range of
slopes, and what is left is the change of colour.

On a grand the pedal moves the action sideways: fewer strings are struck, and by felt that is not grooved. Little change
is usual with new hammers, more with worn ones [practice]. On an upright the hammers move nearer to the strings: softer,
little change of colour, and nothing about wear [practice].

Limits
------
Both recordings need one gain, one place of the microphone, and the same touch: the ear of the player makes up
for a softer piano by a stronger blow. Whether the gain was one is judged by the background noise, where there is
any. Automatic gain leaves no levels to compare.

Failure cases
-------------
Another gain: the change of level is not reported, nor the change of colour, which needs it. A register with
fewer than four keys in both says why it has no figures.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal, get_args

import numpy as np

from pianolab.acoustics.judging.tuning import robust_spread
from pianolab.errors import BadInput
from pianolab.keyboard import REGISTERS, register_of
from pianolab.show import Row, Showable
from pianolab.units import FloatArray

if TYPE_CHECKING:
    import pandas as pd

    from pianolab.acoustics.survey_result import Survey

PedalKind = Literal["grand", "upright"]
LEAST_KEYS = 4
LITTLE_DB = 1.0
"""A change of level or brightness smaller than this is next to nothing [practice]."""
COLOUR_DB = 2.0
"""A change of colour of which one may speak: twice that [practice]."""
SOFTER_IS_DARKER: dict[str, tuple[float, float]] = {
    "bass": (0.0, 0.2),
    "tenor": (0.0, 0.4),
    "middle": (0.1, 0.6),
    "treble": (0.1, 1.6),
    "top": (0.1, 1.6),
}
"""dB of brightness per dB of level from the blow alone, lowest and highest: measured on finite-difference strings
with nonlinear felt, blows 3 dB apart (own measurement, nine keys of one made-up piano)."""
ONE_GAIN_DB = 2.0
NO_NOISE_DB = -110.0


@dataclass(frozen=True, kw_only=True)
class RegisterChange:
    """One register: medians over its keys in dB (second less first) with uncertainties; None where ``why`` says why.

    ``colour_lowest_db`` and ``colour_highest_db`` bound the change of brightness that softness doesn't explain.
    """

    register: str
    keys: int
    level_db: float | None = None
    level_sd: float | None = None
    brightness_db: float | None = None
    brightness_sd: float | None = None
    colour_lowest_db: float | None = None
    colour_highest_db: float | None = None
    why: str = ""


@dataclass(frozen=True, kw_only=True, repr=False)
class LeftPedal(Showable):
    """What the left pedal changes, by register, and what that says of this kind of piano.

    ``one_gain`` is None where no background noise shows whether both recordings had one gain.
    """

    kind: PedalKind
    registers: tuple[RegisterChange, ...]
    one_gain: bool | None
    statements: tuple[str, ...]

    header = ("register", "keys", "level (dB)", "brightness (dB)", "colour beyond softness (dB)", "remark")

    def headline(self) -> str:
        return f"left pedal of a{'n' if self.kind == 'upright' else ''} {self.kind}: {self.statements[0]}"

    def rows(self) -> list[Row]:
        return [
            *((r.register, r.keys, r.level_db, r.brightness_db, _range(r), r.why) for r in self.registers),
            *(("", None, None, None, "", sentence) for sentence in self.statements),
        ]

    def to_frame(self) -> pd.DataFrame:
        """A row per register with the fields of `RegisterChange`."""
        import pandas as pd

        return pd.DataFrame([vars(r) for r in self.registers])


def _range(r: RegisterChange) -> str:
    if r.colour_lowest_db is None or r.colour_highest_db is None:
        return "–"
    return f"{r.colour_lowest_db:.1f} to {r.colour_highest_db:.1f}"


def left_pedal(first: Survey, second: Survey, *, kind: PedalKind) -> LeftPedal:
    """How much the left pedal changes level and brightness, by register.

    Parameters
    ----------
    first, second : Survey; all keys without and with the left pedal, recorded at one gain from one place
    kind : ``grand`` or ``upright``

    Returns
    -------
    LeftPedal

    Raises
    ------
    BadInput
        another kind, or no register with four keys in both recordings

    Examples
    --------
    >>> from dataclasses import replace
    >>> from pianolab.acoustics import listen
    >>> from pianolab.sound_model import PianoModel, render_scale
    >>> scale = render_scale(PianoModel(seed=2), first_key=40, last_key=51, hold_s=0.8, rate_hz=16000)
    >>> open_ = listen(scale.samples, rate_hz=16000, first_key=40, last_key=51)
    >>> softer = replace(
    ...     open_,
    ...     table=open_.table.assign(level_db=open_.table.level_db - 5),
    ...     summary=replace(open_.summary, noise_db=open_.summary.noise_db + 5),
    ... )
    >>> left_pedal(open_, softer, kind="upright")
    <LeftPedal left pedal of an upright: softer by 5 dB>
    """
    if kind not in get_args(PedalKind):
        raise BadInput("kind", repr(kind), "grand or upright", "The pedal works differently in each.")
    one_gain = _one_gain(first, second)
    both = first.table.merge(second.table, on="key", suffixes=("_open", "_pedal"))
    why_not = _why_no_levels(first, second, one_gain)
    changes = tuple(_register(r.name, both, why_not) for r in REGISTERS if (_in(both, r.name)).any())
    if not any(c.brightness_db is not None or c.level_db is not None for c in changes):
        raise BadInput(
            "the two recordings",
            f"{int(np.sum(_heard(both)))} keys measured in both",
            f"{LEAST_KEYS} or more in a register",
            "Different registers recorded?",
        )
    return LeftPedal(
        kind=kind, registers=changes, one_gain=one_gain, statements=_statements(kind, changes, why_not)
    )


def _in(both: pd.DataFrame, register: str) -> pd.Series[bool]:
    return both["key"].map(register_of) == register


def _heard(both: pd.DataFrame) -> pd.Series[bool]:
    return (both["status_open"] == "measured") & (both["status_pedal"] == "measured")


def _background_db(survey: Survey) -> float:
    """Level of the background re full scale."""
    level = survey.table["level_db"].to_numpy(float)
    return (
        survey.summary.noise_db + float(np.median(level[~np.isnan(level)]))
        if np.any(~np.isnan(level))
        else np.nan
    )


def _one_gain(first: Survey, second: Survey) -> bool | None:
    noise = np.array([_background_db(first), _background_db(second)])
    if np.any(np.isnan(noise)) or np.any(noise < NO_NOISE_DB):
        return None
    return bool(abs(noise[1] - noise[0]) <= ONE_GAIN_DB)


def _why_no_levels(first: Survey, second: Survey, one_gain: bool | None) -> str:
    """Why levels can't be compared; empty if they can."""
    if "automatic gain" in (*first.summary.impairments, *second.summary.impairments):
        return "automatic gain: levels can't be compared"
    if one_gain is False:
        apart = abs(_background_db(second) - _background_db(first))
        return f"the background differs by {apart:.1f} dB: recorded at another gain or with other noise"
    return ""


def _register(name: str, both: pd.DataFrame, why_not: str) -> RegisterChange:
    own = both[_in(both, name) & _heard(both)]
    level, bright = (
        (own[f"{column}_pedal"] - own[f"{column}_open"]).to_numpy(float)
        for column in ("level_db", "brightness_db")
    )
    known = ~np.isnan(bright)
    if len(own) < LEAST_KEYS or (known.sum() < LEAST_KEYS and why_not):
        return RegisterChange(register=name, keys=len(own), why="too few keys measured in both recordings")
    brightness = _median(bright[known]) if known.sum() >= LEAST_KEYS else None
    why = why_not or ("upper partials not heard in enough keys" if brightness is None else "")
    loudness = None if why_not else _median(level[~np.isnan(level)])
    colour = _colour(brightness, loudness, SOFTER_IS_DARKER[name])
    return RegisterChange(
        register=name,
        keys=len(own),
        level_db=loudness and loudness[0],
        level_sd=loudness and loudness[1],
        brightness_db=brightness and brightness[0],
        brightness_sd=brightness and brightness[1],
        colour_lowest_db=colour and colour[0],
        colour_highest_db=colour and colour[1],
        why=why,
    )


def _median(values: FloatArray) -> tuple[float, float]:
    """Median and its uncertainty from the scatter."""
    return float(np.median(values)), 1.25 * robust_spread(values) / float(np.sqrt(len(values)))


def _colour(
    brightness: tuple[float, float] | None, level: tuple[float, float] | None, slopes: tuple[float, float]
) -> tuple[float, float] | None:
    """What of the change of brightness the change of level does not explain: lowest and highest."""
    if brightness is None or level is None:
        return None
    left = [brightness[0] - slope * level[0] for slope in slopes]
    return min(left) - brightness[1], max(left) + brightness[1]


def _statements(kind: PedalKind, changes: tuple[RegisterChange, ...], why_not: str) -> tuple[str, ...]:
    level = [c.level_db for c in changes if c.level_db is not None]
    bright = [c.brightness_db for c in changes if c.brightness_db is not None]
    out = [_level_words(level, bright, why_not)]
    if kind == "upright":
        out.append(
            "on an upright the hammers only move nearer to the strings; this says nothing of their wear"
        )
    else:
        out.append(_grand_words(changes))
    if level and max(level) > LITTLE_DB:
        out.append(
            "louder with the pedal in part of the compass: were the recordings exchanged, or the blows stronger?"
        )
    return tuple(out)


def _level_words(level: list[float], bright: list[float], why_not: str) -> str:
    if not level:
        return f"how much softer can't be told ({why_not})"
    middle = float(np.median(level))
    if abs(middle) < LITTLE_DB:
        darker = bool(bright) and float(np.median(bright)) < -LITTLE_DB
        return (
            "as loud as before, only darker"
            if darker
            else ("next to no change: pedal not pressed, or its linkage needs regulating")
        )
    return f"{'softer' if middle < 0 else 'louder'} by {abs(middle):.0f} dB"


def _grand_words(changes: tuple[RegisterChange, ...]) -> str:
    told = [c for c in changes if c.colour_highest_db is not None and c.colour_lowest_db is not None]
    if not told:
        return (
            "the change of colour can't be told from that of the touch, so nothing follows about the hammers"
        )
    darker = [c.register for c in told if (c.colour_highest_db or 0.0) < -COLOUR_DB]
    if darker:
        return (
            f"clearly darker in {', '.join(darker)}, more than softness explains: the hammers strike with other felt than "
            "usual, as with worn, grooved hammers (common practice); look at the grooves"
        )
    little = [c for c in told if (c.colour_lowest_db or 0.0) > -COLOUR_DB]
    if len(little) == len(told):
        return "little change of colour, as is usual with hammers in good shape (common practice)"
    return "whether the colour changes beyond what softness explains can't be told; look at the grooves of the hammers"
