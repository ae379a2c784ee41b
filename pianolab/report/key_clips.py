"""Sound clips of single keys, carried inside the page."""

from __future__ import annotations

from base64 import b64encode
from dataclasses import dataclass

from pianolab.errors import BadInput

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


@dataclass(frozen=True, kw_only=True)
class ClaimClips:
    """A fault that is claimed, to be judged by ear: the key, and a sound key beside it from the same recording.

    ``claim`` says in words what was found and what the key beside it has; both clips are equally loud.
    """

    claim: str
    faulty: Clip
    sound: Clip
