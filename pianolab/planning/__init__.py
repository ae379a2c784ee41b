"""Planning the visits: in which order, with what in the bag, and what to ask beforehand."""

from pianolab.planning.plan import PlannedVisit, VisitPlan
from pianolab.planning.visits import plan_visits

__all__ = ["PlannedVisit", "VisitPlan", "plan_visits"]
