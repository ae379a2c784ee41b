"""What is written about the code holds: docstrings, citations, README's commands, no trace of one machine."""

from __future__ import annotations

import ast
import importlib
import importlib.util
import inspect
import pkgutil
import re
import subprocess
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType

import pytest

import pianolab
from pianolab.cli import build_parser
from pianolab.io import write_sound
from pianolab.sound_model import PianoModel, render_scale
from pianolab.sources import SOURCES

ROOT = Path(__file__).resolve().parent.parent
CITATION = re.compile(r"\[([a-z][a-z]+\d{2,4}[a-z]?|practice|memory)\]")
PARTS = (
    "pianolab",
    *(f"pianolab.{m.name}" for m in pkgutil.iter_modules(pianolab.__path__) if m.name[0] != "_"),
)
HOMES = ("root", "work")
HOSTS = tuple(
    bytes.fromhex(h).decode()
    for h in (
        "707970692e6f7267",
        "707974686f6e686f737465642e6f7267",
        "72656769737472792e6e706d6a73",
        "6e706d6a732e6f7267",
    )
)
"""In hexadecimal: this file is looked through as well, and must not hold what it looks for."""
MACHINE = re.compile(
    rf"(?<![\w.~/}}])(/(?:{'|'.join(HOMES)})/|/home/\w+/|/Users/\w+|/tmp/[\w.]+|[A-Z]:\\Users)"
    rf"|\b({'|'.join(re.escape(h) for h in HOSTS)}|index-url|extra-index|10\.\d+\.\d+\.\d+|192\.168\.\d+\.\d+)"
)
"""Folders of one machine, and hosts of package registries."""


def public(module: ModuleType) -> Iterator[tuple[str, object]]:
    for name in getattr(module, "__all__", ()):
        yield name, getattr(module, name)


@pytest.mark.parametrize("name", PARTS)
def test_every_public_name_is_explained(name: str) -> None:
    module = importlib.import_module(name)
    assert (module.__doc__ or "").strip(), f"{name} has no docstring"
    for own, thing in public(module):
        if inspect.isclass(thing) or inspect.isroutine(thing):
            text = (thing.__doc__ or "").strip()
            generated = inspect.isclass(thing) and text.startswith(f"{thing.__name__}(")
            assert len(text) > 15, f"{name}.{own} has no docstring"
            assert not generated, f"{name}.{own} has no docstring but the one dataclasses make"


def unexplained(module: ModuleType) -> list[str]:
    """Public functions that take something and don't say what, in a section of their own."""
    return [
        own
        for own, thing in public(module)
        if inspect.isfunction(thing)
        and inspect.signature(thing).parameters
        and "\nParameters\n----------\n" not in (inspect.getdoc(thing) or "")
    ]


@pytest.mark.parametrize("name", PARTS)
def test_every_public_function_says_what_it_takes(name: str) -> None:
    assert unexplained(importlib.import_module(name)) == []


def test_one_that_does_not_is_named() -> None:
    def bare(x: int) -> int:
        """Twice as much, with the parameters left out."""
        return 2 * x

    made_up = ModuleType("made_up")
    made_up.__all__, made_up.bare = ["bare"], bare  # type: ignore[attr-defined]
    assert unexplained(made_up) == ["bare"]


def test_the_library_itself_names_what_it_offers() -> None:
    assert len(pianolab.__all__) > 10
    for name in pianolab.__all__:
        assert getattr(pianolab, name) is not None


def docstrings(path: Path) -> Iterator[str]:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    for node in ast.walk(tree):
        if isinstance(node, (ast.Module, ast.ClassDef, ast.FunctionDef, ast.AsyncFunctionDef)):
            yield ast.get_docstring(node) or ""
        elif (
            isinstance(node, ast.Expr)
            and isinstance(node.value, ast.Constant)
            and isinstance(node.value.value, str)
        ):
            yield node.value.value


def cited(text: str) -> set[str]:
    return set(CITATION.findall(text))


def test_every_citation_is_entered() -> None:
    found: set[str] = set()
    for path in sorted((ROOT / "pianolab").rglob("*.py")):
        for text in docstrings(path):
            keys = cited(text)
            assert keys <= set(SOURCES), f"{path.relative_to(ROOT)}: {sorted(keys - set(SOURCES))}"
            found |= keys
    assert len(found) >= 5


def test_citations_are_told_from_indices() -> None:
    assert cited("rows[0], [1, 2], [int], `x[key]`, [fletcher1964]; [practice]") == {
        "fletcher1964",
        "practice",
    }
    assert not cited("see [nobody1999]") <= set(SOURCES)


def block_after(text: str, marker: str) -> list[str]:
    """The lines of the first fenced block after a marker comment."""
    match = re.search(rf"<!-- {marker} -->\s*```\w*\n(.*?)```", text, re.DOTALL)
    return match.group(1).strip().splitlines() if match else []


