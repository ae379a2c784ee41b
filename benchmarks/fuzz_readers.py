"""What reads from outside, and valid input of each to begin from. A reader makes one mutant in a folder and reads it."""

from __future__ import annotations

import importlib
import json
import random
import shutil
import sqlite3
from collections.abc import Callable
from contextlib import closing
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image

from benchmarks.fuzz import ODD_TEXTS, mutated
from pianolab.casebook import (
    create_casebook,
    export_zip,
    gather,
    import_zip,
    open_casebook,
    repair_casebook,
)
from pianolab.casebook.media import as_jpeg, keep_photo
from pianolab.errors import PianolabError
from pianolab.io import read_sound, sound_info, write_sound
from pianolab.model import Answer, Finding, Piano, Visit

DATABASE = "casebook.sqlite"


def sounds(room: Path) -> list[Path]:
    """A third of a second in every form that we write."""
    room = room / "sounds"
    room.mkdir(exist_ok=True)
    if there := sorted(room.glob("?.*")):
        return there
    rng = np.random.default_rng(1)
    wave = 0.2 * np.sin(np.arange(16000) * 0.06)[:, None] + 0.01 * rng.standard_normal((16000, 1))
    forms = (
        ("a.wav", "PCM_16"),
        ("b.wav", "FLOAT"),
        ("c.flac", "PCM_24"),
        ("d.ogg", None),
        ("e.mp3", None),
        ("f.m4a", None),
        ("g.opus", None),
        ("h.aiff", "PCM_16"),
    )
    made = []
    for name, subtype in forms:
        try:
            made.append(
                write_sound(
                    room / name,
                    wave.astype(np.float32),
                    rate_hz=48000,
                    **({"subtype": subtype} if subtype else {}),
                )
            )
        except PianolabError:
            continue
    return made


def filled(place: Path, room: Path) -> Path:
    """A small casebook with sound and picture, closed."""
    Image.effect_noise((64, 48), 60).save(room / "photo.png")
    with create_casebook(place) as book, book.editing(by="Ana") as edit:
        piano = edit.add(Piano(name="by the window", year=1978, asking_price=1200))
        visit = edit.add(Visit(piano_id=piano.id, day=date(2026, 5, 1), examiner="Ana"))
        for n in range(30):
            edit.add(Finding(visit_id=visit.id, point="pins-rust", grade=1 + n % 5, place=f"place {n}"))
        edit.add_photo(visit.id, room / "photo.png", point="pins-rust")
        edit.add_sound(visit.id, sounds(room)[0])
        edit.add(Answer(pupil="Mia", kind="unison", task="u1", given="a", truth="a", correct=True))
    return place


class Reader:
    """One way in."""

    name = ""

    def __init__(self, room: Path) -> None:
        self.room = room

    def try_one(self, folder: Path, rng: random.Random) -> None:
        """Make one mutant and read it."""
        raise NotImplementedError


class Audio(Reader):
    """Sound files."""

    name = "audio"

    def __init__(self, room: Path) -> None:
        super().__init__(room)
        self.seeds = sounds(room)

    def try_one(self, folder: Path, rng: random.Random) -> None:
        seed = rng.choice(self.seeds)
        path = folder / (seed.name if rng.random() < 0.8 else f"x{rng.choice(self.seeds).suffix}")
        path.write_bytes(mutated(seed.read_bytes(), rng))
        sound_info(path)
        read_sound(path)


