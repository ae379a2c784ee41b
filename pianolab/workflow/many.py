"""Many recordings listened to side by side: on the cores of this computer, or on a cluster."""

from __future__ import annotations

import contextlib
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from hashlib import file_digest, sha256
from pathlib import Path
from typing import TYPE_CHECKING

from pianolab.acoustics import Survey
from pianolab.errors import BadInput, PianolabError
from pianolab.files import check_place, write_files
from pianolab.release import VERSION
from pianolab.show import Fields, Row, Showable
from pianolab.workflow.listening import listen_file
from pianolab.workflow.parallel import Backend, WorkerEnded, cores, worked

if TYPE_CHECKING:
    import pandas as pd

NOT_REACHED = "not reached before the interruption"


@dataclass(frozen=True, kw_only=True)
class OneOfMany(Fields):
    """One recording of many: its survey, or in one line why there is none.

    Not ``reached`` where nothing is known of the recording itself: the work was stopped, or its worker ended.
    """

    path: Path
    survey: Survey | None = None
    why: str = ""
    reached: bool = True


@dataclass(frozen=True, kw_only=True, repr=False, eq=False)
class ManySurveys(Showable):
    """What was heard in many recordings, in the order in which they were given.

    ``interrupted`` says that somebody stopped the work; what was finished by then is here, and the rest can
    be asked for again: ``survey_many(many.left)``. So can what a worker was at that ended.
    """

    header = ("recording", "keys measured", "keys with faults", "note")
    entries: tuple[OneOfMany, ...]
    interrupted: bool = False

    @property
    def surveys(self) -> dict[str, Survey]:
        """The surveys that there are, by the recording's path as it was given."""
        return {str(e.path): e.survey for e in self.entries if e.survey is not None}

    @property
    def failed(self) -> dict[str, str]:
        """Recordings without a survey and the reason of each, in one line."""
        return {str(e.path): e.why for e in self.entries if e.survey is None}

    @property
    def left(self) -> tuple[Path, ...]:
        """Recordings that an interruption, or the end of a worker, left undone."""
        return tuple(e.path for e in self.entries if not e.reached)

    def table(self) -> pd.DataFrame:
        """The survey tables under one another, the recording's path in the first column."""
        import pandas as pd

        frames = [s.to_frame().assign(recording=name) for name, s in self.surveys.items()]
        if not frames:
            return pd.DataFrame(columns=["recording"])
        whole = pd.concat(frames, ignore_index=True)
        return whole[["recording", *(c for c in whole.columns if c != "recording")]]

    def headline(self) -> str:
        heard, count = len(self.surveys), len(self.entries)
        rest = f", {count - heard} without a survey" if count > heard else ""
        return f"{heard} of {count} recordings surveyed{rest}" + ", interrupted" * self.interrupted

    def rows(self) -> list[Row]:
        return [_row(e) for e in self.entries]


def _row(entry: OneOfMany) -> Row:
    if entry.survey is None:
        return (entry.path.name, None, None, entry.why)
    faulty = int((entry.survey.table["faults"] != "").sum())
    return (entry.path.name, entry.survey.summary.measured, faulty, "; ".join(entry.survey.summary.warnings))


