"""A teacher's own piano as a lesson: notes cut from a recording and measured, photographs with the teacher's own grade.

What is called measured was measured on that recording; the rest is the teacher's word and is said to be. Recordings and
photographs stay in the folder where the teacher puts them and go nowhere else.
"""

from __future__ import annotations

import json
import shutil
from collections.abc import Sequence
from dataclasses import dataclass
from math import gcd
from pathlib import Path
from uuid import uuid4

import numpy as np
from numpy.typing import NDArray
from scipy.signal import resample_poly

from pianolab.acoustics import listen
from pianolab.acoustics.named_reasons import split_names
from pianolab.checklist import load_checklist
from pianolab.classroom.altering import RATE_HZ, brighter
from pianolab.classroom.blows import COLOUR_DB, NOTE_S, from_first_moment
from pianolab.classroom.drills import CONFIRMED, Drill, DrillKind, Truth, task_name
from pianolab.classroom.exhibits import Exhibit
from pianolab.classroom.faults import FAULT_WORDS
from pianolab.classroom.rows import ROW
from pianolab.classroom.sounds import level_over_time, note_starts, struck
from pianolab.errors import BadInput
from pianolab.files import toml_of
from pianolab.io import read_sound, write_sound
from pianolab.keyboard import note_name
from pianolab.report.photos_and_clips import scaled_picture
from pianolab.units import key_to_hz

FloatArray = NDArray[np.float64]
FILE, LEAST_HELD_S, LEAST_KEYS = "piano.toml", 1.2, 5
"""Notes held shorter tell too little to alter; with fewer keys there is nothing to draw from."""

ASKED: tuple[DrillKind, ...] = (
    "name the fault",
    "which is better",
    "which is further out",
    "which dies sooner",
    "can you judge the sustain",
)
"""Kinds of drill that notes struck once can carry. "Same or different" needs two real blows of every key."""


@dataclass(frozen=True, kw_only=True, eq=False)
class OwnPiano:
    """Notes of one piano, each as recorded; give it to `DrillSitting` or `make_drill` as ``source``.

    ``notes`` maps keys to arrays of shape (`NOTE_S` · `RATE_HZ`,); ``faults`` what was measured to be wrong, by key;
    ``left_out`` says of every other key why it can't be used.
    """

    name: str
    notes: dict[int, FloatArray]
    faults: dict[int, tuple[str, ...]]
    left_out: dict[int, str]

    @property
    def words(self) -> str:
        return f"a note of {self.name}, recorded by the teacher"

    @property
    def credit(self) -> str:
        return ""

    @property
    def keys(self) -> tuple[int, ...]:
        """Keys in which nothing was found: those may be altered in a known way."""
        return tuple(k for k in sorted(self.notes) if not self.faults.get(k))

    @property
    def kinds(self) -> tuple[DrillKind, ...]:
        """Kinds of drill that are proposed."""
        return ASKED if len(self.keys) >= LEAST_KEYS else ()

    def blow(self, key: int, which: int, *, rng: np.random.Generator) -> FloatArray:  # noqa: ARG002
        """The one blow there is, a little brighter or duller each time."""
        return brighter(self.notes[key], COLOUR_DB * float(rng.normal()), float(key_to_hz(key)))

    def save(self, folder: str | Path) -> Path:
        """Keep it in a new folder, such as one in the class's: a sound file per key, and what was measured.

        Raises
        ------
        BadInput : a folder that is there already
        """
        folder = Path(folder)
        if folder.exists():
            raise BadInput(str(folder), "a folder that is there", "a new one", "Is the piano kept already?")
        draft = folder.with_name(f".{folder.name}.{uuid4().hex}.part")
        try:
            draft.mkdir(parents=True)
            for key, note in self.notes.items():
                write_sound(
                    draft / f"key{key:02d}.flac",
                    (0.5 * note / np.abs(note).max()).astype(np.float32),
                    rate_hz=RATE_HZ,
                )
            (draft / FILE).write_text(self._text(), encoding="utf-8")
            draft.rename(folder)
        finally:
            shutil.rmtree(draft, ignore_errors=True)
        return folder

    def _text(self) -> str:
        lines = [f"name = {json.dumps(self.name, ensure_ascii=False)}", "[faults]"]
        lines += [f"{key} = {json.dumps(found)}" for key, found in self.faults.items() if found]
        lines += [
            "[left_out]",
            *(f"{key} = {json.dumps(why, ensure_ascii=False)}" for key, why in self.left_out.items()),
        ]
        return "\n".join(lines) + "\n"


