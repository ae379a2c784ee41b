"""Making a damaged casebook whole again: from all that can still be read, and from its newest sound copy.

The log of changes is read row by row, from the copy and from the damaged database; together they make a new database
beside the old one, which is looked through before it takes the name. The damaged one is kept in ``backups/``.
"""

from __future__ import annotations

import os
import shutil
import sqlite3
import uuid
from collections.abc import Callable, Sequence
from contextlib import closing, suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from tempfile import TemporaryDirectory

import sqlalchemy as sa

from pianolab.casebook import tables
from pianolab.casebook.backups import BACKUPS, STAMP, copies, trouble_in
from pianolab.casebook.checkup import CheckUp, check_casebook, check_folder
from pianolab.casebook.engine import (
    DATABASE_NAME,
    is_busy,
    make_engine,
    make_reading_engine,
    reading,
    writing,
)
from pianolab.casebook.foreign import Source, read_source
from pianolab.casebook.kept_settings import KeptSettings, write_settings
from pianolab.casebook.leftovers import sweep
from pianolab.casebook.migrate import VERSIONS, check_version, copy_database, raise_database
from pianolab.casebook.opening import build_database
from pianolab.casebook.purge import empty_marked_fields
from pianolab.casebook.server import is_url
from pianolab.casebook.troubles import readable, refusal
from pianolab.casebook.uniting import obey_tombstones, unite
from pianolab.errors import BadInput, CasebookError
from pianolab.show import Row, Showable

SET_ASIDE = ("damaged", "replaced")
"""Labels of databases that another took the place of."""


@dataclass(frozen=True, kw_only=True, repr=False)
class Repair(Showable):
    """What `repair_casebook` or `restore_casebook` did.

    ``changes`` is how many entries the log has now, ``lost`` says what could not be saved, ``after`` is how the
    casebook stands now, ``kept`` where the old database lies (None where there was none, or nothing had to be done).
    """

    header = ("what", "which")

    place: str
    changes: int
    lost: tuple[str, ...]
    removed: tuple[str, ...]
    after: CheckUp
    made_anew: bool = True
    kept: Path | None = None
    used: str = ""

    def headline(self) -> str:
        if not self.made_anew:
            rest = f", {len(self.removed)} leftovers removed" if self.removed else ""
            return f"{self.place}: the database needs no repair{rest}"
        kept = f"; the old database is kept as {self.kept}" if self.kept else ""
        return f"{self.place}: made anew with {self.changes} changes{kept}"

    def rows(self) -> list[Row]:
        parts = {"from": [self.used] if self.used else [], "not saved": self.lost, "removed": self.removed}
        return [(name, line) for name, lines in parts.items() for line in lines] + self.after.rows()


def repair_casebook(folder: str | Path) -> Repair:
    """Remove leftovers, and make the database anew where it is damaged; nobody may have the casebook open.

    What neither the database nor its newest sound copy still tells is lost, and named; a sound or picture that is
    missing or changed can't be made anew: `gather` brings it from whoever has it.

    Parameters
    ----------
    folder : the folder of a casebook on a disk

    Returns
    -------
    Repair, which names what was done and what is lost

    Raises
    ------
    CasebookError
        no casebook, one on a server (its own copies are for that), one that is open somewhere, or no room
    """
    place = _folder_of(folder)
    removed = tuple(str(path) for path in sweep(place))
    found = check_casebook(place)
    if all(problem.startswith("media ") for problem in found.problems):
        return Repair(place=str(place), changes=0, lost=(), removed=removed, after=found, made_anew=False)
    _check_alone(place)
    with TemporaryDirectory(prefix="pianolab-") as room:
        sources, used = _sources(place, Path(room))
        if not any(source.entries for source in sources):
            lost = "; ".join(line for source in sources for line in source.problems)
            raise refusal(
                place, f"nothing that can be read ({lost[:200]})", "a casebook or a sound copy of one"
            )
        kept = _swap(place, lambda part: _build(part, place, sources), label="damaged")
    after = check_casebook(place)
    return Repair(
        place=str(place),
        changes=_count(place / DATABASE_NAME),
        removed=removed,
        after=after,
        kept=kept,
        used=used,
        lost=tuple(dict.fromkeys(line for source in sources for line in source.problems)),
    )


def restore_casebook(folder: str | Path, *, copy: str = "") -> Repair:
    """Put a copy in the place of the database, which is kept; nobody may have the casebook open.

    Parameters
    ----------
    folder : the casebook
    copy : name of one of its copies; empty takes the newest sound one

    Raises
    ------
    BadInput
        no such copy, or a damaged one
    CasebookError
        as `repair_casebook`; no copy
    """
    place = _folder_of(folder)
    chosen = _chosen(place, copy)
    if (place / DATABASE_NAME).exists():
        _check_alone(place)
    before = _count(place / DATABASE_NAME)
    kept = _swap(place, lambda part: copy_database(chosen, part), label="replaced")
    changes = _count(place / DATABASE_NAME)
    later = before - changes
    lost = (f"{later} changes that were entered after the copy",) if later > 0 else ()
    return Repair(
        place=str(place),
        changes=changes,
        lost=lost,
        removed=(),
        after=check_casebook(place),
        kept=kept,
        used=chosen.name,
    )


def _folder_of(place: str | Path) -> Path:
    if is_url(place):
        raise refusal(
            "casebook",
            "one on a server",
            "a folder",
            "A server has copies of its own; ask whoever looks after it.",
        )
    check_folder(Path(place))
    return Path(place)


