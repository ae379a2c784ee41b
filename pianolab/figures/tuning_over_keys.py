"""How far each key is from the instrument's own smooth tuning curve, in cents."""

from __future__ import annotations

from collections.abc import Mapping
from statistics import quantiles
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

USUAL_CENTS = (-3.0, 3.0)
LEAST_SPAN_CENTS = 8.0


def plan_tuning(
    surveys: Mapping[str, Survey], names: Mapping[str, str], *, focus: str | None = None
) -> KeyPlan:
    """Plan of the tuning chart: `off_curve_cents` over the keys, a row per instrument.

    The distance is taken from each instrument's own curve, so that a piano that is flat as a whole does not
    look like 88 faults; its offset as a whole is said in ``alt``.

    Parameters
    ----------
    surveys, names, focus : as in `plan_decay`

    Returns
    -------
    KeyPlan; keys flagged `off_pitch` have the kind ``fault``
    """
    marks = check_surveys(surveys, names, focus)
    chosen = {i: s for i, s in surveys.items() if focus in (None, i)}
    series = tuple(
        series_of(marks[i], s, column="off_curve_cents", point=_point, trend=False) for i, s in chosen.items()
    )
    first_key, last_key = compass(chosen)
    return KeyPlan(
        title="How even the tuning is", alt=_alt(series, chosen), measure="from its own curve", unit="cents",
        first_key=first_key, last_key=last_key, series=series, arrange="rows", usual=USUAL_CENTS,
        limits=shown_limits(series, least=(-LEAST_SPAN_CENTS, LEAST_SPAN_CENTS), even=True),
    )  # fmt: skip


@drawing
def draw_tuning(plan: KeyPlan, theme: str = "light", *, bare: bool = False) -> Sheet:
    """The tuning chart as a figure."""
    return key_chart(plan, theme, bare=bare)


def _point(row: Mapping[str, Any]) -> KeyPoint | None:
    value = number(row["off_curve_cents"])
    if value is None:
        return None
    cents = number(row.get("cents"))
    words = () if cents is None else (f"{cents:+.1f} cents from equal temperament",)
    flagged = "off_pitch" in names_in(row.get("faults"))
    return KeyPoint(
        key=int(row["key"]),
        value=value,
        kind="fault" if flagged else "measured",
        sd=number(row.get("cents_sd")),
        words=words,
    )


def _alt(series: tuple[KeySeries, ...], surveys: Mapping[str, Survey]) -> str:
    said = []
    for s, survey in zip(series, surveys.values(), strict=True):
        sizes = [abs(v) for v in s.values()]
        typical = f"{quantiles(sizes, n=4)[1]:.1f} cents" if len(sizes) > 1 else "not known"
        offset = survey.summary.offset_cents
        whole = f"{offset:+.0f} cents".replace("-", "−") if offset is not None else "not known"
        off = len(s.values("fault"))
        out = f", {off} off pitch" if off else ""
        said.append(f"{s.mark.letter} {typical} (as a whole {whole} from A4{out})")
    return f"Typical distance of a key from the instrument's own curve: {listed(said)}."
