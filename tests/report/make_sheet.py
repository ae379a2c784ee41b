"""One piano alone, compared: for tests of the sheet."""

from __future__ import annotations

from pianolab.assess import assess_piano, load_prices
from pianolab.checklist import load_checklist
from pianolab.compare import Comparison, compare_pianos
from pianolab.figures import marks_for
from pianolab.figures.look import Mark
from pianolab.model import Finding, Piano, load_profiles

PIANO = Piano(id="one", name="by the window", year=1985, asking_price=2000)


def sound_structure() -> tuple[Finding, ...]:
    """Every structural point that takes a grade, found sound."""
    points = load_checklist().for_piano(PIANO)
    return tuple(
        Finding(visit_id="v", point=p.id, grade=5, examiner="Ana")
        for p in points
        if p.nature == "structural" and p.record == "grade"
    )


def compared(findings: tuple[Finding, ...]) -> tuple[Comparison, Piano, dict[str, Mark]]:
    """The comparison of that one piano, the piano, and its mark."""
    judged = assess_piano(PIANO, findings, survey=None, checklist=load_checklist(), prices=load_prices())
    comparison = compare_pianos([judged], profile=load_profiles()["first piano"], draws=500)
    return comparison, PIANO, dict(marks_for({PIANO.id: PIANO.name}))
