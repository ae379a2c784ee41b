"""Columns of the colour of a note: brightness beside its neighbours, and what belongs to no partial."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from pianolab.acoustics.columns.column import Column, ColumnChart, Listened

NO_UPPER = "upper partials not heard"


def _why_brightness(heard: Listened) -> Sequence[str]:
    return np.where(heard.judged.clipped, "clipped", NO_UPPER).tolist()


def _why_deviation(heard: Listened) -> Sequence[str]:
    bright = heard.judged.brightness
    return np.where(np.isnan(bright.brightness_db), _why_brightness(heard), "too few partials heard").tolist()


def _why_buzz(heard: Listened) -> Sequence[str]:
    nobody_near = np.isnan(heard.judged.between.dev)
    return np.where(
        nobody_near, "too few keys to compare with", "nothing over the noise between the partials"
    ).tolist()


BRIGHTNESS = Column(
    name="brightness_db",
    unit="dB",
    decimals=3,
    rests_on="brightness",
    absent=NO_UPPER,
    why=_why_brightness,
    merge="mean",
    spread=True,
    words="power of the upper partials over the whole, the strength of the blow taken out",
    values=lambda heard: heard.judged.brightness.brightness_db,
)
BRIGHTNESS_SD = Column(
    name="brightness_db_sd",
    unit="dB",
    kind="sd",
    of="brightness_db",
    decimals=3,
    absent="too few keys to tell",
    merge="with its measure",
    words="standard deviation of brightness_db",
    values=lambda heard: heard.judged.brightness.sd,
)
BRIGHTNESS_DEV = Column(
    name="brightness_dev",
    unit="",
    decimals=3,
    rests_on="brightness",
    absent="too few partials heard",
    why=_why_deviation,
    merge="mean",
    words="how far a key's tone differs from its neighbours', in their spreads; brighter is positive",
    values=lambda heard: heard.judged.brightness.dev,
    chart=ColumnChart(
        title="Brightness against the neighbours",
        axis="brighter (+) or duller (−)",
        fault="voicing",
        unit="robust deviations",
        usual=(-3.0, 3.0),
        least=(-6.0, 6.0),
    ),
)
BUZZ = Column(
    name="buzz_db",
    unit="dB",
    decimals=3,
    rests_on="between partials",
    absent="nothing over the noise between the partials",
    why=_why_buzz,
    merge="mean",
    spread=True,
    words="energy that belongs to no partial, above what the neighbours have",
    values=lambda heard: heard.judged.buzz_db,
)
