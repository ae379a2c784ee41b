"""Upkeep: how long parts may last, what a year costs, and what the first year asks for."""

from pianolab.upkeep.care import CarePlan, CareStep, care_plan
from pianolab.upkeep.life import Life, PartLife, remaining_life
from pianolab.upkeep.yearly import YearlyCost, cost_per_year

__all__ = [
    "CarePlan",
    "CareStep",
    "Life",
    "PartLife",
    "YearlyCost",
    "care_plan",
    "cost_per_year",
    "remaining_life",
]
