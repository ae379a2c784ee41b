"""A whole casebook as one zip of open formats, and back, from a folder or a server alike.

What is in it, field by field, stands in `README` and so in every zip. The records follow from the changes; they
stand there for readers that want the present state only, and importing checks that they do follow.

Version 1 had no ``other_piano_id`` (and no trials of two pianos); it is read for ever.
"""

from __future__ import annotations

import json
import os
import re
import shutil
import zipfile
from collections.abc import Iterator
from hashlib import sha256
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any
from uuid import uuid4

import sqlalchemy as sa

from pianolab.casebook import tables
from pianolab.casebook.book import Casebook
from pianolab.casebook.codec import from_json
from pianolab.casebook.engine import reading, writing
from pianolab.casebook.ledger import later_than
from pianolab.casebook.media import FOLDER, hash_in_name, media_path
from pianolab.casebook.moving import move_to_server
from pianolab.casebook.opening import create_casebook, open_casebook
from pianolab.casebook.rebuild import check_entries, rebuild_records
from pianolab.casebook.server import is_url
from pianolab.casebook.settings import read_settings, settings_from_json, settings_to_json, write_settings
from pianolab.casebook.troubles import refusal
from pianolab.files import own_files, staged

FORMAT, FORMAT_VERSION = "pianolab casebook", 2
LISTS = {
    "records": tables.record,
    "changes": tables.change,
    "tombstones": tables.tombstone,
    "conflicts": tables.conflict,
    "media": tables.media,
}
JSON_COLUMNS = ("body", "before", "after")
MEDIA_NAME = re.compile(r"media/[0-9a-f]{64}\.[a-z0-9]{1,10}")
LARGEST_IMPORT = 50 * 1024**3
LARGEST_LINE = 256 * 1024**2

README = """A casebook of pianolab: pianos looked at, what was found, and the sound and pictures of it.

manifest.json     format, version (2), casebook_id, exported_at, counts (lines of each list below), settings (what
                  is remembered of how to judge: profile, seed, checklist and prices as name and text)
records.jsonl     what is so now, one line for each record:
                  id; kind (Piano, Visit, Examiner, Finding, Recording, SurveyRecord, Photo, BuyerProfile,
                  TouchOpinion, TouchTrial, Answer, Comparable); piano_id, visit_id, recording_id,
                  other_piano_id (the records it belongs to, or null); body (its content, field by field); deleted (taken out of
                  view); created_at; at and change_uid (its latest change)
changes.jsonl     everything ever entered, in order of arrival:
                  seq; uid; at; by; machine (a number that names nobody); action (add, change, remove, undo,
                  redo); kind; record_id; before and after (the content, null where there was or is none);
                  undoes (the uid of the change taken back); purged (content lost on purpose)
tombstones.jsonl  what was purged: record_id (of a purged field: id, section sign, name of the field), at, by
conflicts.jsonl   changes of one record made apart: record_id, one_uid, other_uid, found_at, settled_at
media.jsonl       name, size, original_sha256 (of the file it was made from), added_at
media/            sound (FLAC, or the original file) and photos (JPEG, PNG), named by their SHA-256

All text is UTF-8, moments are ISO 8601 in UTC, days ISO 8601, money decimal text. A state follows from the
changes: of each record the latest by "at", then "uid", counts.
"""


def export_zip(casebook: Casebook, path: str | Path, *, replace: bool = False) -> Path:
    """Write the whole casebook, log and media included, as one zip; the name appears when it is complete.

    Parameters
    ----------
    casebook : an open casebook; it is only read
    path : where to write
    replace : whether a file that is there may be replaced

    Raises
    ------
    BadInput
        a file of that name is there, or it is one of the casebook's own
    CasebookError
        a media file is missing or changed, or the zip can't be written
    """
    path = Path(path)
    if not path.parent.is_dir():
        raise refusal(path, "a file that can't be written (no such folder)", "an existing folder")
    with staged(path, inputs=own_files(casebook.folder), replace=replace) as (part,):
        assert part is not None
        try:
            with zipfile.ZipFile(part, "w", zipfile.ZIP_DEFLATED) as archive:
                _write_all(casebook, archive)
        except OSError as error:
            got = f"a file that can't be written ({error.strerror})"
            raise refusal(path, got, "room and leave to write") from error
    return path


