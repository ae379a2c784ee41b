"""Judging one piano: findings and measures become scores with bounds, alerts, repairs and their cost."""

from pianolab.assess.judge import assess_piano
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

__all__ = [
    "Alert",
    "AspectResult",
    "Assessment",
    "Contribution",
    "Price",
    "PriceList",
    "RepairEstimate",
    "RepairJob",
    "Unknown",
    "assess_piano",
    "load_prices",
    "simulate_repairs",
]
