"""Writes the API reference from the docstrings: ``python docs/reference.py FOLDER``.

One page for the front door and one for each part it is made of. A name that doesn't resolve, or a page that
would come out without its names, ends it with an error. Needs ``pip install -e '.[docs]'``.
"""

from __future__ import annotations

import pkgutil
import sys
import warnings
from importlib import import_module
from pathlib import Path

import pdoc

import pianolab

PARTS = tuple(
    f"pianolab.{m.name}"
    for m in pkgutil.iter_modules(pianolab.__path__)
    if m.ispkg and m.name not in pianolab.__all__ and hasattr(import_module(f"pianolab.{m.name}"), "__all__")
)
"""The parts; one that the front door offers by name has its page through that."""


def write(folder: Path, modules: tuple[str, ...] = ("pianolab", *PARTS)) -> list[Path]:
    """The pages, one for each module; the names that are fetched when first asked for are fetched."""
    for module in map(import_module, modules):
        vars(module).update({name: getattr(module, name) for name in module.__all__})
    pdoc.render.configure(docformat="numpy", show_source=False)
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        # A type that is imported for checking only can't be looked up; it stays as it is written.
        warnings.filterwarnings("ignore", message="Error parsing type annotation")
        pdoc.pdoc(*modules, output_directory=folder)
    return sorted(folder.rglob("*.html"))


if __name__ == "__main__":
    if len(sys.argv) != 2:
        sys.exit("python docs/reference.py FOLDER: one folder is needed, to write the pages into")
    print(f"{len(write(Path(sys.argv[1])))} pages in {sys.argv[1]}")
