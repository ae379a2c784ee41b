"""Rendered sounds kept between runs in the user's cache folder; safe to delete at any time."""

from __future__ import annotations

import json
import os
from dataclasses import asdict
from hashlib import file_digest, sha256
from pathlib import Path
from uuid import uuid4

from pianolab.errors import PianolabError
from pianolab.io import write_sound
from pianolab.release import code_version
from pianolab.sound_model import SceneSound, render_scene

MOST_ENTRIES = 12
CODING = "PCM_16"


def cache_folder() -> Path:
    """Where rendered sounds are kept: under ``XDG_CACHE_HOME``, or ``~/.cache``."""
    # The base directory specification has relative paths ignored.
    wanted = Path(os.environ.get("XDG_CACHE_HOME", ""))
    root = wanted if wanted.is_absolute() else Path.home() / ".cache"
    return root / "pianolab" / "sounds"


def scene_key(scene: SceneSound) -> str:
    """A name for the sound of a scene: the same settings and the same sound model give the same one."""
    settings = json.dumps(asdict(scene), sort_keys=True, default=str)
    return sha256(f"{code_version('sound_model')} {CODING} {settings}".encode()).hexdigest()[:20]


def cached_file(scene: SceneSound, *, folder: Path | None = None) -> Path | None:
    """The whole, undamaged sound file of a scene if the cache has one; a damaged one is deleted."""
    folder = folder or cache_folder()
    try:
        for path in sorted(folder.glob(f"{scene_key(scene)}-*.flac")):
            if path.stem.partition("-")[2] == _hash(path):
                return path
            path.unlink()
    except OSError:
        return None
    return None


def scene_file(scene: SceneSound, *, scratch: Path, folder: Path | None = None) -> Path:
    """The sound file of a scene: from the cache, or rendered and put there.

    Parameters
    ----------
    scene : what is played
    scratch : an existing folder to write to where the cache can't be written
    folder : the cache, `cache_folder` if not given

    Returns
    -------
    Path of a FLAC file of 16 bits
    """
    folder = folder or cache_folder()
    if (kept := cached_file(scene, folder=folder)) is not None:
        return kept
    scale = render_scene(scene)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        path = _write(folder, scene, scale.samples, rate_hz=scale.rate_hz)
        _forget_oldest(folder, keep=path)
    except (OSError, PianolabError):
        path = _write(scratch, scene, scale.samples, rate_hz=scale.rate_hz)
    return path


def _write(folder: Path, scene: SceneSound, samples: object, *, rate_hz: int) -> Path:
    """The name holds the hash of the content, so that a damaged file gives itself away."""
    temporary = folder / f".{uuid4().hex}.flac"
    try:
        write_sound(temporary, samples, rate_hz=rate_hz, subtype=CODING)  # type: ignore[arg-type]
        path = folder / f"{scene_key(scene)}-{_hash(temporary)}.flac"
        temporary.replace(path)
    finally:
        temporary.unlink(missing_ok=True)
    return path


def _hash(path: Path) -> str:
    with path.open("rb") as file:
        return file_digest(file, "sha256").hexdigest()


def _forget_oldest(folder: Path, *, keep: Path) -> None:
    entries = sorted(folder.glob("*-*.flac"), key=lambda p: p.stat().st_mtime, reverse=True)
    for path in entries[MOST_ENTRIES:]:
        if path != keep:
            path.unlink(missing_ok=True)
