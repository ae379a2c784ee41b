"""Opening: only casebooks, older ones raised after a copy, newer ones left alone."""

import json
import shutil
import sqlite3
import subprocess
import sys
from dataclasses import replace
from hashlib import sha256
from pathlib import Path

import pytest
import sqlalchemy as sa

from pianolab.casebook import create_casebook, open_casebook
from pianolab.casebook.codec import REFERENCES, to_json
from pianolab.casebook.engine import DATABASE_NAME, make_engine, writing
from pianolab.casebook.migrate import MIGRATIONS, VERSIONS, migrate, version_of
from pianolab.casebook.tables import metadata, record
from pianolab.errors import CasebookError

LAST = VERSIONS[-1]
NEXT = str(int(LAST) + 1)
FIRST_SCHEMA = Path(__file__).parent / "first_schema"

NEXT_STEP = """
import sqlalchemy as sa
from alembic import op
revision, down_revision, branch_labels, depends_on = "{next}", "{last}", None, None
def upgrade():
    op.add_column("record", sa.Column("colour", sa.String))
    {more}
"""


def refusal(action, folder):
    with pytest.raises(CasebookError) as caught:
        action(folder)
    line = str(caught.value)
    assert "\n" not in line
    assert ": got " in line
    return line


def state_of(folder):
    return {p.name: sha256(p.read_bytes()).hexdigest() for p in folder.rglob("*") if p.is_file()}


def test_missing_folder(tmp_path):
    assert "no such folder" in refusal(open_casebook, tmp_path / "nothing")


def test_a_file_instead_of_a_folder(tmp_path):
    (tmp_path / "file").write_text("x")
    assert "got a file" in refusal(open_casebook, tmp_path / "file")
    assert "got a file" in refusal(create_casebook, tmp_path / "file")


def test_a_folder_without_casebook(tmp_path):
    assert "a folder without a casebook" in refusal(open_casebook, tmp_path)


@pytest.mark.parametrize("content", [b"", b"text " * 1000, b"SQLite format 3\0" + b"rubbish!" * 1000])
def test_no_database(tmp_path, content):
    (tmp_path / DATABASE_NAME).write_bytes(content)
    before = state_of(tmp_path)
    refusal(open_casebook, tmp_path)
    assert state_of(tmp_path) == before


def test_a_database_of_another_program(tmp_path):
    connection = sqlite3.connect(tmp_path / DATABASE_NAME)
    connection.execute("CREATE TABLE record (id)")
    connection.close()
    before = state_of(tmp_path)
    assert "of another program" in refusal(open_casebook, tmp_path)
    assert state_of(tmp_path) == before


def test_creating_where_something_is(tmp_path, folder_case):
    assert "a folder with a casebook in it" in refusal(create_casebook, folder_case.book.folder)
    (tmp_path / "full").mkdir()
    (tmp_path / "full" / "letter.txt").write_text("dear")
    assert "a folder that isn't empty" in refusal(create_casebook, tmp_path / "full")
    assert [p.name for p in (tmp_path / "full").iterdir()] == ["letter.txt"]


def test_creating_where_nothing_can_be_written(tmp_path):
    (tmp_path / "file").write_text("x")
    assert "can't be written" in refusal(create_casebook, tmp_path / "file" / "below")


def test_a_new_casebook_has_two_things(tmp_path):
    (tmp_path / "empty").mkdir()
    create_casebook(tmp_path / "empty").close()
    assert sorted(p.name for p in (tmp_path / "empty").iterdir()) == ["casebook.sqlite", "media"]


def test_a_newer_casebook_is_left_alone(folder_case):
    folder_case.book.close()
    connection = sqlite3.connect(folder_case.book.folder / DATABASE_NAME)
    connection.execute("UPDATE alembic_version SET version_num = '99'")
    connection.commit()
    connection.close()
    before = state_of(folder_case.book.folder)
    line = refusal(open_casebook, folder_case.book.folder)
    assert "schema 99" in line
    assert "update pianolab" in line
    assert state_of(folder_case.book.folder) == before


AT_ONCE = """
import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from pianolab.casebook import create_casebook, open_casebook
def make(n):
    create_casebook(Path(sys.argv[1]) / f"new {n}").close()
    open_casebook(Path(sys.argv[1]) / f"old {n}").close()
with ThreadPoolExecutor(12) as pool:
    print(len(list(pool.map(make, range(12)))))
"""


@pytest.mark.slow
def test_threads_make_and_raise_casebooks_at_once(tmp_path):
    """In a process of its own: without the lock it ends in errors or in a crash of the interpreter."""
    for n in range(12):
        shutil.copytree(FIRST_SCHEMA, tmp_path / f"old {n}")
    done = subprocess.run(
        [sys.executable, "-c", AT_ONCE, str(tmp_path)], capture_output=True, text=True, timeout=120
    )
    assert (done.stdout.strip(), done.returncode) == ("12", 0), done.stderr[-2000:]
    for folder in tmp_path.iterdir():
        assert version_of(folder / DATABASE_NAME) == LAST
        with open_casebook(folder) as book:
            assert book.verify().ok


def test_write_ahead_log_and_full_sync(folder_case):
    with folder_case.book._engine.connect() as connection:
        for pragma, value in (("journal_mode", "wal"), ("synchronous", 2), ("foreign_keys", 1)):
            assert connection.exec_driver_sql(f"PRAGMA {pragma}").scalar_one() == value


