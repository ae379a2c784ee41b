"""The demonstration after the tuner was there: the same casebook, copied, with a second visit in it."""

from __future__ import annotations

from pathlib import Path
from tempfile import TemporaryDirectory

from pianolab.casebook import Casebook, gather, open_casebook
from pianolab.demo.book import EXAMINER, DemoVisit, add_visit, demo_casebook, hear_visit, plan_demo
from pianolab.workflow.progress import Progress, part_of, quiet, stoppable

FIRST, AFTER = "casebook", "after-the-tuning"


@stoppable("The second visit is not complete; what is there already is whole. Run it again.")
def demo_second_visit(folder: str | Path, *, progress: Progress | None = None) -> Casebook:
    """The demonstration with its second visit: built where it isn't yet, reopened where it is.

    The first visits come from the demonstration in ``folder/casebook`` (made where it is missing, never
    changed); ``folder/after-the-tuning`` holds the same and what was found and heard once the badly tuned
    instrument was in tune.

    Parameters
    ----------
    folder : the demonstration's folder
    progress : called with what is being done and a share from 0 to 1

    Returns
    -------
    Casebook, open

    Raises
    ------
    BadInput, CasebookError
        as `demo_casebook`
    """
    folder, tell = Path(folder), progress or quiet
    later = folder / AFTER
    if not later.exists():
        first = demo_casebook(folder / FIRST, progress=part_of(tell, "first visits", begin=0.0, end=0.7))
        first.close()
        gather([folder / FIRST], into=later)
    casebook = open_casebook(later)
    known = {v.id for v in casebook.visits()}
    for planned in (v for v in plan_demo(second_visit=True) if v.visit.id not in known):
        _enter(casebook, planned, tell)
    tell("casebook ready", 1.0)
    return casebook


def _enter(casebook: Casebook, planned: DemoVisit, tell: Progress) -> None:
    with TemporaryDirectory(prefix="pianolab-") as scratch:
        told = part_of(tell, "second visit", begin=0.7, end=1.0)
        path, survey = hear_visit(planned, told, scratch=Path(scratch))
        with casebook.editing(by=EXAMINER) as edit:
            add_visit(casebook, edit, planned, path=path, survey=survey)