class CasebookFile(Reader):
    """The database of a casebook: opened and asked, gathered into another, repaired."""

    name = "casebook"

    def __init__(self, room: Path) -> None:
        super().__init__(room)
        self.seed, self.target = filled(room / "seed", room), filled(room / "target", room)

    def try_one(self, folder: Path, rng: random.Random) -> None:
        place = folder / "case"
        shutil.copytree(self.seed, place)
        (place / DATABASE).write_bytes(mutated((place / DATABASE).read_bytes(), rng))
        doings: list[Callable[[], object]] = [
            lambda: self._ask(place),
            lambda: gather([place], into=self._target(folder)),
            lambda: repair_casebook(place),
        ]
        rng.choice(doings)()

    def _target(self, folder: Path) -> Path:
        shutil.copytree(self.target, folder / "into")
        return folder / "into"

    def _ask(self, place: Path) -> None:
        with open_casebook(place) as book:
            book.verify()
            for what in (book.pianos, book.visits, book.findings, book.log, book.conflicts, book.answers):
                what()
            book.current_findings(book.pianos()[0].id if book.pianos() else "")
            with book.editing(by="Ben") as edit:
                edit.add(Piano(name="new"))
            book.undo(by="Ben")
            repr(book)


class Zip(Reader):
    """A zip of a casebook, as a file and with lists that were changed inside."""

    name = "zip"

    def __init__(self, room: Path) -> None:
        super().__init__(room)
        with open_casebook(filled(room / "seed", room)) as book:
            self.seed = export_zip(book, room / "seed.zip")

    def try_one(self, folder: Path, rng: random.Random) -> None:
        path = folder / "x.zip"
        if rng.random() < 0.4:
            path.write_bytes(mutated(self.seed.read_bytes(), rng))
        else:
            self._change_inside(path, rng)
        import_zip(path, into=folder / "into").close()

    def _change_inside(self, path: Path, rng: random.Random) -> None:
        import zipfile

        with zipfile.ZipFile(self.seed) as old, zipfile.ZipFile(path, "w") as new:
            chosen = rng.choice([n for n in old.namelist() if n.endswith((".json", ".jsonl"))])
            for name in old.namelist():
                data = old.read(name)
                new.writestr(name, mutated(data, rng, text=True) if name == chosen else data)


class Toml(Reader):
    """What users write: checklist, prices, words, touch scales, a class."""

    name = "toml"

    def __init__(self, room: Path) -> None:
        super().__init__(room)
        from pianolab.assess.prices import read_prices
        from pianolab.checklist import read_checklist
        from pianolab.classroom import make_class, open_class
        from pianolab.words.language import load_language

        data = Path(__file__).parent.parent
        make_class(room / "class", name="Tuesday", seed=4)
        (class_file,) = (room / "class").glob("*.toml")

        def reopened(text: str) -> None:
            class_file.write_bytes(text.encode("utf-8", "surrogateescape"))
            open_class(room / "class")

        self.seeds: list[tuple[str, Callable[[str], object]]] = [
            (class_file.read_text(), reopened),
            (
                (data / "datasets/prices.toml").read_text()[:6000],
                lambda text: read_prices(text, file="p.toml"),
            ),
            ((data / "pianolab/words/data/en.toml").read_text()[:4000], load_language),
            *(
                (p.read_text()[:5000], lambda text: read_checklist(text, file="c.toml"))
                for p in sorted((data / "pianolab/checklist/data").glob("0*.toml"))[:3]
            ),
        ]

    def try_one(self, folder: Path, rng: random.Random) -> None:  # noqa: ARG002
        text, read = rng.choice(self.seeds)
        read(
            mutated(text.encode(), rng, text=True).decode(
                "utf-8", "surrogateescape" if rng.random() < 0.2 else "replace"
            )
        )


class Pictures(Reader):
    """Photos: kept, and shown small."""

    name = "pictures"

    def __init__(self, room: Path) -> None:
        super().__init__(room)
        self.seeds: list[bytes] = []
        for suffix in ("jpg", "png", "webp", "tiff", "bmp", "gif"):
            path = room / f"x.{suffix}"
            Image.effect_noise((120, 90), 60).convert("P" if suffix == "gif" else "RGB").save(path)
            self.seeds.append(path.read_bytes())

    def try_one(self, folder: Path, rng: random.Random) -> None:
        path = folder / "photo.jpg"
        path.write_bytes(mutated(rng.choice(self.seeds), rng))
        as_jpeg(path, longest_px=144, quality=70)
        keep_photo(folder, path)


