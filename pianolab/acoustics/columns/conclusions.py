"""Columns of statements: what may be said of how long a key sings, its faults, and the reasons for what is not known."""

from __future__ import annotations

from pianolab.acoustics.columns.column import Column

TRUST = Column(
    name="sustain_trust",
    unit="",
    kind="statement",
    merge="apart",
    values=lambda heard: heard.judged.trust,
    words="whether it can be judged how long the key sings: ok, masked by unison, too short, noisy, clipped, automatic gain or not sounded",
)
VERDICT = Column(
    name="sustain_verdict",
    unit="",
    kind="statement",
    merge="apart",
    values=lambda heard: heard.judged.verdict,
    words="short, tune first, sound, or empty where it can't be told",
)
NOT_JUDGED = Column(
    name="not_judged",
    unit="",
    kind="statement",
    merge="apart",
    values=lambda heard: heard.judged.not_judged,
    words="fault=reason for every fault that could not be tested",
)
GAPS = Column(
    name="gaps", unit="", kind="statement", merge="apart", words="column=reason for every empty measure"
)
FAULTS = Column(
    name="faults",
    unit="",
    kind="statement",
    merge="apart",
    values=lambda heard: heard.judged.faults,
    words="silent, off_pitch, unison, short_sustain, damper, buzz, voicing; empty: nothing found",
)
