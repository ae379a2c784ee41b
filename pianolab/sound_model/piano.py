"""The modelled piano as data: what it is, how it is tuned, what is wrong with it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal, get_args

import numpy as np

from pianolab.errors import BadInput
from pianolab.keyboard import FIRST_KEY, HIGHEST_KEY, LAST_KEY, LOWEST_KEY, check_key
from pianolab.sound_model.amounts import LIMITS, OFF_DB, PLAIN, PURPOSES
from pianolab.sound_model.strings import (
    BASS_INTERCEPT,
    FloatArray,
    inharmonicity_line,
    partial_hz,
    stretch_curve_cents,
)
from pianolab.units import key_to_hz, shift_cents

FaultKind = Literal["silent", "off_pitch", "unison", "short_sustain", "damper", "buzz", "voicing"]
PianoKind = Literal["upright", "grand"]
__all__ = ["OFF_DB", "PLAIN", "FaultKind", "KeyFault", "PianoKind", "PianoModel"]
USUAL_AMOUNT: dict[str, float] = {
    "silent": 1.0,
    "off_pitch": 12.0,
    "unison": 4.0,
    "short_sustain": 0.45,
    "damper": 0.35,
    "buzz": -30.0,
    "voicing": 8.0,
}
ALLOWED: dict[str, tuple[float, float, str]] = {
    "silent": (1.0, 1.0, "1"),
    "off_pitch": (-150.0, 150.0, "cents between -150 and 150"),
    "unison": (0.0, 60.0, "cents between 0 and 60"),
    "short_sustain": (0.05, 1.0, "a share of the usual sustain between 0.05 and 1"),
    "damper": (0.0, 1.0, "a share of the sound that leaks, between 0 and 1"),
    "buzz": (-70.0, 0.0, "dB re the tone between -70 and 0"),
    "voicing": (-20.0, 20.0, "dB between -20 and 20"),
}
BASS_OF_KIND: dict[str, float] = {"upright": 0.4, "grand": -0.45}


def check_edge(name: str, key: int) -> None:
    """Refuse the end of a stretch of keys that no keyboard has; the key below the lowest stands for none."""
    if not LOWEST_KEY - 1 <= key <= HIGHEST_KEY:
        raise BadInput(name, key, f"a key from {LOWEST_KEY - 1} (none) to {HIGHEST_KEY}")


@dataclass(frozen=True, kw_only=True)
class KeyFault:
    """One fault of one key.

    ``amount`` by kind: ``off_pitch`` cents (of all strings, or of one with ``strings="one"``), ``unison``
    cents from the lowest to the highest string, ``short_sustain`` the share of the usual sustain that is
    left, ``damper`` the share of the amplitude that leaks past the damper, ``buzz`` dB re the tone
    (``manner`` ``periodic`` or ``rattle``), ``voicing`` dB that the partials from the fifth up gain on the
    first two (above key 76: from the third on the first). None takes a usual amount.

    Examples
    --------
    >>> KeyFault(key=60, kind="short_sustain").amount
    0.45
    """

    key: int
    kind: FaultKind
    amount: float | None = None
    strings: Literal["all", "one"] = "all"
    manner: Literal["periodic", "rattle"] = "periodic"

    def __post_init__(self) -> None:
        check_key(self.key)
        if self.kind not in get_args(FaultKind):
            raise BadInput("kind", repr(self.kind), "one of " + ", ".join(get_args(FaultKind)))
        if self.amount is None:
            object.__setattr__(self, "amount", USUAL_AMOUNT[self.kind])
        low, high, need = ALLOWED[self.kind]
        if self.amount is None or not low <= self.amount <= high:
            raise BadInput(f"amount of {self.kind}, key {self.key}", self.amount, need)
        for name, value, words in (
            ("strings", self.strings, ("all", "one")),
            ("manner", self.manner, ("periodic", "rattle")),
        ):
            if value not in words:
                raise BadInput(name, repr(value), " or ".join(words))


@dataclass(frozen=True, kw_only=True)
class PianoModel:
    """A piano that can be rendered; the same model gives the same strings, always.

    Parameters
    ----------
    seed : int; draws everything that differs from piano to piano and key to key
    kind : ``upright`` (shorter bass strings, somewhat shorter sustain) or ``grand``
    offset_cents : pitch of the whole piano against A4 = ``a4_hz``
    tuning_spread_cents : standard deviation of a key's distance from the stretched tuning curve
    unison_spread_cents : typical distance between the outer strings of one key
    sustain : 1 is usual; 0.5 lets every note decay twice as fast
    inharmonicity_scale : 1 is usual; 0 gives ideal strings and, with it, plain equal temperament
    inharmonicity_jump : factor on the inharmonicity of the wound strings, up to ``break_key``; 1 is none
    break_key, last_single_key : the last key with wound strings (two each, three above it), and the last one
        with a single string
    hardness_db : brighter (worn, hard hammers) or darker than usual, in dB for the partials from the fifth up
    voicing_spread_db : the same from key to key, standard deviation
    false_beat_cents : scatter of single strings' partials, standard deviation
    last_damped_key : keys above have no damper
    partial_scatter_db, colour_scatter_db : standard deviation of the partials' levels, each by itself and in
        broad hills over the partials of a key
    decay_scatter : the same of the partials' decay, as a logarithm
    strike_point_scale : where the hammer strikes, 1 is usual
    first_partial_db : level of partial 1 against usual, on keys up to ``first_partial_up_to`` and on
        ``first_partial_share`` of the others
    aftersound_db : strings' movement along the board, against what is usual
    rise_scale : how long the partials take to come up, 1 is usual, 0 at once
    touch : how much the spectrum changes with the blow, 1 is usual, 0 not at all
    blow_spread : how much two blows of one key differ, 1 is usual, 0 not at all
    damper_softness : how gradually and unevenly dampers work, 1 is usual, 0 plain exponentials at once
    knock_db : hammer and key noise, against what is usual
    thump_db, body_db : the board's answer to the blow, quick and lingering, against what is usual
    sympathetic_db, duplex_db : undamped strings that ring along; the strings' lengths beyond the bridge
    longitudinal_db, phantom_db : the strings' movement along themselves, on its own and forced
    damper_noise_db : the noise of the damper on the string
    faults : tuple of `KeyFault`

    Notes
    -----
    At `OFF_DB` a layer isn't made. `PianoModel.plain` has none but the strings' modes and a knock.

    Raises
    ------
    BadInput : a value no piano has

    Examples
    --------
    >>> PianoModel(seed=1, kind="grand").strings(1).shape
    (1,)
    """

    seed: int = 1
    kind: PianoKind = "upright"
    a4_hz: float = 440.0
    offset_cents: float = 0.0
    tuning_spread_cents: float = 0.3
    unison_spread_cents: float = 0.4
    sustain: float = 1.0
    inharmonicity_scale: float = 1.0
    inharmonicity_jump: float = 1.0
    break_key: int = 28
    last_single_key: int = 10
    hardness_db: float = 0.0
    voicing_spread_db: float = 0.8
    false_beat_cents: float = 0.15
    last_damped_key: int = 68
    partial_scatter_db: float = 4.5
    colour_scatter_db: float = 0.0
    decay_scatter: float = 0.4
    strike_point_scale: float = 1.0
    first_partial_db: float = 0.0
    first_partial_up_to: int = HIGHEST_KEY
    first_partial_share: float = 0.0
    aftersound_db: float = 0.0
    rise_scale: float = 1.0
    touch: float = 1.0
    blow_spread: float = 1.0
    damper_softness: float = 1.0
    knock_db: float = 0.0
    thump_db: float = 0.0
    body_db: float = 0.0
    sympathetic_db: float = 0.0
    duplex_db: float = 0.0
    longitudinal_db: float = 0.0
    phantom_db: float = 0.0
    damper_noise_db: float = 0.0
    first_key: int = FIRST_KEY
    last_key: int = LAST_KEY
    faults: tuple[KeyFault, ...] = ()

    def __post_init__(self) -> None:
        if self.seed < 0:
            raise BadInput("seed", self.seed, "0 or more")
        if self.kind not in get_args(PianoKind):
            raise BadInput("kind", repr(self.kind), "upright or grand")
        for name, (low, high) in LIMITS.items():
            if not low <= getattr(self, name) <= high:
                raise BadInput(name, getattr(self, name), f"a value from {low:g} to {high:g}")
        for name in ("break_key", "last_single_key", "last_damped_key", "first_partial_up_to"):
            check_edge(name, getattr(self, name))
        if self.last_single_key > self.break_key:
            raise BadInput("last_single_key", self.last_single_key, f"a key up to break_key {self.break_key}")
        check_key(self.first_key, name="first_key")
        check_key(self.last_key, name="last_key")
        if self.first_key > self.last_key:
            raise BadInput("first_key", self.first_key, f"a key up to last_key {self.last_key}")
        object.__setattr__(self, "faults", tuple(self.faults))
        for fault in self.faults:
            self._check_fault(fault)

    @classmethod
    def plain(cls, **fields: Any) -> PianoModel:
        """A piano without the layers that make it like a recording; ``fields`` as of `PianoModel`.

        Examples
        --------
        >>> PianoModel.plain(seed=2).body_db
        -100.0
        """
        return cls(**{**PLAIN, **fields})

    def string_count(self, key: int) -> int:
        """How many strings the key has.

        Examples
        --------
        >>> [PianoModel(break_key=20).string_count(k) for k in (5, 20, 21)]
        [1, 2, 3]
        """
        return 1 if key <= self.last_single_key else 2 if key <= self.break_key else 3

    def _check_fault(self, fault: KeyFault) -> None:
        """Refuse a fault that this piano can't have, or that nobody could hear."""
        if not self.first_key <= fault.key <= self.last_key:
            raise BadInput("key of a fault", fault.key, f"a key from {self.first_key} to {self.last_key}")
        if fault.kind == "damper" and not self.damped(fault.key):
            raise BadInput(
                "key of a damper fault", fault.key, f"a key with a damper, up to {self.last_damped_key}"
            )
        if fault.kind == "unison" and self.string_count(fault.key) == 1:
            raise BadInput("key of a unison fault", fault.key, "a key with two or three strings")

    def stream(self, key: int, purpose: str) -> np.random.Generator:
        """The random numbers of one key for one purpose; a fault elsewhere never changes them."""
        return np.random.default_rng([self.seed, key + 1000, PURPOSES.index(purpose)])

    def fault(self, key: int, kind: FaultKind) -> KeyFault | None:
        """The key's fault of that kind, if it has one (the last one where several are given)."""
        return next((f for f in reversed(self.faults) if f.key == key and f.kind == kind), None)

    def damped(self, key: int) -> bool:
        """Whether the key has a damper."""
        return key <= self.last_damped_key

    @property
    def bass_intercept(self) -> float:
        """Height of this piano's bass line of inharmonicity (see `inharmonicity_line`)."""
        return BASS_INTERCEPT + BASS_OF_KIND[self.kind] + 0.1 * float(self.stream(0, "piano").normal())

    def inharmonicity(self, key: int) -> float:
        """Inharmonicity coefficient B of the key's strings.

        It goes with one over the tension [fletcher1964]: a piano that is flat as a whole has slacker strings.
        """
        scatter = np.exp(0.03 * self.stream(check_key(key), "stiffness").normal())
        line = inharmonicity_line(key, bass_intercept=self.bass_intercept)
        slack = float(shift_cents(1.0, -2.0 * self.offset_cents))
        jump = self.inharmonicity_jump if key <= self.break_key else 1.0
        return float(self.inharmonicity_scale * jump * line * scatter * slack)

    def strings(self, key: int) -> FloatArray:
        """First partial of each string of the key on its own (without the bridge).

        Returns
        -------
        ndarray, shape (1,), (2,) or (3,), Hz

        Examples
        --------
        >>> ideal = PianoModel(inharmonicity_scale=0, tuning_spread_cents=0, unison_spread_cents=0)
        >>> ideal.strings(49)
        array([440., 440., 440.])
        """
        curve = stretch_curve_cents(key, bass_intercept=self.bass_intercept, scale=self.inharmonicity_scale)
        scatter = self.tuning_spread_cents * self.stream(check_key(key), "pitch").normal()
        cents = self.offset_cents + float(curve) + scatter + self._string_offsets_cents(key)
        return np.asarray(shift_cents(key_to_hz(key, a4_hz=self.a4_hz), cents))

    def partials(self, key: int, numbers: FloatArray) -> FloatArray:
        """Partials of each string on its own, shape (partials, strings), Hz."""
        return partial_hz(self.strings(key), inharmonicity=self.inharmonicity(key), numbers=numbers)

    def _string_offsets_cents(self, key: int) -> FloatArray:
        """Distance of each string from the key's pitch: unison spread, then what slipped."""
        rng = self.stream(key, "unison")
        count = self.string_count(key)
        spread = self.unison_spread_cents * float(np.exp(0.4 * rng.normal()))
        unison, off = self.fault(key, "unison"), self.fault(key, "off_pitch")
        spread = float(unison.amount or 0.0) if unison else spread
        places = rng.permutation(np.array([0.0, 1.0, rng.uniform(0.15, 0.85)][:count]))
        offsets = spread * (places - places.mean()) if count > 1 else np.zeros(1)
        if off and (off.strings == "all" or count == 1):
            offsets = offsets + float(off.amount or 0.0)
        elif off:
            offsets[int(rng.integers(count))] += float(off.amount or 0.0)
        return np.asarray(offsets)
