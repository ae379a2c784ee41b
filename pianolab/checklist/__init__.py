"""The walk around a piano as data: what to look at, how, what each grade means, what it costs."""

from pianolab.checklist.load import load_checklist
from pianolab.checklist.points import Checklist, Point, RepairRule, VetoRule
from pianolab.checklist.scenario import Condition, Scenario, findings_for, load_scenario

__all__ = [
    "Checklist",
    "Condition",
    "Point",
    "RepairRule",
    "Scenario",
    "VetoRule",
    "findings_for",
    "load_checklist",
    "load_scenario",
]
