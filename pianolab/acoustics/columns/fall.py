"""Columns of how long a note lasts: fall while the key is held, and after it is let go."""

from __future__ import annotations

from collections.abc import Sequence

from pianolab.acoustics.columns.column import Column, ColumnChart, Listened

NO_RELEASE = "no release heard"


def _why_decay(heard: Listened) -> Sequence[str]:
    return [d.why_no_decay for d in heard.m.decays]


def _why_early(heard: Listened) -> Sequence[str]:
    return [d.why_no_early for d in heard.m.decays]


def _why_late(heard: Listened) -> Sequence[str]:
    return [d.why_no_late for d in heard.m.decays]


def _why_release(heard: Listened) -> Sequence[str]:
    return [f.why for f in heard.m.falls]


DECAY = Column(
    name="decay_20_s",
    unit="s",
    decimals=4,
    rests_on="fall",
    absent="held too short",
    why=_why_decay,
    merge="time",
    spread=True,
    words="time for the whole note to fall 20 dB for good, from its maximum",
    values=lambda heard: [d.decay_20_s for d in heard.m.decays],
    chart=ColumnChart(
        title="How long each key sings",
        axis="time to fall 20 dB",
        fault="short_sustain",
        overlay=True,
        digits=2,
    ),
)
DECAY_BOUND = Column(
    name="decay_20_bound",
    unit="",
    kind="bound",
    of="decay_20_s",
    absent="held too short",
    merge="with its measure",
    words="= measured, > at least (let go or drowned before), < at most (the room rings on)",
    values=lambda heard: [d.bound for d in heard.m.decays],
)
DECAY_SD = Column(
    name="decay_20_s_sd",
    unit="s",
    kind="sd",
    of="decay_20_s",
    decimals=4,
    absent="a bound, not a measured time",
    merge="with its measure",
    words="standard deviation of decay_20_s for this blow; a softer or harder one may last otherwise",
    values=lambda heard: [d.sd_s for d in heard.m.decays],
)
EARLY = Column(
    name="early_db_per_s",
    unit="dB/s",
    decimals=3,
    rests_on="fall",
    absent="sound too short",
    why=_why_early,
    merge="mean",
    spread=True,
    words="how fast the note falls at first",
    values=lambda heard: [d.early_db_per_s for d in heard.m.decays],
)
LATE = Column(
    name="late_db_per_s",
    unit="dB/s",
    decimals=3,
    rests_on="late fall",
    absent="late decay not observable",
    why=_why_late,
    merge="mean",
    spread=True,
    words="how fast the aftersound falls",
    values=lambda heard: [d.late_db_per_s for d in heard.m.decays],
)
STRING_FALL = Column(
    name="string_db_per_s",
    unit="dB/s",
    decimals=3,
    rests_on="strings' fall",
    absent="no string's own fall could be followed",
    merge="mean",
    words="how fast the strings themselves lose energy, whatever their tuning",
    values=lambda heard: heard.m.string_db_per_s,
)
RELEASE = Column(
    name="release_20_s",
    unit="s",
    decimals=4,
    rests_on="release",
    absent=NO_RELEASE,
    why=_why_release,
    merge="time",
    spread=True,
    words="time to fall 20 dB after the key is let go",
    values=lambda heard: [f.release_20_s for f in heard.m.falls],
    chart=ColumnChart(
        title="How fast the dampers stop a key", axis="falls 20 dB after release", fault="damper", digits=2
    ),
)
RELEASE_BOUND = Column(
    name="release_bound",
    unit="",
    kind="bound",
    of="release_20_s",
    absent=NO_RELEASE,
    merge="with its measure",
    words="= measured, < at most (the room hides the damper), > at least",
    values=lambda heard: [f.bound for f in heard.m.falls],
)
