"""The notebooks go through the front door: of pianolab they know the root and nothing below it."""

import ast
import json
from collections.abc import Iterator
from pathlib import Path

import pytest

import pianolab
from pianolab.shipped import shipped

NOTEBOOKS = sorted(Path(str(shipped("notebooks"))).glob("*.ipynb"))
MOST_NAMES = 30


def below_the_root(code: str) -> list[str]:
    """What a piece of code imports from below pianolab's root, and names that the root doesn't have."""
    found = []
    for node in ast.walk(ast.parse(code)):
        if isinstance(node, ast.ImportFrom) and (node.module or "").split(".")[0] == "pianolab":
            found.append(str(node.module))
        elif isinstance(node, ast.Import):
            found += [a.name for a in node.names if a.name.startswith("pianolab.")]
        elif isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name) and node.value.id == "pl":
            found += [] if node.attr in pianolab.__all__ else [f"pl.{node.attr}"]
    return found


def code_cells() -> Iterator[tuple[str, str]]:
    for path in NOTEBOOKS:
        for cell in json.loads(path.read_text(encoding="utf-8"))["cells"]:
            if cell["cell_type"] == "code":
                yield path.stem, "".join(cell["source"])


def test_notebooks_import_nothing_below_the_root() -> None:
    cells = list(code_cells())
    assert len(cells) > 60
    assert [(name, low) for name, code in cells if (low := below_the_root(code))] == []


@pytest.mark.parametrize(
    "code",
    [
        "from pianolab.workflow import decide",
        "import pianolab.show as s",
        "from pianolab import decide",
        "pl.assess_piano()",
    ],
)
def test_the_check_has_teeth(code: str) -> None:
    assert below_the_root(code)
    assert not below_the_root("import pianolab as pl\npl.decide(casebook).chart('radar')")


def test_the_front_door_stays_narrow() -> None:
    assert len(pianolab.__all__) - 1 <= MOST_NAMES
    assert len(set(pianolab.__all__)) == len(pianolab.__all__)


@pytest.mark.parametrize("room", ["forms", "practice"])
def test_what_a_room_offers_is_there(room: str) -> None:
    module = getattr(pianolab, room)
    assert all(callable(getattr(module, name)) for name in module.__all__)
    assert all((getattr(module, name).__doc__ or "").strip() for name in module.__all__)
