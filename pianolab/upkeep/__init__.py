"""Upkeep: how long parts may last, what the years cost, and what the first year asks for."""

from pianolab.upkeep.care import CarePlan, CareStep, care_plan
from pianolab.upkeep.life import Life, PartLife, remaining_life
from pianolab.upkeep.money import money_over_years
from pianolab.upkeep.over_years import (
    MoneyLine,
    MoneyOverYears,
    MoneyPlans,
    MoneySpan,
    plans_text,
    read_plans,
)

__all__ = [
    "CarePlan",
    "CareStep",
    "Life",
    "MoneyLine",
    "MoneyOverYears",
    "MoneyPlans",
    "MoneySpan",
    "PartLife",
    "care_plan",
    "money_over_years",
    "plans_text",
    "read_plans",
    "remaining_life",
]
