"""A whole casebook as one zip of open formats, and back, from a folder or a server alike.

What is in it, field by field, stands in `README` and so in every zip. The records follow from the changes; they
stand there for readers that want the present state only, and importing checks that they do follow.

Version 1 had no ``other_piano_id`` (and no trials of two pianos); it is read for ever.
"""

from __future__ import annotations

import json
import zipfile
from hashlib import sha256
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from pianolab.casebook import tables
from pianolab.casebook.book import Casebook
from pianolab.casebook.engine import reading
from pianolab.casebook.kept_settings import read_settings, settings_to_json
from pianolab.casebook.ledger import later_than
from pianolab.casebook.media import hash_in_name
from pianolab.casebook.rebuild import AT_ONCE
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

README = """A casebook of pianolab: pianos looked at, what was found, and the sound and pictures of it.

manifest.json     format, version (2), casebook_id, exported_at, counts (lines of each list below), settings (what
                  is remembered of how to judge: profile, seed; checklist, prices, plans as name and text)
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
            raise refusal(path, got, "room and permission to write") from error
    return path


def _write_all(casebook: Casebook, archive: zipfile.ZipFile) -> None:
    counts = {}
    archive.writestr(_entry("README.txt"), README)
    with reading(casebook._engine, name=casebook.name) as connection:
        for name, table in LISTS.items():
            query = sa.select(table).order_by(*table.primary_key.columns).execution_options(yield_per=AT_ONCE)
            counts[name] = 0
            with archive.open(_entry(f"{name}.jsonl"), "w", force_zip64=True) as out:
                for row in connection.execute(query):
                    out.write((json.dumps(_plain(row)) + "\n").encode("ascii"))
                    counts[name] += 1
        settings = read_settings(connection, name=casebook.name)
        media = (
            connection.execute(sa.select(tables.media.c.name).order_by(tables.media.c.name)).scalars().all()
        )
    for name in media:
        _write_media(casebook, archive, name)
    manifest = {
        "format": FORMAT,
        "version": FORMAT_VERSION,
        "casebook_id": casebook.id,
        "exported_at": later_than(None),
        "counts": counts,
        "settings": json.loads(settings_to_json(settings)),
    }
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
