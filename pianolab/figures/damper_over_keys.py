"""How fast each damper stops its key: time to fall 20 dB after the key is let go."""

from __future__ import annotations

from collections.abc import Mapping
from statistics import median
from typing import Any

from pianolab.acoustics.results import Survey
from pianolab.figures.key_chart import key_chart
from pianolab.figures.key_plan import (
    KeyPlan,
    KeyPoint,
    KeySeries,
    check_surveys,
    compass,
    keys_are,
    names_in,
    number,
    series_of,
)  # fmt: skip
from pianolab.figures.look import Kind, listed
from pianolab.figures.sheet import Sheet, drawing
from pianolab.keyboard import usually_damped

TICKS_S = (0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0)


def plan_damper(
    surveys: Mapping[str, Survey], names: Mapping[str, str], *, focus: str | None = None
) -> KeyPlan:
    """Plan of the damper chart: `release_20_s` over the keys, a row per instrument.

    Parameters
    ----------
    surveys, names, focus : as in `plan_decay`

    Returns
    -------
    KeyPlan; where the room hides the damper (`<`) the kind is ``at most``; flagged keys are ``fault``
    """
    marks = check_surveys(surveys, names, focus)
    chosen = {i: s for i, s in surveys.items() if focus in (None, i)}
    series = tuple(
        series_of(marks[i], s, column="release_20_s", point=_point, trend=False) for i, s in chosen.items()
    )
    values = [v for s in series for v in s.values()] or [0.05, 2.0]
    limits = (0.8 * min(values), 1.3 * max(values))
    first_key, last_key = compass(chosen)
    return KeyPlan(
        title="How fast the dampers stop a key", alt=_alt(series), measure="falls 20 dB after release", unit="s",
        first_key=first_key, last_key=last_key, series=series, arrange="rows", log=True, limits=limits, digits=2,
        ticks=tuple(t for t in TICKS_S if limits[0] <= t <= limits[1]),
    )  # fmt: skip


@drawing
def draw_damper(plan: KeyPlan, theme: str = "light", *, bare: bool = False) -> Sheet:
    """The damper chart as a figure."""
    return key_chart(plan, theme, bare=bare)


def _point(row: Mapping[str, Any]) -> KeyPoint | None:
    value = number(row["release_20_s"])
    if value is None or value <= 0:
        return None
    key = int(row["key"])
    undamped = "keys this high have no damper" if usually_damped(key) is False else ""
    sd = number(row.get("release_20_s_sd"))
    return KeyPoint(key=key, value=value, kind=_kind(row), sd=sd, words=(undamped,) if undamped else ())


def _kind(row: Mapping[str, Any]) -> Kind:
    if "damper" in names_in(row.get("faults")):
        return "fault"
    bound = str(row.get("release_bound") or "=")
    return "at most" if bound == "<" else "at least" if bound == ">" else "measured"


def _alt(series: tuple[KeySeries, ...]) -> str:
    said = []
    for s in series:
        values = s.values("measured", "fault")
        typical = f"{median(values):.2f} s" if values else "not known"
        n = len(s.values("fault"))
        said.append(f"{s.mark.letter} {typical}" + (f" ({n} {keys_are(n)} too slow)" if n else ""))
    return f"Typical time to stop a key once it is let go: {listed(said)}. The highest keys have no damper."
