"""Imports point inwards only; this is the list of layers, and the test reads it."""

import ast
import pathlib
import subprocess
import sys
from collections.abc import Iterator

import pytest

ROOT = pathlib.Path(__file__).resolve().parent.parent / "pianolab"
RANK = {
    "units": 0, "errors": 0, "sources": 0, "show": 0, "keyboard": 0, "shipped": 0,
    "files": 0, "html": 0, "statements": 0, "release": 0, "words": 1,
    "model": 1, "checklist": 2, "io": 2, "rooms": 2, "acoustics": 3, "sound_model": 3,
    "assess": 4, "casebook": 4, "compare": 5, "figures": 6, "report": 7, "widgets": 8,
    "classroom": 9, "workflow": 10, "cli": 11, "__init__": 12, "__main__": 12,
}  # fmt: skip
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
    "soundfile": {"io"}, "av": {"io"}, "sqlalchemy": {"casebook"}, "alembic": {"casebook"}, "PIL": {"casebook", "report"},
    "plotly": {"figures", "report"}, "msgspec": {"model"}, "anywidget": {"widgets", "classroom"}, "ipywidgets": {"widgets", "classroom"},
}  # fmt: skip


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


def test_importing_pianolab_loads_nothing_heavy() -> None:
    code = (
        "import sys, pianolab; "
        "heavy = {'numpy', 'plotly', 'librosa', 'anywidget', 'pandas', 'scipy', 'sqlalchemy', 'numba'} & set(sys.modules); "
        "assert not heavy, heavy"
    )
    subprocess.run([sys.executable, "-c", code], check=True)
