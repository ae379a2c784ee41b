"""How a casebook is to be judged: for whom, with which points and prices; and what of it the casebook remembers."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date
from functools import cached_property
from pathlib import Path
from typing import Any, Self

from pianolab.assess import PriceList, load_prices
from pianolab.assess.prices import read_prices
from pianolab.casebook import Casebook, KeptSettings, OwnFile, keep_settings, kept_settings
from pianolab.checklist import Checklist, load_checklist, read_checklist
from pianolab.errors import BadInput
from pianolab.model import Buyer, Room, load_profiles
from pianolab.show import Fields
from pianolab.upkeep import MoneyPlans, plans_text, read_plans

FIRST = "first piano"
"""The buyer for whom is judged where nobody else is named."""

Own = str | Path | OwnFile | None


@dataclass(frozen=True, kw_only=True)
class Settings(Fields):
    """How a casebook is judged; every road from a casebook to a decision takes these.

    Parameters
    ----------
    profile : a buyer, or the name of one: of the casebook, or of those that come with pianolab
    checklist : path of a TOML file with points of your own, on top of the usual ones (see `load_checklist`)
    prices : path of a TOML file with prices of your own (see `load_prices`), in any currency
    home_room : the room the piano shall stand in; None takes the buyer's own
    player : for whom the touch should suit; empty: nobody in particular
    year : the present year, for the age of parts; None takes the year of the latest visit
    until : leave out visits after that day
    seed : int from 0; the same seed gives the same result
    plans : what the buyer would otherwise do with the money: `MoneyPlans` (resale, hire, a new one), or the path of a
        TOML file with its fields

    Raises
    ------
    BadInput
        a file that can't be read or holds anything wrong, a seed that isn't one

    Examples
    --------
    >>> usual = Settings()
    >>> usual.profile, usual.price_list.currency, len(usual.points) == len(load_checklist())
    ('first piano', 'EUR', True)
    """

    profile: str | Buyer = FIRST
    checklist: Own = None
    prices: Own = None
    home_room: Room | None = None
    player: str = ""
    year: int | None = None
    until: date | None = None
    seed: int = 0
    plans: MoneyPlans | Own = None

    def __post_init__(self) -> None:
        if isinstance(self.plans, MoneyPlans):
            object.__setattr__(self, "plans", OwnFile("plans", plans_text(self.plans)))
        for name in ("checklist", "prices", "plans"):
            given = getattr(self, name)
            if isinstance(given, (str, Path)):
                object.__setattr__(self, name, OwnFile.read(given))
            elif not isinstance(given, (OwnFile, type(None))):
                raise BadInput(name, f"a {type(given).__name__}", "the path of a TOML file, or None")
        if isinstance(self.seed, bool) or not isinstance(self.seed, int) or self.seed < 0:
            raise BadInput("seed", repr(self.seed), "a whole number from 0")
        # Read here, so that what is wrong with them shows where they are given and not far away.
        _ = self.points, self.price_list, self.money_plans

    @classmethod
    def of(cls, casebook: Casebook, **changes: Any) -> Self:
        """What a casebook remembers, the usual where it remembers nothing, and ``changes`` on top.

        Parameters
        ----------
        casebook : an open casebook
        **changes : fields of `Settings` that shall be otherwise

        Returns
        -------
        Settings

        Examples
        --------
        >>> import tempfile
        >>> from pianolab.casebook import create_casebook
        >>> with tempfile.TemporaryDirectory() as folder, create_casebook(folder) as casebook:
        ...     remembered = Settings(profile="patient restorer").keep(casebook)
        ...     Settings.of(casebook, seed=3).profile
        'patient restorer'
        """
        kept = kept_settings(casebook)
        remembered = {
            "profile": kept.profile,
            "seed": kept.seed,
            "checklist": kept.checklist,
            "prices": kept.prices,
            "plans": kept.plans,
        }
        return cls(**{name: value for name, value in remembered.items() if value is not None} | changes)

    def keep(self, casebook: Casebook) -> Self:
        """Have a casebook remember the buyer's name, the seed, and the texts of own points, prices and plans.

        What is usual is not written down: it is taken as it is then. Room, player, year and day are not remembered.

        Parameters
        ----------
        casebook : an open casebook

        Returns
        -------
        Settings

        Raises
        ------
        BadInput
            a buyer that neither the casebook nor pianolab knows by name
        """
        name = find_profile(casebook, self.profile).name
        find_profile(casebook, name)
        keep_settings(
            casebook,
            KeptSettings(
                profile=None if name == FIRST else name,
                seed=self.seed or None,
                checklist=_own_file(self.checklist),
                prices=_own_file(self.prices),
                plans=_own_file(self.plans),
            ),
        )
        return self

    @cached_property
    def points(self) -> Checklist:
        """The checklist: the usual points, and the user's own on top."""
        own = _own_file(self.checklist)
        return load_checklist() if own is None else read_checklist(own.text, file=own.name)

    @cached_property
    def price_list(self) -> PriceList:
        """The price list: the user's own, or the usual one."""
        own = _own_file(self.prices)
        return load_prices() if own is None else read_prices(own.text, file=own.name)

    @cached_property
    def money_plans(self) -> MoneyPlans | None:
        """What the buyer would otherwise do with the money; None where nothing was entered."""
        own = _own_file(self.plans)
        return None if own is None else read_plans(own.text, file=own.name)

    @property
    def points_file(self) -> str:
        """Name of the file with points of the user's own; empty where there is none."""
        own = _own_file(self.checklist)
        return "" if own is None else own.name

    def buyer(self, casebook: Casebook) -> Buyer:
        """The buyer, found by name where only a name is given, in the room that was given, and checked.

        Parameters
        ----------
        casebook : an open casebook

        Returns
        -------
        Buyer

        Raises
        ------
        BadInput
            nobody of that name, weights that exclude each other
        """
        found = find_profile(casebook, self.profile)
        found.check()
        return found if self.home_room is None else replace(found, home_room=self.home_room)

    def own_words(self) -> str:
        """What of this is not the usual, in one line; empty where all is.

        Returns
        -------
        str

        Examples
        --------
        >>> Settings(profile="patient restorer", seed=2).own_words()
        "buyer 'patient restorer', seed 2"
        """
        name = self.profile if isinstance(self.profile, str) else self.profile.name
        said = [f"buyer {name!r}"] if name != FIRST else []
        for title in ("checklist", "prices", "plans"):
            own = _own_file(getattr(self, title))
            said += [" ".join(dict.fromkeys((title, own.name)))] if own is not None else []
        return ", ".join([*said, *([f"seed {self.seed}"] if self.seed else [])])


def _own_file(given: MoneyPlans | Own) -> OwnFile | None:
    assert not isinstance(given, (str, Path, MoneyPlans)), "read when the settings were made"
    return given


def find_profile(casebook: Casebook, profile: str | Buyer) -> Buyer:
    """A buyer by name: of the casebook, or of those that come with pianolab."""
    if isinstance(profile, Buyer):
        return profile
    known = {**load_profiles(), **{p.name: p for p in casebook.profiles()}}
    if profile not in known:
        raise BadInput("profile", repr(profile), "one of " + ", ".join(sorted(known)), "Misspelt?")
    return known[profile]
