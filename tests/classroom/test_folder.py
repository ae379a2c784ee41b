"""A class in a folder or on a server: thirty pupils at once, nothing lost or doubled, and one who leaves is gone."""

from __future__ import annotations

import shutil
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from pianolab.casebook import open_casebook
from pianolab.classroom.folder import Desk, SchoolClass, desk_name, make_class, open_class
from pianolab.errors import BadInput
from pianolab.model import Answer
from tests.casebook.places import Schemas, server_url

PUPILS, EACH = 30, 6


def answers_of(desk: Desk, *, lesson: str = "first", count: int = EACH) -> list[Answer]:
    return [
        Answer(
            id=desk.answer_id(lesson, f"task {n}"), pupil=desk.pupil, lesson=lesson, kind="same or different", task=f"task {n}",
            given="same", truth="same" if n % 3 else "different", correct=bool(n % 3),
        )
        for n in range(count)
    ]  # fmt: skip


def work(desk: Desk) -> None:
    for answer in answers_of(desk):
        assert desk.record(answer)


@pytest.fixture(params=["files", "server"])
def school(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[SchoolClass]:
    """A class on files and on PostgreSQL."""
    if request.param == "files":
        yield make_class(tmp_path / "class", name="Tuesday", seed=4)
        return
    server = Schemas(server_url())
    yield make_class(tmp_path / "class", name="Tuesday", seed=4, database=server.new("class"))
    server.close()


def test_thirty_pupils_at_once(school: SchoolClass) -> None:
    desks = [school.desk(str(n + 1)) for n in range(PUPILS)]
    # Files: every desk has its own casebook, so there is nothing to be at once; on the server all write into one.
    with ThreadPoolExecutor(PUPILS if school.database else 1) as pool:
        list(pool.map(work, desks))
    school.gather()
    school.gather()
    found = school.answers()
    wanted = {a.id: a for desk in desks for a in answers_of(desk)}
    assert len(found) == PUPILS * EACH
    assert {a.id: a for a in found} == wanted
    assert set(Counter(a.pupil for a in found).values()) == {EACH}
    assert len(school.pupils()) == PUPILS


def test_an_answer_counts_once_and_the_first_stands(school: SchoolClass) -> None:
    desk = school.desk("Mia")
    answer = answers_of(desk)[0]
    assert desk.record(answer)
    assert not desk.record(answer)
    other = Answer(id=answer.id, pupil="Mia", kind=answer.kind, task=answer.task, given="different")
    assert not desk.record(other)
    school.gather()
    assert [a.given for a in school.answers()] == ["same"]
    assert desk.record(other, again=True)
    school.gather()
    assert [a.given for a in school.answers()] == ["different"]


def test_a_pupil_who_leaves_is_gone_for_good(school: SchoolClass, tmp_path: Path) -> None:
    for name in ("Zuleika", "7"):
        work(school.desk(name))
    stick = tmp_path / "stick"
    if not school.database:
        shutil.copytree(school.desk("Zuleika").place, stick)
    school.gather()
    assert school.remove("Zuleika") == EACH
    assert school.pupils() == ("7",)
    if stick.exists():
        school.gather([stick])
        shutil.rmtree(stick)
    assert school.pupils() == ("7",)
    assert len(school.answers()) == EACH
    with school.book() as book:
        assert not [e for e in book.log() if "Zuleika" in repr(e)]
    for file in (f for f in school.folder.rglob("*") if f.is_file()):
        assert b"Zuleika" not in file.read_bytes()
        assert "Zuleika" not in str(file.relative_to(school.folder))


def test_the_name_would_be_found_before(tmp_path: Path) -> None:
    """The twin of the search above: it does see a name that is there."""
    school = make_class(tmp_path / "class", name="Tuesday", seed=4)
    work(school.desk("Zuleika"))
    school.gather()
    assert any(b"Zuleika" in f.read_bytes() for f in school.folder.rglob("*") if f.is_file())


def test_folders_that_came_from_elsewhere(tmp_path: Path) -> None:
    school = make_class(tmp_path / "class", name="Tuesday", seed=4)
    home = tmp_path / "home"
    shutil.copytree(school.folder, home)
    work(open_class(home).desk("Leo"))
    work(school.desk("Mia"))
    school.gather([open_class(home).desk("Leo").place])
    assert school.pupils() == ("Leo", "Mia")
    assert len(school.answers()) == 2 * EACH
    assert len(school.desk("Mia").answers()) == EACH
    assert school.desk("nobody").answers() == ()


def test_a_class_without_answers_is_empty_not_an_error(tmp_path: Path) -> None:
    school = make_class(tmp_path / "class", name="Tuesday")
    assert school.gather() is None
    assert school.answers() == ()
    assert school.remove("Mia") == 0


def test_one_set_for_all_or_each_their_own(tmp_path: Path) -> None:
    alike = make_class(tmp_path / "a", name="A", seed=1)
    own = make_class(tmp_path / "b", name="B", seed=1, same_set=False)
    assert alike.desk("Mia").seed("first") == alike.desk("Leo").seed("first")
    assert own.desk("Mia").seed("first") != own.desk("Leo").seed("first")
    assert alike.desk("Mia").seed("first") != alike.desk("Mia").seed("second")


def test_the_log_names_nobody(tmp_path: Path) -> None:
    school = make_class(tmp_path / "class", name="Tuesday")
    work(school.desk("Mia"))
    with open_casebook(school.desk("Mia").place) as book:
        assert {e.by for e in book.log()} == {"class"}


def test_names_of_folders_never_lead_elsewhere(tmp_path: Path) -> None:
    school = make_class(tmp_path / "class", name="Tuesday")
    for name in ("..", "...", "a.b", "a-b", "Zoë", "名"):
        place = school.desk(name).place
        assert isinstance(place, Path)
        assert place.resolve().parent == (school.folder / "pupils").resolve()
    assert desk_name("a.b") != desk_name("a-b")


@pytest.mark.parametrize("bad", ["", "  ", "mia@example.org", "x" * 41, "a/b", "a\\b"])
def test_more_than_a_first_name_is_refused(tmp_path: Path, bad: str) -> None:
    school = make_class(tmp_path / "class", name="Tuesday")
    with pytest.raises(BadInput, match=r"pupil: got .*, need a first name or a number"):
        school.desk(bad)
    with pytest.raises(BadInput, match="pupil: got"):
        Answer(pupil=bad, kind="grade", task="t")


def test_what_is_no_class(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="a folder without a class"):
        open_class(tmp_path)
    (tmp_path / "class.toml").write_text("name = 3 3", encoding="utf-8")
    with pytest.raises(BadInput, match="a class file that can't be read"):
        open_class(tmp_path)
    with pytest.raises(BadInput, match="a folder that isn't empty"):
        make_class(tmp_path, name="Tuesday")
    with pytest.raises(BadInput, match="name: got an empty name"):
        make_class(tmp_path / "new", name=" ")
    assert not (tmp_path / "new").exists()


def test_another_pupils_desk(tmp_path: Path) -> None:
    school = make_class(tmp_path / "class", name="Tuesday")
    with pytest.raises(BadInput, match="Another pupil's desk"):
        school.desk("Leo").record(answers_of(school.desk("Mia"))[0])
