"""Something to try things on: the invented shortlist, its buyers, a colleague's visit, and a recording of real notes."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from tempfile import TemporaryDirectory

from pianolab.casebook import Casebook
from pianolab.checklist import findings_for, load_scenario
from pianolab.demo.book import demo_casebook
from pianolab.demo.drawings import draw_picture
from pianolab.demo.run import demo
from pianolab.demo.second_visit import demo_second_visit
from pianolab.io import Sound, string_together, write_sound
from pianolab.model import Piano, Visit, load_profiles
from pianolab.show import Table
from pianolab.sound_model import KeyFault, ModelledScale, PianoModel, render_scale
from pianolab.workflow.listening import survey_into

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

    Examples
    --------
    >>> [p.kind for p in shortlist()]
    ['upright', 'grand', 'upright', 'grand']
    """
    return load_scenario().instruments


def buyers() -> Table:
    """The buyers that come with pianolab, by the name under which `Settings` knows them.

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
