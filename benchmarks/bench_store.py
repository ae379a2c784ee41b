"""Results of single takes on disk, named by what made them: a run that was stopped goes on where it was."""

from __future__ import annotations

import ast
import hashlib
import json
import os
from collections.abc import Iterable
from functools import lru_cache
from pathlib import Path
from typing import Any

import pandas as pd

from benchmarks.families import MODULES, Recipe
from benchmarks.scoring import KEY_COLUMNS

ROOT = Path(__file__).resolve().parents[1]
ALWAYS = ("benchmarks.families", "benchmarks.independent")
"""What every take is made and analysed by; with `MEASURED` what the result depends on."""
MEASURED = ("benchmarks.scoring", "benchmarks.independent_rules", "pianolab.acoustics.survey")
TAKE_COLUMNS = (
    "family",
    "case",
    "name",
    "seconds",
    "healthy",
    "refused",
    "crashed",
    "listen_share",
    "reading",
    "tune_first",
    "warnings",
    "t60_s",
    "t60_heard_s",
    "width_true",
    "needs_tuning",
    "tuning_false",
    "tuning_missed",
    "without_opinion",
)
"""Columns of the table of takes; those that a take can't fill stay empty."""


def module_file(name: str) -> Path | None:
    """The source of one of the project's own modules; None for a name that is none."""
    path = ROOT.joinpath(*name.split("."))
    for file in (path.with_suffix(".py"), path / "__init__.py"):
        if file.exists():
            return file
    return None


def _imports(file: Path) -> set[str]:
    names = set()
    for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom) and node.module:
            names |= {node.module, *(f"{node.module}.{a.name}" for a in node.names)}
        elif isinstance(node, ast.Import):
            names |= {a.name for a in node.names}
    return {n for n in names if n.startswith(("benchmarks.", "pianolab."))}


def sources(modules: Iterable[str]) -> list[Path]:
    """The source files behind modules: theirs and those of all that they import, with the data beside them."""
    todo, files = list(modules), set[Path]()
    while todo:
        file = module_file(todo.pop())
        if file is None or file in files:
            continue
        files.add(file)
        todo += _imports(file)
    data = {
        toml
        for folder in {f.parent for f in files if f.parent.parent == ROOT / "pianolab"}
        for toml in folder.glob("*.toml")
    }
    return sorted(files | data)


@lru_cache
def version(maker: str, *, chain: bool, measured: bool = True) -> str:
    """A digest of all code that a take's result depends on; without ``measured`` of what its sound depends on only."""
    modules = [
        *ALWAYS,
        *(MEASURED if measured else ()),
        *(["benchmarks.playing", f"benchmarks.{MODULES[maker]}"] if maker in MODULES else []),
    ]
    modules += ["benchmarks.telephones"] if chain else []
    modules += {"narrow": ["pianolab.sound_model"], "shipped": ["pianolab.io.real_notes"]}.get(maker, [])
    digest = hashlib.sha256()
    for file in sources(modules):
        # families.py is asked for its own words by the recipe; a new list must not undo old results.
        if file.name != "families.py":
            digest.update(file.read_bytes())
    return digest.hexdigest()


def name_of(recipe: Recipe, *, measured: bool = True) -> str:
    """The name of a recipe's result (or of its sound, not ``measured``): what is made, and by which code."""
    words = json.dumps(recipe.words(), sort_keys=True, default=str)
    both = words + version(recipe.maker, chain=bool(recipe.chain), measured=measured)
    return hashlib.sha256(both.encode()).hexdigest()[:20]


def save(path: Path, take: dict[str, Any], keys: list[dict[str, Any]]) -> None:
    """A result as JSON; whole or not at all."""
    write(path, json.dumps({"take": take, "keys": keys}, default=_plain))


def _plain(value: Any) -> Any:
    return value.item() if hasattr(value, "item") else str(value)


def load(path: Path) -> tuple[dict[str, Any], list[dict[str, Any]]]:
    """A result as it was saved."""
    told = json.loads(path.read_text(encoding="utf-8"))
    return told["take"], told["keys"]


def save_frame(path: Path, frame: pd.DataFrame) -> None:
    """A frame of numbers, texts and lists as JSON."""
    write(path, json.dumps(frame.to_dict("list"), default=_plain))


def load_frame(path: Path) -> pd.DataFrame:
    """A frame as it was saved; tuples have become lists."""
    return pd.DataFrame(json.loads(path.read_text(encoding="utf-8")))


def write(path: Path, text: str) -> None:
    """A text file under a temporary name, then its own."""
    path.parent.mkdir(parents=True, exist_ok=True)
    scratch = path.with_name(f"{path.name}.{os.getpid()}.part")
    scratch.write_text(text, encoding="utf-8")
    scratch.replace(path)


def frames(
    results: Iterable[tuple[str, Recipe, dict[str, Any], list[dict[str, Any]]]],
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """All takes and all keys, joined by the column ``take``; columns that no take filled are there and empty."""
    takes, keys = [], []
    for name, recipe, take, rows in results:
        about = {"take": name, "family": recipe.family, "case": recipe.case, "name": recipe.name}
        about["piano"] = recipe.piano
        takes.append(take | about)
        keys += [about | row for row in rows]
    return with_columns(takes, TAKE_COLUMNS), with_columns(keys, KEY_COLUMNS)


def with_columns(rows: list[dict[str, Any]], columns: Iterable[str]) -> pd.DataFrame:
    """Rows as a frame that has at least these columns."""
    frame = pd.DataFrame(rows)
    return frame.reindex(columns=[*frame.columns, *(c for c in columns if c not in frame)])
