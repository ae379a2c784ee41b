"""A class in a folder or on a server: thirty pupils at once, nothing lost or doubled, and one who leaves is gone."""

from __future__ import annotations

import shutil
import sqlite3
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import pytest

from pianolab.casebook import open_casebook, shut_out
from pianolab.casebook.server import parse_url
from pianolab.classroom.answer_ids import desk_name, sealed
from pianolab.classroom.desk import Desk
from pianolab.classroom.folder import SchoolClass, make_class, open_class
from pianolab.classroom.pages import write_class_page
from pianolab.errors import BadInput, CasebookError
from pianolab.model import Answer
from tests.casebook.places import Schemas, server_url

PUPILS, EACH = 30, 6


def answers_of(desk: Desk, *, lesson: str = "first", count: int = EACH) -> list[Answer]:
    return [
        Answer(
            id=desk.answer_id(lesson, f"task {n}"),
            pupil=desk.pupil,
            lesson=lesson,
            kind="same or different",
            task=f"task {n}",
            given="same",
            truth="same" if n % 3 else "different",
            correct=bool(n % 3),
        )
        for n in range(count)
    ]


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


@pytest.mark.slow
def test_thirty_pupils_at_once(school: SchoolClass) -> None:
    desks = [school.desk(str(n + 1)) for n in range(PUPILS)]
    with ThreadPoolExecutor(PUPILS) as pool:
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
    other = replace(answer, given="same", truth="same", correct=True)
    assert not desk.record(other)
    school.gather()
    assert [a.correct for a in school.answers()] == [False]
    assert desk.record(other, again=True)
    school.gather()
    assert [a.correct for a in school.answers()] == [True]


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


UNSEEN = ("a\nb", "a\0b", "\x1b[31mMia", "\u202eaiM", "a\u2028b", "\ud800", "Mia\ufeff!")


@pytest.mark.parametrize("bad", ["", "  ", "mia@example.org", "x" * 41, "a/b", "a\\b", "<b>", "a:b", *UNSEEN])
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
    whole = 'name = "T"\nid = "a1"\nsame_set = true\nseed = '
    (tmp_path / "class.toml").write_text(f"{whole}3", encoding="utf-8")
    assert open_class(tmp_path).seed == 3
    for bad in ("inf", "[" * 100_000, "9" * 5000):
        (tmp_path / "class.toml").write_text(f"{whole}{bad}", encoding="utf-8")
        with pytest.raises(BadInput, match="a class file that can't be read"):
            open_class(tmp_path)
    with pytest.raises(BadInput, match="a folder that isn't empty"):
        make_class(tmp_path, name="Tuesday")
    with pytest.raises(BadInput, match="name: got an empty name"):
        make_class(tmp_path / "new", name=" ")
    with pytest.raises(BadInput, match="name: got unseen characters"):
        make_class(tmp_path / "new", name="Tues\nday")
    assert not (tmp_path / "new").exists()


def by_hand(desk: Desk, old: str, new: str, *, table: str = "change", column: str = "after") -> int:
    """Change a pupil's casebook as somebody would who knows where it lies; returns how many rows."""
    assert isinstance(desk.place, Path)
    connection = sqlite3.connect(desk.place / "casebook.sqlite")
    done = connection.execute(
        f"UPDATE {table} SET {column} = replace({column}, ?, ?) WHERE instr({column}, ?)", (old, new, old)
    )
    connection.commit()
    connection.close()
    return done.rowcount


def bury_by_hand(desk: Desk, marks: list[str]) -> None:
    """Tombstones as somebody would put them up who knows how a casebook keeps them."""
    assert isinstance(desk.place, Path)
    connection = sqlite3.connect(desk.place / "casebook.sqlite")
    (at,) = connection.execute("SELECT max(at) FROM change").fetchone()
    connection.executemany(
        "INSERT INTO tombstone (record_id, at, by) VALUES (?, ?, 'class')", [(m, at) for m in marks]
    )
    connection.commit()
    connection.close()


