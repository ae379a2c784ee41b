"""Misuses by number, as a stranger commits them: each is one clear line, and nothing is lost or left behind.

What counts as a clear line is common practice, no source: what was got, what is needed, and where it can be guessed
the likely cause, so that the next try works.
"""

from __future__ import annotations

import os
import shutil
import sys
import tempfile
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date
from hashlib import sha256
from io import StringIO
from pathlib import Path
from subprocess import run as run_process

import numpy as np
import pytest
import soundfile
from PIL import Image

from pianolab import decide, export, plan_visits
from pianolab.casebook import create_casebook, export_zip, import_zip, open_casebook
from pianolab.classroom import make_class, open_class
from pianolab.cli import main
from pianolab.errors import PianolabError
from pianolab.io import write_sound
from pianolab.model import Comparable, Finding, Piano, Visit
from pianolab.sound_model import PianoModel, render_scale

LETTER = "somebody's own\n"
SPREADSHEET = "job;low;usual;high\ntuning;80,50;95;120\n"
PRICES = (
    'currency = "EUR"\ndate = 2026-03-01\nregion = "here"\n[jobs.tuning]\nlow = 80\nusual = 95\nhigh = 120\n'
)
KEYS = ("--first-key", "45", "--last-key", "48")
INTO = ("--into", "book", "--piano", "by the window", "--visit")
LONG = "x" * 300


@dataclass(frozen=True)
class Misuse:
    """``does`` is a command, or what is done in Python, which returns or raises what is said; ``says`` parts of that."""

    what: str
    does: tuple[str, ...] | Callable[[], object]
    says: tuple[str, ...]
    code: int = 2


def listens(recording: str, *more: str, csv: str = "new.csv") -> tuple[str, ...]:
    return "listen", recording, "--csv", csv, *more


def exports(*more: str, book: str = "book") -> tuple[str, ...]:
    return "export", book, "--html", "new.html", *more


def in_book(record: Callable[[str], object]) -> Callable[[], object]:
    """Something entered at the casebook's only visit."""

    def enter() -> None:
        with open_casebook("book") as book, book.editing(by="Ana") as edit:
            edit.add(record(book.visits()[0].id))  # type: ignore[type-var]

    return enter


def photo_of_a_letter() -> None:
    with open_casebook("book") as book, book.editing(by="Ana") as edit:
        edit.add_photo(book.visits()[0].id, "letter", point="pins-rust")


def decided_by_name() -> None:
    decide("book")  # type: ignore[arg-type]


def planned_for_tomorrow() -> None:
    plan_visits([Piano(name="upstairs")], day="tomorrow")  # type: ignore[arg-type]


def typed_into_the_form(field: str, value: str) -> Callable[[], str]:
    def type_it() -> str:
        from pianolab.widgets import PianoForm

        with open_casebook("book") as book:
            form = PianoForm(book, examiner="Ana")
            form.controls[field].value = value
            return str(form.line.value)

    return type_it


def a_price_that_is_none() -> str:
    from pianolab.widgets import ComparablesForm

    with open_casebook("book") as book:
        form = ComparablesForm(book, book.pianos()[0])
        form.controls["price"].value = "about nine hundred"
        form.add.click()
        return str(form.line.value)


def a_letter_as_a_photo_of_the_form() -> str:
    from pianolab.widgets import FindingsForm

    with open_casebook("book") as book:
        form = FindingsForm(book, book.visits()[0].id, examiner="Ana")
        event = {"from": "test", "n": 1, "do": "photo", "point": "pins-rust", "name": "letter.jpg"}
        form._handle_custom_msg(event, [memoryview(LETTER.encode())])
        return str(form.answer["line"])


def button_over_a_page() -> str:
    from pianolab.workflow.notebook_forms import export_button

    with open_casebook("book") as book:
        form = export_button(book, "letter")
        form._exports[0].button.click()
        return str(form.said.value)


