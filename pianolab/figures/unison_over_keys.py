"""How far apart the strings of each key are, in cents."""

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
    names_in,
    number,
    series_of,
    shown_limits,
)  # fmt: skip
from pianolab.figures.look import listed
from pianolab.figures.sheet import Sheet, drawing
from pianolab.keyboard import usual_strings

USUAL_CENTS = (0.0, 1.0)
LEAST_SPAN_CENTS = 3.0


def plan_unison(
    surveys: Mapping[str, Survey], names: Mapping[str, str], *, focus: str | None = None
) -> KeyPlan:
    """Plan of the unison chart: `unison_cents` over the keys, a row per instrument.

    Parameters
    ----------
    surveys, names, focus : as in `plan_decay`

    Returns
    -------
    KeyPlan; the band ``usual`` is 0 to 1 cent, which is no fault; flagged keys have the kind ``fault``
    """
    marks = check_surveys(surveys, names, focus)
    chosen = {i: s for i, s in surveys.items() if focus in (None, i)}
    series = tuple(
        series_of(marks[i], s, column="unison_cents", point=_point, trend=False) for i, s in chosen.items()
    )
    first_key, last_key = compass(chosen)
    return KeyPlan(
        title="Strings of one key, apart", alt=_alt(series), measure="strings apart", unit="cents",
        first_key=first_key, last_key=last_key, series=series, arrange="rows", usual=USUAL_CENTS, digits=2,
        limits=shown_limits(series, least=(0.0, LEAST_SPAN_CENTS), even=False),
    )  # fmt: skip


@drawing
def draw_unison(plan: KeyPlan, theme: str = "light", *, bare: bool = False) -> Sheet:
    """The unison chart as a figure."""
    return key_chart(plan, theme, bare=bare)


def _point(row: Mapping[str, Any]) -> KeyPoint | None:
    value = number(row["unison_cents"])
    if value is None:
        return None
    key = int(row["key"])
    beat, partial = number(row.get("beat_hz")), number(row.get("beat_partial"))
    where = f" in partial {partial:.0f}" if partial is not None else ""
    words = [] if beat is None else [f"slowest clear beat {beat:.2f} Hz{where}"]
    words += ["usually a single string: a false beat"] if usual_strings(key) == 1 and value > 1.0 else []
    flagged = "unison" in names_in(row.get("faults"))
    return KeyPoint(
        key=key,
        value=value,
        kind="fault" if flagged else "measured",
        sd=number(row.get("unison_cents_sd")),
        words=tuple(words),
    )


def _alt(series: tuple[KeySeries, ...]) -> str:
    said = []
    for s in series:
        values = s.values()
        over = sum(v > USUAL_CENTS[1] for v in values)
        typical = f"{median(values):.1f} cents" if values else "not known"
        said.append(f"{s.mark.letter} {typical} ({over} of {len(values)} measured keys over 1 cent)")
    return f"Typical distance of a key's strings: {listed(said)}. Under 1 cent is no fault."
