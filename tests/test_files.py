"""No file of the user's is replaced unasked, and no input ever: every command and function that writes a named file."""

from __future__ import annotations

import importlib
import inspect
import os
import pkgutil
import shutil
from collections.abc import Callable
from datetime import date
from pathlib import Path

import numpy as np
import pytest

import pianolab
from pianolab import files
from pianolab.assess.prices import read_prices
from pianolab.casebook import Casebook, create_casebook, export_zip, gather, import_zip, open_casebook
from pianolab.casebook.backups import BACKUPS
from pianolab.casebook.engine import DATABASE_NAME
from pianolab.casebook.media import FOLDER
from pianolab.checklist import read_checklist
from pianolab.classroom import make_class, open_class, sitting, write_answers, write_class_page
from pianolab.classroom.lessons import lesson_exhibits, write_lesson_sheets
from pianolab.classroom.own_piano import OwnPiano
from pianolab.classroom.pages import write_progress_page
from pianolab.cli import main
from pianolab.demo.run import demo, is_own, marked
from pianolab.errors import BadInput, PianolabError
from pianolab.files import AlreadyThere, check_outputs, is_casebooks_own, staged, write_files
from pianolab.io import write_sound
from pianolab.model import Piano, Visit
from pianolab.planning.plan import VisitPlan
from pianolab.report import write_page, write_tables
from pianolab.shipped import shipped
from pianolab.sound_model import PianoModel, render_scale
from pianolab.upkeep.over_years import read_plans
from pianolab.words import load_language
from pianolab.workflow import copy_notebooks, export

LETTER = b"somebody's own\n"
KEYS = ("--first-key", "45", "--last-key", "48")