def _chosen(place: Path, name: str) -> Path:
    there = [path for path in copies(place) if path.stem.rpartition("-")[2] not in SET_ASIDE]
    if name:
        found = [path for path in copies(place) if path.name == Path(name).name]
        if not found:
            names = ", ".join(path.name for path in there) or "none"
            raise BadInput(f"copy {name!r}", "no such copy", "the name of one", f"There are: {names}.")
        if problem := trouble_in(found[0]):
            raise BadInput(f"copy {name!r}", f"a damaged one ({problem})", "a sound one")
        return found[0]
    for path in there:
        if not trouble_in(path):
            return path
    raise refusal(
        place, "no sound copy in backups/", "one", "python -m pianolab check CASEBOOK --repair needs none."
    )


def _check_alone(place: Path) -> None:
    """Whether nobody else has the database open: it could not be replaced under them."""
    with suppress(sqlite3.DatabaseError), closing(sqlite3.connect(place / DATABASE_NAME, timeout=0.5)) as own:
        try:
            own.execute("PRAGMA locking_mode = EXCLUSIVE")
            own.execute("BEGIN IMMEDIATE")
            own.execute("ROLLBACK")
        except sqlite3.OperationalError as error:
            if is_busy(error):
                hint = "Close notebooks and programs that use it."
                raise refusal(
                    place, "a casebook that is open elsewhere", "one that nobody uses", hint
                ) from None


def _sources(place: Path, room: Path) -> tuple[list[Source], str]:
    """The newest sound copy and the database itself, read as far as they go; and which copy that was."""
    sources: list[Source] = []
    known: dict[str, str] = {}
    with suppress(CasebookError):
        copy = _chosen(place, "")
        sources.append(_read(copy, room / "copy", known, name=copy.name))
    used = sources[0].name if sources else ""
    if (place / DATABASE_NAME).exists():
        sources.append(_read(place / DATABASE_NAME, room / "own", known, name=DATABASE_NAME))
    return sources, used


def _read(database: Path, room: Path, known: dict[str, str], *, name: str) -> Source:
    room.mkdir()
    copied = room / DATABASE_NAME
    for end in ("", "-wal", "-journal"):
        if (part := database.with_name(database.name + end)).exists():
            shutil.copyfile(part, copied.with_name(copied.name + end))
    try:
        if check_version(copied) != VERSIONS[-1]:
            raise_database(copied, name=name)
    except CasebookError as error:
        return _attempt(copied, known, name=name, first=str(error))
    return _attempt(copied, known, name=name)


def _attempt(database: Path, known: dict[str, str], *, name: str, first: str = "") -> Source:
    engine = make_reading_engine(database, why="read for repair")
    try:
        source = read_source(engine, known=known, name=name)
    except CasebookError as error:
        source = Source(name=name, problems=[first, str(error)] if first else [str(error)])
    finally:
        engine.dispose()
    known.update((entry["uid"], record) for record, entries in source.entries.items() for entry in entries)
    return source


def _build(part: Path, place: Path, sources: Sequence[Source]) -> None:
    build_database(part, place)
    engine = make_engine(part)
    try:
        with writing(engine, name=place) as connection:
            for source in sources:
                obey_tombstones(source, connection)
                unite(source, connection, note_conflicts=False)
            empty_marked_fields(connection)
            settings = [s.settings for s in sources if s.settings != KeptSettings()]
            write_settings(connection, settings[-1] if settings else KeptSettings())
            for source in sources:
                for key, value in source.meta.items():
                    same = sa.update(tables.meta).where(tables.meta.c.key == key)
                    connection.execute(same.values(value=value))
    finally:
        engine.dispose()


def _swap(place: Path, build: Callable[[Path], None], *, label: str) -> Path | None:
    """Build a database beside the old one and give it the name; the old one is kept under another."""
    part = place / f".{DATABASE_NAME}.{uuid.uuid4().hex}.part"
    database = place / DATABASE_NAME
    kept = place / BACKUPS / f"{datetime.now(UTC).strftime(STAMP)}-{label}.sqlite"
    try:
        with readable(place):
            build(part)
        if problem := trouble_in(part):
            raise refusal(
                place,
                f"a new database that is damaged itself ({problem})",
                "a disk that keeps what it is given",
            )
        kept.parent.mkdir(exist_ok=True)
        if database.exists():
            _keep(database, kept)
            for end in ("-wal", "-journal"):  # what SQLite would play back into the new one
                if (log := database.with_name(DATABASE_NAME + end)).exists():
                    log.replace(kept.with_name(kept.name + end))
            database.with_name(f"{DATABASE_NAME}-shm").unlink(missing_ok=True)
        part.replace(database)
    except OSError as error:
        raise refusal(
            place, f"a folder that can't be written ({error.strerror})", "room and permission to write"
        ) from error
    finally:
        for end in ("", "-wal", "-shm", "-journal"):
            with suppress(OSError):
                part.with_name(part.name + end).unlink(missing_ok=True)
    return kept if kept.exists() else None


def _keep(database: Path, kept: Path) -> None:
    """A second name for the old database, or a copy where the disk knows no second names."""
    try:
        os.link(database, kept)
    except (OSError, AttributeError, NotImplementedError):
        shutil.copyfile(database, kept)


def _count(database: Path) -> int:
    """Entries of the log, 0 where that can't be told."""
    engine = make_reading_engine(database, why="counted")
    try:
        with reading(engine, name=database.parent) as connection:
            return int(connection.execute(sa.select(sa.func.count()).select_from(tables.change)).scalar_one())
    except CasebookError:
        return 0
    finally:
        engine.dispose()
