"""Making a casebook and opening one."""

from __future__ import annotations

import uuid
from pathlib import Path

import sqlalchemy as sa

from pianolab.casebook import tables
from pianolab.casebook.book import Casebook
from pianolab.casebook.engine import APPLICATION_ID, DATABASE_NAME, make_engine, refusal, writing
from pianolab.casebook.ledger import later_than
from pianolab.casebook.media import FOLDER
from pianolab.casebook.migrate import VERSIONS, back_up, check_version, migrate


def create_casebook(folder: str | Path) -> Casebook:
    """Make a new casebook in a new or empty folder.

    Raises
    ------
    CasebookError
        the folder holds a casebook or anything else, or can't be written
    """
    folder = Path(folder)
    database = folder / DATABASE_NAME
    if folder.exists() and not folder.is_dir():
        raise refusal(folder, "a file", "a folder that is new or empty")
    if database.exists():
        raise refusal(folder, "a folder with a casebook in it", "a new or empty folder", "Use open_casebook.")
    if folder.is_dir() and any(folder.iterdir()):
        raise refusal(folder, "a folder that isn't empty", "a new or empty folder", "Choose another name.")
    # Built beside and renamed: a half-made casebook never carries the name.
    temporary = folder / f".{DATABASE_NAME}.{uuid.uuid4().hex}.part"
    try:
        (folder / FOLDER).mkdir(parents=True)
        _build_database(temporary, folder)
        temporary.replace(database)
    except OSError as error:
        raise refusal(
            folder, f"a folder that can't be written ({error.strerror})", "leave to write there"
        ) from error
    finally:
        for rest in folder.glob(f"{temporary.name}*"):
            rest.unlink()
    return open_casebook(folder)


def _build_database(path: Path, folder: Path) -> None:
    engine = make_engine(path)
    try:
        migrate(engine, name=folder)
        with writing(engine, name=folder) as connection:
            connection.exec_driver_sql(f"PRAGMA application_id = {APPLICATION_ID}")
            for key, value in (("casebook_id", uuid.uuid4().hex), ("created_at", later_than(None))):
                connection.execute(sa.insert(tables.meta).values(key=key, value=value))
    finally:
        engine.dispose()  # the last connection to close folds the write-ahead log into the file


def open_casebook(folder: str | Path) -> Casebook:
    """Open a casebook; an older schema is raised to the present one, after a copy into ``backups/``.

    Raises
    ------
    CasebookError
        no folder, no casebook in it, one from a newer pianolab (left untouched), or a damaged one
    """
    folder = Path(folder)
    database = folder / DATABASE_NAME
    if not folder.is_dir():
        got = "a file" if folder.exists() else "no such folder"
        raise refusal(folder, got, "a casebook folder", "Misspelt? create_casebook makes a new one.")
    if not database.is_file():
        raise refusal(
            folder,
            f"a folder without {DATABASE_NAME}",
            "a casebook folder",
            "Is it the folder above or below?",
        )
    version = check_version(database)
    engine = make_engine(database)
    if version != VERSIONS[-1]:
        back_up(database, label=f"schema{version}")
        migrate(engine, name=folder)
    return Casebook(folder, engine)
