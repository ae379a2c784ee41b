"""What must hold for the installed wheel in an empty folder: nothing is taken from the sources."""

from __future__ import annotations

import csv
import subprocess
import sys
import time
from importlib.resources import as_file
from pathlib import Path

import pianolab
from pianolab.shipped import shipped

RUN = [sys.executable, "-m", "pianolab"]


def run(*args: str) -> str:
    """Run a command of pianolab; its output."""
    print("$ pianolab", *args, flush=True)
    done = subprocess.run([*RUN, *args], capture_output=True, text=True, check=False)
    print(done.stdout, done.stderr, sep="", flush=True)
    assert done.returncode == 0, f"exit code {done.returncode}"
    return done.stdout


def main() -> None:
    assert not list(Path.cwd().iterdir()), "the folder isn't empty"
    home = Path(pianolab.__file__).resolve()
    assert "site-packages" in home.parts, home
    for name in ("datasets/prices.toml", "datasets/profiles.toml", "datasets/scenario", "notebooks"):
        assert Path(str(shipped(name))).resolve().is_relative_to(home.parent), name
    for package, ending in (
        ("widgets", ".js"),
        ("report", ".j2"),
        ("checklist", ".toml"),
        ("assess", ".toml"),
    ):
        assert any((home.parent / package).rglob(f"*{ending}")), (package, ending)

    run("--version")
    with as_file(shipped("datasets/real_notes/key49_A4.ogg")) as note:
        run("listen", str(note), "--csv", "note.csv", "--first-key", "49", "--last-key", "49")
    with Path("note.csv").open(encoding="utf-8", newline="") as table:
        rows = list(csv.DictReader(table))
    assert [row["status"] for row in rows] == ["measured"], rows

    seconds = []
    for folder in ("first", "second"):
        begun = time.monotonic()
        assert "comparison.html" in run("demo", "--out", folder)
        seconds.append(time.monotonic() - begun)
        assert Path(folder, "comparison.html").stat().st_size > 1_000_000
        assert Path(folder, "casebook", "casebook.sqlite").is_file()
    print(f"demo: {seconds[0]:.0f} s, then {seconds[1]:.0f} s with the sounds in the cache")
    run("export", "first/casebook", "--html", "again.html", "--profile", "patient restorer")
    run("gather", "first/casebook", "--into", "gathered")
    run("notebooks", "--to", "notebooks")
    assert len(list(Path("notebooks").glob("*.ipynb"))) >= 1


if __name__ == "__main__":
    main()
