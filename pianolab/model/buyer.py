"""Who the piano is for: what matters to them, as ranges of weights, and their money."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Literal, get_args

from pianolab.errors import BadInput
from pianolab.model.records import Room
from pianolab.shipped import shipped

AspectName = Literal["tone", "touch", "tuning stability", "structure", "evenness", "appearance"]
ASPECTS: tuple[AspectName, ...] = get_args(AspectName)
"""The six aspects every piano is judged by; money is kept apart."""


@dataclass(frozen=True, kw_only=True)
class BuyerProfile:
    """A buyer: weight ranges per aspect (0 to 1, low and high), budget, home room, plans.

    ``money_weight`` says how much a saving of the whole budget would count beside the aspects.
    """

    name: str
    description: str = ""
    weights: dict[str, tuple[float, float]] = field(
        default_factory=lambda: dict.fromkeys(ASPECTS, (0.1, 0.3))
    )
    money_weight: tuple[float, float] = (0.1, 0.3)
    budget: Decimal | None = None
    currency: str = "EUR"
    home_room: Room = field(default_factory=Room)
    years_of_use: float = 10.0
    level: str = ""
    enjoys_projects: bool = False
    moving_cost: tuple[Decimal, Decimal] = (Decimal(0), Decimal(0))

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
        room = Room(**entry.pop("home_room", {}))
        profiles[name] = BuyerProfile(
            name=name,
            weights=weights,
            money_weight=(float(money[0]), float(money[1])),
            moving_cost=(Decimal(str(moving[0])), Decimal(str(moving[1]))),
            budget=None if budget is None else Decimal(str(budget)),
            home_room=room,
            **entry,
        )
    return profiles