@pytest.fixture(scope="module")
def made_once(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A recording of four keys, a casebook with a sound in it, and a class with an answer."""
    place = tmp_path_factory.mktemp("given")
    scale = render_scale(PianoModel(seed=6), first_key=45, last_key=48, hold_s=0.8, gap_s=0.4, snr_db=45.0)
    write_sound(place / "scale.wav", scale.samples, rate_hz=44100, subtype="PCM_16")
    with create_casebook(place / "book") as book:
        with book.editing(by="Ana") as edit:
            piano = edit.add(Piano(name="by the window"))
            edit.add(Visit(piano_id=piano.id, day=date(2026, 3, 14)))
        book.keep_sound(place / "scale.wav")
    school = make_class(place / "class", name="Tuesday", seed=4)
    exhibit = lesson_exhibits(school, "deciding together")[0]
    sitting(school.desk("Mia"), "deciding together").take(exhibit.point.anchors[0])
    school.gather()
    return place


@pytest.fixture
def place(made_once: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A copy of these, with links to them, as the current folder."""
    folder = shutil.copytree(made_once, tmp_path / "place")
    monkeypatch.chdir(folder)
    (folder / "letter").write_bytes(LETTER)
    (folder / "below").mkdir()
    (folder / "own folder").mkdir()
    (folder / "own folder" / "letter").write_bytes(LETTER)
    os.link("scale.wav", "hard.wav")
    os.link("book/casebook.sqlite", "hard.sqlite")
    (folder / "soft.wav").symlink_to("scale.wav")
    (folder / "dangling").symlink_to("nowhere")
    (folder / "beside").symlink_to("book", target_is_directory=True)
    return folder


def content(folder: Path) -> dict[str, bytes]:
    """All files but those that a database makes while it is open."""
    return {
        str(p.relative_to(folder)): p.read_bytes()
        for p in sorted(folder.rglob("*"))
        if p.is_file() and not p.name.endswith(("-wal", "-shm"))
    }


LISTEN = ("listen", "scale.wav", *KEYS)
MEDIA = "book/media/new.csv"
COMMANDS: list[tuple[tuple[str, ...], str, bool]] = [
    # what is run, the words of its refusal, whether --replace lets it
    ((*LISTEN, "--csv", "letter"), "there already", True),
    ((*LISTEN, "--csv", "dangling"), "there already", True),
    ((*LISTEN, "--csv", "out.csv", "--json", "letter"), "there already", True),
    ((*LISTEN, "--csv", "scale.wav"), "an input", False),
    ((*LISTEN, "--csv", "below/../scale.wav"), "an input", False),
    ((*LISTEN, "--csv", "{place}/scale.wav"), "an input", False),
    ((*LISTEN, "--csv", "hard.wav"), "an input", False),
    ((*LISTEN, "--csv", "soft.wav"), "an input", False),
    ((*LISTEN, "--csv", "out.csv", "--json", "scale.wav"), "an input", False),
    (("listen", "soft.wav", *KEYS, "--csv", "hard.wav"), "an input", False),
    ((*LISTEN, "--csv", "new", "--json", "new"), "two outputs", False),
    ((*LISTEN, "--csv", "new", "--json", "below/../new"), "two outputs", False),
    ((*LISTEN, "--csv", "new", "--json", "New"), "two outputs", False),
    ((*LISTEN, "--csv", "book/casebook.sqlite"), "a file of a casebook", False),
    ((*LISTEN, "--csv", "book/casebook.sqlite-wal"), "a file of a casebook", False),
    ((*LISTEN, "--csv", "beside/casebook.sqlite"), "a file of a casebook", False),
    ((*LISTEN, "--csv", MEDIA), "a file of a casebook", False),
    ((*LISTEN, "--csv", "/dev/null"), "no file", False),
    (("export", "book", "--html", "letter"), "there already", True),
    (("export", "book", "--html", "soft.wav"), "there already", True),
    (("export", "book", "--html", "hard.sqlite"), "an input", False),
    (("export", "book", "--html", "beside/casebook.sqlite"), "casebook.sqlite: got", False),
    (("export", "book", "--tables", "book/media"), "a file of a casebook", False),
    (("export", "book", "--html", "both", "--tables", "both"), "the same place", False),
    (("export", "book", "--html", "below/findings.csv", "--tables", "below"), "two outputs", False),
    (("notebooks", "--to", "letter"), "got a file", False),
    (("gather", "book", "--into", "letter"), "letter: got", False),
    (("gather", "book", "--into", "own folder"), "isn't empty", False),
    (("gather", "book", "--into", "book"), "the same casebook", False),
    (("check", "letter", "--repair"), "letter: got", False),
    (("check", "own folder", "--repair"), "own folder: got", False),
    (("restore", "letter"), "letter: got", False),
    (("restore", "own folder"), "own folder: got", False),
    (("demo", "--out", "own folder"), "other things", False),
]
WITHOUT_REPLACE = ("gather", "check", "restore", "demo")


def run(capsys: pytest.CaptureFixture[str], *args: str) -> tuple[int, str]:
    code = main([a.format(place=Path.cwd()) for a in args])
    return code, capsys.readouterr().err


@pytest.mark.parametrize(("args", "words", "may"), COMMANDS, ids=[" ".join(a[2:]) for a, _, _ in COMMANDS])
def test_a_command_refuses_and_replaces_only_where_it_may(place, capsys, args, words, may) -> None:
    before = content(place)
    code, said = run(capsys, *args)
    assert (code, said.count("\n")) == (2, 1), said
    assert words in said
    assert ("--replace (in Python" in said) == may, said
    assert content(place) == before
    code, said = run(capsys, *args, "--replace")
    if args[0] in WITHOUT_REPLACE:
        assert (code, content(place)) == (2, before), "no such option, and no other way either"
        return
    if not may:
        assert (code, said.count("\n")) == (2, 1), said
        assert words in said
        assert content(place) == before
        return
    assert code == 0, said
    name = next(a for a in args if a in ("letter", "dangling", "soft.wav"))
    after = content(place)
    assert after[name] not in (LETTER, before["scale.wav"])
    assert after["scale.wav"] == before["scale.wav"]
    assert {n: d for n, d in after.items() if n in before and n != name} == {
        n: d for n, d in before.items() if n != name
    }


def test_the_folders_of_export_and_notebooks(place, capsys) -> None:
    """A table or a notebook that is there stops all of them; other files in the folder stay in any case."""
    names = {"tables": "findings.csv", "to": "compare_a_shortlist.ipynb"}
    commands = {"tables": ("export", "book"), "to": ("notebooks",)}
    for option, name in names.items():
        (place / option).mkdir()
        (place / option / name).write_bytes(LETTER)
        (place / option / "own").write_bytes(LETTER)
        before = content(place)
        args = (*commands[option], f"--{option}", option)
        code, said = run(capsys, *args)
        assert (code, said.count("\n")) == (2, 1)
        assert name in said
        assert "--replace" in said
        assert content(place) == before
        assert run(capsys, *args, "--replace")[0] == 0
        assert (place / option / name).read_bytes() != LETTER
        assert (place / option / "own").read_bytes() == LETTER
        assert len(list((place / option).iterdir())) > 5


def test_the_templates_are_never_copied_over_themselves(place) -> None:
    source = Path(str(shipped("notebooks")))
    before = content(source)
    (place / "link").symlink_to(source, target_is_directory=True)
    for to in (source, place / "link"):
        with pytest.raises(BadInput, match="an input"):
            copy_notebooks(to, replace=True)
    assert content(source) == before


Writer = Callable[[Path, bool], object]


def in_book(write: Callable[..., object]) -> Writer:
    def writer(path: Path, replace: bool) -> object:
        with open_casebook("book") as book:
            return write(book, path, replace=replace)

    return writer


def tables_of(book: Casebook, folder: Path, *, replace: bool) -> object:
    return export(book, tables=folder, replace=replace)


def plan() -> VisitPlan:
    return VisitPlan(stops=(), kit=(), leave_at_home=(), at_home=(), on_the_day=())


WRITERS: dict[str, Writer] = {
    "export": in_book(export),
    "export_zip": in_book(export_zip),
    "export of tables": lambda p, r: in_book(tables_of)(in_folder(p, "findings.csv"), r),
    "write_tables": lambda p, r: write_tables(in_folder(p, "a.csv"), {"a.csv": "1", "b.csv": "2"}, replace=r),
    "copy_notebooks": lambda p, r: copy_notebooks(in_folder(p, "compare_a_shortlist.ipynb"), replace=r),
    "write_page": lambda p, r: write_page(p, "<p>page</p>", replace=r),
    "write_sound": lambda p, r: write_sound(p, np.zeros(4800), rate_hz=48000, replace=r),
    "VisitPlan.save": lambda p, r: plan().save(p, replace=r),
    "write_answers": lambda p, r: write_answers(open_class("class"), "deciding together", p, replace=r),
    "write_class_page": lambda p, r: write_class_page(open_class("class"), p, replace=r),
    "write_progress_page": lambda p, r: write_progress_page(open_class("class"), "Mia", p, replace=r),
}


def in_folder(path: Path, name: str) -> Path:
    """The folder of outputs in which a file of that name is what the table of misuses is about."""
    folder = path.parent / "folder of outputs"
    if path.is_file() and not folder.exists():
        folder.mkdir()
        os.link(path, folder / name)
    return folder


@pytest.mark.slow
@pytest.mark.parametrize("name", WRITERS)
def test_a_function_replaces_only_where_asked(place, name) -> None:
    target = place / "own.wav"
    target.write_bytes(LETTER)
    before = content(place)
    with pytest.raises(AlreadyThere, match="replace=True") as refused:
        WRITERS[name](target, False)
    assert str(refused.value).count("\n") == 0
    written = refused.value.path
    assert written.read_bytes() == LETTER
    after = content(place)
    assert {n: d for n, d in after.items() if n in before} == before
    assert set(after) - set(before) <= {str(written.relative_to(place))}, "nothing else was written"
    WRITERS[name](target, True)
    assert written.read_bytes() != LETTER


def test_every_function_that_may_replace_is_tried() -> None:
    """By its parameter: one that is written tomorrow and not entered in the table fails here."""
    found = set()
    for module in pkgutil.walk_packages(pianolab.__path__, "pianolab."):
        if module.name.endswith("__main__"):
            continue
        for name, thing in vars(importlib.import_module(module.name)).items():
            if getattr(thing, "__module__", "") != module.name or name.startswith("_"):
                continue
            if inspect.isfunction(thing) and "replace" in inspect.signature(thing).parameters:
                found.add(name)
            elif inspect.isclass(thing):
                methods = (f for f in vars(thing).items() if inspect.isfunction(f[1]))
                found |= {f"{name}.{n}" for n, f in methods if "replace" in inspect.signature(f).parameters}
    below = {"staged", "write_files", "write_out", "check_outputs", "add_replace"}
    assert found - below == set(WRITERS) - {"export of tables"}


FOLDERS: dict[str, Callable[[Path], object]] = {
    "make_class": lambda p: make_class(p, name="Friday"),
    "create_casebook": create_casebook,
    "import_zip": lambda p: import_zip(zipped(), into=p),
    "gather": lambda p: gather("book", into=p),
    "write_lesson_sheets": lambda p: write_lesson_sheets(open_class("class"), "deciding together", p),
    "OwnPiano.save": lambda p: OwnPiano(name="ours", notes={}, faults={}, left_out={}).save(p),
    "demo": demo,
}
"""What makes a whole folder: into no folder of somebody's, and there is no word that would let it."""


def zipped() -> Path:
    path = Path("book.zip")
    if not path.exists():
        with open_casebook("book") as book:
            export_zip(book, path)
    return path


@pytest.mark.parametrize("name", FOLDERS)
@pytest.mark.parametrize("target", ["letter", "own folder"])
def test_a_folder_of_the_users_is_no_place_for_another(place, name, target) -> None:
    zipped()
    before = content(place)
    with pytest.raises(PianolabError) as refused:
        FOLDERS[name](place / target)
    assert "\n" not in str(refused.value)
    assert target in str(refused.value)
    assert content(place) == before
    assert not list(place.rglob("*.part"))


@pytest.mark.usefixtures("place")
def test_the_buttons_write_over_nothing_before_they_are_told_to() -> None:
    from pianolab.workflow.notebook_forms import export_button

    with open_casebook("book") as book:
        form = export_button(book, "letter")
        page, tables = (export.button for export in form._exports)
        folder = Path(tables.tooltip)
        folder.mkdir()
        (folder / "findings.csv").write_bytes(LETTER)
        for button in (page, tables):
            button.click()
            assert "is there already" in form.said.value
        assert (Path("letter").read_bytes(), (folder / "findings.csv").read_bytes()) == (LETTER, LETTER)
        for button, written in ((page, Path("letter")), (tables, folder / "findings.csv")):
            form.replace.value = True
            button.click()
            assert written.read_bytes() != LETTER


@pytest.mark.parametrize("name", ["export_zip", "export", "write_sound", "write_page", "VisitPlan.save"])
def test_a_function_never_writes_to_a_casebooks_own_file(place, name) -> None:
    (sound,) = (place / "book" / "media").iterdir()
    before = content(place)
    aims = [sound.with_suffix(".wav"), sound] if name == "write_sound" else [sound, place / "hard.sqlite"]
    if name in ("write_page", "VisitPlan.save"):
        aims = [sound, place / "book" / DATABASE_NAME]
    for aim in aims:
        with pytest.raises(BadInput, match=r"a file of a casebook|an input"):
            WRITERS[name](aim, True)
    assert content(place) == before


def test_a_taken_name_shows_before_the_work(place, monkeypatch) -> None:
    for work in (
        "classroom.lessons.lesson_drills",
        "classroom.pages.class_sections",
        "workflow.exporting.decide",
    ):
        monkeypatch.setattr(f"pianolab.{work}", lambda *_, **__: pytest.fail("the work began"))
    for name in ("write_class_page", "export", "export of tables"):
        with pytest.raises(AlreadyThere):
            WRITERS[name](place / "letter", False)
    with pytest.raises(AlreadyThere):
        write_answers(open_class("class"), "dampers", place / "letter")


@pytest.mark.slow
def test_a_class_is_never_written_over_by_its_own_page(place) -> None:
    os.link("class/class.toml", "hard.toml")
    before = content(place)
    for aim in ("class/class.toml", "hard.toml"):
        with pytest.raises(BadInput, match="an input"):
            write_class_page(open_class("class"), aim, replace=True)
        with pytest.raises(BadInput, match="an input"):
            write_progress_page(open_class("class"), "Mia", aim, replace=True)
    assert content(place) == before


@pytest.mark.usefixtures("place")
def test_a_page_may_lie_in_the_casebooks_folder() -> None:
    """A folder that holds casebook, notebooks and pages together is an ordinary thing."""
    with open_casebook("book") as book:
        for replace in (False, True):
            assert export(book, "book/page.html", replace=replace).paths[0].exists()
        assert book.verify().ok


def test_what_a_casebook_keeps_is_known_here_as_there() -> None:
    assert (DATABASE_NAME, (FOLDER, BACKUPS)) == (files.CASEBOOK_DATABASE, files.CASEBOOK_FOLDERS)
    assert not is_casebooks_own(Path("media/page.html")), "any other folder may be called media"


@pytest.mark.parametrize("links", [True, False])
def test_a_name_taken_during_the_work(place, monkeypatch, links) -> None:
    if not links:
        monkeypatch.setattr(files.os, "link", no_links)

    def work() -> None:
        with staged(place / "a", place / "b") as (one, other):
            one.write_text("1")
            other.write_text("2")
            (place / "b").write_bytes(LETTER)

    with pytest.raises(AlreadyThere):
        work()
    assert (place / "b").read_bytes() == LETTER
    assert not (place / "a").exists(), "both or none"
    assert not list(place.glob(".*.part"))


def no_links(*_: object) -> None:
    raise PermissionError(1, "Operation not permitted")


@pytest.mark.parametrize("links", [True, False])
def test_a_name_taken_at_the_last_moment(place, monkeypatch, links) -> None:
    """After the last look, in the very moment of naming: the system refuses, and the first name is taken back."""
    if not links:
        monkeypatch.setattr(files.os, "link", no_links)
    really = files.give_new_name

    def somebody_was_faster(part: Path, path: Path) -> None:
        if path.name == "b":
            path.write_bytes(LETTER)
        really(part, path)

    monkeypatch.setattr(files, "give_new_name", somebody_was_faster)
    with pytest.raises(AlreadyThere):
        write_files({place / "a": b"1", place / "b": b"2"})
    assert (place / "b").read_bytes() == LETTER
    assert not (place / "a").exists()
    assert not list(place.glob(".*.part"))


@pytest.mark.parametrize("links", [True, False])
def test_a_free_name_is_given(place, monkeypatch, links) -> None:
    if not links:
        monkeypatch.setattr(files.os, "link", no_links)
    write_files({place / "a": b"1", place / "new" / "b": b"2"}, folder=place / "new")
    assert ((place / "a").read_bytes(), (place / "new" / "b").read_bytes()) == (b"1", b"2")
    assert not list(place.rglob(".*.part"))


def test_a_folder_made_for_nothing_goes_again(place) -> None:
    with pytest.raises(AlreadyThere):
        write_files({place / "x" / "y" / "a": b"", place / "letter": b""}, folder=place / "x" / "y")
    assert not (place / "x").exists()
    with pytest.raises(BadInput, match="a folder that can be made"):
        write_files({place / "letter" / "a": b""}, folder=place / "letter" / "below")


def test_names_that_many_disks_take_for_one(place) -> None:
    for one, other in (("caf\u00e9", "cafe\u0301"), ("a.CSV", "A.csv"), ("below/a", "below/../below/A")):
        with pytest.raises(BadInput, match="two outputs"):
            check_outputs(place / one, place / other)
    check_outputs(place / "a", place / "b", place / "below" / "a", None, None)


def test_the_demonstration_knows_its_own_page(place) -> None:
    page = place / "comparison.html"
    page.write_bytes(marked(b"<p>page</p>"))
    assert is_own(page)
    page.write_bytes(page.read_bytes().replace(b"page", b"mine"))
    assert not is_own(page)
    page.write_bytes(b"")
    assert not is_own(page)


def test_the_demonstration_leaves_what_it_did_not_make(place, capsys, monkeypatch) -> None:
    monkeypatch.setattr("pianolab.demo.run.demo_casebook", lambda *_, **__: pytest.fail("began"))
    (place / "visits").mkdir()
    shutil.copytree(place / "book", place / "visits" / "casebook")
    (place / "visits" / "comparison.html").write_bytes(LETTER)
    before = content(place)
    for out, words in (("visits", "didn't write"), ("class", "other things"), ("letter", "got a file")):
        code, said = run(capsys, "demo", "--out", out)
        assert (code, said.count("\n")) == (2, 1)
        assert words in said
    assert content(place) == before


@pytest.mark.parametrize("bad", ["[" * 100_000, "9" * 5000, "1e999999999999999999999", "{a=" * 50_000])
@pytest.mark.parametrize(
    "read",
    [
        lambda text: read_checklist(text, file="own.toml"),
        lambda text: read_prices(text, file="own.toml"),
        lambda text: read_plans(text, file="own.toml"),
        load_language,
    ],
    ids=["checklist", "prices", "plans", "language"],
)
def test_a_text_that_would_bring_its_reader_down_is_one_line(read: Callable[[str], object], bad: str) -> None:
    with pytest.raises(BadInput) as found:
        read(f"hire_a_month = {bad}")
    assert "\n" not in str(found.value)
    assert len(str(found.value)) < 400
