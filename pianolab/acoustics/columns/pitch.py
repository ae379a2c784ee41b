"""Columns of the pitch: first partial, distance from the tuning curve, stiffness, and how far the strings are apart."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from pianolab.acoustics.columns.column import Column, ColumnChart, Listened, Values
from pianolab.acoustics.judging.fault_rules import TOO_SHORT_FOR_STRINGS, TOO_WEAK
from pianolab.acoustics.limits import limits

FEW_KEYS = "too few keys for a curve"


def _off_curve(heard: Listened) -> Values:
    return heard.judged.cents - heard.judged.curve_cents


def _why_off_curve(heard: Listened) -> Sequence[str]:
    return np.where(np.isnan(heard.judged.curve_cents), FEW_KEYS, TOO_WEAK).tolist()


def _stiffness(heard: Listened) -> Values:
    """B fills its gaps from the neighbours while it is worked with; where the pitch isn't known it isn't shown."""
    return np.where(np.isnan(heard.m.f1_hz), np.nan, heard.m.inharmonicity)


F1 = Column(
    name="f1_hz",
    unit="Hz",
    decimals=5,
    rests_on="pitch",
    absent=TOO_WEAK,
    merge="apart",
    words="first partial of the fitted stiff-string series, the mean of the key's strings",
    values=lambda heard: heard.m.f1_hz,
)
CENTS = Column(
    name="cents",
    unit="cents",
    decimals=4,
    rests_on="pitch",
    absent=TOO_WEAK,
    merge="mean",
    spread=True,
    words="distance from equal temperament at the given A4",
    values=lambda heard: heard.judged.cents,
)
CURVE = Column(
    name="curve_cents",
    unit="cents",
    decimals=4,
    rests_on="pitch",
    absent=FEW_KEYS,
    merge="apart",
    words="the instrument's own smooth tuning curve",
    values=lambda heard: heard.judged.curve_cents,
)
OFF_CURVE = Column(
    name="off_curve_cents",
    unit="cents",
    decimals=4,
    rests_on="pitch",
    absent=TOO_WEAK,
    why=_why_off_curve,
    merge="apart",
    words="distance from that curve",
    values=_off_curve,
    chart=ColumnChart(
        title="How even the tuning is",
        axis="from its own curve",
        fault="off_pitch",
        sd="cents_sd",
        usual=(-3.0, 3.0),
        least=(-8.0, 8.0),
    ),
)
CENTS_SD = Column(
    name="cents_sd",
    unit="cents",
    kind="sd",
    of="cents",
    decimals=4,
    absent="too few partials to tell",
    merge="with its measure",
    words="standard deviation of cents",
    values=lambda heard: heard.m.f1_sd_cents,
)
INHARMONICITY = Column(
    name="inharmonicity",
    unit="",
    rests_on="stiffness",
    absent=TOO_WEAK,
    merge="mean",
    spread=True,
    words="B in f_n = n f0 sqrt(1 + B n²), over up to 32 partials",
    values=_stiffness,
)
INHARMONICITY_SD = Column(
    name="inharmonicity_sd",
    unit="",
    kind="sd",
    of="inharmonicity",
    absent="too few partials to tell",
    merge="with its measure",
    words="standard deviation of inharmonicity",
    values=lambda heard: heard.m.b_sd,
)
UNISON = Column(
    name="unison_cents",
    unit="cents",
    decimals=4,
    rests_on="unison",
    absent=TOO_SHORT_FOR_STRINGS,
    merge="mean",
    spread=True,
    words="how far apart the strings of the key are; of a single string, its false beat",
    values=lambda heard: heard.m.unison.spread_cents,
    chart=ColumnChart(
        title="Strings of one key, apart",
        axis="strings apart",
        fault="unison",
        usual=(0.0, float(limits()["tuning"]["wide_cents"])),
        least=(0.0, 3.0),
        digits=2,
    ),
)
UNISON_SD = Column(
    name="unison_cents_sd",
    unit="cents",
    kind="sd",
    of="unison_cents",
    decimals=4,
    absent="too few partials to tell",
    merge="with its measure",
    words="standard deviation of unison_cents",
    values=lambda heard: heard.m.unison.spread_sd,
)
BEAT = Column(
    name="beat_hz",
    unit="Hz",
    decimals=5,
    rests_on="beats",
    absent="no clear beat",
    merge="first known",
    words="slowest clear beat",
    values=lambda heard: heard.m.unison.beat_hz,
)
BEAT_PARTIAL = Column(
    name="beat_partial",
    unit="",
    of="beat_hz",
    decimals=0,
    absent="no clear beat",
    merge="with its measure",
    words="the partial that beat was heard in",
    values=lambda heard: heard.m.unison.beat_partial,
)
