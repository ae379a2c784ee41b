"""Judging one piano: findings and measures become scores with bounds, alerts, repairs and their cost."""

from pianolab.assess.agreement import Agreement
from pianolab.assess.care import CarePlan, CareStep, care_plan
from pianolab.assess.changes import HeardChange, PointChange, VisitChanges, compare_visits
from pianolab.assess.judge import assess_piano
from pianolab.assess.life import Life, PartLife, remaining_life
from pianolab.assess.preference import Preferences, preferences
from pianolab.assess.prices import Price, PriceList, load_prices
from pianolab.assess.repairs import simulate_repairs
from pianolab.assess.results import (
    Alert,
    AspectResult,
    Assessment,
    Contribution,
    RepairEstimate,
    RepairJob,
    Unknown,
)
from pianolab.assess.touch import TouchView, touch_evidence, touch_view
from pianolab.assess.yearly import YearlyCost, cost_per_year

__all__ = [
    "Agreement",
    "Alert",
    "AspectResult",
    "Assessment",
    "CarePlan",
    "CareStep",
    "Contribution",
    "HeardChange",
    "Life",
    "PartLife",
    "PointChange",
    "Preferences",
    "Price",
    "PriceList",
    "RepairEstimate",
    "RepairJob",
    "TouchView",
    "Unknown",
    "VisitChanges",
    "YearlyCost",
    "assess_piano",
    "care_plan",
    "compare_visits",
    "cost_per_year",
    "load_prices",
    "preferences",
    "remaining_life",
    "simulate_repairs",
    "touch_evidence",
    "touch_view",
]