def test_the_known_versions_are_those_of_the_scripts():
    from alembic.script import ScriptDirectory

    script = ScriptDirectory(str(MIGRATIONS))
    assert tuple(s.revision for s in reversed(list(script.walk_revisions()))) == VERSIONS


def test_the_scripts_build_the_tables_in_use(case):
    from alembic.autogenerate import compare_metadata
    from alembic.migration import MigrationContext

    with case.book._engine.connect() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True})
        found = compare_metadata(context, metadata)
        if connection.dialect.name == "sqlite":
            # A reference added to a table that is there is written where the comparing doesn't read it.
            assert {change[0] for change in found} == {"remove_fk", "add_fk"}
            found = [c for c in found if [column.name for column in c[1].columns] != ["other_piano_id"]]
    assert found == []


def test_references_are_checked_at_the_end(case):
    """Also that of the column that came later: the second piano of a trial."""
    values = {"kind": "x", "body": "{}", "deleted": False, "created_at": "", "at": "", "change_uid": ""}
    for name in REFERENCES:
        insert = sa.insert(record).values(id=f"child {name}", **{name: f"parent {name}"}, **values)
        with case.book._engine.execution_options(purpose="write").begin() as connection:
            connection.execute(insert)
            connection.execute(sa.insert(record).values(id=f"parent {name}", **values))
        loose = insert.values(id=f"loose {name}", **{name: "nobody"})
        with (
            pytest.raises(CasebookError, match="belongs to one that isn't here"),
            writing(case.book._engine, name="case") as connection,
        ):
            connection.execute(loose)


@pytest.fixture
def next_step(tmp_path):
    def make(more="pass"):
        folder = tmp_path / "steps"
        shutil.copytree(MIGRATIONS, folder)
        (folder / "versions" / "next.py").write_text(NEXT_STEP.format(more=more, last=LAST, next=NEXT))
        return folder

    return make


def test_a_migration_keeps_everything(folder_case, next_step):
    before = [to_json(p) for p in folder_case.book.pianos()]
    migrate(folder_case.book._engine, name="case", migrations=next_step())
    assert version_of(folder_case.book.folder / DATABASE_NAME) == NEXT
    assert [to_json(p) for p in folder_case.book.pianos()] == before


def test_a_migration_that_fails_changes_nothing(folder_case, next_step):
    with pytest.raises(CasebookError, match=r"Nothing was changed"):
        migrate(folder_case.book._engine, name="case", migrations=next_step("raise RuntimeError('broken')"))
    assert version_of(folder_case.book.folder / DATABASE_NAME) == LAST
    with folder_case.book._engine.connect() as connection:
        columns = connection.exec_driver_sql("PRAGMA table_info(record)").all()
    assert "colour" not in [column[1] for column in columns]
    assert folder_case.book.pianos() == (folder_case.piano,)


def test_an_older_casebook_is_copied_and_raised_when_opened(folder_case, next_step, monkeypatch):
    from pianolab.casebook import opening

    steps = next_step()
    folder_case.book.close()
    monkeypatch.setattr(opening, "VERSIONS", (*VERSIONS, NEXT))
    monkeypatch.setattr(opening, "migrate", lambda engine, name: migrate(engine, name=name, migrations=steps))
    with open_casebook(folder_case.book.folder) as raised:
        assert raised.pianos() == (folder_case.piano,)
    assert version_of(folder_case.book.folder / DATABASE_NAME) == NEXT
    (copy,) = (folder_case.book.folder / "backups").iterdir()
    assert copy.name.endswith(f"-schema{LAST}.sqlite")
    assert version_of(copy) == LAST
    monkeypatch.undo()
    with pytest.raises(CasebookError, match=f"schema {NEXT}"):
        open_casebook(folder_case.book.folder)


def test_the_casebook_of_the_first_schema_opens_for_ever(tmp_path):
    folder = tmp_path / "case"
    shutil.copytree(FIRST_SCHEMA, folder)
    expected = json.loads((folder / "content.json").read_text(encoding="utf-8"))
    (folder / "content.json").unlink()
    with open_casebook(folder) as book:
        for reader, texts in expected["records"].items():
            found = [json.loads(to_json(r)) for r in getattr(book, reader)()]
            kept = [{k: f.get(k) for k in t} for f, t in zip(found, texts, strict=True)]
            assert kept == texts, f"{reader}: fields added since may come on top, none may change"
        assert [c.action for c in book.log()] == expected["actions"]
        assert book.verify().ok
        with book.editing(by="Ana") as edit:
            seen = book.findings()[0]
            edit.change(seen, was=seen)  # nothing changed by reading it with fields that came later
            edit.change(replace(seen, note="seen again"), was=seen)
            edit.remove(book.photos()[0].id)
        assert [c.action for c in book.log()] == [*expected["actions"], "change", "remove"]
    if VERSIONS[-1] != "1":
        assert any((folder / "backups").iterdir())


def test_engines_keep_the_connection_rules_after_reconnecting(folder_case):
    folder_case.book.close()
    engine = make_engine(folder_case.book.folder / DATABASE_NAME)
    with engine.connect() as connection:
        assert connection.exec_driver_sql("PRAGMA foreign_keys").scalar_one() == 1
    engine.dispose()
