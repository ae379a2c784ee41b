"""One zip of open formats: nothing stored is lost, and nothing strange is let in."""

import json
import os
import re
import zipfile
from dataclasses import replace
from hashlib import sha256
from pathlib import Path

import numpy as np
import pytest
import sqlalchemy as sa
from PIL import Image

from pianolab.casebook import create_casebook, export_zip, gather, import_zip, open_casebook
from pianolab.casebook.codec import KINDS, to_json
from pianolab.casebook.zipped import LISTS, README
from pianolab.errors import CasebookError
from pianolab.io import write_sound
from pianolab.model import Answer, Examiner, Finding, Piano, TouchOpinion, TouchTrial, load_profiles
from tests.casebook.places import Schemas, server_url

HERE = Path(__file__).parent
SECRET = "<script>alert(1)</script>\u202e🎹"


def whole(book):
    """Everything in the database and the media folder."""
    with book._engine.connect() as connection:
        rows = {
            table.name: sorted(map(tuple, connection.execute(sa.select(table)).all()), key=repr)
            for table in LISTS.values()
        }
    files = {n: sha256(book.media_path(n).read_bytes()).hexdigest() for n in book._store.media_names()}
    return rows, files


@pytest.fixture
def rich(case, tmp_path):
    return enrich(case, tmp_path)


@pytest.fixture
def rich_folder(folder_case, tmp_path):
    """What a zip holds doesn't hang on where it came from: strange ones are tried from a folder only."""
    return enrich(folder_case, tmp_path)


def enrich(case, tmp_path):
    """A casebook with everything in it: media, a removal, an undo, a purge, a conflict, a trial."""
    book = case.book
    sound = write_sound(tmp_path / "a.wav", np.zeros((480, 1)), rate_hz=48000, subtype="FLOAT")
    Image.new("RGB", (8, 8)).save(tmp_path / "a.png")
    with book.editing(by="Ana") as edit:
        edit.add_sound(case.visit.id, sound)
        edit.add_photo(case.visit.id, tmp_path / "a.png")
        edit.add(load_profiles()["first piano"])
        edit.change(replace(case.piano, note=SECRET))
        gone = edit.add(Examiner(name="gone"))
        other = edit.add(Piano(name="in the cellar"))
        edit.add(TouchTrial(player="Ana", piano_id=case.piano.id, other_piano_id=other.id, note=SECRET))
        edit.add(TouchOpinion(visit_id=case.visit.id, player="Ana", taste={"weight": 2}, note=SECRET))
        edit.add(Answer(pupil="Mia", kind="unison", task="u1", given=SECRET, correct=False))
        removed = edit.add(Finding(visit_id=case.visit.id, point="pins-rust", grade=3))
    with book.editing(by="Ana") as edit:
        edit.remove(removed.id)
    import_zip(export_zip(book, tmp_path / "apart.zip"), into=tmp_path / "apart").close()
    with open_casebook(tmp_path / "apart") as other, other.editing(by="Ben") as edit:
        edit.change(replace(case.finding, grade=1))
    with book.editing(by="Ana") as edit:
        edit.change(replace(case.finding, grade=2))
        edit.change(replace(case.finding, grade=5))
    book.undo(by="Ana")
    book.purge([gone.id], by="Ana")
    gather([tmp_path / "apart"], into=case.place)
    assert len(book.conflicts()) == 1
    return book


def test_the_round_trip_loses_nothing(rich, places, tmp_path):
    path = export_zip(rich, tmp_path / "all.zip")
    with import_zip(path, into=places.new("again")) as again:
        assert whole(again) == whole(rich)
        assert again.id == rich.id
        assert again.conflicts() == rich.conflicts()
        assert again.verify().ok
        with again.editing(by="Cem") as edit:
            edit.add(Piano(name="new"))
        assert again.log()[-1].seq > max(c.seq for c in rich.log())


def test_the_zip_holds_open_formats_only(rich, tmp_path):
    with zipfile.ZipFile(export_zip(rich, tmp_path / "all.zip")) as archive:
        names = archive.namelist()
        assert {os.path.splitext(name)[1] for name in names} <= {
            ".txt",
            ".json",
            ".jsonl",
            ".wav",
            ".png",
            ".flac",
        }
        records = [json.loads(line) for line in archive.read("records.jsonl").splitlines()]
        readme = archive.read("README.txt").decode()
        for field in ("uid", "machine", "record_id", "undoes", "purged", "deleted", "conflicts.jsonl"):
            assert field in readme
        assert all(entry.date_time == (1980, 1, 1, 0, 0, 0) for entry in archive.infolist())
    assert SECRET in {r["body"].get("note") for r in records}


