"""Whether neighbouring keys sound alike: brightness against the neighbours, level taken out."""

from __future__ import annotations

from collections.abc import Mapping
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

USUAL = (-3.0, 3.0)


def plan_brightness(
    surveys: Mapping[str, Survey], names: Mapping[str, str], *, focus: str | None = None
) -> KeyPlan:
    """Plan of the brightness chart: `brightness_dev` over the keys, a row per instrument.

    Above the line a key is brighter than its neighbours, below it duller; 3 robust deviations and more
    are worth listening to.

    Parameters
    ----------
    surveys, names, focus : as in `plan_decay`

    Returns
    -------
    KeyPlan; keys flagged `voicing` have the kind ``fault``
    """
    marks = check_surveys(surveys, names, focus)
    chosen = {i: s for i, s in surveys.items() if focus in (None, i)}
    series = tuple(
        series_of(marks[i], s, column="brightness_dev", point=_point, trend=False) for i, s in chosen.items()
    )
    first_key, last_key = compass(chosen)
    return KeyPlan(
        title="Brightness against the neighbours", alt=_alt(series), measure="brighter (+) or duller (−)",
        unit="robust deviations", first_key=first_key, last_key=last_key, series=series, arrange="rows", usual=USUAL,
        limits=shown_limits(series, least=(-6.0, 6.0), even=True),
    )  # fmt: skip


@drawing
def draw_brightness(plan: KeyPlan, theme: str = "light", *, bare: bool = False) -> Sheet:
    """The brightness chart as a figure."""
    return key_chart(plan, theme, bare=bare)


def _point(row: Mapping[str, Any]) -> KeyPoint | None:
    value = number(row["brightness_dev"])
    if value is None:
        return None
    db, db_sd = number(row.get("brightness_db")), number(row.get("brightness_db_sd"))
    spread = f" ± {db_sd:.1f}" if db_sd is not None else ""
    flagged = "voicing" in names_in(row.get("faults"))
    return KeyPoint(
        key=int(row["key"]),
        value=value,
        kind="fault" if flagged else "measured",
        sd=number(row.get("brightness_dev_sd")),
        words=() if db is None else (f"brightness {db:.1f}{spread} dB",),
    )


def _alt(series: tuple[KeySeries, ...]) -> str:
    said = []
    for s in series:
        out = len(s.values("fault"))
        said.append(f"{s.mark.letter} {out or 'none'} of {len(s.points)} measured keys")
    return f"Keys that stand out from their neighbours in brightness: {listed(said)}."
