"""Does a piano hold its tuning? Two recordings, days apart, compared key by key.

Method
------
The change of every key's first partial is the ratio of the two measured frequencies, so another pitch standard
(``a4_hz``) plays no part, and where a reading of the keys is shifted by a semitone the keys are laid on each other
again first. What is smooth over the keys (weather, the recorder's clock, a whole piano pulled up) is taken out,
each key judged by what the others predict for it (`drift`). What is left, and the unison before and after,
is explained in three ways: unchanged, one string moved, all strings moved (`slips`). The shares of the three among
the keys, and the repeat errors of pitch and unison as multiples of the surveys' own ``_sd``, are learned from
this pair of recordings itself by expectation and maximisation, robustly. The chance that is given is the
probability of the last two explanations together.

Sources: bridge coupling and unisons [weinreich1977]; differences under 1 cent among three strings are no fault
[kirk1959]; mixture, drift and string arithmetic are own derivations, tested on modelled pianos of two kinds.

Limits
------
Which string moved can't be heard. A change of a cent or two is a string that moved, not a loose pin. A slip smaller than ``least_found_cents`` stays unseen. A group of ten
neighbouring keys that moved alike looks like weather. The chance says that a key moved by itself, not why: a pin,
a string that was new, a knock, a tuner's lever. The number of strings is the usual one for the key, and may be wrong
where one design changes from one to two or from two to three.

Failure cases
-------------
Where most keys went their own way the piano was tuned in between, and nothing is said about pins; where the
inharmonicity of the keys disagrees it is another piano. Both are stated in ``state``. Fewer than five keys measured
in both recordings can't show what is smooth: `BadInput`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from pianolab.acoustics.judging.tuning import robust_spread
from pianolab.errors import BadInput
from pianolab.keyboard import note_name
from pianolab.recordings.pairing import OTHER_PIANO, Pairs, pair_keys
from pianolab.recordings.slips import ALL_STRINGS, ONE_STRING, UNCHANGED, PairKnowledge, learn, least_found_of
from pianolab.show import Row, Showable

if TYPE_CHECKING:
    import pandas as pd

    from pianolab.acoustics.survey_result import Survey

LISTED_CHANCE = 0.2
"""Listed from here: worth hearing again. Of unchanged keys of modelled pianos of two kinds 7 of 850 reached it up to
key 76, but 18 of 144 above, where few partials speak; of keys with one string 1 cent lower 228 of 238 (own measurement)."""
LEAST_KEYS = 5
FAR_SLIP_CENTS = 3.0
"""A string moves by 1 or 2 cents of itself in the weeks after a tuning; one that went so far or farther is a reason to
have its pin felt [practice]."""
TUNED_PITCH_CENTS, TUNED_UNISON_CENTS, TUNED_SHARE = 0.25, 0.3, 0.45
"""Median-based spreads of keys and unisons from which a piano was tuned in between: four to five times the repeat
error; or this share of keys that moved by themselves."""
FAR_UNEVEN_CENTS = 1.0
TOP_FROM_KEY = 64
"""From here up single notes show B too vaguely to tell pianos apart."""
MOVED_WORDS = {UNCHANGED: "", ONE_STRING: "one string", ALL_STRINGS: "all strings"}


@dataclass(frozen=True, kw_only=True)
class KeyHolding:
    """What became of one key; None where unknown, and ``why`` says why.

    ``change_cents`` is the whole change, ``drift_cents`` the part all keys share, ``own_cents`` the rest with its
    ``own_sd``; ``chance`` the probability that the key moved by itself, ``moved`` what moved (``one string``,
    ``all strings``, ``its only string``, or empty), ``slip_cents`` how far.
    """

    key: int
    note: str
    strings: int
    change_cents: float | None = None
    drift_cents: float | None = None
    own_cents: float | None = None
    own_sd: float | None = None
    unison_change_cents: float | None = None
    chance: float | None = None
    chance_one_string: float | None = None
    moved: str = ""
    slip_cents: float | None = None
    why: str = ""


@dataclass(frozen=True, kw_only=True, repr=False)
class Holding(Showable):
    """Two recordings of one piano compared; ``keys`` has an entry for every key of either.

    ``state`` is ``compared``, ``tuned in between`` or ``another piano``; only the first lists keys. ``repeat_cents``
    is the repeat error of one key's pitch in this pair, ``least_found_cents`` the slip of one string of three that is
    listed nineteen times out of twenty (None where unknown), ``notes`` are sentences.
    """

    keys: tuple[KeyHolding, ...]
    state: str
    days: float | None
    drift_cents: float | None
    drift_lowest_cents: float | None
    drift_highest_cents: float | None
    step_key: int | None
    repeat_cents: float | None
    least_found_cents: float | None
    notes: tuple[str, ...] = ()

    header = ("note", "moved by itself", "own change", "unison change", "chance", "remark")

    @property
    def listed(self) -> tuple[KeyHolding, ...]:
        """The keys whose chance to have moved by themselves is a fifth or more, most certain first."""
        own = [k for k in self.keys if k.chance is not None and k.chance >= LISTED_CHANCE]
        return tuple(sorted(own, key=lambda k: (-(k.chance or 0.0), k.key)))

    @property
    def moved_far(self) -> tuple[KeyHolding, ...]:
        """Those of them that moved so far that the pin is worth feeling."""
        return tuple(k for k in self.listed if abs(k.slip_cents or FAR_SLIP_CENTS) >= FAR_SLIP_CENTS)

    @property
    def compared(self) -> int:
        """How many keys could be compared."""
        return sum(k.chance is not None for k in self.keys)

    def headline(self) -> str:
        when = "" if self.days is None else f" after {self.days:g} days"
        if self.state != "compared":
            return f"{self.state}{when}: nothing can be said about the pins"
        moved = ", ".join(f"{k.note} ({k.moved})" for k in self.listed)
        return f"{self.compared} keys compared{when}; " + (
            f"moved by themselves: {moved}" if moved else "none moved by itself"
        )

    def rows(self) -> list[Row]:
        listed: list[Row] = [
            (k.note, k.moved, k.own_cents, k.unison_change_cents, k.chance, _how_far(k)) for k in self.listed
        ]
        missing: list[Row] = [
            (k.note, "not compared", None, None, None, k.why) for k in self.keys if k.chance is None
        ]
        return [
            *listed,
            *(
                [("all keys", "together", self.drift_cents, None, None, self._drift_words())]
                if self.drift_cents is not None
                else []
            ),
            *missing,
            *(("", "", None, None, None, sentence) for sentence in self.notes),
        ]

    def _drift_words(self) -> str:
        return f"the whole instrument, from {self.drift_lowest_cents:.1f} to {self.drift_highest_cents:.1f} cents over the keys"

    def to_frame(self) -> pd.DataFrame:
        """A row per key with the fields of `KeyHolding`."""
        import pandas as pd

        return pd.DataFrame([vars(k) for k in self.keys])


def _how_far(k: KeyHolding) -> str:
    if k.slip_cents is None:
        return k.why
    far = abs(k.slip_cents) >= FAR_SLIP_CENTS
    way = "flat" if k.slip_cents < 0 else "sharp"
    said = (
        f"{k.moved} moved about {abs(k.slip_cents):.1f} cents {way}",
        "worth having the pin felt" if far else "",
        k.why,
    )
    return "; ".join(s for s in said if s)


def holds_tuning(first: Survey, second: Survey, *, days: float | None = None) -> Holding:
    """Which keys of a piano went their own way between two recordings.

    Read the result as: a list of keys where a string moved, each with its chance and how far, after what the weather
    did to the whole piano is taken out. Those in ``moved_far`` are for a technician, who feels the pins.

    Parameters
    ----------
    first, second : Survey; recordings of one piano, the earlier first
    days : float, days between them, above 0; only told on, nothing is computed from it

    Returns
    -------
    Holding

    Raises
    ------
    BadInput
        fewer than five keys measured in both, or days that are not above 0

    Examples
    --------
    >>> from pianolab.acoustics import listen
    >>> from pianolab.sound_model import KeyFault, PianoModel, render_scale
    >>> def heard(offset_cents, seed, *faults):
    ...     piano = PianoModel(seed=2, offset_cents=offset_cents, faults=faults)
    ...     scale = render_scale(piano, first_key=38, last_key=52, hold_s=1.5, rate_hz=16000, seed=seed)
    ...     return listen(scale.samples, rate_hz=16000, first_key=38, last_key=52)
    >>> before = heard(0.0, 1)
    >>> after = heard(-4.0, 2, KeyFault(key=45, kind="off_pitch", amount=-2.0, strings="one"))
    >>> holds_tuning(before, after, days=12)
    <Holding 15 keys compared after 12 days; moved by themselves: F4 (one string)>
    >>> holds_tuning(before, before)
    <Holding 15 keys compared; none moved by itself>
    """
    if days is not None and not days > 0:
        raise BadInput("days", f"{days:g}", "more than 0", "Were the recordings exchanged?")
    pairs = pair_keys(first, second)
    if pairs.known.sum() < LEAST_KEYS:
        raise BadInput(
            "the two recordings",
            f"{int(pairs.known.sum())} keys measured in both",
            f"{LEAST_KEYS} or more",
            "Different registers, or a recording too noisy to measure?",
        )
    learned = learn(pairs)
    state = _state(pairs, learned)
    return _result(pairs, learned, state=state, days=days)


def _state(pairs: Pairs, learned: PairKnowledge) -> str:
    """Whether single keys can be spoken of at all."""
    bent = pairs.log_b_change[pairs.known & (pairs.key < TOP_FROM_KEY)]
    if np.sum(~np.isnan(bent)) >= LEAST_KEYS and float(np.nanmedian(np.abs(bent))) > OTHER_PIANO:
        return "another piano"
    moved = float(np.mean(learned.chance[pairs.known, UNCHANGED] < 0.5))
    uneven = robust_spread(learned.own[pairs.known])
    unisons = pairs.unison_change[pairs.known & (pairs.strings > 1)]
    # A median at its own 0: unisons that all got better or worse count as changed too.
    changed = 1.4826 * float(np.nanmedian(np.abs(unisons))) if np.any(~np.isnan(unisons)) else 0.0
    all_went = uneven > TUNED_PITCH_CENTS and changed > TUNED_UNISON_CENTS
    return "tuned in between" if moved > TUNED_SHARE or all_went or uneven > FAR_UNEVEN_CENTS else "compared"


def _result(pairs: Pairs, learned: PairKnowledge, *, state: str, days: float | None) -> Holding:
    told = state == "compared"
    line = learned.drift.line[pairs.known]
    repeat = learned.pitch_factor * float(np.median(pairs.pitch_sd[pairs.known]))
    keys = tuple(_key(pairs, learned, i, told=told, state=state) for i in range(len(pairs.key)))
    return Holding(
        keys=keys,
        state=state,
        days=days,
        drift_cents=float(np.median(line)) if state != "another piano" else None,
        drift_lowest_cents=float(line.min()) if told else None,
        drift_highest_cents=float(line.max()) if told else None,
        step_key=learned.drift.step_key if told else None,
        repeat_cents=repeat if told else None,
        least_found_cents=least_found_of(pairs, learned, listed_chance=LISTED_CHANCE) if told else None,
        notes=_notes(pairs, learned, state),
    )


def _key(pairs: Pairs, learned: PairKnowledge, i: int, *, told: bool, state: str) -> KeyHolding:
    key, strings = int(pairs.key[i]), int(pairs.strings[i])
    if not pairs.known[i]:
        return KeyHolding(key=key, note=note_name(key), strings=strings, why=pairs.why[i])
    unison = float(pairs.unison_change[i])
    known = KeyHolding(
        key=key,
        note=note_name(key),
        strings=strings,
        change_cents=float(pairs.change[i]),
        unison_change_cents=None if np.isnan(unison) else unison,
        why=pairs.why[i] if told else state,
    )
    if not told:
        return known
    chance = learned.chance[i]
    moves = float(chance[ONE_STRING] + chance[ALL_STRINGS])
    which = ONE_STRING if chance[ONE_STRING] >= chance[ALL_STRINGS] else ALL_STRINGS
    listed = moves >= LISTED_CHANCE
    return replace(
        known,
        drift_cents=float(learned.drift.others[i]),
        own_cents=float(learned.own[i]),
        own_sd=float(learned.own_sd[i]),
        chance=moves,
        chance_one_string=float(chance[ONE_STRING]) / moves if strings > 1 and moves > 0 else None,
        moved=("its only string" if strings == 1 else MOVED_WORDS[which]) if listed else "",
        slip_cents=float(learned.slip[i, which]) if listed else None,
    )


def _notes(pairs: Pairs, learned: PairKnowledge, state: str) -> tuple[str, ...]:
    out = []
    if pairs.shift:
        way = "high" if pairs.shift > 0 else "low"
        out.append(
            f"the second reading lies {abs(pairs.shift)} key too {way}; the keys were laid on each other again"
        )
    if state == "another piano":
        out.append(
            "the strings' inharmonicity differs from key to key as between two pianos; are both recordings of one?"
        )
    if state == "tuned in between":
        out.append(
            "most keys went their own way, as when a tuner has been there; whether the pins hold shows from the tuning "
            "to the next visit"
        )
    if state == "compared" and learned.drift.step_key is not None:
        out.append(
            f"the drift has a step above {note_name(learned.drift.step_key)}, as where the bass bridge ends"
        )
    return tuple(out)
