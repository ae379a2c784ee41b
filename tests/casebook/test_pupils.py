"""A role for each pupil, tried as an attacker would: with SQL of one's own, not through pianolab."""

import json

import pytest
import sqlalchemy as sa

from pianolab.casebook import open_casebook
from pianolab.casebook.pupils import pupil_access, shut_out, without_password
from pianolab.casebook.server import parse_url
from pianolab.errors import CasebookError, PianolabError
from pianolab.model import Answer


def answer(pupil, identity, given="first"):
    return Answer(
        id=identity,
        pupil=pupil,
        kind="unison",
        task="u1",
        given=given,
        truth="first",
        correct=given == "first",
    )


@pytest.fixture
def school(server_case):
    """A casebook with pianos and one answer of Mia's, and what Mia and Leo may use."""
    urls = {name: pupil_access(server_case.place, name) for name in ("Mia", "Leo")}
    with open_casebook(urls["Mia"]) as book, book.editing(by="class") as edit:
        edit.add(answer("Mia", "answer-1"))
    yield server_case, urls
    for name in urls:
        shut_out(server_case.place, name)


@pytest.fixture
def attack(school):
    """Runs SQL as Leo; what the server says."""
    engine = sa.create_engine(
        parse_url(school[1]["Leo"]), isolation_level="AUTOCOMMIT", poolclass=sa.pool.NullPool
    )

    def run(statement, **values):
        with engine.connect() as connection:
            result = connection.execute(sa.text(statement), values)
            return result.all() if result.returns_rows else result.rowcount

    return run


def test_each_pupil_adds_and_reads_their_own(school):
    case, urls = school
    with open_casebook(urls["Leo"]) as book:
        assert book.answers() == book.pianos() == book.findings() == book.log() == ()
        with book.editing(by="class") as edit:
            mine = edit.add(answer("Leo", "answer-2", "second"))
        with book.editing(by="class") as edit:
            edit.change(answer("Leo", "answer-2"))
        assert [a.id for a in book.answers()] == ["answer-2"]
        assert book.answers()[0].given == "first" != mine.given
    with open_casebook(urls["Mia"]) as book:
        assert [a.id for a in book.answers()] == ["answer-1"]
    with open_casebook(case.place) as book:
        assert {a.pupil for a in book.answers()} == {"Mia", "Leo"}
        assert book.pianos() == (case.piano,)
        assert book.verify().ok


def test_nobody_answers_for_another(school):
    with (
        open_casebook(school[1]["Leo"]) as book,
        pytest.raises(CasebookError, match="you may not do that"),
        book.editing(by="class") as edit,
    ):
        edit.add(answer("Mia", "answer-3"))


READS = [
    "SELECT body FROM record",
    "SELECT after FROM change",
    "SELECT before FROM change WHERE record_id = 'answer-1'",
    "SELECT value FROM meta WHERE key NOT IN ('casebook_id', 'created_at')",
    "SELECT body FROM record WHERE body::json ->> 'pupil' = 'Mia'",
    "SELECT r.body FROM change c JOIN record r ON r.change_uid = c.uid",
]


@pytest.mark.parametrize("statement", READS)
def test_own_sql_reads_nobodys_rows(attack, statement):
    assert attack(statement) == []


def test_the_teachers_role_reads_the_same_rows(school):
    """The twin: what is hidden from pupils is there."""
    engine = sa.create_engine(parse_url(school[0].place))
    with engine.connect() as connection:
        for statement in (READS[0], READS[1], READS[4], READS[5]):
            assert connection.execute(sa.text(statement)).all(), statement
    engine.dispose()


WRITES = [
    "UPDATE record SET body = replace(body, 'first', 'second')",
    "UPDATE record SET deleted = true WHERE id = 'answer-1'",
]
REFUSED = [
    "DELETE FROM record",
    "DELETE FROM change",
    "UPDATE change SET after = NULL",
    "TRUNCATE record CASCADE",
    "SELECT * FROM pianolab_pupils",
    "UPDATE pianolab_pupils SET pupil = 'Mia'",
    "SELECT * FROM media",
    "SELECT * FROM media_piece",
    "SELECT * FROM conflict",
    "INSERT INTO tombstone VALUES ('answer-1', 'now', 'Leo')",
    "UPDATE meta SET value = 'x'",
    "ALTER TABLE record DISABLE ROW LEVEL SECURITY",
    "DROP POLICY pianolab_staff ON record",
    "CREATE TABLE trap (x int)",
    "CREATE OR REPLACE FUNCTION pianolab_pupil() RETURNS text LANGUAGE sql AS 'SELECT NULL::text'",
    "SET SESSION AUTHORIZATION pianolab",
    "SET ROLE pianolab",
    "CREATE ROLE more SUPERUSER",
    "COPY record TO PROGRAM 'cat'",
]


@pytest.mark.parametrize("statement", WRITES)
def test_own_sql_changes_nobodys_rows(attack, statement):
    assert attack(statement) == 0


@pytest.mark.parametrize("statement", REFUSED)
def test_own_sql_is_refused(attack, statement):
    with pytest.raises(sa.exc.DBAPIError):
        attack(statement)


def test_a_trap_in_temporary_tables_deceives_nobody(school):
    """A table of one's own with the name of the list of pupils: the function must not look there."""
    engine = sa.create_engine(parse_url(school[1]["Leo"]), isolation_level="AUTOCOMMIT")
    with engine.connect() as connection:
        connection.exec_driver_sql("CREATE TEMPORARY TABLE pianolab_pupils (role text, pupil text)")
        connection.exec_driver_sql("INSERT INTO pianolab_pupils VALUES (session_user, 'Mia')")
        assert connection.exec_driver_sql("SELECT pianolab_pupil()").scalar_one() == "Leo"
        assert connection.exec_driver_sql("SELECT body FROM record").all() == []
    engine.dispose()


def test_a_record_in_ones_own_name_may_not_be_anything_but_an_answer(attack):
    with pytest.raises(sa.exc.DBAPIError):
        attack(
            "INSERT INTO record (id, kind, body, deleted, created_at, at, change_uid) VALUES "
            "('x', 'Piano', :body, false, 'now', 'now', 'x')",
            body=json.dumps({"id": "x", "name": "mine", "pupil": "Leo"}),
        )


def test_a_new_password_voids_the_old_one(school):
    case, urls = school
    new = pupil_access(case.place, "Leo")
    with pytest.raises(CasebookError, match="a password that the server refuses"):
        open_casebook(urls["Leo"])
    open_casebook(new).close()
    shut_out(case.place, "Leo")
    with pytest.raises(CasebookError):
        open_casebook(new)
    open_casebook(urls["Mia"]).close()


def test_a_pupil_lets_nobody_in(school):
    with pytest.raises(PianolabError):
        pupil_access(school[1]["Leo"], "Eve")


def test_no_password_in_what_may_be_written_down():
    told = without_password(
        "postgresql+psycopg://t:se%40cret@h:5/d?password=secret&options=-csearch_path%3Dx"
    )
    assert "cret" not in told
    assert parse_url(told).query["options"] == "-csearch_path=x"
