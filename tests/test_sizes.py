"""How long modules and functions may be, how much a function may ask for, and that a name stands for one thing."""

import ast
import pathlib
from collections import defaultdict
from collections.abc import Iterator

import pytest

ROOT = pathlib.Path(__file__).resolve().parent.parent / "pianolab"
MOST_LINES, MOST_BODY, MOST_PARAMETERS = 350, 50, 8
"""Of a module; of a function without its docstring; of its parameters, ``self`` and ``cls`` not counted [practice]."""

Function = ast.FunctionDef | ast.AsyncFunctionDef


def body_lines(function: Function) -> int:
    """Lines of a function, its docstring left out."""
    first = function.body[0]
    is_doc = isinstance(first, ast.Expr) and isinstance(first.value, ast.Constant)
    doc = (first.end_lineno or 0) - first.lineno + 1 if is_doc and ast.get_docstring(function) else 0
    return (function.end_lineno or 0) - function.lineno + 1 - doc


def parameters(function: Function) -> int:
    """How many a caller has to know; a group of keywords counts as one."""
    a = function.args
    named = [p.arg for p in (*a.posonlyargs, *a.args, *a.kwonlyargs) if p.arg not in ("self", "cls")]
    return len(named) + (a.vararg is not None) + (a.kwarg is not None)


def too_much(root: pathlib.Path) -> Iterator[str]:
    """What of a tree of modules is longer, or asks for more, than one can hold in mind."""
    for path in sorted(root.rglob("*.py")):
        name, text = path.relative_to(root).as_posix(), path.read_text(encoding="utf-8")
        if (lines := len(text.splitlines())) > MOST_LINES:
            yield f"{name} has {lines} lines"
        for node in ast.walk(ast.parse(text)):
            if isinstance(node, Function):
                if (asked := parameters(node)) > MOST_PARAMETERS:
                    yield f"{name}: {node.name} takes {asked}"
                if (lines := body_lines(node)) > MOST_BODY:
                    yield f"{name}: {node.name} has {lines} lines"


def test_nothing_is_longer_than_one_can_hold_in_mind() -> None:
    assert list(too_much(ROOT)) == []


DOC = '    """' + "Words.\n" * 60 + '    """\n'
SHORT = "def few(self, a, b, c, d, e, f, *rest, g):\n" + DOC + "    x = 1\n" * 49


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (SHORT, []),
        (SHORT + "    x = 1\n", ["sub/made_up.py: few has 51 lines"]),
        ("def many(a, b, c, d, e, *, f, g, h, **i): ...\n", ["sub/made_up.py: many takes 9"]),
        ("async def many(a, /, b, c, d, e, f, g, h, i): ...\n", ["sub/made_up.py: many takes 9"]),
        ("x = 1\n" * 350, []),
        ("x = 1\n" * 351, ["sub/made_up.py has 351 lines"]),
    ],
)
def test_what_is_too_long_is_seen(tmp_path: pathlib.Path, text: str, said: list[str]) -> None:
    (tmp_path / "sub").mkdir()
    (tmp_path / "sub" / "made_up.py").write_text(text, encoding="utf-8")
    assert list(too_much(tmp_path)) == said


def doubled(root: pathlib.Path) -> Iterator[str]:
    """Module names, and names of public classes, that a tree of modules uses more than once."""
    places: dict[str, list[str]] = defaultdict(list)
    for path in sorted(root.rglob("*.py")):
        name = path.relative_to(root).as_posix()
        if path.name != "__init__.py":
            places[f"module {path.stem}"].append(name)
        for node in ast.parse(path.read_text(encoding="utf-8")).body:
            if isinstance(node, ast.ClassDef) and not node.name.startswith("_"):
                places[f"class {node.name}"].append(name)
    return (f"{what}: {', '.join(where)}" for what, where in places.items() if len(where) > 1)


def test_a_name_stands_for_one_module_or_class() -> None:
    assert list(doubled(ROOT)) == []


@pytest.mark.parametrize(
    ("files", "said"),
    [
        ({"one/keys.py": "class Key: ...", "two/notes.py": "class _Key: ...", "two/__init__.py": ""}, []),
        ({"one/keys.py": "", "two/keys.py": ""}, ["module keys: one/keys.py, two/keys.py"]),
        (
            {"one/keys.py": "class Key: ...", "two/__init__.py": "class Key: ..."},
            ["class Key: one/keys.py, two/__init__.py"],
        ),
    ],
)
def test_a_doubled_name_is_seen(tmp_path: pathlib.Path, files: dict[str, str], said: list[str]) -> None:
    for name, text in ({"one/__init__.py": ""} | files).items():
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_text(text, encoding="utf-8")
    assert list(doubled(tmp_path)) == said
