"""Who the piano is for: what matters to them, as ranges of weights, and their money."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Literal, get_args

from pianolab.errors import BadInput
from pianolab.model.door import Checked
from pianolab.model.quantities import Budget, Currency, Line, Money, Name, Share, Taste, Text, Years
from pianolab.model.records import Room
from pianolab.shipped import shipped
from pianolab.show import LOCALE, money

AspectName = Literal["tone", "touch", "tuning stability", "structure", "evenness", "appearance"]
ASPECTS: tuple[AspectName, ...] = get_args(AspectName)
"""The six aspects every piano is judged by; money is kept apart."""

ROUNDING = 1e-9


@dataclass(frozen=True, kw_only=True)
class Buyer(Checked):
    """A buyer: weight ranges per aspect (0 to 1, low and high), budget, home room, plans.

    Weights are shares of the whole: those of the six aspects and ``money_weight`` add up to 1, each within its
    range. ``money_weight`` says how much a saving of the whole budget would count beside the aspects.
    ``touch_taste`` holds the places on the described scales of touch that suit this player (1 to 5, low and
    high; a scale left out is all the same to them); it is taste and lowers no score. ``locale`` is how money
    is written (``en_GB``, ``de_CH``, …).
    """

    known_by = "name"

    name: Name
    description: Text = ""
    weights: dict[str, tuple[Share, Share]] = field(
        default_factory=lambda: dict.fromkeys(ASPECTS, (0.05, 0.25))
    )
    money_weight: tuple[Share, Share] = (0.05, 0.25)
    budget: Budget | None = None
    currency: Currency = "EUR"
    home_room: Room = field(default_factory=Room)
    years_of_use: Years = 10.0
    level: Line = ""
    enjoys_projects: bool = False
    moving_cost: tuple[Money, Money] = (Decimal(0), Decimal(0))
    touch_taste: dict[Line, tuple[Taste, Taste]] = field(default_factory=dict)
    locale: Line = LOCALE

    def _together(self) -> None:
        if set(self.weights) != set(ASPECTS):
            raise self._refuse(
                "weights", ", ".join(sorted(self.weights)) or "none", "all of " + ", ".join(ASPECTS)
            )
        if not any(high > 0 for _, high in self.weights.values()):
            raise self._refuse("weights", "all zero", "at least one aspect that matters")
        self._check_order()
        if self.locale != LOCALE:
            self._check_locale()

    def _check_order(self) -> None:
        """The low end of each range is not above its high end."""
        ranges = {f"weight of {aspect}": pair for aspect, pair in self.weights.items()}
        ranges |= {"money_weight": self.money_weight, "moving_cost": self.moving_cost}  # type: ignore[dict-item]
        ranges |= {f"taste of {scale}": pair for scale, pair in self.touch_taste.items()}
        for name, (low, high) in ranges.items():
            if low > high:
                raise self._refuse(name, f"{low} to {high}", "the low end not above the high one")

    def _check_locale(self) -> None:
        try:
            money(0, self.currency, locale=self.locale)
        except BadInput:
            need = "a language and country such as en_GB or de_CH"
            raise self._refuse("locale", repr(self.locale), need) from None

    def check(self) -> None:
        """Refuse what can be written down but not used: weights that exclude each other, plans that can't be.

        A record in a casebook stays readable whatever it says; this is asked where somebody is to be advised.

        Raises
        ------
        BadInput

        Examples
        --------
        >>> Buyer(name="x", weights=dict.fromkeys(ASPECTS, (0.3, 0.4))).check()
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


def load_profiles() -> dict[str, Buyer]:
    """The described buyer profiles that come with pianolab (``datasets/profiles.toml``), by name.

    Examples
    --------
    >>> sorted(load_profiles())
    ['conservatoire candidate', 'first piano', 'patient restorer']
    """
    data = tomllib.loads(shipped("datasets/profiles.toml").read_text(encoding="utf-8"))
    usual = {"money_weight": (0.1, 0.3)}
    return {name: Buyer(name=name, **{**usual, **entry}) for name, entry in data["profiles"].items()}