def survey_many(
    paths: Sequence[str | Path],
    *,
    jobs: int | None = None,
    backend: Backend = "loky",
    progress: bool = True,
    keep: str | Path | None = None,
    first_key: int = 1,
    last_key: int = 88,
    a4_hz: float = 440.0,
) -> ManySurveys:
    """Survey many recordings side by side; one that can't be used doesn't stop the others.

    Stopping it (Ctrl-C, the stop button of a notebook) keeps what is finished and gives it back.

    Parameters
    ----------
    paths : sound files, one recording of a scale each
    jobs : how many at the same time, as many as there are cores if not given; each needs up to 1 GiB of
        memory while it works. On a cluster its workers decide
    backend : ``loky`` (processes), ``threading`` (threads of this process), or ``dask``: the cluster of the
        Dask client made before, whose workers must see the files under the same paths and have pianolab
        (``pip install 'pianolab[cluster]'``)
    progress : whether to show a progress bar
    keep : a folder, made where it is missing, that gets every survey as soon as it is finished; asked again with
        the same folder, also after the computer went down, only what isn't there is listened to. A recording is
        known by its content, so that it may have moved
    first_key, last_key, a4_hz : as for `listen_file`, the same for all

    Returns
    -------
    ManySurveys; entries in the order of ``paths``

    Raises
    ------
    BadInput
        keys, pitch or jobs that no recording could have; a single path instead of a list; an unknown backend; a
        folder that can't be written

    Examples
    --------
    >>> from importlib.resources import as_file
    >>> from pianolab.io import real_notes
    >>> with as_file(real_notes()[49]) as path:
    ...     many = survey_many([path, "gone.wav"], jobs=1, progress=False, first_key=49, last_key=49)
    >>> many
    <ManySurveys 1 of 2 recordings surveyed, 1 without a survey>
    >>> many.failed["gone.wav"]
    'gone.wav: got no such file, need ...'
    """
    from tqdm import tqdm

    if isinstance(paths, (str, Path)):
        raise BadInput("paths", f"one path, {str(paths)!r}", "a list of paths", "For one file: listen_file.")
    if jobs is not None and jobs < 1:
        raise BadInput("jobs", jobs, "1 or more")
    files = [Path(p) for p in paths]
    work = partial(_listen, first_key=first_key, last_key=last_key, a4_hz=a4_hz)
    if keep is not None:
        work = partial(_listen_once, folder=_made(Path(keep)), work=work)
    found: dict[int, OneOfMany] = {}
    interrupted = False
    try:
        with (
            contextlib.closing(worked(work, files, jobs=jobs or cores(), backend=backend)) as done,
            tqdm(total=len(files), unit="recording", file=sys.stdout, disable=not progress) as bar,
        ):
            for place, heard in done:
                found[place] = _entry(files[place], heard)
                bar.update()
    except KeyboardInterrupt:
        interrupted = True
    rest = (
        found.get(i, OneOfMany(path=path, why=NOT_REACHED, reached=False)) for i, path in enumerate(files)
    )
    return ManySurveys(entries=tuple(rest), interrupted=interrupted)


def _listen(path: Path, *, first_key: int, last_key: int, a4_hz: float) -> Survey | str:
    """The survey of one recording, or the reason in one line; runs in the workers."""
    try:
        return listen_file(path, first_key=first_key, last_key=last_key, a4_hz=a4_hz)
    except PianolabError as error:
        return str(error)
    except Exception as error:
        # Whatever else happens to one file: an error class of a worker's own could not always travel back.
        return f"{path.name}: {_in_one_line(error)}"


def _made(folder: Path) -> Path:
    try:
        folder.mkdir(parents=True, exist_ok=True)
        check_place(folder / "survey.json")
    except OSError as error:
        raise BadInput(
            "keep", f"{folder} ({(error.strerror or 'a write error').lower()})", "a folder"
        ) from None
    return folder.absolute()


def _listen_once(path: Path, *, folder: Path, work: partial[Survey | str]) -> Survey | str:
    """The survey that is kept of a recording, or a new one, which is kept; runs in the workers."""
    try:
        with path.open("rb") as file:
            content = file_digest(file, "sha256").hexdigest()
    except OSError:
        return work(path)
    asked = f"{VERSION} {sorted(work.keywords.items())}"
    kept = folder / f"{content[:32]}-{sha256(asked.encode()).hexdigest()[:8]}.json"
    with contextlib.suppress(OSError, KeyError, ValueError, TypeError, AttributeError, RecursionError):
        return Survey.from_json(kept.read_text(encoding="utf-8"))
    heard = work(path)
    if isinstance(heard, Survey):
        # What can't be kept is given back all the same.
        with contextlib.suppress(BadInput):
            write_files({kept: heard.to_json().encode("utf-8")}, replace=True)
    return heard


def _entry(path: Path, heard: Survey | str | Exception) -> OneOfMany:
    if isinstance(heard, Survey):
        return OneOfMany(path=path, survey=heard)
    if isinstance(heard, WorkerEnded):
        return OneOfMany(path=path, why=f"{path.name}: {heard}", reached=False)
    return OneOfMany(
        path=path, why=heard if isinstance(heard, str) else f"{path.name}: {_in_one_line(heard)}"
    )


def _in_one_line(error: Exception) -> str:
    return " ".join(f"{type(error).__name__}: {error}".split())