class ClassResults(Reader):
    """Pupils' folders in which content was changed, gathered by their teacher."""

    name = "class results"

    def __init__(self, room: Path) -> None:
        super().__init__(room)
        from pianolab.classroom import make_class

        self.school = make_class(room / "class", name="Tuesday", seed=4)
        desk = self.school.desk("Mia")
        with desk.book() as book, book.editing(by="class") as edit:
            for n in range(12):
                task = f"unison {n}"
                identity = desk.answer_id("beats", task)
                edit.add(
                    Answer(
                        id=identity,
                        pupil="Mia",
                        kind="unison",
                        lesson="beats",
                        task=task,
                        given="a",
                        truth="a",
                        correct=True,
                    )
                )

    def try_one(self, folder: Path, rng: random.Random) -> None:
        from pianolab.classroom import open_class

        shutil.copytree(self.school.folder, folder / "class")
        (place,) = (folder / "class" / "pupils").iterdir()
        with closing(sqlite3.connect(place / DATABASE)) as connection, connection:
            rows = connection.execute("SELECT seq, after FROM change").fetchall()
            for seq, after in rng.sample(rows, rng.choice((1, 3))):
                column = rng.choice(
                    ("after", "after", "before", "at", "by", "kind", "record_id", "uid", "action")
                )
                value: Any = (
                    mutated(str(after).encode(), rng, text=True)
                    if column == "after"
                    else rng.choice(ODD_TEXTS)
                )
                if isinstance(value, bytes) and rng.random() < 0.7:
                    value = value.decode("utf-8", "replace")
                connection.execute(f"UPDATE OR IGNORE change SET {column} = ? WHERE seq = ?", (value, seq))
        school = open_class(folder / "class")
        school.gather()
        school.answers()
        school.left_out()


class Messages(Reader):
    """What a browser may send to the forms, by whoever sits at it."""

    name = "widget messages"
    doings = (
        "go",
        "next",
        "back",
        "grade",
        "state",
        "note",
        "count",
        "reading",
        "choice",
        "keys",
        "place",
        "undo",
        "redo",
        "photo",
        "drop photo",
        "add",
        "sit",
        "answer",
        "done",
        "rather",
        "mark",
        "play",
        "begin",
        "piece",
        "end",
        "minutes",
        "search",
        "again",
        "reason",
        "confirm",
        "text",
        "open",
        "title",
        "area",
        "show",
    )

    def __init__(self, room: Path) -> None:
        super().__init__(room)
        from pianolab.widgets import FindingsForm, KeyboardPicker, TouchForm

        self.book = open_casebook(filled(room / "seed", room))
        visit = self.book.visits()[0]
        piano = self.book.pianos()[0]
        self.forms = [
            FindingsForm(self.book, visit.id, examiner="Ana"),
            TouchForm(self.book, visit.id, players=("Ana", "Ben")),
            KeyboardPicker(piano, casebook=self.book, visit_id=visit.id),
        ]
        self.names = (
            "do",
            "point",
            "record",
            "value",
            "grade",
            "state",
            "keys",
            "key",
            "on",
            "from",
            "n",
            "player",
            "scale",
            "note",
            "other",
            "rather",
            "text",
            "reason",
            "name",
            "photo",
            "count",
            "low",
            "high",
            "unit",
            "place",
            "said",
            "area",
        )
        self.words = [
            *ODD_TEXTS[:6],
            "pins-rust",
            "bridge-treble",
            piano.id,
            visit.id,
            "Ana",
            "checked",
            "not checked",
            "",
        ]

    def value(self, rng: random.Random, depth: int = 0) -> Any:
        """Anything that JSON can carry."""
        kinds: list[Callable[[], Any]] = [
            lambda: rng.choice(self.words),
            lambda: rng.choice((0, 1, -1, 3, 49, 10**30, 2.5, float("inf"), float("nan"))),
            lambda: None,
            lambda: rng.random() < 0.5,
        ]
        if depth < 2:
            kinds += [
                lambda: [self.value(rng, depth + 1) for _ in range(rng.randrange(4))],
                lambda: {rng.choice(self.names): self.value(rng, depth + 1) for _ in range(rng.randrange(3))},
            ]
        return rng.choice(kinds)()

    def try_one(self, folder: Path, rng: random.Random) -> None:  # noqa: ARG002
        form: Any = rng.choice(self.forms)
        for _ in range(3):
            event: Any = {rng.choice(self.names): self.value(rng) for _ in range(rng.randrange(8))}
            event["do"] = rng.choice(self.doings) if rng.random() < 0.9 else self.value(rng)
            if rng.random() < 0.5:
                event["point"] = "pins-rust"
            if rng.random() < 0.05:
                event = self.value(rng)
            buffers = [rng.randbytes(rng.randrange(200)) for _ in range(rng.randrange(3))]
            form._on_message(form, event, buffers)


