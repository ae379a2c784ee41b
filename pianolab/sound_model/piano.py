"""The modelled piano as data: what it is, how it is tuned, what is wrong with it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np

from pianolab.errors import BadInput
from pianolab.keyboard import FIRST_KEY, LAST_KEY, check_key, usual_strings
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
PURPOSES = (
    "stiffness",
    "pitch",
    "unison",
    "partials",
    "false beats",
    "decay",
    "voicing",
    "damper",
    "piano",
    "along",
    "hammer",
)


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
    hardness_db : brighter (worn, hard hammers) or darker than usual, in dB for the partials from the fifth up
    voicing_spread_db : the same from key to key, standard deviation
    false_beat_cents : scatter of single strings' partials, standard deviation
    last_damped_key : keys above have no damper
    knock_db : hammer and key noise, against what is usual
    faults : tuple of `KeyFault`

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
    hardness_db: float = 0.0
    voicing_spread_db: float = 0.8
    false_beat_cents: float = 0.1
    last_damped_key: int = 68
    knock_db: float = 0.0
    first_key: int = FIRST_KEY
    last_key: int = LAST_KEY
    faults: tuple[KeyFault, ...] = ()

    def __post_init__(self) -> None:
        if self.seed < 0:
            raise BadInput("seed", self.seed, "0 or more")
        if self.kind not in get_args(PianoKind):
            raise BadInput("kind", repr(self.kind), "upright or grand")
        limits = {
            "a4_hz": (380.0, 480.0), "offset_cents": (-200.0, 200.0), "tuning_spread_cents": (0.0, 50.0),
            "unison_spread_cents": (0.0, 50.0), "sustain": (0.05, 5.0), "inharmonicity_scale": (0.0, 5.0),
            "hardness_db": (-20.0, 20.0), "voicing_spread_db": (0.0, 10.0), "false_beat_cents": (0.0, 5.0),
            "knock_db": (-60.0, 30.0),
        }  # fmt: skip
        for name, (low, high) in limits.items():
            if not low <= getattr(self, name) <= high:
                raise BadInput(name, getattr(self, name), f"a value from {low:g} to {high:g}")
        check_key(self.first_key, name="first_key")
        check_key(self.last_key, name="last_key")
        if self.first_key > self.last_key:
            raise BadInput("first_key", self.first_key, f"a key up to last_key {self.last_key}")
        object.__setattr__(self, "faults", tuple(self.faults))
        for fault in self.faults:
            self._check_fault(fault)

    def _check_fault(self, fault: KeyFault) -> None:
        """Refuse a fault that this piano can't have, or that nobody could hear."""
        if not self.first_key <= fault.key <= self.last_key:
            raise BadInput("key of a fault", fault.key, f"a key from {self.first_key} to {self.last_key}")
        if fault.kind == "damper" and not self.damped(fault.key):
            raise BadInput(
                "key of a damper fault", fault.key, f"a key with a damper, up to {self.last_damped_key}"
            )
        if fault.kind == "unison" and usual_strings(fault.key) == 1:
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
        return float(self.inharmonicity_scale * line * scatter * slack)

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
        count = usual_strings(key)
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
