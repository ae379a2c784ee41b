"""Columns that say which key it is, when it was struck, how loud it was, and in how many takes."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from pianolab.acoustics.columns.column import Column, Listened

KEY = Column(
    name="key",
    unit="",
    words="key, 1 to 88 from A0 to C8; extra keys 0, -1, … and 89, 90, …",
    kind="count",
    merge="best take",
    decimals=0,
)
NOTE = Column(
    name="note", unit="", words="pitch name with sharps, A4 is key 49", kind="label", merge="best take"
)
STATUS = Column(
    name="status",
    unit="",
    words="measured, silent (struck without a sound), skipped (not struck) or unclear",
    kind="label",
    merge="best take",
)


def _strikes(heard: Listened) -> Sequence[Any]:
    return [heard.strikes[int(key)] for key in heard.m.strikes.key]


ONSET = Column(
    name="onset_s",
    unit="s",
    words="when the key was struck, from the recording's beginning",
    decimals=4,
    values=lambda heard: heard.m.strikes.onset_s,
    absent="no blow heard",
    rests_on="nothing",
    merge="best take",
)
HOLD = Column(
    name="hold_s",
    unit="s",
    words="how long the key was held",
    decimals=4,
    values=lambda heard: heard.m.release.hold_s,
    absent="no release heard",
    rests_on="nothing",
    merge="best take",
)
SNR = Column(
    name="snr_db",
    unit="dB",
    words="level of the note's partials over the noise beside them",
    decimals=3,
    values=lambda heard: heard.m.snr_db,
    absent="no partials found",
    rests_on="nothing",
    merge="best take",
)
LEVEL = Column(
    name="level_db",
    unit="dB",
    words="level of the note re full scale",
    decimals=3,
    values=lambda heard: heard.m.level_db,
    absent="no level over the noise",
    rests_on="level",
    merge="best take",
    spread=True,
)
STRIKES = Column(
    name="strikes",
    unit="",
    words="how often the key was struck",
    kind="count",
    decimals=0,
    values=_strikes,
    merge="sum",
)
TAKES = Column(
    name="takes", unit="", words="how many takes measured the key", kind="count", decimals=0, merge="apart"
)
TAKE_NOTES = Column(
    name="take_notes", unit="", words="where the takes disagree", kind="statement", merge="apart"
)
