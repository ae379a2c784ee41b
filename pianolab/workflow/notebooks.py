"""The template notebooks, copied to where a user may change them."""

from __future__ import annotations

from pathlib import Path

from pianolab.errors import BadInput
from pianolab.files import write_files
from pianolab.shipped import shipped


def copy_notebooks(to: str | Path, *, replace: bool = False) -> tuple[Path, ...]:
    """Copy the template notebooks into a folder, all of them or none.

    Parameters
    ----------
    to : made where it is missing
    replace : whether notebooks of these names that are there may be replaced; others stay in any case

    Returns
    -------
    tuple of Path; the notebooks in that folder

    Raises
    ------
    BadInput
        a notebook of one of these names is there, or the folder can't be written; nothing is copied
    """
    folder = Path(to)
    if folder.exists() and not folder.is_dir():
        raise BadInput(str(folder), "a file", "a folder", "Choose another with --to.")
    templates = sorted(
        (e for e in shipped("notebooks").iterdir() if e.name.endswith(".ipynb")), key=lambda e: e.name
    )
    contents = {folder / e.name: e.read_bytes() for e in templates}
    # The templates themselves are inputs: a checkout's own folder is not a place to copy to.
    write_files(
        contents, folder=folder, inputs=[e for e in templates if isinstance(e, Path)], replace=replace
    )
    return tuple(contents)
