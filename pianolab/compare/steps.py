"""What could be found out next, as records: each step with its worth, its cost and what follows, and the list of them.

What an effort costs (a fee, one's own time, who pays) is read once from ``data/steps.toml``.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from functools import cache
from importlib.resources import files
from typing import Literal

from pianolab.assess import Alert, PriceList
from pianolab.show import LOCALE, Row, Showable, about
from pianolab.statements import Statement, statement
from pianolab.words import Told, say

Payer = Literal["you", "seller", "nobody"]
ANYONE = "another look"
TUNING = "tuning"
"""The job of a price list that an hour of one's own is reckoned by."""
LOOK, FINISH = "step.look again", "step.finish the walk"
SAYS_NO_EFFORT = (FINISH, "step.confirm")
"""Steps whose own words don't tell what they take; having it confirmed tells where a technician does it."""
BESIDE_THE_WALK = ("listening", "players")
"""Sources of unknowns that no point of the checklist settles."""
STOP_NOW = statement("step.stop now")


@dataclass(frozen=True, kw_only=True)
class NextStep(Told):
    """Something to find out: where, what, how, the chance that it changes what to do, its worth and its cost.

    ``action`` is what to do and ``what`` that tells, None where the action says it all; ``because`` is why it is
    not known. ``worth`` is what knowing it is worth on average, in the buyer's money; an estimate. ``fee`` is what
    has to be paid for it, by the ``payer`` (you, the seller if asked, nobody), ``cost`` that with one's own time;
    None where no price list tells. ``then`` says what each answer would make one do.
    """

    piano_id: str
    piano_name: str
    action: Statement
    what: Statement | None = None
    effort: str
    minutes: float | None
    chance_to_change: float
    because: Statement
    source: str
    worth: Decimal | None = None
    payer: Payer = "nobody"
    fee: Decimal | None = None
    cost: Decimal | None = None
    then: tuple[Statement, ...] = ()

    @property
    def net(self) -> Decimal | None:
        """What it is worth beyond what it costs; its worth alone where the cost is not known, None without money."""
        return None if self.worth is None else self.worth - (self.cost or 0)

    @property
    def pays(self) -> bool:
        """Whether it is worth what it costs; without money, whether it changes anything."""
        return self.chance_to_change > 0 and (self.net is None or self.net > 0)

    @property
    def outcomes(self) -> str:
        """What each answer would make one do, in words."""
        return "; ".join(say(s) for s in self.then)

    @property
    def says(self) -> Statement:
        """The step as a whole."""
        if self.what is None:
            return statement("step.do", action=self.action)
        return statement("step.to learn", action=self.action, what=self.what)

    @property
    def text(self) -> str:
        return say(self.says)

    @property
    def why(self) -> str:
        return say(self.because)

    @property
    def takes(self) -> str:
        """What it takes, in words; the effort is left out where the step itself says it.

        Examples
        --------
        >>> said = {"piano_id": "a", "piano_name": "A", "chance_to_change": 0.1, "because": statement("unknown.no price")}
        >>> NextStep(**said, action=statement(FINISH), effort="look again", minutes=5.0, source="pins").takes
        'look again, about 5 min'
        >>> NextStep(**said, action=statement("step.technician"), effort="technician", minutes=None, source="pins").takes
        ''
        """
        unsaid = self.action.kind in SAYS_NO_EFFORT and self.effort != "technician"
        parts = [
            self.effort if unsaid else "",
            "" if self.minutes is None else f"about {self.minutes:.0f} min",
            say(statement("step.pays seller")) if self.payer == "seller" else "",
        ]
        return ", ".join(p for p in parts if p)


@dataclass(frozen=True, kw_only=True, repr=False)
class NextVisit(Showable):
    """What could be found out, what is worth most beyond its cost first; ``stop`` says when to stop looking."""

    steps: tuple[NextStep, ...]
    currency: str
    locale: str = LOCALE
    stop: Statement = STOP_NOW
    header = (
        "piano",
        "what",
        "changes what to do",
        "worth",
        "cost",
        "who pays",
        "effort",
        "minutes",
        "what then",
        "why unknown",
    )

    @property
    def when_to_stop(self) -> str:
        """After which step nothing that is left is worth what it costs, in words."""
        return say(self.stop)

    def headline(self) -> str:
        if not self.steps:
            return "nothing left to find out"
        first = self.steps[0]
        return f"first of all: {first.piano_name}, {first.text}"

    def rows(self) -> list[Row]:
        return [
            (
                s.piano_name,
                s.text,
                f"{s.chance_to_change:.0%}",
                self._money(s.worth),
                self._money(s.cost),
                s.payer,
                s.effort,
                s.minutes,
                s.outcomes,
                s.why,
            )
            for s in self.steps
        ]

    def _money(self, amount: Decimal | None) -> str | None:
        return None if amount is None else about(amount, self.currency, locale=self.locale)


@dataclass(frozen=True, kw_only=True)
class Effort:
    """What one kind of effort takes: the ``job`` that its fee is the price of, who pays, the minutes, whether one has
    to go there once more.
    """

    payer: Payer
    minutes: float
    trip: bool
    source: str
    job: str = ""


@dataclass(frozen=True, kw_only=True)
class Settles:
    """Who can settle a stop: the effort that takes, and how often the answer lifts it, by how sure the stop was."""

    effort: str
    clears: Mapping[str, float]


@dataclass(frozen=True, kw_only=True)
class StepData:
    """Everything of ``data/steps.toml``."""

    hour_in_tunings: float
    trip_minutes: float
    efforts: Mapping[str, Effort]
    settles: Mapping[str, Settles]

    def settled_by(self, stop: Alert) -> Settles:
        """What it takes to have a stop settled."""
        return self.settles.get(stop.confirm_by, self.settles[ANYONE])


@dataclass(frozen=True, kw_only=True)
class Cost:
    """What one step costs the buyer: a fee, and all of it with one's own time; None where no price list tells."""

    payer: Payer
    fee: Decimal | None
    all_of_it: Decimal | None


@cache
def load_step_data() -> StepData:
    """What finding out takes, as it comes with pianolab.

    Examples
    --------
    >>> load_step_data().efforts["technician"].payer
    'you'
    """
    data = tomllib.loads((files("pianolab.compare") / "data" / "steps.toml").read_text(encoding="utf-8"))
    return StepData(
        **data["time"],
        efforts={name: Effort(**entry) for name, entry in data["efforts"].items()},
        settles={name: Settles(**entry) for name, entry in data["settles"].items()},
    )


def cost_of(effort: str, minutes: float | None, prices: PriceList | None) -> Cost:
    """What a step of this effort costs.

    Parameters
    ----------
    effort : as in `pianolab.assess.Unknown`
    minutes : how long the looking itself takes; what is usual for the effort where None
    prices : the price list that has the fees; None: they are not known

    Examples
    --------
    >>> from pianolab.assess import load_prices
    >>> cost_of("technician", None, load_prices()).fee
    Decimal('140')
    >>> cost_of("technician", None, None).fee is None
    True
    """
    data = load_step_data()
    takes = data.efforts[effort]
    if prices is None:
        return Cost(payer=takes.payer, fee=None, all_of_it=None)
    fee = prices[takes.job].usual if takes.job else Decimal(0)
    spent = (takes.minutes if minutes is None else minutes) + (data.trip_minutes if takes.trip else 0.0)
    own_time = spent / 60.0 * data.hour_in_tunings * float(prices[TUNING].usual)
    return Cost(payer=takes.payer, fee=fee, all_of_it=fee + Decimal(round(own_time)))