@pytest.mark.parametrize("first", ["Ida", "Mia"], ids=["known before", "not known yet"])
def test_a_pupils_folder_removes_nothing_of_anothers(tmp_path: Path, first: str) -> None:
    school = make_class(tmp_path / "class", name="Tuesday", seed=4)
    ida, mia = school.desk("Ida"), school.desk("Mia")
    work(school.desk(first))
    school.gather()
    work(mia if first == "Ida" else ida)
    ids = [a.id for a in answers_of(ida)]
    bury_by_hand(mia, [*ids[:3], f"{ids[3]}\N{SECTION SIGN}truth"])
    if first == "Mia":  # the one who removes is gathered before the other's first answer
        shutil.move(ida.place, tmp_path / "later")
        told = school.gather()
        shutil.move(tmp_path / "later", ida.place)
        school.gather()
    else:
        told = school.gather()
    assert told is not None
    assert told.purged == 0
    assert any("4 removals of records that are not its own were not followed" in p for p in told.problems)
    assert Counter(a.pupil for a in school.answers()) == {"Ida": EACH, "Mia": EACH}
    assert [a for a in school.answers() if a.pupil == "Ida"] == answers_of(ida)


def test_a_pupils_folder_removes_what_is_its_own(tmp_path: Path) -> None:
    """The twin: the same tombstones, in the folder of the pupil whose answers they are."""
    school = make_class(tmp_path / "class", name="Tuesday", seed=4)
    work(school.desk("Ida"))
    school.gather()
    bury_by_hand(school.desk("Ida"), [a.id for a in answers_of(school.desk("Ida"))[:3]])
    told = school.gather()
    assert told is not None
    assert told.purged == 3
    assert len(school.answers()) == EACH - 3


def slip_in(desk: Desk, answers: list[Answer]) -> None:
    """Put answers into a pupil's casebook as somebody would who knows the library."""
    with desk.book() as book, book.editing(by="class") as edit:
        for answer in answers:
            edit.add(sealed(answer, class_id=desk.school.id))


def all_wrong(desk: Desk) -> list[Answer]:
    return [replace(a, given="no", truth="yes", correct=False) for a in answers_of(desk)]


@pytest.mark.parametrize("first", ["Ida", "Mia"], ids=["known before", "not known yet"])
def test_a_pupils_folder_answers_for_nobody_else(tmp_path: Path, first: str) -> None:
    school = make_class(tmp_path / "class", name="Tuesday", seed=4)
    ida, mia = school.desk("Ida"), school.desk("Mia")
    if first == "Ida":
        work(ida)
        school.gather()
    work(mia)
    slip_in(mia, all_wrong(ida))
    told = school.gather()
    assert told is not None
    assert any(f"{EACH} records that are not its own were not taken in" in p for p in told.problems)
    if first == "Mia":
        assert school.pupils() == ("Mia",)
        work(ida)
        school.gather()
    assert [a for a in school.answers() if a.pupil == "Ida"] == answers_of(ida)
    assert [a for a in school.answers() if a.pupil == "Mia"] == answers_of(mia)
    assert school.left_out() == ()


def test_a_pupils_folder_answers_for_that_pupil(tmp_path: Path) -> None:
    """The twin: the same answers, in the folder of the pupil whose they are."""
    school = make_class(tmp_path / "class", name="Tuesday", seed=4)
    slip_in(school.desk("Ida"), all_wrong(school.desk("Ida")))
    school.gather()
    assert list(school.answers()) == all_wrong(school.desk("Ida"))


def test_anothers_answer_under_ones_own_name_is_not_taken_in(tmp_path: Path) -> None:
    """Else an answer that isn't given yet could be spoilt beforehand."""
    school = make_class(tmp_path / "class", name="Tuesday", seed=4)
    slip_in(school.desk("Mia"), [replace(a, pupil="Mia") for a in all_wrong(school.desk("Ida"))])
    school.gather()
    work(school.desk("Ida"))
    school.gather()
    assert list(school.answers()) == answers_of(school.desk("Ida"))


