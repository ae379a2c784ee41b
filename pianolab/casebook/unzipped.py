"""A casebook from a zip that an export wrote: nothing outside the known names, nothing that doesn't hold together."""

from __future__ import annotations

import json
import os
import re
import shutil
import zipfile
import zlib
from collections.abc import Generator, Iterator
from contextlib import closing
from hashlib import sha256
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any
from uuid import uuid4

import sqlalchemy as sa

from pianolab.casebook import tables
from pianolab.casebook.book import Casebook
from pianolab.casebook.engine import reading, writing
from pianolab.casebook.kept_settings import settings_from_json, write_settings
from pianolab.casebook.media import FOLDER, hash_in_name, media_path
from pianolab.casebook.opening import create_casebook, create_on_server, open_casebook
from pianolab.casebook.rebuild import check_entry, put_rows, rebuild_records
from pianolab.casebook.server import is_url
from pianolab.casebook.store import put_pieces
from pianolab.casebook.troubles import refusal
from pianolab.casebook.zipped import FORMAT, FORMAT_VERSION, JSON_COLUMNS, LISTS
from pianolab.errors import PianolabError

WHOLE = (tables.meta, tables.record, tables.change, tables.tombstone, tables.conflict, tables.media)
ROWS_AT_ONCE = 1000
NEXT_NUMBER = "SELECT setval(pg_get_serial_sequence('change', 'seq'), max(seq)) FROM change"


MEDIA_NAME = re.compile(r"media/[0-9a-f]{64}\.[a-z0-9]{1,10}")
LARGEST_IMPORT = 50 * 1024**3
LARGEST_LINE = 16 * 1024**2
"""Bytes of one record or change; the survey of a recording has a fiftieth of it."""

LARGEST_LISTS = 4 * 1024**3
"""Bytes of all lists when unpacked; a thousand pianos looked at in full have a tenth of it."""


def import_zip(path: str | Path, *, into: str | Path, max_bytes: int = LARGEST_IMPORT) -> Casebook:
    """Make a casebook in a new folder, or in an empty database, from a zip that `export_zip` wrote.

    `gather` merges it further.

    Nothing outside the known names is unpacked, every media file must have the content its name promises,
    and the records must follow from the changes.

    Parameters
    ----------
    path : the zip file
    into : the new folder, or the address of an empty database
    max_bytes : the most that may be unpacked

    Returns
    -------
    Casebook, open

    Raises
    ------
    CasebookError
        no such zip, unknown or oversized content, damage, a newer format; the folder is then not made
    """
    path = Path(path)
    if is_url(into):
        # Unpacked and checked on this computer first: the database gets all of it, or nothing.
        with (
            TemporaryDirectory() as temporary,
            import_zip(path, into=Path(temporary) / "unpacked", max_bytes=max_bytes) as unpacked,
        ):
            return move_to_server(unpacked, str(into))
    into = Path(into)
    if into.exists():
        raise refusal(into, "a folder that is there already", "a new folder")
    workshop = into.with_name(f".{into.name}.{uuid4().hex}.part")
    try:
        with zipfile.ZipFile(path) as archive:
            _check_names(path, archive, max_bytes)
            manifest = _manifest(path, archive)
            with create_casebook(workshop) as casebook:
                _read_all(path, archive, casebook, manifest)
        workshop.replace(into)
    except (
        OSError,
        EOFError,
        zipfile.BadZipFile,
        RuntimeError,
        NotImplementedError,
        ValueError,
        LookupError,
        TypeError,
        ArithmeticError,
        zlib.error,
    ) as error:
        if isinstance(error, PianolabError):
            raise refusal(
                path, f"content that is none of an export ({error})", "an undamaged export"
            ) from error
        reason = getattr(error, "strerror", None) or " ".join(str(error).split()) or type(error).__name__
        raise refusal(
            path, f"a zip that can't be read ({reason})", "an undamaged export of a casebook"
        ) from error
    finally:
        shutil.rmtree(workshop, ignore_errors=True)
    return open_casebook(into)


def _check_names(path: Path, archive: zipfile.ZipFile, max_bytes: int) -> None:
    known = {"README.txt", "manifest.json", *(f"{name}.jsonl" for name in LISTS)}
    seen: set[str] = set()
    for entry in archive.infolist():
        if entry.filename in seen or not (entry.filename in known or MEDIA_NAME.fullmatch(entry.filename)):
            got = f"an entry {entry.filename[:80]!r}" + (" twice" if entry.filename in seen else "")
            raise refusal(path, got, "only the files of an export", "Was something added to it?")
        seen.add(entry.filename)
    if missing := sorted(known - seen - {"README.txt"}):
        raise refusal(path, f"no {missing[0]}", "all files of an export", "Is it another zip?")
    lists = sum(entry.file_size for entry in archive.infolist() if entry.filename.endswith(".jsonl"))
    if lists > LARGEST_LISTS:
        raise refusal(path, f"{lists:,} bytes of lists when unpacked", f"{LARGEST_LISTS:,} or fewer")
    total = sum(entry.file_size for entry in archive.infolist())
    if total > max_bytes:
        raise refusal(
            path,
            f"{total:,} bytes when unpacked",
            f"{max_bytes:,} or fewer",
            "Raise max_bytes if it is yours.",
        )


