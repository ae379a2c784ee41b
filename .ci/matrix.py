"""Whether pyproject.toml tells the truth: the lowest and the newest allowed versions, on every Python that is there.

Run: ``python .ci/matrix.py [--python python3.11 python3.13] [--keep DIR]``. Each cell is a fresh virtual environment, an
install, the time that ``import pianolab`` takes without loading numpy, and the tests named below. The lowest versions are
those of pyproject.toml itself, pinned; what they in turn need is left to pip (or uv, where it is there: quicker). About a quarter of an hour for a cell on
two cores; ``--tests tests/model tests/io`` makes it shorter. A Python that isn't there is left out.
"""

from __future__ import annotations

import argparse
import os
import re
import shutil
import subprocess
import sys
import tempfile
import time
import tomllib
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
PYTHONS = ("python3.11", "python3.12", "python3.13")
TESTS = (
    "tests/casebook",
    "tests/io",
    "tests/model",
    "tests/assess",
    "tests/compare",
    "tests/figures",
    "tests/test_cli.py",
    "tests/test_layers.py",
)
IMPORT = "import time, sys; t = time.perf_counter(); import pianolab; print(time.perf_counter() - t, 'numpy' in sys.modules)"


def present(name: str) -> str | None:
    """A Python of that name that really runs: one on the path, or one that pyenv keeps."""
    kept = Path(os.environ.get("PYENV_ROOT", Path.home() / ".pyenv")).glob(f"versions/*/bin/{name}")
    for python in (name, *map(str, sorted(kept))):
        if (
            shutil.which(python)
            and not subprocess.run([python, "-V"], capture_output=True, check=False).returncode
        ):
            return python
    return None


def lowest(project: dict[str, object]) -> list[str]:
    """A pin for every version that users may have, from some number on; the tools of the tests are the newest.

    >>> lowest({"dependencies": ["numpy>=2.1", "babel"], "optional-dependencies": {"x": ["a[b]>=3,<4"], "test": ["c>=1"]}})
    ['numpy==2.1', 'a==3']
    """
    extras = project["optional-dependencies"]
    assert isinstance(extras, dict)
    wanted = [
        *project["dependencies"],
        *(line for name, lines in extras.items() if name != "test" for line in lines),
    ]  # type: ignore[misc]
    found = (re.match(r"([\w.-]+)(?:\[[^]]*\])?\s*>=\s*([\w.]+)", line) for line in wanted)
    return [f"{m[1]}=={m[2]}" for m in found if m is not None]


def cell(python: str, pins: list[str], room: Path, tests_of: list[str]) -> str:
    """One environment: installed, imported, tested; a row of the table."""
    name = f"{Path(python).name} {'lowest' if pins else 'newest'}"
    begun = time.monotonic()
    subprocess.run([python, "-m", "venv", str(room)], check=True)
    (room / "pins.txt").write_text("".join(f"{pin}\n" for pin in pins))
    here = str(room / "bin" / "python")
    quick = shutil.which("uv")
    install = [quick, "pip", "install", "--python", here] if quick else [here, "-m", "pip", "install"]
    wanted = ["-q", "-c", str(room / "pins.txt"), "-e", f"{ROOT}[test]"]
    installed = subprocess.run([*install, *wanted], capture_output=True, text=True, check=False)
    if installed.returncode:
        return f"| {name} | not installable: {' '.join(installed.stderr.split())[-300:]} | | |"
    subprocess.run([here, "-c", "import pianolab"], check=True)
    seconds, heavy = subprocess.run(
        [here, "-c", IMPORT], capture_output=True, text=True, check=True
    ).stdout.split()
    tests = subprocess.run(
        [here, "-m", "pytest", "-q", "-p", "no:cacheprovider", *tests_of],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    last = (tests.stdout.strip().splitlines() or [f"ended with {tests.returncode}"])[-1].strip("= ")
    (room / "pytest.txt").write_text(tests.stdout + tests.stderr)
    if tests.returncode:
        last = f"failed with {tests.returncode}: {last}"
    numpy = ", numpy loaded" if heavy == "True" else ""
    return f"| {name} | {time.monotonic() - begun:.0f} s in all | {float(seconds):.2f} s{numpy} | {last} |"


def main() -> None:
    """All cells, one after another."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--python", nargs="+", default=[p for name in PYTHONS if (p := present(name))])
    parser.add_argument("--only", choices=("lowest", "newest"))
    parser.add_argument("--tests", nargs="+", default=list(TESTS))
    parser.add_argument("--keep", type=Path, help="keep the environments here")
    args = parser.parse_args()
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    print("| Python, versions | time | import | tests |\n| --- | --- | --- | --- |", flush=True)
    rows = []
    with tempfile.TemporaryDirectory() as temporary:
        for python in args.python:
            for kind in ("newest", "lowest") if args.only is None else (args.only,):
                room = (args.keep or Path(temporary)) / f"{Path(python).name}-{kind}"
                rows.append(cell(python, lowest(project) if kind == "lowest" else [], room, args.tests))
                print(rows[-1], flush=True)
    sys.exit(any("failed" in row or "error" in row or "not installable" in row for row in rows))


if __name__ == "__main__":
    main()