def test_a_stick_with_two_pupils_answers_is_nobodys(tmp_path: Path) -> None:
    """One pupil's folder may be called anything (`test_a_pupil_who_leaves_is_gone_for_good` gathers one)."""
    school = make_class(tmp_path / "class", name="Tuesday", seed=4)
    work(school.desk("Mia"))
    slip_in(school.desk("Mia"), answers_of(school.desk("Ida")))
    shutil.move(school.desk("Mia").place, tmp_path / "stick")
    told = school.gather(tmp_path / "stick")
    assert told is not None
    assert f"{2 * EACH} records that are not its own were not taken in" in told.problems[0]
    assert school.answers() == ()


def test_grades_are_known_by_their_own_ids(tmp_path: Path) -> None:
    school = make_class(tmp_path / "class", name="Tuesday", seed=4)
    desk = school.desk("Ida")
    own = [
        Answer(
            id=desk.answer_id("walk", "the one in the hall", point),
            pupil="Ida",
            lesson="walk",
            kind="grade",
            task="the one in the hall",
            item=point,
            given="clean",
            grade=5,
        )
        for point in ("keys-level", "board-cracks")
    ]
    slip_in(desk, own)
    school.gather()
    assert list(school.answers()) == own
    slip_in(desk, [replace(own[0], id=own[0].id[:-1] + "x")])
    told = school.gather()
    assert told is not None
    assert "1 records that are not its own were not taken in" in told.problems[0]


def test_a_damaged_folder_stops_nobody_elses_answers(tmp_path: Path) -> None:
    school = make_class(tmp_path / "class", name="Tuesday", seed=4)
    for name in ("Ida", "Leo", "Mia"):
        work(school.desk(name))
    torn = school.desk("Leo").place / "casebook.sqlite"  # type: ignore[operator]
    torn.write_bytes(torn.read_bytes()[:5000])
    assert by_hand(school.desk("Mia"), '{"', '{"rubbish')
    found = school.gather()
    assert found is not None
    assert school.pupils() == ("Ida",)
    # Each answer of Mia's by its own name, and Leo's folder as a whole.
    assert ["Mia-415095: Answer " in line for line in found.problems] == [True] * EACH + [False]
    assert "Leo-5bc426: got a damaged database" in found.problems[-1]
    assert (found.sources, found.added) == (2, EACH)
    shutil.rmtree(school.desk("Ida").place)
    shutil.rmtree(school.desk("Mia").place)
    with pytest.raises(CasebookError, match="damaged database"):
        school.gather()
    with pytest.raises(CasebookError, match="no such folder"):
        make_class(tmp_path / "new", name="New").gather([tmp_path / "nowhere"])


def test_answers_changed_by_hand_are_named_and_counted_nowhere(tmp_path: Path) -> None:
    school = make_class(tmp_path / "class", name="Tuesday", seed=4)
    for name in ("Ida", "Leo", "Mia", "Tom"):
        work(school.desk(name))
    wrong = sum(n % 3 == 0 for n in range(EACH))
    assert by_hand(school.desk("Ida"), "sealed:", "sealed:AAAA") == EACH
    assert by_hand(school.desk("Leo"), '"pupil": "Leo"', '"pupil": "Mia"') == EACH
    assert by_hand(school.desk("Tom"), "sealed:", "sealed:AAAA", table="record", column="body") == EACH
    told = school.gather()
    assert told is not None
    assert [f"{EACH} records that are not its own were not taken in" in p for p in told.problems] == [True]
    counted = Counter((a.pupil, a.correct) for a in school.answers())
    assert counted == {
        ("Mia", True): EACH - wrong,
        ("Mia", False): wrong,
        ("Tom", True): EACH - wrong,
        ("Tom", False): wrong,
    }
    assert Counter((a.pupil, why) for a, why in school.left_out()) == {
        ("Ida", "changed by hand"): EACH,
    }
    page = write_class_page(school, tmp_path / "class.html").read_text(encoding="utf-8")
    assert "What does not count" in page
    assert page.split("What does not count</h2>")[1].count("<tr>") == 1 + EACH


