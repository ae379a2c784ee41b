"""The template notebooks, copied to where a user may change them."""

from __future__ import annotations

from pathlib import Path

from pianolab.errors import BadInput
from pianolab.shipped import shipped
from pianolab.workflow.outputs import staged


def copy_notebooks(to: str | Path) -> tuple[Path, ...]:
    """Copy the template notebooks into a folder; what is there already is never overwritten.

    Returns
    -------
    tuple of Path; the notebooks in that folder

    Raises
    ------
    BadInput
        a notebook of that name with other content is there, or the folder can't be written; nothing is copied
    """
    folder = Path(to)
    templates = {e.name: e.read_bytes() for e in shipped("notebooks").iterdir() if e.name.endswith(".ipynb")}
    if folder.exists() and not folder.is_dir():
        raise BadInput(str(folder), "a file", "a folder", "Choose another with --to.")
    changed = [n for n, data in templates.items() if _differs(folder / n, data)]
    if changed:
        raise BadInput(
            str(folder / sorted(changed)[0]), "a notebook that was changed", "a folder without it",
            "It stays as it is; choose another with --to.",
        )  # fmt: skip
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise BadInput(str(folder), error.strerror or "a write error", "a folder that can be made") from None
    paths = [folder / name for name in sorted(templates)]
    with staged(*paths) as parts:
        for path, part in zip(paths, parts, strict=True):
            if part is not None:
                part.write_bytes(templates[path.name])
    return tuple(paths)


def _differs(path: Path, data: bytes) -> bool:
    return path.exists() and (not path.is_file() or path.read_bytes() != data)
