"""The invented shortlist as a casebook: instruments, visits, findings, recordings and what is heard in them."""

from __future__ import annotations

import shutil
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from tempfile import TemporaryDirectory
from uuid import uuid4

from pianolab.acoustics import Survey, listen
from pianolab.casebook import Casebook, create_casebook, open_casebook
from pianolab.casebook.editing import Edit
from pianolab.checklist import Scenario, findings_for, load_checklist, load_scenario
from pianolab.demo.drawn_photos import Drawn, draw_picture, load_pictures
from pianolab.demo.sound_cache import cached_file, scene_file
from pianolab.demo.touch import demo_comparables, demo_opinions, demo_trials
from pianolab.errors import BadInput
from pianolab.io import read_sound
from pianolab.model import Examiner, Finding, Piano, Visit
from pianolab.sound_model import SceneSound, load_scene_sounds
from pianolab.workflow.listening import survey_record
from pianolab.workflow.parallel import in_parallel
from pianolab.workflow.progress import Progress, part_of, quiet, stoppable
from pianolab.workflow.second_visit import SecondVisit, load_second_visit

DAY = date(2026, 3, 14)
EXAMINER = "Ana"


@dataclass(frozen=True, kw_only=True)
class DemoVisit:
    """One visit of the demonstration before it is heard: who, when, what was found, what was played."""

    piano: Piano
    visit: Visit
    findings: tuple[Finding, ...]
    scene: SceneSound
    note: str


@stoppable(
    "The demonstration is not complete, and no casebook was made. Run it again: sounds made already are kept."
)
def demo_casebook(
    folder: str | Path,
    *,
    progress: Progress | None = None,
    assignment: Mapping[str, str] | None = None,
    seed_shift: int = 0,
    second_visit: bool = False,
) -> Casebook:
    """The invented shortlist as a casebook: built where it isn't yet, reopened where it is.

    Four instruments that don't exist, each in a condition of its own, with a finding at every point of the
    walk, a recording of every key and some prices of like instruments. The recordings are modelled, and then listened to as any other
    would be; rendered sounds are kept in the user's cache folder, which makes the next time quicker.

    Parameters
    ----------
    folder : a new or empty folder, or one with this same demonstration
    progress : called with what is being done and a share from 0 to 1; ``Printer()`` prints it
    assignment : condition by instrument, where it shall not be the usual one
    seed_shift : other pianos in the same conditions
    second_visit : whether the badly tuned instrument is tuned and heard again

    Returns
    -------
    Casebook, open

    Raises
    ------
    BadInput
        an unknown instrument or condition, or a casebook in the folder that isn't this demonstration
    CasebookError
        a folder with something else in it; nothing there is touched

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     demo_casebook(folder, assignment={"Harbour Street upright": "brand new"})
    Traceback (most recent call last):
    ...
    pianolab.errors.BadInput: condition of Harbour Street upright: got 'brand new', need one of masked treble, ...
    """
    folder, tell = Path(folder), progress or quiet
    visits = plan_demo(assignment=assignment, seed_shift=seed_shift, second_visit=second_visit)
    if (folder / "casebook.sqlite").exists():
        return _reopened(folder, visits)
    _check_free(folder)
    parts = tuple(
        (v, part_of(tell, v.piano.name, begin=0.9 * i / len(visits), end=0.9 * (i + 1) / len(visits)))
        for i, v in enumerate(visits)
    )
    with TemporaryDirectory(prefix="pianolab-") as scratch:
        heard = in_parallel(lambda part: hear_visit(part[0], part[1], scratch=Path(scratch)), parts)
        tell("writing the casebook", 0.9)
        _build(folder, visits, heard)
    tell("casebook ready", 1.0)
    return open_casebook(folder)


def plan_demo(
    *, assignment: Mapping[str, str] | None = None, seed_shift: int = 0, second_visit: bool = False
) -> tuple[DemoVisit, ...]:
    """The demonstration's visits, before anything is rendered."""
    checklist = load_checklist()
    scenario = load_scenario(checklist)
    scenes = load_scene_sounds(seed_shift=seed_shift)
    visits = []
    for piano, condition in _assigned(scenario, assignment).items():
        slug = piano.replace(" ", "-").lower()
        own = replace(next(p for p in scenario.instruments if p.name == piano), id=f"demo-{slug}")
        visit = Visit(
            id=f"demo-{slug}-1",
            piano_id=own.id,
            day=DAY,
            examiner=EXAMINER,
            place="where it stands",
            room=scenario.rooms[piano],
        )
        findings = findings_for(
            scenario.conditions[condition],
            visit_id=visit.id,
            piano=own,
            examiner=EXAMINER,
            checklist=checklist,
        )
        first = DemoVisit(
            piano=own,
            visit=visit,
            findings=findings,
            scene=scenes[condition],
            note=_note(condition, seed_shift),
        )
        visits.append(first)
        later = load_second_visit()
        if second_visit and condition == later.condition:
            visits.append(_second(first, later, scenes[later.sound], note=_note(later.sound, seed_shift)))
    return tuple(visits)