@pytest.mark.parametrize(
    ("marker", "ends_with"), [("main command", "-m pianolab demo"), ("test command", "-m pytest -n logical")]
)
def test_readme_has_the_two_commands_that_ci_runs(marker: str, ends_with: str) -> None:
    lines = block_after((ROOT / "README.md").read_text(encoding="utf-8"), marker)
    assert len(lines) == 1
    assert lines[0].startswith("python3 -m venv .venv && .venv/bin/pip install")
    assert lines[0].endswith(ends_with)
    assert f"from_readme '{marker}'" in (ROOT / ".ci" / "run").read_text(encoding="utf-8")


MOST_LINES = 15


def test_the_readmes_own_casebook_is_short_and_runs(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    lines = block_after((ROOT / "README.md").read_text(encoding="utf-8"), "own casebook")
    assert 0 < len([line for line in lines if line.strip()]) <= MOST_LINES
    monkeypatch.chdir(tmp_path)
    scale = render_scale(PianoModel(seed=6), first_key=40, last_key=46, hold_s=0.8, gap_s=0.3, snr_db=45.0)
    write_sound("scale.wav", scale.samples, rate_hz=scale.rate_hz)
    exec(compile("\n".join(lines), "README.md", "exec"), {"__name__": "readme"})
    page = (tmp_path / "comparison.html").read_text(encoding="utf-8")
    with pianolab.open_casebook("my-visits") as casebook:
        assert len(casebook.pianos()) == 3
        assert len(casebook.surveys()) == len(casebook.profiles()) == 1
        assert len(casebook.findings()) == 3
        assert all(piano.name in page for piano in casebook.pianos())
    assert "Mia" in page


def test_readme_names_every_command() -> None:
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    (commands,) = (a for a in build_parser()._actions if a.dest == "command")
    assert commands.choices is not None
    assert len(list(commands.choices)) >= 7
    for command in commands.choices:
        assert f"python -m pianolab {command}" in readme, command


MOST_WORDS = 900
LINK = re.compile(r"\]\((?!https?:)([^)#]+)")


def words_in(text: str) -> int:
    """Words as a reader counts them: what has a letter or a figure in it."""
    return sum(1 for word in text.split() if re.search(r"\w", word))


def test_readme_is_short() -> None:
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    assert 300 < words_in(text) <= MOST_WORDS
    assert words_in(text + " more" * MOST_WORDS) > MOST_WORDS


@pytest.mark.parametrize(
    "page", ["README.md", *sorted(f"docs/{p.name}" for p in (ROOT / "docs").glob("*.md"))]
)
def test_what_a_page_points_to_is_there(page: str) -> None:
    path = ROOT / page
    links = LINK.findall(path.read_text(encoding="utf-8"))
    assert [link for link in links if not (path.parent / link).exists()] == []
    assert not (path.parent / "nowhere.md").exists()


def tracked() -> list[Path]:
    listed = subprocess.run(
        ["git", "-c", "safe.directory=*", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=False
    )
    if listed.returncode == 0 and listed.stdout.strip():
        return [ROOT / line for line in listed.stdout.splitlines() if (ROOT / line).is_file()]
    made = {"__pycache__", "build", "dist", "pianolab-demo"}

    def ours(path: Path) -> bool:
        parts = path.relative_to(ROOT).parts
        return not made & set(parts) and all(p[0] != "." or p == ".ci" for p in parts[:-1])

    return [p for p in ROOT.rglob("*") if p.is_file() and ours(p)]


def test_no_trace_of_one_machine() -> None:
    found = []
    for path in tracked():
        if path == Path(__file__).resolve():
            continue
        try:
            text = path.read_text(encoding="utf-8")
        except UnicodeDecodeError:
            continue
        found += [f"{path.relative_to(ROOT)}: {m.group(0)}" for m in MACHINE.finditer(text)]
    assert not found


@pytest.mark.parametrize(
    "text",
    [f"x = '/{HOMES[0]}/data'", "open('/home/ana/a.wav')", "--index-url https://a.b", f"see {HOSTS[0]}"],
)
def test_a_trace_would_be_found(text: str) -> None:
    assert MACHINE.search(text)
    assert not MACHINE.search("/usr/bin/chromium, https://a.b/home, ~/.cache, 10.5 cents, and/or")


def reference() -> ModuleType:
    spec = importlib.util.spec_from_file_location("reference", ROOT / "docs" / "reference.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.mark.slow
def test_the_reference_has_every_name_of_the_front_door(tmp_path: Path) -> None:
    pages = reference().write(tmp_path, ("pianolab", "pianolab.planning"))
    front = (tmp_path / "pianolab.html").read_text(encoding="utf-8")
    names = set(pianolab.__all__) - {"forms", "practice", "classroom"}
    assert names <= set(re.findall(r'id="(\w+)"', front))
    assert {p.name for p in pages} >= {"pianolab.html", "planning.html", "classroom.html"}


def test_a_name_that_is_not_there_ends_the_reference(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    module = importlib.import_module("pianolab.planning")
    monkeypatch.setattr(module, "__all__", [*module.__all__, "nowhere"])
    with pytest.raises((AttributeError, UserWarning), match="nowhere"):
        reference().write(tmp_path, ("pianolab.planning",))
    assert list(tmp_path.rglob("*.html")) == []
