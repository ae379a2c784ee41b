"""The commands: what they print, which files they leave, and one clear line for everything that can't be done."""

from __future__ import annotations

import argparse
import csv
import json
import os
import re
import shutil
import signal
import subprocess
import sys
import threading
from collections.abc import Callable
from dataclasses import replace
from datetime import date
from decimal import Decimal
from pathlib import Path

import numpy as np
import pytest
import soundfile
from scipy.signal import butter, sosfilt

from pianolab import __version__
from pianolab.acoustics import COLUMNS
from pianolab.casebook import create_casebook, open_casebook
from pianolab.cli import main
from pianolab.cli.casebooks import USUAL, _given_settings
from pianolab.io import read_sound, real_notes, write_sound
from pianolab.model import Finding, Piano, Visit, new_id
from pianolab.sound_model import PianoModel, render_scale
from pianolab.workflow import copy_notebooks, decide

RATE_HZ = 44100
Outcome = tuple[int, str, str]


@pytest.fixture
def run(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> Callable[..., Outcome]:
    """Run a command in an empty folder: exit code, what it printed, what it complained."""
    monkeypatch.chdir(tmp_path)

    def run_it(*args: object) -> Outcome:
        code = main([str(a) for a in args])
        return code, *capsys.readouterr()

    return run_it


@pytest.fixture(scope="module")
def sounds(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Recordings of many kinds, in one folder."""
    folder = tmp_path_factory.mktemp("sounds")
    scale = render_scale(PianoModel(seed=6), first_key=40, last_key=51, hold_s=1.0, gap_s=0.4, snr_db=45.0)
    flat = PianoModel(seed=6, offset_cents=-52.0)
    low = render_scale(flat, first_key=40, last_key=51, hold_s=1.0, gap_s=0.4, snr_db=45.0)
    made = {
        "scale": scale.samples,
        "flat": low.samples,
        "clipped": np.clip(6.0 * scale.samples, -0.7, 0.7),
        "silence": np.zeros(5 * RATE_HZ),
        "noise": 0.1 * np.random.default_rng(1).standard_normal(20 * RATE_HZ),
        "speech": speech_like(20.0),
    }
    for name, samples in made.items():
        write_sound(folder / f"{name}.wav", samples, rate_hz=RATE_HZ, subtype="PCM_16")
    soundfile.write(folder / "telephone.wav", 0.3 * np.sin(np.arange(80000) * 0.3), 8000, subtype="PCM_U8")
    (folder / "empty.wav").write_bytes(b"")
    (folder / "letter.wav").write_text("Dear aunt,\n" * 500, encoding="utf-8")
    with real_notes()[49].open("rb") as note:
        (folder / "one_note.ogg").write_bytes(note.read())
    return folder


def speech_like(seconds: float) -> np.ndarray:
    """Syllables: gliding voiced buzz and hiss through a band, four a second, with pauses."""
    rng = np.random.default_rng(2)
    t = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    f_hz = 140.0 + 40.0 * np.sin(2 * np.pi * 0.7 * t) + 25.0 * np.sin(2 * np.pi * 2.3 * t + 1.0)
    phase = 2 * np.pi * np.cumsum(f_hz) / RATE_HZ
    voiced = sum(np.sin(n * phase) / n for n in range(1, 25))
    syllables = np.clip(np.sin(2 * np.pi * 4.0 * t) + 0.6 * np.sin(2 * np.pi * 0.45 * t), 0.0, 1.0)
    hiss = rng.standard_normal(len(t)) * np.clip(np.sin(2 * np.pi * 4.0 * t + 2.5), 0.0, 1.0)
    band = butter(2, [200.0, 3500.0], "bandpass", fs=RATE_HZ, output="sos")
    sound = sosfilt(band, voiced * syllables + 0.3 * hiss) + 1e-4 * rng.standard_normal(len(t))
    return 0.5 * sound / np.abs(sound).max()


def rows_of(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def assert_one_line(outcome: Outcome, *words: str) -> None:
    code, _, complaint = outcome
    assert code == 2
    assert complaint.count("\n") == 1, complaint
    assert "Traceback" not in complaint
    for word in words:
        assert word in complaint, complaint


BAD_SOUNDS = [
    ("empty.wav", ("empty.wav: got", "need")),
    ("letter.wav", ("letter.wav: got", "need")),
    ("silence.wav", ("silence", "need a recording of notes")),
    ("noise.wav", ("got no piano notes", "Speech, noise or silence only?")),
    ("speech.wav", ("speech.wav", "got")),
    ("telephone.wav", ("8 kHz", "16 kHz or more")),
    ("nowhere.wav", ("nowhere.wav: got no such file",)),
]


@pytest.mark.slow
def test_a_wrong_playback_speed_shows_where_the_pitch_is_known(run, sounds) -> None:
    code, out, _ = run(
        "listen", sounds / "flat.wav", "--csv", "a.csv", "--first-key", 40, "--last-key", 51, "--stands-at", 0
    )
    assert code == 0
    assert "the recording runs" in out
    code, out, _ = run(
        "listen",
        sounds / "flat.wav",
        "--csv",
        "b.csv",
        "--first-key",
        40,
        "--last-key",
        51,
        "--stands-at",
        -52,
    )
    assert code == 0
    assert "the recording runs" not in out


@pytest.mark.parametrize(("name", "words"), BAD_SOUNDS, ids=[n for n, _ in BAD_SOUNDS])
def test_what_cannot_be_listened_to(run, sounds, tmp_path, name, words) -> None:
    outcome = run("listen", sounds / name, "--csv", "out.csv", "--json", "out.json")
    assert_one_line(outcome, *words)
    assert not list(tmp_path.iterdir())


def test_a_scale(run, sounds, tmp_path) -> None:
    code, said, complaint = run(
        "listen",
        sounds / "scale.wav",
        "--csv",
        "out.csv",
        "--json",
        "out.json",
        "--first-key",
        40,
        "--last-key",
        51,
    )
    assert (code, complaint) == (0, "")
    assert "keys measured: 12 of 12" in said
    assert "reading: clear" in said
    rows = rows_of(tmp_path / "out.csv")
    assert list(rows[0])[: len(COLUMNS)] == list(COLUMNS)
    assert [(r["key"], r["status"]) for r in rows] == [(str(k), "measured") for k in range(40, 52)]
    assert max(abs(float(r["cents"])) for r in rows) < 10.0
    data = json.loads((tmp_path / "out.json").read_text(encoding="utf-8"))
    assert data["summary"]["measured"] == 12
    assert sorted(p.name for p in tmp_path.iterdir()) == ["out.csv", "out.json"]


def test_keys_around_those_played_are_skipped(run, sounds, tmp_path) -> None:
    code, said, _ = run("listen", sounds / "scale.wav", "--csv", "out.csv")
    assert code == 0
    rows = rows_of(tmp_path / "out.csv")
    assert [r["key"] for r in rows if r["status"] == "measured"] == [str(k) for k in range(40, 52)]
    assert {r["status"] for r in rows if not 40 <= int(r["key"]) <= 51} == {"skipped"}
    assert len(rows) == 88
    assert "skipped: A0 to B3 (1 to 39) and C5 to C8 (52 to 88)" in said


def test_one_note_and_its_key(run, sounds, tmp_path) -> None:
    code, said, _ = run(
        "listen", sounds / "one_note.ogg", "--csv", "out.csv", "--first-key", 49, "--last-key", 49
    )
    assert code == 0
    assert [(r["key"], r["status"]) for r in rows_of(tmp_path / "out.csv")] == [("49", "measured")]
    assert "keys measured: 1 of 1" in said


def test_one_note_of_all_keys(run, sounds, tmp_path) -> None:
    code, said, _ = run("listen", sounds / "one_note.ogg", "--csv", "out.csv")
    assert code == 0
    assert [r["key"] for r in rows_of(tmp_path / "out.csv") if r["status"] == "measured"] == ["49"]
    assert "keys measured: 1 of 88" in said


@pytest.mark.slow
def test_a_clipped_recording_works_and_says_so(run, sounds) -> None:
    code, said, _ = run(
        "listen", sounds / "clipped.wav", "--csv", "out.csv", "--first-key", 40, "--last-key", 51
    )
    assert code == 0
    assert any("clipped" in line for line in said.splitlines() if line.startswith("warning: "))
    assert "clipped" not in run("listen", sounds / "scale.wav", "--csv", "other.csv")[1]


def test_a_wrong_first_key(run, sounds, tmp_path) -> None:
    outcome = run("listen", sounds / "scale.wav", "--csv", "out.csv", "--first-key", 60)
    assert_one_line(outcome, "first and last key", "--first-key 40")
    assert not list(tmp_path.iterdir())


def test_a_doubtful_reading(run, sounds, tmp_path) -> None:
    """Half a semitone flat in the middle of the keyboard: nobody can tell which key it was."""
    code, said, complaint = run("listen", sounds / "flat.wav", "--csv", "out.csv", "--json", "out.json")
    assert (code, complaint) == (0, "")
    assert "reading: doubtful" in said
    low = min(int(r["key"]) for r in rows_of(tmp_path / "out.csv") if r["status"] == "measured")
    last = said.rstrip().splitlines()[-1]
    assert f"--first-key {low} settles it" in last
    other = json.loads((tmp_path / "out.json").read_text(encoding="utf-8"))["other_reading"]
    assert abs(other["first_key"] - low) == 1
    assert f"--first-key {other['first_key']} does" in last
    assert len(other["rows"]) == 12


@pytest.mark.slow
@pytest.mark.parametrize("which", ["this", "other"])
def test_the_first_key_settles_a_doubtful_reading(run, sounds, tmp_path, which) -> None:
    run("listen", sounds / "flat.wav", "--csv", "out.csv", "--json", "out.json")
    data = json.loads((tmp_path / "out.json").read_text(encoding="utf-8"))
    low = min(r["key"] for r in data["rows"] if r["status"] == "measured")
    first = low if which == "this" else data["other_reading"]["first_key"]
    code, said, _ = run("listen", sounds / "flat.wav", "--csv", "again.csv", "--first-key", first)
    assert code == 0
    assert "reading: clear" in said
    rows = rows_of(tmp_path / "again.csv")
    measured = [int(r["key"]) for r in rows if r["status"] == "measured"]
    assert measured == list(range(first, first + 12))
    assert [int(r["key"]) for r in rows] == list(range(first, 89))


@pytest.mark.parametrize(
    ("args", "words"),
    [
        (("--first-key", 50, "--last-key", 40), ("50 to 40", "Exchanged?")),
        (("--first-key", 500), ("500",)),
        (("--first-key", "H9"), ("--first-key: got 'H9'", "such as 1 or A0")),
        (("--a4", "442 Hz"), ("--a4: got '442 Hz'", "without a unit")),
        (("--stands-at", "5000"), ("5000 cents", "-600 to 600")),
        (("--a4", 44), ("a4", "380 to 500 Hz")),
        (("--visit", "2026-05-02"), ("--into, --piano and --visit together",)),
        (("--into", "no-book", "--piano", "P", "--visit", "2026-05-02"), ("no-book", "no such folder")),
        (("--into", "no-book", "--piano", "P", "--visit", "May"), ("'May'", "2026-03-14")),
        (("--json", "no/folder.json"), ("a folder that doesn't exist",)),
        (("--nonsense",), ("unrecognized arguments: --nonsense",)),
    ],
)
def test_settings_that_cannot_be(run, sounds, tmp_path, args, words) -> None:
    assert_one_line(run("listen", sounds / "scale.wav", "--csv", "out.csv", *args), *words)
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize("place", ["no/out.csv", "."])
def test_a_place_that_cannot_be_written(run, sounds, tmp_path, place) -> None:
    outcome = run("listen", sounds / "scale.wav", "--csv", place)
    assert_one_line(outcome, "need")
    assert outcome[1] == "", "it was listened to before the place was looked at"
    assert not list(tmp_path.iterdir())


@pytest.mark.skipif(not Path("/proc/version").exists(), reason="needs Linux's /proc, where nobody may write")
def test_a_folder_without_leave_to_write(run, sounds) -> None:
    assert_one_line(run("listen", sounds / "scale.wav", "--csv", "/proc/out.csv"), "/proc/out.csv: got")


@pytest.mark.parametrize(
    "args", [(), ("dance",), ("listen",), ("listen", "a.wav"), ("export", "book"), ("gather", "--into", "x")]
)
def test_a_command_that_is_not_whole(run, args) -> None:
    assert_one_line(run(*args), "pianolab")


@pytest.mark.slow
def test_into_a_casebook(run, sounds, tmp_path) -> None:
    with create_casebook(tmp_path / "book") as book, book.editing(by="Ana") as edit:
        edit.add(Piano(name="by the window"))
    args = (
        "listen",
        sounds / "scale.wav",
        "--csv",
        "out.csv",
        "--first-key",
        40,
        "--last-key",
        51,
        "--into",
        "book",
    )
    assert_one_line(run(*args, "--piano", "elsewhere", "--visit", "2026-05-02"), "by the window")
    assert not (tmp_path / "out.csv").exists()
    code, said, _ = run(*args, "--piano", "by the window", "--visit", "2026-05-02")
    assert code == 0
    assert "kept: book, by the window, 2026-05-02" in said
    with open_casebook("book") as book:
        assert len(book.surveys()) == 1
        original = read_sound(sounds / "scale.wav").samples
        np.testing.assert_array_equal(
            read_sound(book.media_path(book.recordings()[0].media)).samples, original
        )
    assert (tmp_path / "out.csv").exists()
    with open_casebook("book") as book, book.editing(by="Ana") as edit:
        (first,) = book.visits()
        edit.change(replace(first, examiner="Ben"), was=first)
        second = edit.add(replace(first, id=new_id(), examiner="Ana"))
    again = (*args, "--replace", "--piano", "by the window", "--visit")
    # Of two on one day the command asks, before it listens.
    assert_one_line(run(*again, "2026-05-02"), second.id, first.id)
    assert run(*again, second.id)[0] == 0
    with open_casebook("book") as book:
        assert [r.visit_id for r in book.recordings(second.id)] == [second.id]

    code, said, _ = run("export", "book", "--html", "page.html", "--profile", "patient restorer")
    assert code == 0
    assert "page.html" in said
    assert "patient restorer" in (tmp_path / "page.html").read_text(encoding="utf-8")


def test_export_that_cannot_be(run, tmp_path) -> None:
    with create_casebook(tmp_path / "book") as book, book.editing(by="Ana") as edit:
        edit.add(Piano(name="by the window"))
    assert_one_line(
        run("export", "book", "--html", "page.html", "--profile", "my uncle"), "'my uncle'", "first piano"
    )
    assert_one_line(run("export", "nowhere", "--html", "page.html"), "nowhere", "no such folder")
    assert_one_line(run("export", tmp_path, "--html", "page.html"), "casebook")
    assert_one_line(run("export", "book", "--html", "no/page.html"), "a folder that doesn't exist")
    assert [p.name for p in tmp_path.iterdir()] == ["book"]


def small_book(path: Path) -> None:
    """Two pianos, one looked at by somebody with a name, in a street with a name."""
    with create_casebook(path) as book, book.editing(by="Ana") as edit:
        piano = Piano(
            name="by the window", seller="Marta Quill", address="3 Lime Row", asking_price=Decimal(1700)
        )
        visit = edit.add(Visit(piano_id=edit.add(piano).id, day=date(2026, 3, 14), examiner="Ida Stern"))
        edit.add(Piano(name="in the attic"))
        for point, promised in (("plate-cracks", ""), ("pedal-right", "Quill mends it")):
            reason = "Quill of Lime Row asks 1700 and lets nobody look"
            edit.add(
                Finding(visit_id=visit.id, point=point, state="not allowed", reason=reason, promised=promised)
            )


@pytest.mark.slow
def test_export_leaves_out_what_is_asked(run, tmp_path) -> None:
    small_book(tmp_path / "book")
    export = ("export", "book", "--html", "page.html", "--tables", "tables", "--leave-out")
    code, said, _ = run(*export, "names,addresses,prices")
    assert code == 0
    assert "tables" in said
    assert "page.html" in said
    assert "replaced" not in said
    page = without_scripts((tmp_path / "page.html").read_text(encoding="utf-8"))
    tables = "".join(p.read_text(encoding="utf-8-sig") for p in (tmp_path / "tables").glob("*.csv"))
    for word in ("Quill", "Lime", "1700", "1,700", "Ida", "by the window"):
        assert word not in page, word
        assert word not in tables, word
    assert "lets nobody look" in page
    assert "lets nobody look" in tables
    assert not (tmp_path / "tables" / "repairs.csv").exists()

    assert_one_line(run(*export, "prices"), "page.html: got a file that is there already", "--replace")
    code, said, _ = run(*export, "prices", "--replace")
    assert code == 0
    assert f"replaced: {Path('tables', 'findings.csv')}" in said
    assert "replaced: page.html" in said
    assert "by the window" in (tmp_path / "page.html").read_text(encoding="utf-8")
    assert_one_line(run(*export, "names,faults"), "leave_out", "names, addresses, prices")


def without_scripts(html: str) -> str:
    return re.sub(r"<script.*?</script>|<style.*?</style>", "", html, flags=re.DOTALL)


def test_export_writes_both_or_none(run, tmp_path) -> None:
    small_book(tmp_path / "book")
    (tmp_path / "index.html").write_text("<h1>My own page</h1>")
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "findings.csv").write_text("a,b\n")
    assert_one_line(run("export", "book", "--tables", "mine", "--html", "page.html"), "findings.csv", "there")
    assert [p.name for p in (tmp_path / "mine").iterdir()] == ["findings.csv"]
    assert not (tmp_path / "page.html").exists()
    assert_one_line(run("export", "book", "--tables", "new", "--html", "index.html"), "index.html", "there")
    assert not (tmp_path / "new").exists()
    assert_one_line(run("export", "book", "--tables", "index.html"), "index.html", "a folder")
    assert_one_line(run("export", "book"), "nothing to write", "--tables")


@pytest.mark.slow
def test_with_the_left_pedal(run, sounds, tmp_path) -> None:
    small_book(tmp_path / "book")
    keep = (
        "--first-key",
        40,
        "--last-key",
        51,
        "--into",
        "book",
        "--piano",
        "by the window",
        "--visit",
        "2026-03-14",
    )
    assert run("listen", sounds / "scale.wav", "--csv", "open.csv", *keep)[0] == 0
    assert run("listen", sounds / "flat.wav", "--csv", "pedal.csv", *keep, "--left-pedal")[0] == 0
    with open_casebook(tmp_path / "book") as book:
        decision = decide(book)
        (heard,) = decision.surveys.values()
        assert abs(heard.summary.offset_cents) < 20, "the one with the pedal is not judged"
    assert run("export", "book", "--html", "page.html")[0] == 0
    assert "The left pedal: " in (tmp_path / "page.html").read_text(encoding="utf-8")
    assert_one_line(
        run("listen", sounds / "scale.wav", "--csv", "a.csv", "--left-pedal"), "--into", "together"
    )


def test_gather(run, tmp_path) -> None:
    for name in ("one", "two"):
        with create_casebook(tmp_path / name) as book, book.editing(by=name) as edit:
            edit.add(Piano(name=f"piano of {name}"))
    code, said, _ = run("gather", "one", "two", "--into", "all")
    assert code == 0
    assert "2 casebooks gathered" in said
    with open_casebook("all") as book:
        assert sorted(p.name for p in book.pianos()) == ["piano of one", "piano of two"]
    assert_one_line(run("gather", "nowhere", "--into", "all"), "nowhere")
    (tmp_path / "letters").mkdir()
    (tmp_path / "letters" / "dear.txt").write_text("dear")
    assert_one_line(run("gather", "one", "--into", "letters"), "letters")
    assert [p.name for p in (tmp_path / "letters").iterdir()] == ["dear.txt"]


def test_gather_says_what_is_to_be_settled(run, tmp_path) -> None:
    """Beside the counts each conflict and each problem in a line of its own, and nothing else."""
    with create_casebook(tmp_path / "one") as book, book.editing(by="Ana") as edit:
        piano = edit.add(Piano(name="by the window"))
    shutil.copytree(tmp_path / "one", tmp_path / "two")
    for name, seller in (("one", "a widow"), ("two", "a school")):
        with open_casebook(tmp_path / name) as book, book.editing(by=name) as edit:
            edit.change(replace(piano, seller=seller))
    code, said, _ = run("gather", "one", "two", "--into", "all")
    assert code == 0
    counts, *lines = said.splitlines()
    assert "1 conflicts to settle, 0 problems" in counts
    assert [line.split(": ")[0] for line in lines] == ["conflict"]
    assert all(word in lines[0] for word in (piano.id, "a widow", "a school"))


def test_notebooks(run, tmp_path) -> None:
    code, said, _ = run("notebooks", "--to", "mine")
    assert code == 0
    copied = sorted(p.name for p in (tmp_path / "mine").iterdir())
    assert copied
    assert all(name.endswith(".ipynb") and name in said for name in copied)
    changed = tmp_path / "mine" / copied[0]
    changed.write_text("{}", encoding="utf-8")
    assert_one_line(run("notebooks", "--to", "mine"), "a file that is there already", "--replace")
    assert changed.read_text(encoding="utf-8") == "{}"
    assert run("notebooks", "--to", "mine", "--replace")[0] == 0
    assert changed.read_text(encoding="utf-8") != "{}"
    (tmp_path / "file").write_text("")
    assert_one_line(run("notebooks", "--to", "file"), "got a file")
    assert [p.name for p in copy_notebooks(tmp_path / "other")] == copied


def test_demo_where_it_must_not(run, tmp_path) -> None:
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "letter.txt").write_text("dear")
    assert_one_line(run("demo", "--out", "mine"), "a folder with other things in it (letter.txt)", "--out")
    (tmp_path / "file").write_text("")
    assert_one_line(run("demo", "--out", "file"), "got a file")
    assert_one_line(run("demo", "--out", "file/below"), "file/below")
    assert sorted(p.name for p in tmp_path.rglob("*")) == ["file", "letter.txt", "mine"]


def shell(*args: object, cwd: Path, code: str = "") -> subprocess.CompletedProcess[str]:
    start = ["-c", f"{code}; import sys; from pianolab.cli import main; sys.exit(main(sys.argv[1:]))"]
    command = [sys.executable, *(start if code else ["-m", "pianolab"]), *map(str, args)]
    return subprocess.run(command, cwd=cwd, capture_output=True, text=True, timeout=120, check=False)


def test_the_version(tmp_path) -> None:
    done = shell("--version", cwd=tmp_path)
    assert (done.returncode, done.stdout.strip(), done.stderr) == (0, f"pianolab {__version__}", "")


@pytest.mark.slow
def test_one_line_in_a_real_shell(sounds, tmp_path) -> None:
    done = shell("listen", sounds / "letter.wav", "--csv", "out.csv", cwd=tmp_path)
    assert_one_line((done.returncode, done.stdout, done.stderr), "letter.wav")


@pytest.mark.slow
def test_a_missing_package_is_one_line(tmp_path) -> None:
    done = shell("demo", cwd=tmp_path, code="import sys; sys.modules['jinja2'] = None")
    assert_one_line((done.returncode, done.stdout, done.stderr), "no package jinja2")
    assert not list(tmp_path.iterdir())


@pytest.mark.slow
@pytest.mark.skipif(os.name != "posix", reason="needs signals of POSIX")
@pytest.mark.parametrize("moment", ["playing and recording", "listening"])
def test_interrupted_with_nothing_half_written(tmp_path, moment) -> None:
    """Ctrl-C while sounds are rendered, and while they are listened to."""
    work, cache = tmp_path / "work", tmp_path / "cache"
    work.mkdir()
    code = (
        "import dataclasses, pianolab.demo.shortlist as d; plan = d.plan_demo; d.plan_demo = lambda **k: tuple("
        "dataclasses.replace(v, scene=dataclasses.replace(v.scene, hold_s=0.5, rate_hz=22050)) for v in plan(**k))"
    )
    command = [
        sys.executable,
        "-u",
        "-c",
        f"{code}; import sys; from pianolab.cli import main; sys.exit(main(['demo']))",
    ]
    child = subprocess.Popen(
        command,
        cwd=work,
        env={**os.environ, "XDG_CACHE_HOME": str(cache)},
        text=True,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    )
    watch = threading.Timer(100.0, child.kill)
    watch.start()
    assert child.stdout is not None
    assert any(moment in line for line in child.stdout)
    child.send_signal(signal.SIGINT)
    _, complaint = child.communicate()
    watch.cancel()
    assert child.returncode == 130
    assert complaint == "pianolab: interrupted; nothing was left half-written.\n"
    assert not list(work.iterdir())


def test_usual_takes_back_what_was_remembered_and_a_file_is_taken() -> None:
    given = argparse.Namespace(profile=USUAL, prices=USUAL, checklist="mine.toml", plans=None)
    assert _given_settings(given) == {"profile": USUAL, "prices": None, "checklist": "mine.toml"}
    assert _given_settings(argparse.Namespace(profile=None, prices="p.toml", checklist=None, plans=None)) == {
        "prices": "p.toml"
    }


@pytest.mark.slow
def test_a_terminal_without_some_signs_shows_all_the_others(tmp_path) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "pianolab", "check", tmp_path / "Flügel in F♯"],
        env={**os.environ, "PYTHONIOENCODING": "cp1252", "PYTHONUTF8": "0"},
        capture_output=True,
        check=False,
    )
    assert done.returncode == 2
    assert "Flügel in F\\u266f: got no such folder" in done.stderr.decode("cp1252")
    assert len(done.stderr.splitlines()) == 1
