"""Comparing a shortlist: who comes first how often, what to find out next, and what follows."""

from pianolab.compare.rank import compare_pianos
from pianolab.compare.results import Comparison, NextStep, Standing, Verdict

__all__ = ["Comparison", "NextStep", "Standing", "Verdict", "compare_pianos"]
