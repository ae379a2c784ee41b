"""The recorder as a still: whose recording it is, what was said last, what should be played again."""

from __future__ import annotations

from collections.abc import Mapping
from html import escape
from typing import Any


def recorder_twin(
    head: Mapping[str, Any], leaving: Mapping[str, Any], line: str, *, picture: str = ""
) -> str:
    """A page part, escaped.

    Parameters
    ----------
    head : ``piano`` and ``day``
    leaving : ``parts``, each with ``text`` and ``keys``; empty before anything was heard
    line : what was said last
    picture : the last recording as `twin_recording.recording_picture` draws it
    """
    parts = "".join(
        f"<li>{escape(part['text'])} {escape(', '.join(k['note'] for k in part['keys']))}</li>"
        for part in leaving.get("parts", ())
    )
    title = f"<h3>Recording: {escape(str(head['piano']))}, visit of {escape(str(head['day']))}</h3>"
    again = f"<ul>{parts}</ul>" if parts else ""
    return (
        f"<section>{title}<p>{escape(line) or 'Nothing was recorded here yet.'}</p>{again}{picture}</section>"
    )