def test_no_answer_and_no_truth_lies_in_clear_in_a_folder_and_no_name_after_removal(tmp_path: Path) -> None:
    school = make_class(tmp_path / "class", name="Tuesday", seed=4)
    work(school.desk("Ida"))
    work(school.desk("Mia"))
    school.gather()
    whole = b"".join(f.read_bytes() for f in school.folder.rglob("*") if f.is_file())
    for answer in school.answers():
        for said in (answer.given, answer.truth):
            assert f'"{said}"'.encode() not in whole
    assert b"sealed:" in whole
    assert b"Ida" in whole, "the twin: what is not sealed is found"
    school.remove("Ida")
    left = [f for f in school.folder.rglob("*") if f.is_file() and b'"Ida"' in f.read_bytes()]
    assert left == []
    assert not [f for f in school.folder.rglob("*") if "Ida" in f.name]


def test_two_classes_share_a_place_and_stay_apart(school: SchoolClass, tmp_path: Path) -> None:
    """Pupils of one name in two classes on one server, or whose folder was handed to the wrong teacher."""
    other = make_class(tmp_path / "other", name="Tuesday", seed=4, database=school.database)
    work(other.desk("Mia"))
    assert school.desk("Mia").record(answers_of(school.desk("Mia"))[0])
    found = school.gather([] if school.database else [other.desk("Mia").place])
    other.gather()
    assert (len(school.answers()), len(other.answers())) == (1, EACH)
    if school.database:
        assert {why for _, why in school.left_out()} == {"another class"}
    else:
        assert found is not None
        assert len(found.problems) == 1
        assert "answers of another class, nothing of it was taken in" in found.problems[0]
        assert school.left_out() == ()
        with pytest.raises(BadInput, match="the folder of another class, 'Tuesday'"):
            school.gather(other.folder)
    assert len(school.desk("Mia").answers()) == 1
    assert school.remove("Mia") == 1
    assert len(other.answers()) == EACH


def test_answered_on_two_machines_the_first_answer_counts(tmp_path: Path) -> None:
    """Else a second copy of the folder would be a second try, with the truth known."""
    school = make_class(tmp_path / "class", name="Tuesday", seed=4)
    shutil.copytree(school.folder, tmp_path / "home")
    home = open_class(tmp_path / "home").desk("Mia")
    wrong = answers_of(home)[0]
    right = replace(wrong, given=wrong.truth, correct=True)
    assert home.record(wrong)
    assert school.desk("Mia").record(right)
    for places in ([], [home.place], [home.place], []):
        found = school.gather(places)  # type: ignore[arg-type]
        assert found is not None
        assert found.conflicts == ()
        if places and found.changes:
            assert found.problems == ("Mia answered 'task 0' on two machines; the first answer counts",)
        else:
            assert found.problems == ()
    assert [a.correct for a in school.answers()] == [False]


def test_two_windows_that_answer_at_once(school: SchoolClass) -> None:
    answer = answers_of(school.desk("Mia"))[0]
    with ThreadPoolExecutor(8) as pool:
        kept = list(pool.map(lambda _: school.desk("Mia").record(answer), range(8)))
    assert sum(kept) == 1
    school.gather()
    assert [a.id for a in school.answers() if a.pupil == "Mia"].count(answer.id) == 1


def test_what_a_killed_window_left_behind_is_in_nobodys_way(tmp_path: Path) -> None:
    school = make_class(tmp_path / "class", name="Tuesday")
    desk = school.desk("Mia")
    assert isinstance(desk.place, Path)
    left = desk.place.with_name(f".{desk.place.name}.0.part")
    (left / "media").mkdir(parents=True)
    (left / "casebook.sqlite").write_bytes(b"half")
    work(desk)
    school.gather()
    assert len(school.answers()) == EACH
    assert sorted(p.name for p in desk.place.parent.iterdir()) == sorted([left.name, desk.place.name])