def two_at_once() -> None:
    """Of two exports that begin together one writes and the other is told; the page is whole."""
    said: list[BaseException | None] = []
    ready = threading.Barrier(2)

    def one() -> None:
        with open_casebook("book") as book:
            ready.wait()
            try:
                export(book, "both.html")
            except PianolabError as error:
                said.append(error)
            else:
                said.append(None)

    threads = [threading.Thread(target=one) for _ in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    page = Path("both.html")
    assert page.read_text(encoding="utf-8").rstrip().endswith("</html>")
    page.unlink()
    (told,) = [s for s in said if s is not None]
    raise told


def interrupted() -> str:
    """Ctrl-C while the page is made; `tests/test_cli.py` sends the signal itself."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("pianolab.workflow.page_making.page_of", stop)
        return commanded(exports(), code=130)


def stop(*_: object, **__: object) -> None:
    raise KeyboardInterrupt


def without_room() -> str:
    """A disk that takes no more than 100,000 bytes of a file, as a full one does in the middle of a page."""
    code = (
        "import resource, signal, sys; signal.signal(signal.SIGXFSZ, signal.SIG_IGN);"
        "resource.setrlimit(resource.RLIMIT_FSIZE, (100_000, resource.RLIM_INFINITY));"
        "from pianolab.cli import main; sys.exit(main(sys.argv[1:]))"
    )
    command = [sys.executable, "-c", code, "export", "small book", "--html", "new.html"]
    done = run_process(command, capture_output=True, text=True, check=False)
    assert done.returncode == 2, done.stderr
    return done.stderr


def where_nobody_may_write() -> str:
    """A folder that is only to be read; whoever is allowed everything gives that up for the moment."""
    folder = Path(tempfile.mkdtemp(prefix="pianolab-", dir="/tmp"))
    folder.chmod(0o555)
    try:
        with nobody():
            return commanded(listens("scale.wav", *KEYS, csv=str(folder / "new.csv")))
    finally:
        assert not list(folder.iterdir())
        folder.rmdir()


@contextmanager
def nobody() -> Iterator[None]:
    if os.geteuid():
        yield
        return
    os.seteuid(65534)
    try:
        yield
    finally:
        os.seteuid(0)


MISUSES: dict[int, Misuse] = {
    n: Misuse(*given)  # type: ignore[arg-type]
    for n, given in enumerate(
        [
            # listen: what is no recording
            ("a picture with a recording's name", listens("photo.wav"), ("got a picture", "changed name?")),
            ("a folder of photos", listens("photos"), ("photos: got a folder", "the file inside")),
            ("a spreadsheet's table", listens("table.csv"), ("table.csv: got text", "changed name?")),
            ("a recording of no length", listens("nothing.wav"), ("got 0 s of sound", "stopped at once")),
            ("a casebook as a recording", listens("book"), ("book: got a folder", "need a sound recording")),
            ("two recordings at once", listens("scale.wav", "dead.wav"), ("unrecognized arguments",)),
            # listen: where it goes
            (
                "onto the recording itself",
                listens("scale.wav", "--replace", csv="scale.wav"),
                ("got an input",),
            ),
            ("onto what is there", listens("scale.wav", csv="letter"), ("there already", "--replace")),
            ("into a folder that is missing", listens("scale.wav", csv="no/new.csv"), ("doesn't exist",)),
            ("onto a folder", listens("scale.wav", csv="photos"), ("got a folder", "need a file name")),
            ("onto a name of nothing", listens("scale.wav", csv=""), ("got ''", "need a file name")),
            ("300 signs long", listens("scale.wav", csv=f"{LONG}.csv"), ("name too long", "A shorter one?")),
            ("as a workbook", listens("scale.wav", csv="new.xlsx"), ("XLSX", "a spreadsheet opens CSV")),
            (
                "into the casebook's sound",
                listens("scale.wav", csv="book/media/a"),
                ("a file of a casebook",),
            ),
            ("where nobody may write", where_nobody_may_write, ("got permission denied", "Another folder")),
            # listen: keys and numbers
            (
                "a key that is none",
                listens("scale.wav", "--first-key", "H9"),
                ("got 'H9'", "such as 1 or A0"),
            ),
            (
                "keys exchanged",
                listens("scale.wav", "--first-key", "C5", "--last-key", "A0"),
                ("Exchanged?",),
            ),
            (
                "a number with its unit",
                listens("scale.wav", "--a4", "442 Hz"),
                ("'442 Hz'", "without a unit"),
            ),
            ("A4 of 44 Hz", listens("scale.wav", "--a4", "44"), ("got 44 Hz", "380 to 500 Hz")),
            ("50 semitones off", listens("scale.wav", "--stands-at", "5000"), ("5000 cents", "-600 to 600")),
            (
                "half an option",
                listens("scale.wav", "--rep", csv="letter"),
                ("unrecognized arguments: --rep",),
            ),
            # listen: into a casebook
            ("a day that isn't", listens("scale.wav", *INTO, "2026-02-30"), ("'2026-02-30'", "2026-03-14")),
            ("a day as some write it", listens("scale.wav", *INTO, "14.3.2026"), ("Year, month, day.",)),
            (
                "a piano that isn't there",
                listens("scale.wav", "--into", "book", "--piano", "window", "--visit", "2026-03-14"),
                ("got no such piano", "by the window"),
            ),
            ("half of where to keep it", listens("scale.wav", "--left-pedal"), ("got no --into", "together")),
            # a casebook that is none
            ("a file", exports(book="letter"), ("letter: got a file", "Misspelt?")),
            ("its zip", exports(book="book.zip"), ("got a zip", "import_zip")),
            ("its database", exports(book="book/casebook.sqlite"), ("the folder that it lies in",)),
            ("the folder above", exports(book="."), ("got a folder without a casebook", "above or below?")),
            ("one misspelt", exports(book="bok"), ("bok: got no such folder", "Misspelt?")),
            ("gathered into itself", ("gather", "book", "--into", "book"), ("got the same casebook",)),
            (
                "one of two is missing",
                ("gather", "book", "bok", "--into", "new"),
                ("bok: got no such folder",),
            ),
            ("checked as a zip", ("check", "book.zip"), ("got a zip", "import_zip")),
            ("back to a copy that isn't", ("restore", "book", "--copy", "May"), ("'May'", "There are: none")),
            ("a demonstration among letters", ("demo", "--out", "photos"), ("other things in it", "--out")),
            # export: the buyer's own files
            ("prices as a spreadsheet", exports("--prices", "table.csv"), ("A table of a spreadsheet?",)),
            ("a currency that is none", exports("--prices", "euro.toml"), ("'EURO'", "such as EUR")),
            ("a price that is no number", exports("--prices", "nan.toml"), ("line 4", "tuning", "got nan")),
            ("low above usual", exports("--prices", "low.toml"), ("line 4", "low not above usual")),
            ("a day as text", exports("--prices", "day.toml"), ("'1.3.26'", "without quotation marks")),
            ("a folder as prices", exports("--prices", "photos"), ("photos: got a folder",)),
            ("a point without words", exports("--checklist", "point.toml"), ("x: title: got nothing",)),
            ("a checklist that breaks off", exports("--checklist", "broken.toml"), ("line 1",)),
            ("a buyer nobody knows", exports("--profile", "uncle"), ("'uncle'", "first piano")),
            ("a word misspelt", exports("--leave-out", "prises"), ("got 'prises'", "names, addresses")),
            ("nothing to write", ("export", "book"), ("nothing to write", "--html")),
            ("a page as a PDF", ("export", "book", "--html", "new.pdf"), ("a PDF file", "A browser prints")),
            ("the disk fills up", without_room, ("new.html: got", "more room on the disk?")),
            ("Ctrl-C in the middle", interrupted, ("interrupted; nothing was left half-written",)),
            ("two exports at once", two_at_once, ("both.html", "there already", "--replace")),
            # Python
            ("a folder's name decided", decided_by_name, ("decide: got 'book'", "open_casebook")),
            ("tomorrow", planned_for_tomorrow, ("day: got 'tomorrow'", "date(2026, 3, 14)")),
            (
                "a letter unzipped",
                lambda: import_zip("letter", into="new"),
                ("letter: got a zip that can't",),
            ),
            ("a casebook in a folder of photos", lambda: create_casebook("photos"), ("isn't empty",)),
            ("a casebook of 300 signs", lambda: create_casebook(LONG), ("name too long", "Another name?")),
            ("a piano of 300 signs", lambda: Piano(name=LONG), ("need a name in one line",)),
            ("a price with its sign", lambda: Piano(name="a", asking_price="1.200 €"), ("'1.200 €'",)),  # type: ignore[arg-type]
            ("a price that is none", lambda: Comparable(price=float("nan"), currency="EUR"), ("got nan",)),  # type: ignore[arg-type]
            ("a visit of a month 13", lambda: Visit(piano_id="a", day="2026-13-01"), ("2026-13-01",)),  # type: ignore[arg-type]
            (
                "a point misspelt",
                in_book(lambda visit: Finding(visit_id=visit, point="pins-rost", grade=2)),
                ("Did you mean pins-rust?",),
            ),
            (
                "a grade of school",
                in_book(lambda visit: Finding(visit_id=visit, point="pins-rust", grade=6)),
                ("got 6", "1 (failed) to 5 (sound)"),
            ),
            ("a letter as a photo", photo_of_a_letter, ("no picture", "renamed?")),
            ("a pupil's name that leads out", lambda: open_class("class").desk("../Mia"), ("a first name",)),
            ("a class in a folder of photos", lambda: make_class("photos", name="T"), ("isn't empty",)),
            # forms and buttons
            (
                "a price in words",
                typed_into_the_form("asking_price", "much"),
                ("Not saved.", "much", "an amount of money"),
            ),
            ("a year to come", typed_into_the_form("year", "19788"), ("Not saved.", "1700 to 2100")),
            ("no name", typed_into_the_form("name", ""), ("Not saved.", "a name in one line")),
            ("a sale without a price", a_price_that_is_none, ("Not saved.", "about nine hundred")),
            ("a letter sent as a photo", a_letter_as_a_photo_of_the_form, ("letter.jpg", "no picture")),
            ("a button over a letter", button_over_a_page, ("Nothing written", "there already")),
        ],
        1,
    )
}


@pytest.fixture(scope="module")
def made_once(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """What a stranger has lying about."""
    place = tmp_path_factory.mktemp("given")
    scale = render_scale(PianoModel(seed=6), first_key=45, last_key=48, hold_s=0.8, gap_s=0.4, snr_db=45.0)
    mono = scale.samples.reshape(len(scale.samples), -1)[:, :1]
    write_sound(place / "scale.wav", mono, rate_hz=44100, subtype="PCM_16")
    write_sound(place / "dead.wav", np.hstack([mono, 0 * mono]), rate_hz=44100, subtype="PCM_16")
    soundfile.write(place / "nothing.wav", np.zeros((0, 1)), 44100)
    (place / "photos").mkdir()
    for name in ("photos/1.jpg", "photos/2.jpg", "photo.jpg"):
        Image.effect_noise((64, 48), 60).save(place / name)
    shutil.copy(place / "photo.jpg", place / "photo.wav")
    texts = {
        "letter": LETTER,
        "table.csv": SPREADSHEET,
        "own.toml": PRICES,
        "euro.toml": PRICES.replace("EUR", "EURO"),
        "nan.toml": PRICES.replace("95", "nan"),
        "low.toml": PRICES.replace("80", "800"),
        "day.toml": PRICES.replace("2026-03-01", '"1.3.26"'),
        "point.toml": '[[point]]\nid = "x"\narea = "nowhere"\n',
        "broken.toml": '[[point]\nid = "x',
    }
    for name, text in texts.items():
        (place / name).write_text(text, encoding="utf-8")
    for name, sound in (("book", True), ("small book", False)):
        with create_casebook(place / name) as book:
            with book.editing(by="Ana") as edit:
                piano = edit.add(Piano(name="by the window", asking_price=1200))  # type: ignore[arg-type]
                edit.add(Visit(piano_id=piano.id, day=date(2026, 3, 14), examiner="Ana"))
            if sound:
                book.keep_sound(place / "scale.wav")
                export_zip(book, place / "book.zip")
    make_class(place / "class", name="Tuesday", seed=4)
    return place


@pytest.fixture
def place(made_once: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    folder = shutil.copytree(made_once, tmp_path / "place")
    monkeypatch.chdir(folder)
    return folder


def content(folder: Path) -> dict[str, str]:
    """The hash of every file but a casebook's copies of itself, of which it may make one more, and what a database
    keeps beside it while it is open; folders too."""
    return {
        str(p.relative_to(folder)): sha256(p.read_bytes()).hexdigest() if p.is_file() else "folder"
        for p in sorted(folder.rglob("*"))
        if not p.name.endswith(("-wal", "-shm", "-turn")) and "backups" not in p.parts
    }


def commanded(args: tuple[str, ...], code: int = 2) -> str:
    """What a command complains of; it must end with that code."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(sys, "stderr", said := StringIO())
        patch.setattr(sys, "stdout", StringIO())
        ended = main(args)
    assert ended == code, said.getvalue()
    return said.getvalue()


def said_by(misuse: Misuse) -> str:
    if isinstance(misuse.does, tuple):
        return commanded(misuse.does)
    try:
        return str(misuse.does())
    except PianolabError as error:
        return f"{error}\n"


def check(misuse: Misuse, folder: Path) -> None:
    """One line with all that it should say, and the folder as it was."""
    before = content(folder)
    line = said_by(misuse)
    assert line.count("\n") <= 1, line
    assert "Traceback" not in line
    assert "Errno" not in line
    assert len(line) < 500, "a line that nobody reads to its end"
    for words in misuse.says:
        assert words in line, line
    assert content(folder) == before


@pytest.mark.slow
@pytest.mark.parametrize("number", MISUSES, ids=[f"{n} {m.what}" for n, m in MISUSES.items()])
def test_a_misuse_is_one_clear_line_and_costs_nothing(place: Path, number: int) -> None:
    check(MISUSES[number], place)


def test_there_are_at_least_45_and_each_is_another() -> None:
    assert len(MISUSES) >= 45
    assert len({m.what for m in MISUSES.values()}) == len(MISUSES)


WRONG: dict[str, Misuse] = {
    "it works": Misuse("", listens("scale.wav", *KEYS), ()),
    "something is left": Misuse("", lambda: Path("left.part").write_text("half"), ()),
    "something is lost": Misuse("", lambda: Path("letter").write_text("another"), ()),
    "a folder is left": Misuse("", lambda: Path("new").mkdir(), ()),
    "two lines": Misuse("", lambda: "one\nand\nanother", ()),
    "another line": Misuse("", lambda: "letter: got a file", ("need",)),
    "no line of ours": Misuse("", lambda: open_casebook(None), ()),  # type: ignore[arg-type]
}


@pytest.mark.parametrize("name", WRONG)
def test_the_table_would_see_it(place: Path, name: str) -> None:
    with pytest.raises((AssertionError, TypeError)):
        check(WRONG[name], place)


RIGHT: dict[str, tuple[tuple[str, ...], str]] = {
    "one dead channel of two": (
        listens("dead.wav", *KEYS),
        "keys measured: 4 of 4\nwarning: channel 2 of 2 is dead",
    ),
    "keys by their names": (
        listens("scale.wav", "--first-key", "F4", "--last-key", "G#4"),
        "keys measured: 4 of 4",
    ),
    "a comma in a number": (listens("scale.wav", *KEYS, "--a4", "440,5"), "keys measured: 4 of 4"),
    "umlauts and blanks": (("export", "book", "--html", "Flügel im Café.html"), "Flügel im Café.html"),
    "a name of 200 signs": (("export", "book", "--html", f"{'ü' * 100}.html"), "Open"),
    "prices of one job": (
        exports("--prices", "own.toml"),
        "the figures of the usual list (invented) stand in",
    ),
    "a page under any other name": (("export", "book", "--html", "new"), "Open new"),
}
"""What may look like a misuse and is none."""


@pytest.mark.parametrize("name", RIGHT)
def test_what_may_look_wrong_works(place: Path, capsys: pytest.CaptureFixture[str], name: str) -> None:
    args, words = RIGHT[name]
    before = content(place)
    assert main(args) == 0
    assert words in capsys.readouterr().out
    after = content(place)
    assert {n for n in before if n in after} == set(before)
    assert len(after) > len(before)
