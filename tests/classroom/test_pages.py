"""Pages and sheets: everything inside, nothing fetched, unknown stays unknown, answers only where the teacher is."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from pianolab.classroom import Drill, make_drill
from pianolab.classroom.answer_ids import GRADE, answer_id, place_of
from pianolab.classroom.exhibits import make_exhibits
from pianolab.classroom.folder import SchoolClass, make_class
from pianolab.classroom.interval_chart import Line, interval_chart
from pianolab.classroom.lessons import Goal, lesson_exhibits
from pianolab.classroom.pages import class_sections, pupil_sections, write_class_page, write_progress_page
from pianolab.classroom.progress_page import before_and_after, goal_standing, goals, latest_turn
from pianolab.classroom.sheets import write_sheets
from pianolab.classroom.staircase import share_right
from pianolab.errors import BadInput
from pianolab.model import Answer
from pianolab.report.class_page import Section, class_page

EXHIBITS = make_exhibits(seed=2, instruments=5, points=["keys-level", "strings-rust"])
SKILL = {"Mia": 0.95, "Leo": 0.55, "7": 0.75}


@pytest.fixture(scope="module")
def answers() -> list[Answer]:
    """Three pupils of known skill: yes/no tasks, thresholds, grades."""
    rng, told = np.random.default_rng(6), []
    for pupil, skill in SKILL.items():
        for n in range(24):
            at = datetime(2026, 3, 1, tzinfo=UTC) + timedelta(days=7 * (n // 8))
            truth = "different" if n % 2 else "same"
            right = bool(rng.random() < skill)
            given = truth if right else {"same": "different", "different": "same"}[truth]
            told.append(
                Answer(
                    pupil=pupil,
                    kind="same or different",
                    task=f"t{n}",
                    item="unison" if n % 2 else "",
                    given=given,
                    truth=truth,
                    correct=right,
                    confirmed="measured" if n else "not confirmed by measurement: too small",
                    at=at,
                )
            )
            level = 4.0 * 0.93**n
            told.append(
                Answer(
                    pupil=pupil,
                    kind="which is further out",
                    task=f"u{n}",
                    given="A",
                    truth="A",
                    level=level,
                    unit="cents",
                    correct=bool(rng.random() < share_right(level, 2.0)),
                    at=at,
                )
            )
        for e in EXHIBITS:
            grade = int(np.clip(e.reference + (pupil == "Mia"), 1, 5))
            told.append(Answer(pupil=pupil, kind=GRADE, task=e.instrument, item=e.point.id, grade=grade))
    return told


@pytest.fixture(scope="module")
def school(answers: list[Answer], tmp_path_factory: pytest.TempPathFactory) -> SchoolClass:
    made = make_class(tmp_path_factory.mktemp("pages") / "class", name="Tuesday <b>", seed=1)
    with made.book() as book, book.editing(by="class") as edit:
        for a in answers:
            item = a.item if a.kind == GRADE else ""
            own = answer_id(made.id, pupil=a.pupil, lesson=a.lesson, task=place_of(a.task), item=item)
            edit.add(replace(a, id=own))
    return made


def test_the_class_page_is_one_file_that_fetches_nothing(school: SchoolClass, tmp_path: Path) -> None:
    text = write_class_page(school, tmp_path / "class.html", exhibits=EXHIBITS).read_text(encoding="utf-8")
    assert "Tuesday &lt;b&gt;" in text
    assert "<b>" not in text
    assert "<script" not in text
    assert not re.findall(r'(?:src|href)="(?!data:|#)', text)
    for heading in (
        "Who hears how much",
        "Thresholds",
        "Grading alike",
        "Strict and mild",
        "Where the words mislead",
    ):
        assert f">{heading}</h2>" in text
    for pupil in ("Mia", "Leo"):
        assert pupil not in text, "no names unasked"
    for letter in "ABC":
        assert f"<td>{letter}</td>" in text
    named = write_class_page(school, tmp_path / "named.html", exhibits=EXHIBITS, names=True).read_text(
        encoding="utf-8"
    )
    for pupil in SKILL:
        assert f"<td>{pupil}</td>" in named


def test_every_number_has_its_interval_and_its_count(answers: list[Answer]) -> None:
    sections = {s.heading: s for s in class_sections(answers, exhibits=EXHIBITS)}
    rows = {r[0]: r for r in sections["Who hears how much"].tables[0].rows}
    right = sum(bool(a.correct) for a in answers if a.pupil == "Leo" and a.correct is not None)
    assert rows["Leo"][1:3] == (right, 48)
    assert re.fullmatch(r"\d+% to \d+%", rows["Leo"][4])
    assert "Mia" in {r[0] for r in sections["Telling apart"].tables[0].rows}
    assert sections["Day by day"].tables[0].rows[0][0] == "2026-03-01"
    said = " ".join(sections["How this was made"].paragraphs)
    assert "The truth of 69 of 144 answered drills" in said


def test_unknown_is_said_with_its_reason() -> None:
    few = [
        Answer(pupil=p, kind="which is further out", task="t", given="A", truth="A", level=3.0, correct=True)
        for p in ("1", "2")
    ]
    table = next(s for s in class_sections(few) if s.heading == "Thresholds").tables[0]
    assert table.rows[0][2:4] == ("not known", "1 answers, 12 are needed")


def test_a_pupils_page_names_nobody_else(school: SchoolClass, tmp_path: Path) -> None:
    text = write_progress_page(school, "Leo", tmp_path / "leo.html").read_text(encoding="utf-8")
    assert "Leo: what you hear by now" in text
    assert "Mia" not in text
    assert "Day by day" in text
    assert not any(
        "Strict" in s.heading for s in pupil_sections([a for a in school.answers() if a.pupil == "Leo"])
    )


def test_pages_about_nothing(tmp_path: Path, school: SchoolClass) -> None:
    empty = make_class(tmp_path / "empty", name="Empty")
    with pytest.raises(BadInput, match="Empty: got no answers"):
        write_class_page(empty, tmp_path / "page.html")
    with pytest.raises(BadInput, match="pupil: got 'Nobody', need one of 7, Leo, Mia"):
        write_progress_page(school, "Nobody", tmp_path / "page.html")
    assert not (tmp_path / "page.html").exists()


def test_a_chart_says_in_words_what_it_shows() -> None:
    svg = interval_chart(
        [
            Line(label="7", value=0.5, low=0.2, high=0.8, words="<half>"),
            Line(label="8", value=None, words="not known"),
        ],
        low=0,
        high=1,
        ticks=[0, 1],
    )
    assert "7: &lt;half&gt;; 8: not known" in svg
    assert svg.count("<circle") == 1


@pytest.fixture(scope="module")
def drills() -> tuple[Drill, ...]:
    return tuple(make_drill(k, seed=3) for k in ("which dies sooner", "same or different"))


@pytest.mark.slow
def test_sheets_for_a_class_without_computers(drills: tuple[Drill, ...], tmp_path: Path) -> None:
    exhibits = make_exhibits(seed=1, instruments=2, points=["keys-level", "each-treble"])
    made = write_sheets(tmp_path / "sheets", title="Tuesday", drills=drills, exhibits=exhibits)
    assert [p.name for p in made.sounds] == [
        "01-A.mp3",
        "01-B.mp3",
        "02-A.mp3",
        "02-B.mp3",
        "04-A.mp3",
        "06-A.mp3",
    ]
    sheet, answers = (p.read_text(encoding="utf-8") for p in (made.sheet, made.answers))
    assert made.answers.parent.name == "teacher"
    for drill in drills:
        assert drill.question in sheet
        assert all(c in sheet for c in drill.choices)
        assert drill.truth.explanation.split(". Here")[0].replace("'", "&#x27;") not in sheet
        assert drill.truth.explanation.replace("'", "&#x27;") in answers
    for secret in ("measured", "not confirmed", "teacher"):
        assert secret not in sheet.split("<main>")[1].replace("The teacher plays each sound twice", "")
    for e in exhibits:
        assert f"<td>{e.reference}</td>" in answers


def test_only_a_long_page_has_contents_and_none_where_none_are_asked_for() -> None:
    """Contents lead to each part; of two parts one sees both."""
    sections = [Section(heading=f"Part {n}") for n in range(1, 4)]
    long, short, without = (
        class_page("Tuesday", sections),
        class_page("Tuesday", sections[:2]),
        class_page("Tuesday", sections, contents=False),
    )
    assert re.findall(r'<a href="#(.*?)">', long) == re.findall(r'<section id="(.*?)">', long)
    assert "Contents" not in short
    assert "Contents" not in without


def test_sheets_that_cannot_be_made(drills: tuple[Drill, ...], tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="sheets: got no drill"):
        write_sheets(tmp_path / "none", title="T")
    (tmp_path / "full").mkdir()
    (tmp_path / "full" / "mine.txt").write_text("keep me", encoding="utf-8")
    with pytest.raises(BadInput, match="isn't empty"):
        write_sheets(tmp_path / "full", title="T", drills=drills)
    assert [p.name for p in tmp_path.iterdir()] == ["full"]


def test_thresholds_and_sensitivity_stand_day_by_day(answers: list[Answer]) -> None:
    own = [a for a in answers if a.pupil == "Leo"]
    section = next(s for s in pupil_sections(own) if s.heading == "Day by day")
    tables = {t.caption: t for t in section.tables}
    heard, apart = tables["Thresholds, day by day"].rows, tables["Sensitivity, day by day"].rows
    assert [r[:3] for r in heard] == [("Leo", "which is further out", f"2026-03-{d:02d}") for d in (1, 8, 15)]
    assert heard[0][3:5] == ("not known", "8 answers, 12 are needed")
    assert re.fullmatch(r"[\d.]+ cents", heard[2][3])
    days = ["2026-03-01", "2026-03-08", "2026-03-15"]
    assert {r[1]: [a[2] for a in apart if a[1] == r[1]] for r in apart} == {
        "same or different": days,
        "which is further out": days,
    }
    _, fine = section.drawings
    assert "2026-03-01: not known; 2026-03-08: " in fine.svg
    assert fine.svg.count("<circle") == sum(r[3] != "not known" for r in heard)
    assert "“which is further out”" in fine.words
    both = next(s for s in class_sections(answers) if s.heading == "Day by day")
    assert len(both.drawings) == 1, "of many pupils in one chart nothing could be read"


@pytest.mark.slow
def test_lessons_of_grading_are_not_mixed(tmp_path: Path) -> None:
    """Instruments of the same name and points of the same name, in two lessons and in a lesson done twice."""
    school = make_class(tmp_path / "class", name="Tuesday", seed=4)
    walk, other = "the walk with a torch", "deciding together"
    shown = [
        lesson_exhibits(school, walk),
        lesson_exhibits(school, walk, turn=2),
        lesson_exhibits(school, other),
    ]
    assert len({tuple(e.reference for e in exhibits[:20]) for exhibits in shown}) == 3
    told = [
        Answer(
            id=school.desk(pupil).answer_id(e.lesson, e.instrument, e.point.id),
            pupil=pupil,
            lesson=e.lesson,
            kind=GRADE,
            task=e.instrument,
            item=e.point.id,
            grade=e.reference,
        )
        for pupil in SKILL
        for exhibits in shown
        for e in exhibits
    ]
    with school.book() as book, book.editing(by="class") as edit:
        for a in told:
            edit.add(a)
    page = write_class_page(school, tmp_path / "class.html").read_text(encoding="utf-8")
    for words in ("alpha 1.00", "on average 0.00 grades", "No sentence was read otherwise"):
        assert words in page
    # The twin: without the names of the lessons the later grades are held against the wrong instruments.
    mixed = class_sections(
        [a for a in told if a.lesson != other], exhibits=[replace(e, lesson="") for e in shown[0]]
    )
    assert "on average 0.00 grades" not in " ".join(mixed[0].paragraphs)


def test_a_goal_is_reached_or_not_or_not_known() -> None:
    goal = Goal(kind="name the fault", figure="share", value=0.6, words="Six of ten.")
    told = [
        Answer(
            pupil="7",
            kind="name the fault",
            task=f"t{n}",
            given="a",
            truth="a" if n < 7 else "b",
            correct=n < 7,
        )
        for n in range(10)
    ]
    assert goal_standing(goal, told).startswith("reached: 7 of 10 right")
    assert goal_standing(goal, told[4:]).startswith("not yet: 3 of 6 right")
    fine = Goal(kind="which dies sooner", figure="threshold", value=15.0, words="Fine.")
    assert goal_standing(fine, told) == "not known yet: 0 answers, 12 are needed"


def told(
    lesson: str, right: int, count: int, *, kind: str = "which is better", pupil: str = "7"
) -> list[Answer]:
    return [
        Answer(
            pupil=pupil, lesson=lesson, kind=kind, task=f"{kind} {n}", given="A", truth="A", correct=n < right
        )
        for n in range(count)
    ]


def test_a_goal_is_of_its_own_lesson_as_it_was_held_last() -> None:
    own = [
        *told("dampers", 2, 8),
        *told("dampers, turn 2", 7, 8),
        *told("what ails a note", 0, 8),
    ]
    assert latest_turn(own, "dampers") == own[8:16]
    rows = {row[0]: row[2] for row in goals(own, {})[0].tables[0].rows}
    assert str(rows["dampers"]).startswith("reached: 7 of 8 right")
    assert set(rows) == {"dampers", "what ails a note"}


def test_a_goal_of_grading_is_held_beside_the_teachers_grades() -> None:
    own = [
        Answer(pupil="7", lesson="deciding together", kind="grade", task="t", item=p, given="x", grade=g)
        for p, g in (("a", 5), ("b", 3), ("c", 1))
    ]
    references = {("deciding together", "t", p): g for p, g in (("a", 5), ("b", 3), ("c", 2))}
    assert goals(own, references)[0].tables[0].rows[0][2].startswith("reached: 2 of 3 right")  # type: ignore[union-attr]
    other = {unit: 6 - grade for unit, grade in references.items()}
    assert goals(own, other)[0].tables[0].rows[0][2].startswith("not yet: 1 of 3 right")  # type: ignore[union-attr]


def test_before_the_course_and_after_it_stand_side_by_side() -> None:
    """Newcombe's own example, 56 of 70 and 48 of 80: 5.24 to 33.39 points by his method 10 (figures from memory)."""
    lesson, kind = "real notes unaltered", "which of two real notes dies sooner"
    before = told(lesson, 48, 80, kind=kind)
    assert before_and_after(before) == []
    (section,) = before_and_after([*before, *told(f"{lesson}, turn 2", 56, 70, kind=kind)])
    (row,) = section.tables[0].rows
    assert row[3] == "+20 (+5 to +33)"
    (section,) = before_and_after([*before, *told(f"{lesson}, turn 2", 42, 70, kind=kind)])
    assert str(section.tables[0].rows[0][3]).startswith("+0 (-"), "the twin: no change is said to be none"