def test_every_field_is_explained_in_the_zip_itself():
    for name, table in LISTS.items():
        assert f"{name}.jsonl" in README
        assert {column.name for column in table.columns} <= set(re.findall(r"\w+", README)), name
    assert set(KINDS) <= set(re.findall(r"\w+", README))


def test_a_zip_of_the_first_format_opens_for_ever(places):
    """Written by the pianolab of the first schema, from the casebook that is kept beside it."""
    expected = json.loads((HERE / "first_schema" / "content.json").read_text(encoding="utf-8"))
    with import_zip(HERE / "first_format.zip", into=places.new("again")) as again:
        assert [c.action for c in again.log()] == expected["actions"]
        for reader, texts in expected["records"].items():
            known = [json.loads(to_json(r)) for r in getattr(again, reader)()]
            assert [{n: r[n] for n in t} for r, t in zip(known, texts, strict=True)] == texts, reader
        assert again.verify().ok


def test_an_export_that_fails_leaves_nothing(rich_folder, tmp_path):
    (path, *_) = (rich_folder.folder / "media").glob("*.png")
    content = path.read_bytes()
    path.write_bytes(b"other")
    with pytest.raises(CasebookError, match="changed content"):
        export_zip(rich_folder, tmp_path / "all.zip")
    path.unlink()
    with pytest.raises(CasebookError, match="no such file in the media folder"):
        export_zip(rich_folder, tmp_path / "all.zip")
    path.write_bytes(content)
    with pytest.raises(CasebookError, match="can't be written"):
        export_zip(rich_folder, tmp_path / "nowhere" / "all.zip")
    assert not list(tmp_path.glob("*all.zip*"))


def changed(path, target, *, edit=None, add=None, drop=()):
    """A copy of a zip with entries edited, added or dropped."""
    with zipfile.ZipFile(path) as archive, zipfile.ZipFile(target, "w") as out:
        for entry in archive.infolist():
            content = archive.read(entry)
            if entry.filename in drop:
                continue
            if edit and entry.filename in edit:
                content = edit[entry.filename](content)
            out.writestr(entry.filename, content)
        for name, content in (add or {}).items():
            out.writestr(name, content)
    return target


def first_line_edited(**values):
    def edit(content):
        first, *rest = content.decode().splitlines()
        return "\n".join([json.dumps(json.loads(first) | values), *rest, ""]).encode()

    return edit


def first_line_turned(content):
    """Whether the first record is removed, turned round: which record comes first is chance."""
    first, *rest = content.decode().splitlines()
    record = json.loads(first)
    return "\n".join([json.dumps(record | {"deleted": not record["deleted"]}), *rest, ""]).encode()