def _write_all(casebook: Casebook, archive: zipfile.ZipFile) -> None:
    counts = {}
    archive.writestr(_entry("README.txt"), README)
    with reading(casebook._engine, name=casebook.name) as connection:
        for name, table in LISTS.items():
            order = list(table.primary_key.columns)
            rows = [_plain(row) for row in connection.execute(sa.select(table).order_by(*order))]
            counts[name] = len(rows)
            archive.writestr(_entry(f"{name}.jsonl"), "".join(json.dumps(row) + "\n" for row in rows))
        settings = read_settings(connection, name=casebook.name)
        media = (
            connection.execute(sa.select(tables.media.c.name).order_by(tables.media.c.name)).scalars().all()
        )
    for name in media:
        _write_media(casebook, archive, name)
    manifest = {"format": FORMAT, "version": FORMAT_VERSION, "casebook_id": casebook.id,
                "exported_at": later_than(None), "counts": counts,
                "settings": json.loads(settings_to_json(settings))}  # fmt: skip
    archive.writestr(_entry("manifest.json"), json.dumps(manifest, indent=1) + "\n")


def _entry(name: str, *, stored: bool = False) -> zipfile.ZipInfo:
    entry = zipfile.ZipInfo(name)  # no clock time and no user of this machine in it
    entry.compress_type = zipfile.ZIP_STORED if stored else zipfile.ZIP_DEFLATED
    return entry


def _plain(row: Any) -> dict[str, Any]:
    values = dict(row._mapping)
    return {n: json.loads(v) if n in JSON_COLUMNS and v is not None else v for n, v in values.items()}


def _write_media(casebook: Casebook, archive: zipfile.ZipFile, name: str) -> None:
    path = casebook.media_path(name)
    digest = sha256()
    with (
        path.open("rb") as file,
        archive.open(_entry(f"media/{name}", stored=True), "w", force_zip64=True) as out,
    ):
        while piece := file.read(1 << 20):
            digest.update(piece)
            out.write(piece)
    if digest.hexdigest() != hash_in_name(name):
        raise refusal(
            name, "a media file with changed content", "the file as it was kept", "See Casebook.verify."
        )


def import_zip(path: str | Path, *, into: str | Path, max_bytes: int = LARGEST_IMPORT) -> Casebook:
    """Make a casebook in a new folder, or in an empty database, from a zip that `export_zip` wrote.

    `gather` merges it further.

    Nothing outside the known names is unpacked, every media file must have the content its name promises,
    and the records must follow from the changes.

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
        KeyError,
        TypeError,
    ) as error:
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
            rows = list(_lines(path, archive, name, table, version=manifest["version"]))
            if len(rows) != manifest["counts"][name]:
                raise refusal(
                    path, f"{len(rows)} {name}", f"the {manifest['counts'][name]} it announces", "Cut off?"
                )
            if table is tables.change:
                check_entries(rows)
            if table is tables.record:
                expected = {row["id"]: row for row in rows}
            elif rows:
                connection.execute(sa.insert(table), rows)
        rebuild_records(connection)
        _check_records(path, connection, expected)


def _lines(
    path: Path, archive: zipfile.ZipFile, name: str, table: sa.Table, *, version: int
) -> Iterator[dict[str, Any]]:
    columns = {column.name for column in table.columns}
    with archive.open(f"{name}.jsonl") as file:
        while line := file.readline(LARGEST_LINE):
            row = json.loads(line)
            if version == 1 and table is tables.record:
                row |= {"other_piano_id": row["body"].get("other_piano_id")}
            if set(row) != columns:
                raise refusal(path, f"{name} with fields {sorted(row)}"[:200], f"{sorted(columns)}")
            yield {n: json.dumps(v) if n in JSON_COLUMNS and v is not None else v for n, v in row.items()}


def _check_records(path: Path, connection: sa.Connection, expected: dict[str, dict[str, Any]]) -> None:
    found = {row.id: dict(row._mapping) for row in connection.execute(sa.select(tables.record))}
    for identity in expected.keys() | found.keys():
        if found.get(identity) != expected.get(identity):
            got = f"record {identity} that doesn't follow from the changes"
            raise refusal(path, got, "records and changes of one export", "Was it edited by hand?")
        from_json(found[identity]["kind"], found[identity]["body"])
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