def test_a_whole_copy_of_the_class_can_be_gathered(tmp_path: Path) -> None:
    school = make_class(tmp_path / "class", name="Tuesday")
    shutil.copytree(school.folder, tmp_path / "home")
    for name in ("Mia", "Leo"):
        work(open_class(tmp_path / "home").desk(name))
    school.gather(tmp_path / "home")
    assert school.pupils() == ("Leo", "Mia")
    assert len(school.answers()) == 2 * EACH


def test_who_was_removed_and_answers_again(school: SchoolClass) -> None:
    desk = school.desk("Mia")
    work(desk)
    school.gather()
    assert school.remove("Mia") == EACH
    for answer in (answers_of(desk)[0], answers_of(desk, lesson="another")[0]):
        with pytest.raises(BadInput, match="whose results were removed for good, need another name"):
            desk.record(answer)
    assert school.answers() == ()
    assert school.remove("Mia") == 0


def test_what_a_copy_held_that_was_never_gathered_stays_away_too(tmp_path: Path) -> None:
    """A pupil who left had answered more at home than the class ever saw."""
    school = make_class(tmp_path / "class", name="Tuesday", seed=4)
    shutil.copytree(school.folder, tmp_path / "home")
    home = open_class(tmp_path / "home")
    work(school.desk("Zuleika"))
    school.gather()
    assert school.remove("Zuleika") == EACH
    for pupil in ("Zuleika", "Leo"):
        for answer in answers_of(home.desk(pupil), lesson="at home"):
            home.desk(pupil).record(answer)
    school.gather(tmp_path / "home")
    assert school.pupils() == ("Leo",)
    with school.book() as book:
        assert {a.pupil for a in book.answers()} == {"Leo"}
    for file in (f for f in school.folder.rglob("*") if f.is_file()):
        assert b"Zuleika" not in file.read_bytes()


def test_a_class_that_is_moved_and_renamed_is_the_same(tmp_path: Path) -> None:
    school = make_class(tmp_path / "class", name="Tuesday", seed=4)
    work(school.desk("Mia"))
    shutil.move(school.folder, tmp_path / "elsewhere")
    file = tmp_path / "elsewhere" / "class.toml"
    file.write_text(file.read_text(encoding="utf-8").replace("Tuesday", "Wednesday"), encoding="utf-8")
    moved = open_class(tmp_path / "elsewhere")
    assert moved.name == "Wednesday"
    assert not any(moved.desk("Mia").record(a) for a in answers_of(moved.desk("Mia")))
    moved.gather()
    assert len(moved.answers()) == EACH


def test_nothing_is_kept_where_a_class_was_before_it_was_moved(tmp_path: Path) -> None:
    """A pupil's window that is still open says so, instead of making a folder where nobody looks."""
    school = make_class(tmp_path / "class", name="Tuesday", seed=4)
    desk = school.desk("Mia")
    shutil.move(school.folder, tmp_path / "elsewhere")
    for act in (lambda: desk.record(answers_of(desk)[0]), school.answers, school.gather):
        with pytest.raises(BadInput, match="got no class there any more, need the folder as it was opened"):
            act()
    assert not school.folder.exists()


def test_one_name_in_two_spellings_is_one_pupil(tmp_path: Path) -> None:
    school = make_class(tmp_path / "class", name="Tuesday")
    assert school.desk("Zoe\u0308").pupil == school.desk(" Zo\u00eb ").pupil
    assert school.desk("Mia").pupil != school.desk("mia").pupil
    assert school.desk(7).pupil == "7"
    assert school.desk("\u0645\u06cc\u200c\u0646\u0627").pupil