def _assigned(scenario: Scenario, assignment: Mapping[str, str] | None) -> dict[str, str]:
    given = dict(assignment or {})
    names = ", ".join(scenario.default_condition)
    for piano, condition in given.items():
        if piano not in scenario.default_condition:
            raise BadInput("instrument", repr(piano), f"one of {names}")
        if condition not in scenario.conditions:
            raise BadInput(
                f"condition of {piano}", repr(condition), "one of " + ", ".join(scenario.conditions)
            )
    return {**scenario.default_condition, **given}


def _note(condition: str, seed_shift: int) -> str:
    other = f", seeds shifted by {seed_shift}" if seed_shift else ""
    return f"modelled sound: {condition}{other}"


def _second(first: DemoVisit, later: SecondVisit, scene: SceneSound, *, note: str) -> DemoVisit:
    visit = replace(first.visit, id=f"{first.visit.id[:-1]}2", day=later.day, note=later.note)
    return DemoVisit(
        piano=first.piano,
        visit=visit,
        findings=later.findings(visit_id=visit.id, examiner=EXAMINER),
        scene=scene,
        note=note,
    )


def hear_visit(planned: DemoVisit, tell: Progress, *, scratch: Path) -> tuple[Path, Survey]:
    """Play the scale, unless the cache has it, and listen to the file."""
    tell(
        "its sound is in the cache" if cached_file(planned.scene) else "playing and recording every key", 0.0
    )
    path = scene_file(planned.scene, scratch=scratch)
    tell("listening to the recording", 0.5)
    sound = read_sound(path)
    survey = listen(
        sound.samples,
        rate_hz=sound.rate_hz,
        first_key=planned.piano.first_key,
        last_key=planned.piano.last_key,
        name=f"{planned.piano.name}.flac",
    )
    tell(survey.headline(), 1.0)
    return path, survey


def _check_free(folder: Path) -> None:
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        create_casebook(folder).close()  # refuses, and says why


def _build(folder: Path, visits: tuple[DemoVisit, ...], heard: list[tuple[Path, Survey]]) -> None:
    """Built under another name and renamed, so that a half-made demonstration never stands there."""
    folder.parent.mkdir(parents=True, exist_ok=True)
    temporary = folder.with_name(f".{folder.name}.{uuid4().hex[:12]}.part")
    try:
        with create_casebook(temporary) as casebook, casebook.editing(by=EXAMINER) as edit:
            edit.add(Examiner(id="demo-examiner", name=EXAMINER, role="buyer"))
            for planned, (path, survey) in zip(visits, heard, strict=True):
                if first := planned.visit.id.endswith("-1"):
                    edit.add(planned.piano)
                add_visit(casebook, edit, planned, path=path, survey=survey)
                if first:
                    _add_pictures(edit, planned)
            _add_touch(edit, visits)
            for comparable in demo_comparables([v.piano for v in visits]):
                edit.add(comparable)
        if folder.exists():
            folder.rmdir()
        temporary.rename(folder)
    except OSError as error:
        raise BadInput(str(folder), error.strerror or "a write error", "a folder that can be made") from None
    finally:
        shutil.rmtree(temporary, ignore_errors=True)


def add_visit(casebook: Casebook, edit: Edit, planned: DemoVisit, *, path: Path, survey: Survey) -> None:
    """One visit with what was found, the recording, and what was heard in it."""
    edit.add(planned.visit)
    for finding in planned.findings:
        edit.add(finding)
    kept = replace(casebook.keep_sound(path), original_name=f"{planned.visit.id}.flac")
    recording = edit.add_sound(
        planned.visit.id,
        kept,
        first_key=planned.piano.first_key,
        last_key=planned.piano.last_key,
        note=planned.note,
    )
    edit.add(survey_record(recording, survey))


def _add_pictures(edit: Edit, planned: DemoVisit) -> None:
    """Drawings in place of photos: the whole piano, and what there is to see of its condition."""
    whole = Drawn(
        condition=planned.scene.name,
        subject=planned.piano.kind,
        point="",
        caption=f"Drawing: {planned.piano.name}, which doesn't exist",
    )
    with TemporaryDirectory(prefix="pianolab-") as scratch:
        for n, p in enumerate((whole, *(p for p in load_pictures() if p.condition == planned.scene.name))):
            path = draw_picture(p.subject, Path(scratch) / f"{n}.png")
            edit.add_photo(planned.visit.id, path, point=p.point, caption=p.caption)


def _add_touch(edit: Edit, visits: tuple[DemoVisit, ...]) -> None:
    """The players' opinions of what was found on the first visits."""
    first = {v.scene.name: v for v in visits if v.visit.id.endswith("-1")}
    for opinion in demo_opinions({condition: v.visit.id for condition, v in first.items()}):
        edit.add(opinion)
    for trial in demo_trials({condition: v.piano.id for condition, v in first.items()}):
        edit.add(trial)


def _reopened(folder: Path, visits: tuple[DemoVisit, ...]) -> Casebook:
    casebook = open_casebook(folder)
    notes = {(r.visit_id, r.note) for r in casebook.recordings()}
    if {v.piano.id for v in visits} - {p.id for p in casebook.pianos()}:
        casebook.close()
        raise BadInput(
            str(folder),
            "a casebook that isn't the demonstration",
            "a new or empty folder",
            "It stays as it is.",
        )
    if {(v.visit.id, v.note) for v in visits} - notes:
        casebook.close()
        raise BadInput(
            str(folder),
            "a demonstration with other conditions",
            "a new or empty folder",
            "It stays as it is.",
        )
    return casebook