HASH = "0" * 64


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"add": {"../evil.txt": b"x"}}, "an entry '../evil.txt'"),
        ({"add": {"/etc/cron.d/evil": b"x"}}, "an entry '/etc"),
        ({"add": {"media/../../evil.flac": b"x"}}, "an entry 'media/"),
        ({"add": {f"media/{HASH}.flac/x": b"x"}}, "an entry 'media/"),
        ({"add": {f"media\\{HASH}.flac": b"x"}}, "an entry 'media"),
        ({"add": {"run.py": b"print()"}}, "an entry 'run.py'"),
        ({"add": {f"media/{HASH}.flac": b"x"}}, "other content than its name says"),
        ({"drop": ["changes.jsonl"]}, "no changes.jsonl"),
        ({"drop": ["manifest.json"]}, "no manifest.json"),
        ({"edit": {"manifest.json": lambda c: c.replace(b"pianolab casebook", b"other")}}, "format 'other'"),
        (
            {"edit": {"manifest.json": lambda c: c.replace(b'"version": 2', b'"version": 3')}},
            "newer pianolab",
        ),
        (
            {"edit": {"manifest.json": lambda c: c.replace(b'"version": 2', b'"version": "2"')}},
            "newer pianolab",
        ),
        ({"edit": {"manifest.json": lambda _: b"{"}}, "can't be read"),
        ({"edit": {"manifest.json": lambda _: b"[]"}}, "a manifest without counts"),
        ({"edit": {"changes.jsonl": lambda c: c[: len(c) // 2]}}, "can't be read"),
        ({"edit": {"changes.jsonl": lambda c: b"\n".join(c.splitlines()[:-1]) + b"\n"}}, "it announces"),
        ({"edit": {"records.jsonl": first_line_turned}}, "doesn't follow from the changes"),
        ({"edit": {"records.jsonl": first_line_edited(extra=1)}}, "with fields"),
        ({"edit": {"changes.jsonl": first_line_edited(after={"name": ""})}}, "doesn't follow|can't be read"),
        ({"edit": {"changes.jsonl": first_line_edited(kind="Organ")}}, "can't be read|unknown"),
    ],
)
def test_strange_zips_are_refused_and_leave_nothing(rich_folder, tmp_path, changes, said):
    good = export_zip(rich_folder, tmp_path / "all.zip")
    bad = changed(good, tmp_path / "bad.zip", **changes)
    before = sorted(tmp_path.iterdir())
    with pytest.raises(CasebookError, match=said) as caught:
        import_zip(bad, into=tmp_path / "again")
    assert "\n" not in str(caught.value)
    assert sorted(tmp_path.iterdir()) == before


def test_the_changing_itself_is_harmless(rich_folder, tmp_path):
    same = changed(export_zip(rich_folder, tmp_path / "all.zip"), tmp_path / "same.zip")
    import_zip(same, into=tmp_path / "again").close()


@pytest.mark.filterwarnings("ignore:Duplicate name")
def test_entries_that_come_twice(rich_folder, tmp_path):
    path = export_zip(rich_folder, tmp_path / "all.zip")
    with zipfile.ZipFile(path, "a") as archive:
        archive.writestr("records.jsonl", b"")
    with pytest.raises(CasebookError, match="twice"):
        import_zip(path, into=tmp_path / "again")


def test_a_zip_that_unpacks_to_too_much(rich_folder, tmp_path):
    path = export_zip(rich_folder, tmp_path / "all.zip")
    with pytest.raises(CasebookError, match="when unpacked"):
        import_zip(path, into=tmp_path / "again", max_bytes=1000)


@pytest.mark.parametrize("content", [b"", b"no zip", b"PK\x03\x04" + bytes(100)])
def test_no_zip(tmp_path, content):
    (tmp_path / "a.zip").write_bytes(content)
    with pytest.raises(CasebookError, match="can't be read"):
        import_zip(tmp_path / "a.zip", into=tmp_path / "again")
    with pytest.raises(CasebookError, match="can't be read"):
        import_zip(tmp_path / "none.zip", into=tmp_path / "again")
    assert not (tmp_path / "again").exists()


def test_an_existing_folder_is_not_touched(rich_folder, tmp_path):
    path = export_zip(rich_folder, tmp_path / "all.zip")
    with pytest.raises(CasebookError, match="there already"):
        import_zip(path, into=rich_folder.folder)


def test_from_a_folder_to_a_server_and_back(rich_folder, tmp_path):
    places = Schemas(server_url())
    try:
        path = export_zip(rich_folder, tmp_path / "all.zip")
        with import_zip(path, into=places.new("again")) as again:
            assert whole(again) == whole(rich_folder)
            export_zip(again, tmp_path / "back.zip")
        with import_zip(tmp_path / "back.zip", into=tmp_path / "back") as back:
            assert whole(back) == whole(rich_folder)
    finally:
        places.close()


def test_a_bad_zip_leaves_a_database_empty(rich_folder, tmp_path):
    places = Schemas(server_url())
    try:
        good = export_zip(rich_folder, tmp_path / "all.zip")
        bad = changed(good, tmp_path / "bad.zip", edit={"records.jsonl": first_line_turned})
        with pytest.raises(CasebookError, match="doesn't follow"):
            import_zip(bad, into=places.new("again"))
        create_casebook(places.new("again")).close()
        with pytest.raises(CasebookError, match="with a casebook in it"):
            import_zip(good, into=places.new("again"))
    finally:
        places.close()
