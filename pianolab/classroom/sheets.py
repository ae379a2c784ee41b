"""Drills on paper for a class without computers: sheets to print, sound files to play, answers for the teacher apart."""

from __future__ import annotations

import shutil
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from uuid import uuid4

from pianolab.classroom.drills import Drill
from pianolab.classroom.exhibits import Exhibit
from pianolab.classroom.sounds import DrillClip
from pianolab.errors import BadInput
from pianolab.io import write_sound
from pianolab.report import write_page
from pianolab.report.class_page import PlainTable, Section, SvgDrawing, class_page

LETTERS = "abcdefghijklmnop"
"""They stand beside the boxes of a sheet."""

PUPILS_SHEET, SOUNDS, TEACHER, ANSWERS = "sheet.html", "sounds", "teacher", "answers.html"


@dataclass(frozen=True, kw_only=True)
class Sheets:
    """What was written: the pupils' sheet, the sound files, and the teacher's answers in a folder apart."""

    sheet: Path
    sounds: tuple[Path, ...]
    answers: Path


def write_sheets(
    folder: str | Path, *, title: str, drills: Sequence[Drill] = (), exhibits: Sequence[Exhibit] = ()
) -> Sheets:
    """Write a sheet to print, the sounds to play, and the answers.

    Parameters
    ----------
    folder : a new or empty folder; give the class all of it but ``teacher``
    title : stands at the top of the sheet
    drills, exhibits : listening tasks and instruments to grade, in order

    Raises
    ------
    BadInput : nothing to print, or a folder that isn't empty

    Notes
    -----
    Sound files are named by task and label only (``03-B.mp3``), carry no words inside, and are as large as they are
    long: neither name nor size tells anything.
    """
    folder = Path(folder)
    if not drills and not exhibits:
        raise BadInput("sheets", "no drill and no exhibit", "one at least")
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise BadInput(str(folder), "a folder that isn't empty", "a new or empty folder")
    folder.parent.mkdir(parents=True, exist_ok=True)
    # Made beside and renamed: half a set of sheets never carries the name.
    draft = folder.with_name(f".{folder.name}.{uuid4().hex}.part")
    try:
        (draft / SOUNDS).mkdir(parents=True)
        (draft / TEACHER).mkdir()
        _write(draft, title, drills, exhibits)
        if folder.exists():
            folder.rmdir()
        draft.rename(folder)
    finally:
        shutil.rmtree(draft, ignore_errors=True)
    sounds = tuple(sorted((folder / SOUNDS).glob("*.mp3")))
    return Sheets(sheet=folder / PUPILS_SHEET, sounds=sounds, answers=folder / TEACHER / ANSWERS)


def _write(folder: Path, title: str, drills: Sequence[Drill], exhibits: Sequence[Exhibit]) -> None:
    asked = [_drill_section(n, d) for n, d in enumerate(drills, start=1)]
    asked += [_exhibit_section(n, e) for n, e in enumerate(exhibits, start=len(drills) + 1)]
    for n, drill in enumerate(drills, start=1):
        for clip in drill.clips:
            _write_clip(folder, n, clip)
    for n, e in enumerate(exhibits, start=len(drills) + 1):
        if e.clip is not None:
            _write_clip(folder, n, e.clip)
    lead = "First name or number: ______________    The teacher plays each sound twice. Tick one box in each task; the letters are for typing the sheet in."
    credits = tuple(dict.fromkeys(d.truth.credit for d in drills if d.truth.credit))
    if credits:
        asked.append(
            Section(
                heading="Sounds",
                paragraphs=tuple(
                    f"Made from {c}; shortened, matched in level, some altered." for c in credits
                ),
            )
        )
        (folder / SOUNDS / "CREDITS.txt").write_text(
            "".join(f"Sounds made from {c}; shortened, matched in level, some altered.\n" for c in credits),
            encoding="utf-8",
        )
    write_page(folder / PUPILS_SHEET, class_page(title, asked, lead=lead, contents=False))
    write_page(
        folder / TEACHER / ANSWERS,
        class_page(f"{title}: answers for the teacher", [answers_section(drills, exhibits)], contents=False),
    )


def _write_clip(folder: Path, number: int, clip: DrillClip) -> None:
    name = f"{number:02d}-{clip.label}.mp3"
    write_sound(folder / SOUNDS / name, clip.samples, rate_hz=clip.rate_hz, constant=True)


def _drill_section(number: int, drill: Drill) -> Section:
    files = ", ".join(f"{number:02d}-{c.label}.mp3" for c in drill.clips)
    return Section(
        heading=f"Task {number}",
        paragraphs=(f"{drill.question} (Sound: {files})",),
        ticks=lettered(drill.choices),
    )


def _exhibit_section(number: int, exhibit: Exhibit) -> Section:
    sound = f" (Sound: {number:02d}-{exhibit.clip.label}.mp3)" if exhibit.clip else ""
    said = tuple(t for t in (f"{exhibit.point.how}{sound}", exhibit.reading) if t)
    drawings = (SvgDrawing(svg=exhibit.drawing, words=exhibit.point.title),) if exhibit.drawing else ()
    ticks = lettered(exhibit.choices)
    return Section(
        heading=f"Task {number}: {exhibit.headline()}", paragraphs=said, drawings=drawings, ticks=ticks
    )


def answers_section(drills: Sequence[Drill], exhibits: Sequence[Exhibit]) -> Section:
    """Answers of drills and references of exhibits, numbered as on the sheet."""
    heard = tuple(
        (n, d.truth.answer, d.truth.explanation, d.truth.made_from, d.truth.confirmed)
        for n, d in enumerate(drills, start=1)
    )
    graded = tuple(
        (n, e.headline(), e.reference, e.point.anchors[5 - e.reference], e.confirmed)
        for n, e in enumerate(exhibits, start=len(drills) + 1)
    )
    tables = []
    if heard:
        tables.append(
            PlainTable(
                caption="Listening",
                header=("task", "answer", "why", "made from", "truth confirmed"),
                rows=heard,
            )
        )
    if graded:
        tables.append(
            PlainTable(
                caption="Grading",
                header=("task", "exhibit", "grade", "sentence", "truth confirmed"),
                rows=graded,
            )
        )
    return Section(
        heading="Answers",
        paragraphs=("Keep this page to yourself until the sheets are in.",),
        tables=tuple(tables),
    )


def lettered(choices: tuple[str, ...]) -> tuple[str, ...]:
    """Choices with the letters that stand beside their boxes.

    Examples
    --------
    >>> lettered(("same", "different"))
    ('a  same', 'b  different')
    """
    return tuple(f"{letter}  {choice}" for letter, choice in zip(LETTERS, choices, strict=False))
