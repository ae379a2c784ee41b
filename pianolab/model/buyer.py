"""Who the piano is for: what matters to them, as ranges of weights, and their money."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any, Literal, get_args

from pianolab.errors import BadInput
from pianolab.model.opinions import TASTE_HIGH, TASTE_LOW
from pianolab.model.records import Room
from pianolab.shipped import shipped
from pianolab.show import Fields

AspectName = Literal["tone", "touch", "tuning stability", "structure", "evenness", "appearance"]
ASPECTS: tuple[AspectName, ...] = get_args(AspectName)
"""The six aspects every piano is judged by; money is kept apart."""

ROUNDING = 1e-9
MOST_YEARS = 100


@dataclass(frozen=True, kw_only=True)
class BuyerProfile(Fields):
    """A buyer: weight ranges per aspect (0 to 1, low and high), budget, home room, plans.

    Weights are shares of the whole: those of the six aspects and ``money_weight`` add up to 1, each within its
    range. ``money_weight`` says how much a saving of the whole budget would count beside the aspects.
    ``touch_taste`` holds the places on the described scales of touch that suit this player (1 to 5, low and
    high; a scale left out is all the same to them); it is taste and lowers no score. ``locale`` is how money
    is written (``en_GB``, ``de_CH``, …).
    """

    name: str
    description: str = ""
    weights: dict[str, tuple[float, float]] = field(
        default_factory=lambda: dict.fromkeys(ASPECTS, (0.05, 0.25))
    )
    money_weight: tuple[float, float] = (0.05, 0.25)
    budget: Decimal | None = None
    currency: str = "EUR"
    home_room: Room = field(default_factory=Room)
    years_of_use: float = 10.0
    level: str = ""
    enjoys_projects: bool = False
    moving_cost: tuple[Decimal, Decimal] = (Decimal(0), Decimal(0))
    touch_taste: dict[str, tuple[int, int]] = field(default_factory=dict)
    locale: str = "en_GB"

    def __post_init__(self) -> None:
        if set(self.weights) != set(ASPECTS):
            raise BadInput("weights", sorted(self.weights), "all of " + ", ".join(ASPECTS))
        for aspect, (low, high) in [*self.weights.items(), ("money", self.money_weight)]:
            if not 0.0 <= low <= high <= 1.0:
                raise BadInput(f"weight of {aspect}", f"{low} to {high}", "low not above high, within 0 to 1")
        if sum(high for _, high in self.weights.values()) <= 0:
            raise BadInput("weights", "all zero", "at least one aspect that matters")
        if self.budget is not None and not (self.budget.is_finite() and self.budget > 0):
            raise BadInput("budget", self.budget, "more than 0")
        if len(self.currency) != 3 or not self.currency.isalpha():
            raise BadInput("currency", repr(self.currency), "a three-letter code such as EUR")
        for scale, (first, last) in self.touch_taste.items():
            if not TASTE_LOW <= first <= last <= TASTE_HIGH:
                raise BadInput(f"taste of {scale}", f"{first} to {last}", f"{TASTE_LOW} to {TASTE_HIGH}")

    def check(self) -> None:
        """Refuse what can be written down but not used: weights that exclude each other, plans that can't be.

        A record in a casebook stays readable whatever it says; this is asked where somebody is to be advised.

        Raises
        ------
        BadInput

        Examples
        --------
        >>> BuyerProfile(name="x", weights=dict.fromkeys(ASPECTS, (0.3, 0.4))).check()
        Traceback (most recent call last):
        ...
        pianolab.errors.BadInput: weights of x: got 185 % at least, need shares that can add up to 100 %, money ...
        """
        ranges = [*self.weights.values(), self.money_weight]
        least, most = sum(low for low, _ in ranges), sum(high for _, high in ranges)
        need = "shares that can add up to 100 %, money among them"
        if least > 1.0 + ROUNDING:
            hint = "These ranges exclude each other: lower some of the low ends."
            raise BadInput(f"weights of {self.name}", f"{least:.0%} at least".replace("%", " %"), need, hint)
        if most < 1.0 - ROUNDING:
            hint = "These ranges exclude each other: raise some of the high ends."
            raise BadInput(f"weights of {self.name}", f"{most:.0%} at most".replace("%", " %"), need, hint)
        if not 0 < self.years_of_use <= MOST_YEARS:
            raise BadInput("years of use", f"{self.years_of_use:g}", f"more than 0, at most {MOST_YEARS}")
        low, high = self.moving_cost
        if not (low.is_finite() and high.is_finite() and 0 <= low <= high):
            raise BadInput("moving cost", f"{low} to {high}", "0 or more, low not above high")


def load_profiles() -> dict[str, BuyerProfile]:
    """The described buyer profiles that come with pianolab (``datasets/profiles.toml``), by name.

    Examples
    --------
    >>> sorted(load_profiles())
    ['conservatoire candidate', 'first piano', 'patient restorer']
    """
    data = tomllib.loads(shipped("datasets/profiles.toml").read_text(encoding="utf-8"))
    profiles = {}
    for name, entry in data["profiles"].items():
        entry = dict(entry)
        weights = {aspect: (float(w[0]), float(w[1])) for aspect, w in entry.pop("weights").items()}
        money = entry.pop("money_weight", (0.1, 0.3))
        moving = entry.pop("moving_cost", (0, 0))
        budget = entry.pop("budget", None)
        room = Room(**_tupled(entry.pop("home_room", {})))
        taste = {scale: (int(t[0]), int(t[1])) for scale, t in entry.pop("touch_taste", {}).items()}
        profiles[name] = BuyerProfile(
            name=name,
            weights=weights,
            money_weight=(float(money[0]), float(money[1])),
            moving_cost=(Decimal(str(moving[0])), Decimal(str(moving[1]))),
            budget=None if budget is None else Decimal(str(budget)),
            home_room=room,
            touch_taste=taste,
            **entry,
        )
    return profiles


def _tupled(entry: dict[str, Any]) -> dict[str, Any]:
    """TOML knows lists only; records hold tuples."""
    return {k: tuple(v) if isinstance(v, list) else v for k, v in entry.items()}
