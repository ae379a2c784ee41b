"""Comparing a shortlist: who comes first how often, what to find out next, and what follows."""

from pianolab.compare.comparison import Comparison, Standing, Verdict
from pianolab.compare.price import PriceAdvice
from pianolab.compare.rank import compare_pianos
from pianolab.compare.ranking_change import PianoMoved, RankingChange, explain_change
from pianolab.compare.steps import NextStep, NextVisit

__all__ = [
    "Comparison",
    "NextStep",
    "NextVisit",
    "PianoMoved",
    "PriceAdvice",
    "RankingChange",
    "Standing",
    "Verdict",
    "compare_pianos",
    "explain_change",
]