class CommandLine(Reader):
    """Arguments of every command, in every order."""

    name = "command line"

    def __init__(self, room: Path) -> None:
        super().__init__(room)
        self.seed = filled(room / "seed", room)
        self.sound = sounds(room)[0]
        # What is loaded once in a process is no part of the first mutant's time.
        for name in ("cli", "workflow", "workflow.listening", "workflow.exporting", "cli.listen"):
            importlib.import_module(f"pianolab.{name}")

    def try_one(self, folder: Path, rng: random.Random) -> None:
        from pianolab.cli import main

        shutil.copytree(self.seed, folder / "case")
        (folder / "bad.wav").write_bytes(mutated(self.sound.read_bytes(), rng))
        (folder / "bad.toml").write_bytes(mutated(b'[[point]]\nid = "x"\narea = "X"\n', rng, text=True))
        paths = [
            str(folder / n)
            for n in ("case", "bad.wav", "bad.toml", "out.csv", "out.html", "missing", "tables", "é ü")
        ]
        words = [
            *paths,
            *paths,
            "",
            "-1",
            "99999999999999999999",
            "nan",
            "by the window",
            "2026-05-01",
            "usual",
            "names,prices",
            "postgresql://u:p@127.0.0.1:1/x",
            "\udcff",
            "x" * 300,
            "\x00",
        ]
        options = [
            "--csv",
            "--json",
            "--into",
            "--html",
            "--tables",
            "--profile",
            "--prices",
            "--checklist",
            "--leave-out",
            "--replace",
            "--first-key",
            "--last-key",
            "--a4",
            "--stands-at",
            "--piano",
            "--visit",
            "--left-pedal",
            "--repair",
            "--copy",
            "--to",
        ]
        command = rng.choice(
            ("listen", "listen", "export", "export", "gather", "check", "restore", "notebooks", "rubbish")
        )
        given = [command, rng.choice(paths)]
        if command == "listen":
            given[1] = str(folder / "bad.wav") if rng.random() < 0.5 else given[1]
            given += ["--csv", rng.choice([str(folder / "out.csv"), *words])]
        if command == "notebooks":
            given = [command, "--to", rng.choice(paths)]
        for _ in range(rng.randrange(5)):
            given += [rng.choice(options)] if rng.random() < 0.5 else [rng.choice(options), rng.choice(words)]
        import os

        os.chdir(folder)
        try:
            code = main(given)
        finally:
            os.chdir(self.room)
        assert code in (0, 2), f"{json.dumps(given)}: exit code {code}"


READERS: dict[str, type[Reader]] = {
    r.name: r for r in (Audio, CasebookFile, Zip, Toml, Pictures, ClassResults, Messages, CommandLine)
}
