"""Imports point inwards only; this is the list of layers, and the test reads it."""

import ast
import pathlib
import re
import subprocess
import sys
from collections.abc import Iterator

import pytest

ROOT = pathlib.Path(__file__).resolve().parent.parent / "pianolab"
GUIDE = (ROOT.parent / "DEVELOPERS.md").read_text(encoding="utf-8")


def ranks(guide: str) -> dict[str, int]:
    """Name and rank of every part, from the guide's own table."""
    rows = re.findall(r"^\| `([^`|]+)` \| (\d+) \|", guide, flags=re.MULTILINE)
    return {name.rstrip("/"): int(rank) for names, rank in rows for name in names.split()}


RANK = ranks(GUIDE)
RANK |= {"__init__": max(RANK.values()) + 1, "__main__": max(RANK.values()) + 1}
INSIDE_RANK_0 = {
    "errors": 0,
    "release": 0,
    "units": 1,
    "sources": 1,
    "shipped": 1,
    "show": 1,
    "files": 1,
    "html": 1,
    "keyboard": 2,
    "statements": 2,
}
ONLY_IN = {
    "soundfile": {"io"},
    "av": {"io"},
    "sqlalchemy": {"casebook"},
    "alembic": {"casebook"},
    "PIL": {"casebook", "report", "demo"},
    "plotly": {"figures"},
    "msgspec": {"model"},
    "anywidget": {"widgets", "classroom"},
    "ipywidgets": {"widgets", "classroom"},
}


def imports(source: str, *, where: str) -> Iterator[str]:
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            yield from (a.name for a in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{where}: write the full name"
            yield from (f"{node.module}.{a.name}" for a in node.names)


def allowed(own: str, name: str) -> bool:
    top, *rest = name.split(".")
    if top != "pianolab":
        return own in ONLY_IN.get(top, {own})
    if own == "__init__":
        return True
    if not rest:
        return False
    if rest[0] == own or RANK[rest[0]] < RANK[own]:
        return True
    return INSIDE_RANK_0.get(rest[0], 9) < INSIDE_RANK_0.get(own, -1)


def test_imports_point_inwards() -> None:
    paths = sorted(ROOT.rglob("*.py"))
    assert len(paths) > 15
    for path in paths:
        own = path.relative_to(ROOT).parts[0].removesuffix(".py")
        for name in imports(path.read_text(encoding="utf-8"), where=str(path)):
            assert allowed(own, name), f"{path}: {own} must not import {name}"


@pytest.mark.parametrize(
    ("own", "name"),
    [("acoustics", "pianolab.figures.radar"), ("units", "pianolab.model"), ("assess", "plotly.io")],
)
def test_the_check_has_teeth(own: str, name: str) -> None:
    assert not allowed(own, name)


@pytest.mark.parametrize("start", ["pianolab", "pianolab.cli; pianolab.cli.build_parser()"])
def test_importing_pianolab_loads_nothing_heavy(start: str) -> None:
    code = (
        f"import sys, {start}; "
        "heavy = {'numpy', 'plotly', 'librosa', 'anywidget', 'pandas', 'scipy', 'sqlalchemy', 'numba'} & set(sys.modules); "
        "assert not heavy, heavy"
    )
    subprocess.run([sys.executable, "-c", code], check=True)


def module_of(path: pathlib.Path) -> str:
    parts = ("pianolab", *path.relative_to(ROOT).with_suffix("").parts)
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def needed(source: str, modules: set[str]) -> set[str]:
    """The project's modules that a module imports anywhere: on top, inside a function, for types only."""
    found = set()
    for name in imports(source, where="a module"):
        found |= {name} & modules or {name.rpartition(".")[0]} & modules
    return found


def circles(needs: dict[str, set[str]]) -> set[str]:
    """Modules that need themselves in the end."""

    def reached(start: str) -> set[str]:
        seen: set[str] = set()
        waiting = list(needs[start])
        while waiting:
            name = waiting.pop()
            if name not in seen:
                seen.add(name)
                waiting += needs.get(name, ())
        return seen

    return {name for name in needs if name in reached(name)}


def test_no_module_needs_itself() -> None:
    files = {module_of(p): p.read_text(encoding="utf-8") for p in ROOT.rglob("*.py")}
    assert not circles({name: needed(text, set(files)) for name, text in files.items()})


@pytest.mark.parametrize(
    "back",
    [
        "from pianolab.a import x",
        "import pianolab.a",
        "def f():\n    from pianolab.a import x",
        "from typing import TYPE_CHECKING\nif TYPE_CHECKING:\n    from pianolab.a import x",
    ],
)
def test_a_circle_is_seen(back: str) -> None:
    modules = {"pianolab.a", "pianolab.b", "pianolab.c"}
    needs = {
        "pianolab.a": needed("from pianolab import b", modules),
        "pianolab.b": needed(back, modules),
        "pianolab.c": needed("from pianolab.a import x", modules),
    }
    assert circles(needs) == {"pianolab.a", "pianolab.b"}


def test_the_guide_names_every_part() -> None:
    parts = {
        p.name.removesuffix(".py")
        for p in ROOT.iterdir()
        if p.suffix == ".py" or (p / "__init__.py").exists()
    }
    assert parts == set(RANK)
