"""Judging one piano: findings and measures become scores with bounds, alerts, repairs and their cost."""

from pianolab.assess.agreement import Agreement
from pianolab.assess.assessment import (
    Alert,
    AspectResult,
    Assessment,
    Contribution,
    RepairEstimate,
    RepairJob,
    Unknown,
)
from pianolab.assess.changes import HeardChange, PointChange, VisitChanges, compare_visits
from pianolab.assess.judge import Circumstances, assess_piano
from pianolab.assess.prices import Price, PriceList, load_prices
from pianolab.assess.repairs import simulate_repairs
from pianolab.assess.touch_evidence import touch_evidence

__all__ = [
    "Agreement",
    "Alert",
    "AspectResult",
    "Assessment",
    "Circumstances",
    "Contribution",
    "HeardChange",
    "PointChange",
    "Price",
    "PriceList",
    "RepairEstimate",
    "RepairJob",
    "Unknown",
    "VisitChanges",
    "assess_piano",
    "compare_visits",
    "load_prices",
    "simulate_repairs",
    "touch_evidence",
]