def _manifest(path: Path, archive: zipfile.ZipFile) -> dict[str, Any]:
    manifest = json.loads(archive.read("manifest.json"))
    if not isinstance(manifest, dict) or not isinstance(manifest.get("counts"), dict):
        raise refusal(path, "a manifest without counts", "the manifest of an export")
    if manifest.get("format") != FORMAT:
        raise refusal(path, f"format {manifest.get('format')!r}", repr(FORMAT))
    if manifest.get("version") not in range(1, FORMAT_VERSION + 1):
        got = f"format version {manifest.get('version')!r}"
        need = f"version {FORMAT_VERSION} or older"
        raise refusal(path, got, need, "Written by a newer pianolab? Update pianolab.")
    return dict(manifest)


def _read_all(path: Path, archive: zipfile.ZipFile, casebook: Casebook, manifest: dict[str, Any]) -> None:
    (casebook.folder / FOLDER).mkdir(exist_ok=True)
    for entry in archive.infolist():
        if entry.filename.startswith("media/"):
            _unpack_media(path, archive, entry, casebook)
    with writing(casebook._engine, name=path) as connection:
        update = sa.update(tables.meta).where(tables.meta.c.key == "casebook_id")
        connection.execute(update.values(value=str(manifest["casebook_id"])))
        write_settings(connection, settings_from_json(json.dumps(manifest.get("settings", {})), name=path))
        for name, table in LISTS.items():
            if table is not tables.record:
                with closing(_entered(path, archive, name, manifest)) as rows:
                    put_rows(connection, rows, table=table)
        rebuild_records(connection)
        with closing(_entered(path, archive, "records", manifest)) as rows:
            _check_records(path, connection, rows)


def _entered(
    path: Path, archive: zipfile.ZipFile, name: str, manifest: dict[str, Any]
) -> Generator[dict[str, Any]]:
    """The rows of a list, looked at one by one; as many as are announced."""
    known: set[int] = set()
    count = 0
    with closing(_lines(path, archive, name, LISTS[name], version=manifest["version"])) as lines:
        for row in lines:
            if name == "changes":
                check_entry(row, known)
            count += 1
            yield row
    if count != manifest["counts"].get(name):
        raise refusal(path, f"{count} {name}", f"the {manifest['counts'].get(name)} it announces", "Cut off?")


def _lines(
    path: Path, archive: zipfile.ZipFile, name: str, table: sa.Table, *, version: int
) -> Generator[dict[str, Any]]:
    columns = {column.name for column in table.columns}
    with archive.open(f"{name}.jsonl") as file:
        while line := file.readline(LARGEST_LINE):
            row = json.loads(line)
            if not isinstance(row, dict):
                raise refusal(path, f"{name} with a line that is no record", "the lists of an export")
            if version == 1 and table is tables.record:
                row |= {"other_piano_id": row["body"].get("other_piano_id")}
            if set(row) != columns:
                raise refusal(path, f"{name} with fields {sorted(row)}"[:200], f"{sorted(columns)}")
            yield {n: json.dumps(v) if n in JSON_COLUMNS and v is not None else v for n, v in row.items()}


def _check_records(path: Path, connection: sa.Connection, expected: Iterator[dict[str, Any]]) -> None:
    """Whether the records that are written down are those that follow from the changes."""
    left = set(connection.execute(sa.select(tables.record.c.id)).scalars())
    for row in expected:
        found = connection.execute(
            sa.select(tables.record).where(tables.record.c.id == row["id"])
        ).one_or_none()
        if found is None or dict(found._mapping) != row or row["id"] not in left:
            left.add(str(row["id"]))
            break
        left.remove(row["id"])
    if left:
        got = f"record {min(left)[:80]} that doesn't follow from the changes"
        raise refusal(path, got, "records and changes of one export", "Was it edited by hand?")
    loose = connection.exec_driver_sql("PRAGMA foreign_key_check").all()
    if loose:
        raise refusal(path, f"{len(loose)} records that belong to none", "a complete export")


def _unpack_media(path: Path, archive: zipfile.ZipFile, entry: zipfile.ZipInfo, casebook: Casebook) -> None:
    name = entry.filename.removeprefix("media/")
    target = media_path(casebook.folder, name)
    digest = sha256()
    with archive.open(entry) as file, target.open("xb") as out:
        while piece := file.read(1 << 20):
            digest.update(piece)
            out.write(piece)
        out.flush()
        os.fsync(out.fileno())
    if digest.hexdigest() != hash_in_name(name):
        raise refusal(path, f"{entry.filename} with other content than its name says", "an undamaged export")


def move_to_server(casebook: Casebook, url: str) -> Casebook:
    """Copy everything, log and media included, in one transaction; the casebook keeps its id."""

    def fill(connection: sa.Connection) -> None:
        with reading(casebook._engine, name=casebook.name) as source:
            for table in WHOLE:
                rows = source.execution_options(yield_per=ROWS_AT_ONCE).execute(sa.select(table))
                for part in rows.mappings().partitions(ROWS_AT_ONCE):
                    connection.execute(sa.insert(table), [dict(row) for row in part])
            media = source.execute(sa.select(tables.media.c.name)).scalars().all()
        connection.exec_driver_sql(NEXT_NUMBER)
        for name in media:
            put_pieces(connection, name, casebook.media_path(name))

    return create_on_server(url, fill)