def own_piano(recording: str | Path, *, name: str, first_key: int = 1, last_key: int = 88) -> OwnPiano:
    """Cut the notes from a recording of the keys one after another, and measure them.

    Parameters
    ----------
    recording : a sound file; every key held for two seconds or more is best
    name : what the pupils shall call the piano
    first_key, last_key : keys that were played lie within these

    Raises
    ------
    BadInput : a file that is no sound, or in which no note long enough was found
    """
    sound = read_sound(recording)
    table = listen(
        sound.samples,
        rate_hz=sound.rate_hz,
        first_key=first_key,
        last_key=last_key,
        name=Path(recording).name,
    ).table
    notes: dict[int, FloatArray] = {}
    faults: dict[int, tuple[str, ...]] = {}
    left_out: dict[int, str] = {}
    onsets = np.sort(table["onset_s"].dropna().to_numpy(float))
    one = np.asarray(sound.samples, np.float64).reshape(len(sound.samples), -1)[:, 0]
    for row in table.to_dict("records"):
        key, held_s = int(row["key"]), float(row["hold_s"])
        if row["status"] != "measured":
            left_out[key] = f"{row['status']}"
        elif not held_s >= LEAST_HELD_S:
            left_out[key] = f"held {held_s:.1f} s, {LEAST_HELD_S} s or more are needed"
        else:
            later = onsets[onsets > float(row["onset_s"]) + 0.05]
            notes[key] = _cut(
                one,
                sound.rate_hz,
                float(row["onset_s"]),
                min(held_s, float(later[0] - row["onset_s"]) if later.size else held_s),
            )
            faults[key] = tuple(f for f in split_names(row["faults"]) if f in FAULT_WORDS)
    if not notes:
        raise BadInput(
            Path(recording).name,
            "no note that is long enough",
            f"keys held for {LEAST_HELD_S} s or more",
            next(iter(left_out.values()), ""),
        )
    return OwnPiano(name=name, notes=notes, faults=faults, left_out=left_out)


