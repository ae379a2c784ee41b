"""Photos and sound clips, in the form in which the page carries them inside itself."""

from __future__ import annotations

from base64 import b64encode
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from functools import lru_cache
from math import inf, isfinite, nan
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from pianolab.errors import BadInput
from pianolab.keyboard import note_name

if TYPE_CHECKING:
    from pianolab.acoustics import Survey

LONGEST_PX, QUALITY = 1000, 78
SHOWN_BY_BROWSERS = ("image/jpeg", "image/png", "image/webp")


@dataclass(frozen=True, kw_only=True)
class Picture:
    """One photo: ``point`` is the id of the checklist point it belongs to, empty where it belongs to none.

    ``day`` is that of the visit, None where nobody noted it.
    """

    caption: str
    mime: str
    data: bytes
    point: str = ""
    day: date | None = None

    def __post_init__(self) -> None:
        if self.mime not in SHOWN_BY_BROWSERS:
            raise BadInput("mime", repr(self.mime), "one of " + ", ".join(SHOWN_BY_BROWSERS))
        if not self.data:
            raise BadInput(f"picture {self.caption!r}", "no bytes", "the bytes of a picture")

    @property
    def uri(self) -> str:
        return f"data:{self.mime};base64,{b64encode(self.data).decode('ascii')}"


def scaled_picture(
    path: Path | str, *, caption: str = "", point: str = "", day: date | None = None
) -> Picture:
    """A photo from a file, upright, at most 1000 pixels long, as JPEG; place and camera data are dropped.

    Parameters
    ----------
    path : a picture of any kind that `pianolab.io` reads
    caption : the words under it
    point : the checklist point it shows
    day : when it was taken

    Returns
    -------
    Picture

    Raises
    ------
    BadInput : the file is no picture that can be read
    """
    from pianolab.casebook.media import as_jpeg

    data = as_jpeg(Path(path), longest_px=LONGEST_PX, quality=QUALITY)
    return Picture(caption=caption, mime="image/jpeg", data=data, point=point, day=day)


def then_and_now(photos: Iterable[Picture]) -> list[tuple[Picture, ...]]:
    """Photos in the order they came; those of one point from several days stand together, the earliest first.

    Examples
    --------
    >>> new, lid, old = (
    ...     Picture(caption="", mime="image/png", data=b"x", point=p, day=d)
    ...     for p, d in (("plate", date(2026, 5, 2)), ("lid", date(2026, 5, 2)), ("plate", date(2026, 3, 14)))
    ... )
    >>> then_and_now([new, lid, old]) == [(old, new), (lid,)]
    True
    """
    photos, groups = list(photos), dict[Any, list[Picture]]()
    days = {p.point: {q.day for q in photos if q.point == p.point} - {None} for p in photos if p.point}
    for n, p in enumerate(photos):
        together = p.day is not None and len(days.get(p.point, ())) > 1
        groups.setdefault(p.point if together else n, []).append(p)
    return [tuple(sorted(own, key=lambda p: p.day or date.max)) for own in groups.values()]


def provenance_name(piano: str) -> str:
    """How a page's list of where things come from names the photos of a piano.

    Examples
    --------
    >>> provenance_name("Mill Lane grand")
    'Photos of Mill Lane grand'
    """
    return f"Photos of {piano}"


SIDE_PX, SMALL_QUALITY = 144, 72


@lru_cache(maxsize=256)
def small_picture(path: Path) -> str:
    """A small JPEG of a photo as a ``data:`` address.

    Parameters
    ----------
    path : a file of a casebook's media folder; these are named by their content, so that a path never gets
        another picture and the result can be kept

    Raises
    ------
    OSError
        no such file, or no picture
    """
    from pianolab.casebook.media import as_jpeg

    try:
        data = as_jpeg(path, longest_px=SIDE_PX, quality=SMALL_QUALITY)
    except BadInput as error:
        raise OSError(str(error)) from error
    return "data:image/jpeg;base64," + b64encode(data).decode("ascii")


PLAYED_BY_BROWSERS = ("audio/mpeg", "audio/ogg", "audio/wav", "audio/flac", "audio/webm", "audio/mp4")


@dataclass(frozen=True, kw_only=True)
class Clip:
    """One key of one instrument: ``data`` are the bytes of a compressed sound file of that MIME type.

    Examples
    --------
    >>> Clip(label="C5", key=52, mime="audio/ogg", data=b"abc", seconds=3.0).uri
    'data:audio/ogg;base64,YWJj'
    """

    label: str
    key: int
    mime: str
    data: bytes
    seconds: float

    def __post_init__(self) -> None:
        if self.mime not in PLAYED_BY_BROWSERS:
            raise BadInput("mime", repr(self.mime), "one of " + ", ".join(PLAYED_BY_BROWSERS))
        if not self.data:
            raise BadInput(f"clip {self.label!r}", "no bytes", "the bytes of a sound file")

    @property
    def uri(self) -> str:
        return f"data:{self.mime};base64,{b64encode(self.data).decode('ascii')}"


BEFORE_S, AFTER_S = 0.05, 0.5
FADE_IN_S, FADE_OUT_S = 0.005, 0.08


def note_span_s(survey: Survey, *, key: int, longest_s: float) -> tuple[float, float]:
    """From just before the blow of a key to just after its release, or to the next blow: where to cut a clip.

    Parameters
    ----------
    survey : what was heard in the recording
    key : key number, A4 = 49
    longest_s : float, s; from the blow on, no more than this

    Returns
    -------
    tuple of float, s; begin and end in the recording, which may end sooner

    Raises
    ------
    BadInput
        where the recording does not hold that key
    """
    rows = survey.table[survey.table["key"] == key]
    onset_s = float(rows["onset_s"].iloc[0]) if len(rows) else nan
    if not isfinite(onset_s):
        raise BadInput(note_name(key), "no sound of this key in the recording", "a key that was recorded")
    hold_s = float(rows["hold_s"].iloc[0])
    length_s = min(longest_s, hold_s + AFTER_S) if isfinite(hold_s) else longest_s
    later = survey.table.loc[survey.table["onset_s"] > onset_s + BEFORE_S, "onset_s"]
    next_s = float(later.min()) - BEFORE_S if len(later) else inf
    return max(0.0, onset_s - BEFORE_S), min(onset_s + length_s, next_s)


def faded(samples: NDArray[np.float32], *, rate_hz: int) -> NDArray[np.float32]:
    """A copy that begins and ends without a click.

    Parameters
    ----------
    samples : shape (frames, channels)
    rate_hz : int, Hz

    Examples
    --------
    >>> faded(np.ones((8000, 1), np.float32), rate_hz=8000)[[0, 4000, -1], 0].tolist()
    [0.0, 1.0, 0.0]
    """
    out = np.array(samples, np.float32)
    for seconds, where in ((FADE_IN_S, slice(None)), (FADE_OUT_S, slice(None, None, -1))):
        n = min(len(out), round(seconds * rate_hz))
        out[where][:n] *= np.linspace(0.0, 1.0, n, dtype=np.float32)[:, None]
    return out


@dataclass(frozen=True, kw_only=True)
class ClaimClips:
    """A fault that is claimed, to be judged by ear: the key, and a sound key beside it from the same recording.

    ``claim`` says in words what was found and what the key beside it has; both clips are equally loud.
    """

    claim: str
    faulty: Clip
    sound: Clip
