"""Comparing a shortlist: who comes first how often, what to find out next, and what follows."""

from pianolab.compare.changes import Moved, RankingChange, explain_change
from pianolab.compare.price import PriceAdvice
from pianolab.compare.rank import compare_pianos
from pianolab.compare.results import Comparison, Standing, Verdict
from pianolab.compare.steps import NextStep, NextVisit

__all__ = [
    "Comparison",
    "Moved",
    "NextStep",
    "NextVisit",
    "PriceAdvice",
    "RankingChange",
    "Standing",
    "Verdict",
    "compare_pianos",
    "explain_change",
]