def _cut(sound: FloatArray, rate_hz: int, onset_s: float, held_s: float) -> FloatArray:
    """One note as long as it was held, faded where it was let go."""
    begin, count = max(0, round((onset_s - 0.03) * rate_hz)), round((min(held_s, NOTE_S) + 0.03) * rate_hz)
    note = sound[begin : begin + count].copy()
    fade = min(len(note), round(0.05 * rate_hz))
    note[len(note) - fade :] *= np.linspace(1.0, 0.0, fade)
    common = gcd(RATE_HZ, rate_hz)
    return from_first_moment(resample_poly(note, RATE_HZ // common, rate_hz // common))


def open_own_piano(folder: str | Path) -> OwnPiano:
    """A piano that was kept with `OwnPiano.save`.

    Parameters
    ----------
    folder : where it was kept

    Returns
    -------
    OwnPiano

    Raises
    ------
    BadInput : no such piano in the folder
    """
    folder = Path(folder)
    try:
        values = toml_of((folder / FILE).read_text(encoding="utf-8"), name=FILE)
        notes = {
            int(f.stem[3:]): np.asarray(read_sound(f).samples[:, 0], np.float64)
            for f in sorted(folder.glob("key*.flac"))
        }
        faults = {key: tuple(values["faults"].get(str(key), ())) for key in notes}
        return OwnPiano(
            name=str(values["name"]),
            notes=notes,
            faults=faults,
            left_out={int(k): str(v) for k, v in values["left_out"].items()},
        )
    except (OSError, KeyError, ValueError, AttributeError):
        raise BadInput(
            str(folder), "no piano that was kept", "a folder that OwnPiano.save has written"
        ) from None


def own_faults(piano: OwnPiano, *, seed: int = 1) -> tuple[Drill, ...]:
    """A row of keys for each fault that was measured: which one is bad? Nothing is altered.

    Only faults with six sound keys close by are asked: for others there is nothing to compare with.

    Parameters
    ----------
    piano : a teacher's own, measured
    seed : int; the same seed gives the same rows

    Returns
    -------
    tuple of `Drill`
    """
    drills = []
    for number, bad in enumerate(k for k in sorted(piano.notes) if piano.faults[k]):
        rng = np.random.default_rng([seed, number])
        near = sorted(piano.keys, key=lambda k: abs(k - bad))[: ROW - 1]
        if len(near) == ROW - 1 and max(abs(k - bad) for k in near) <= 2 * ROW:
            drills.append(_own_fault(piano, bad, sorted([*near, bad]), number=number, rng=rng, seed=seed))
    return tuple(drills)


def _own_fault(
    piano: OwnPiano, bad: int, keys: Sequence[int], *, number: int, rng: np.random.Generator, seed: int
) -> Drill:
    found = ", ".join(FAULT_WORDS[f].choice for f in piano.faults[bad])  # type: ignore[index]
    names = [note_name(k) for k in keys]
    return Drill(
        task=task_name(
            "find the bad key", seed=seed, number=number, hardness=0.0, level=None, about=(piano.name,)
        ),
        kind="find the bad key",
        question=f"{len(keys)} keys of {piano.name}: {', '.join(names)}. Which one is bad?",
        choices=tuple(names),
        clips=(struck("A", [piano.notes[k] for k in keys], rng=rng),),
        truth=Truth(
            answer=note_name(bad),
            explanation=f"{note_name(bad)}: {found}, as it was measured on the recording of all keys.",
            level=None,
            unit="",
            fault=piano.faults[bad][0],
            check=lambda: CONFIRMED,
            made_from=f"{piano.words}, unaltered",
            curves=(level_over_time(note_name(bad), piano.notes[bad]),),
            begins_s=(note_starts(len(keys))[keys.index(bad)], 0.0),
        ),
    )


def photo_exhibit(
    photo: str | Path, *, point: str, grade: int, instrument: str, kind: str = "upright"
) -> Exhibit:
    """A photograph to grade at a point of the checklist; the teacher's own grade is the reference.

    Parameters
    ----------
    photo : a picture file; it is made smaller and loses what it says of place, day and camera
    point : id of a checklist point
    grade : the teacher's, 5 sound to 1 failed
    instrument : what the pupils shall call it

    Raises
    ------
    BadInput : no picture, no such point, or no grade
    """
    points = load_checklist()
    if isinstance(grade, bool) or grade not in range(1, 6):
        raise BadInput("grade", repr(grade), "5 (sound) to 1 (failed)")
    found = next((p for p in points if p.id == point), None)
    if found is None:
        raise BadInput("point", repr(point), "the id of a checklist point")
    return Exhibit(
        instrument=instrument,
        kind=kind,
        point=found,
        drawing=_as_drawing(photo),
        where="",
        reading="",
        reference=grade,
        basis="the teacher's grade, not measured",
        made_from="a photograph by the teacher",
    )


def _as_drawing(photo: str | Path) -> str:
    return (
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 800 600" width="800" height="600" role="img" aria-label="A photograph to grade">'
        f'<image href="{scaled_picture(photo).uri}" width="800" height="600" preserveAspectRatio="xMidYMid meet"/></svg>'
    )
