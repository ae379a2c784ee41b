"""Something to try things on: the invented shortlist, its buyers, a colleague's visit, and a recording of real notes."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from tempfile import TemporaryDirectory

from pianolab.casebook import Casebook, gather, open_casebook
from pianolab.checklist import findings_for, load_scenario
from pianolab.demo.drawn_photos import draw_picture
from pianolab.demo.run import demo
from pianolab.demo.shortlist import EXAMINER, DemoVisit, add_visit, demo_casebook, hear_visit, plan_demo
from pianolab.io import Sound, string_together, write_sound
from pianolab.model import Piano, Visit, load_profiles
from pianolab.show import Table
from pianolab.sound_model import KeyFault, ModelledScale, PianoModel, render_scale
from pianolab.workflow.listening import survey_into
from pianolab.workflow.progress import Progress, part_of, quiet, stoppable

FIRST, AFTER = "casebook", "after-the-tuning"
__all__ = [
    "buyers",
    "colleague",
    "demo",
    "demo_casebook",
    "demo_second_visit",
    "draw_picture",
    "real_notes",
    "shortlist",
    "three_faults",
]

COLLEAGUE, POINTS = "Ana", 30
OCTAVE = (40, 52)
FAULTY_KEYS = (38, 62)
FAULTS = (
    KeyFault(key=47, kind="unison", amount=14.0, strings="one"),
    KeyFault(key=50, kind="damper"),
    KeyFault(key=53, kind="buzz"),
)
TWICE = (41, 44, 49, 55, 57, 60)


def shortlist() -> tuple[Piano, ...]:
    """The four instruments of the invented shortlist; none of them exists.

    Returns
    -------
    tuple of Piano

    Examples
    --------
    >>> [p.kind for p in shortlist()]
    ['upright', 'grand', 'upright', 'grand']
    """
    return load_scenario().instruments


def buyers() -> Table:
    """The buyers that come with pianolab, by the name under which `Settings` knows them.

    Returns
    -------
    Table

    Examples
    --------
    >>> [name for name, _ in buyers().rows()]
    ['first piano', 'conservatoire candidate', 'patient restorer']
    """
    rows = [(name, buyer.description) for name, buyer in load_profiles().items()]
    return Table("Buyers that come with pianolab", ["name", "who"], rows)


def colleague(casebook: Casebook, visit: Visit) -> None:
    """A colleague who walked round the same piano: her first findings, and a recording of one octave.

    What she entered before, or a recording that is there, stays as it is and is not entered again.

    Parameters
    ----------
    casebook : an open casebook
    visit : at which visit she was there
    """
    piano, scenario = casebook.piano(visit.piano_id), load_scenario()
    if not any(f.examiner == COLLEAGUE for f in casebook.findings(visit.id)):
        condition = scenario.conditions[scenario.default_condition[scenario.instruments[0].name]]
        found = findings_for(condition, visit_id=visit.id, piano=piano, examiner=COLLEAGUE)
        with casebook.editing(by=COLLEAGUE) as edit:
            for finding in found[:POINTS]:
                edit.add(finding)
    if not casebook.recordings(visit.id):
        first, last = OCTAVE
        octave = render_scale(PianoModel(seed=4, first_key=first, last_key=last))
        with TemporaryDirectory(prefix="pianolab-") as folder:
            file = write_sound(Path(folder) / "octave.flac", octave.samples, rate_hz=octave.rate_hz)
            survey_into(casebook, file, piano=piano.id, visit=visit.day, first_key=first, last_key=last)


def real_notes(path: str | Path, *, keys: tuple[int, ...] | None = None) -> Path:
    """A recording of real notes of a real grand, strung together; a file that is there stays as it is.

    Parameters
    ----------
    path : where it goes; the folder is made where it is missing
    keys : which of the thirty, every third key from A0 (1) to C8 (88); all where None

    Returns
    -------
    Path of the recording

    Raises
    ------
    BadInput
        a key that isn't among them, a place that can't be written
    """
    return _there(path, lambda: string_together(keys=keys)[0])


def three_faults(path: str | Path) -> Path:
    """A recording of two octaves of a modelled piano with three faults, six keys struck twice; one that is there stays.

    Keys 38 to 62: one string off on 47, a slow damper on 50, a buzz on 53.

    Parameters
    ----------
    path : where it goes; the folder is made where it is missing

    Returns
    -------
    Path of the recording

    Raises
    ------
    BadInput
        a place that can't be written
    """
    first, last = FAULTY_KEYS
    return _there(
        path,
        lambda: render_scale(
            PianoModel(seed=5, faults=FAULTS),
            first_key=first,
            last_key=last,
            repeated=TWICE,
            hold_s=1.6,
            snr_db=50.0,
            rate_hz=22050,
            seed=2,
        ),
    )


def _there(path: str | Path, make: Callable[[], Sound | ModelledScale]) -> Path:
    """A recording, made only where no file of that name is."""
    file = Path(path)
    if not file.exists():
        file.parent.mkdir(parents=True, exist_ok=True)
        sound = make()
        write_sound(file, sound.samples, rate_hz=sound.rate_hz)
    return file


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