def test_a_pupil_whose_folder_is_damaged_can_be_removed(tmp_path: Path) -> None:
    school = make_class(tmp_path / "class", name="Tuesday")
    work(school.desk("Mia"))
    school.gather()
    place = school.desk("Mia").place
    assert isinstance(place, Path)
    (place / "casebook.sqlite").write_bytes(b"rubbish")
    assert school.remove("Mia") == EACH
    assert not place.exists()
    assert school.answers() == ()


def test_a_folder_that_cannot_be_deleted_is_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    school = make_class(tmp_path / "class", name="Tuesday")
    work(school.desk("Mia"))

    def refuse(*_: object, **__: object) -> None:
        raise OSError(16, "Device or resource busy")

    monkeypatch.setattr("pianolab.classroom.folder.shutil", SimpleNamespace(rmtree=refuse))
    with pytest.raises(BadInput, match=r"a folder that can't be deleted \(Device or resource busy\)"):
        school.remove("Mia")
    assert school.pupils() == ()


@pytest.mark.parametrize("seed", [-1, 3.5, "4", True, 2**64])
def test_seeds_that_are_none(tmp_path: Path, seed: object) -> None:
    with pytest.raises(BadInput, match=r"seed: got .*, need a whole number from 0 on"):
        make_class(tmp_path / "class", name="Tuesday", seed=seed)  # type: ignore[arg-type]
    assert not (tmp_path / "class").exists()


def test_the_first_seed_of_all_is_one(tmp_path: Path) -> None:
    """Nought is a whole number from 0 on; it is kept, and not taken for none."""
    made = make_class(tmp_path / "class", name="Tuesday", seed=0)
    assert made.seed == open_class(made.folder).seed == 0


def test_an_answer_that_fits_no_task(tmp_path: Path) -> None:
    desk = make_class(tmp_path / "class", name="Tuesday").desk("Mia")
    good = answers_of(desk)[0]
    for bad in (replace(good, id="answer"), replace(good, task="task 5"), replace(good, correct=True)):
        with pytest.raises(BadInput, match="an id, a task and a truth that don't belong together"):
            desk.record(bad)
    assert desk.answers() == ()


def test_another_pupils_desk(tmp_path: Path) -> None:
    school = make_class(tmp_path / "class", name="Tuesday")
    with pytest.raises(BadInput, match="Another pupil's desk"):
        school.desk("Leo").record(answers_of(school.desk("Mia"))[0])


@pytest.fixture
def on_server(tmp_path: Path) -> Iterator[SchoolClass]:
    server = Schemas(server_url())
    made = make_class(tmp_path / "class", name="Tuesday", seed=4, database=server.new("class"))
    yield made
    for pupil in ("Mia", "Leo"):
        shut_out(made.database, pupil)
    server.close()


def test_no_file_of_a_class_holds_a_password(on_server: SchoolClass) -> None:
    password = parse_url(on_server.database).password
    assert password
    for path in on_server.folder.rglob("*"):
        assert not path.is_file() or str(password).encode() not in path.read_bytes(), path
    assert open_class(on_server.folder, database=on_server.database) == on_server
    assert parse_url(open_class(on_server.folder).database).password is None


def test_a_pupil_works_with_what_lets_them_in_and_sees_nobody_else(on_server: SchoolClass) -> None:
    work(on_server.desk("Mia"))
    leo = open_class(on_server.folder, database=on_server.access("Leo"))
    work(leo.desk("Leo"))
    assert {a.pupil for a in leo.answers()} == {"Leo"}
    assert leo.desk("Mia").answers() == ()
    with pytest.raises(CasebookError):
        work(leo.desk("Mia"))
    assert {a.pupil for a in on_server.answers()} == {"Mia", "Leo"}


def test_another_database_is_no_way_in(on_server: SchoolClass, tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="a URL of another database"):
        open_class(on_server.folder, database="postgresql://t:w@elsewhere/pianos")
    files = make_class(tmp_path / "files", name="Friday", seed=4)
    with pytest.raises(BadInput, match="lies on no server"):
        open_class(files.folder, database=on_server.database)
    with pytest.raises(BadInput, match="a class of files"):
        files.access("Mia")
