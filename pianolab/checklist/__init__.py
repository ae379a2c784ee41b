"""The walk around a piano as data: what to look at, how, what each grade means, what it costs."""

from pianolab.checklist.load import BeforeVisit, kit_list, load_before_visit, load_checklist, read_checklist
from pianolab.checklist.points import Checklist, Point, RepairRule, VetoRule
from pianolab.checklist.scenario import Condition, Scenario, findings_for, load_scenario
from pianolab.checklist.stations import Opening, load_openings
from pianolab.checklist.touch_scales import FaultScale, Liking, TasteScale, TouchScales, load_touch_scales

__all__ = [
    "BeforeVisit",
    "Checklist",
    "Condition",
    "FaultScale",
    "Liking",
    "Opening",
    "Point",
    "RepairRule",
    "Scenario",
    "TasteScale",
    "TouchScales",
    "VetoRule",
    "findings_for",
    "kit_list",
    "load_before_visit",
    "load_checklist",
    "load_openings",
    "load_scenario",
    "load_touch_scales",
    "read_checklist",
]
