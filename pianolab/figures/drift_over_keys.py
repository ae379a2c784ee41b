"""What became of the tuning between two visits: keys that went their own way, the common drift taken out."""

from __future__ import annotations

from collections.abc import Sequence
from math import ceil

from pianolab.errors import BadInput
from pianolab.figures.key_chart import draw_over_keys
from pianolab.figures.key_plan import KeyGap, KeyPlan, KeyPoint, KeySeries
from pianolab.figures.look import Mark, marks_for
from pianolab.figures.wording import listed, signed, some_keys
from pianolab.keyboard import note_name
from pianolab.recordings.holding import Holding, KeyHolding
from pianolab.statements import Statement, statement
from pianolab.words import say

LEAST_CENTS, MOST_CENTS = 4.0, 60.0

draw_drift = draw_over_keys


def plan_drift(holding: Holding, *, name: str, mark: Mark | None = None) -> KeyPlan:
    """Plan of the drift chart of one piano: `own_cents` over the keys.

    Weather moves all keys together and says nothing about the pins; it is taken out here and said in ``alt``.

    Parameters
    ----------
    holding : two recordings compared
    name : the piano's name
    mark : how the piano is recognised elsewhere on the page

    Returns
    -------
    KeyPlan; keys that more likely than not moved by themselves have the kind ``moved``

    Raises
    ------
    BadInput : the two recordings could not be compared key by key
    """
    if not holding.keys:
        raise BadInput("holding", holding.state, "two recordings that were compared key by key")
    mark = mark or marks_for({"": name})[""]
    moved = {k.key for k in holding.listed}
    points = tuple(_point(k, moved=k.key in moved) for k in holding.keys if k.own_cents is not None)
    gaps = tuple(
        KeyGap(key=k.key, reason=k.why or "no reason recorded") for k in holding.keys if k.own_cents is None
    )
    series = (KeySeries(mark=mark, points=points, gaps=gaps),)
    keys = [k.key for k in holding.keys]
    return KeyPlan(
        title=say(_message([k.key for k in holding.listed], name)),
        alt=_alt(holding),
        measure="moved beyond what all keys did",
        unit="cents",
        first_key=min(keys),
        last_key=max(keys),
        series=series,
        arrange="rows",
        limits=_limits([abs(p.value) for p in points]),
    )


def _message(keys: Sequence[int], name: str) -> Statement:
    return some_keys("drift.some", keys, name=name) if keys else statement("chart.drift.none", name=name)


def _limits(distances: list[float]) -> tuple[float, float]:
    """Even about zero and wide enough for every key: those far out are what the chart is about.

    Examples
    --------
    >>> _limits([0.1, 0.3]), _limits([0.1, 6.5])
    ((-4.0, 4.0), (-7.5, 7.5))
    """
    most = max([LEAST_CENTS, *(min(MOST_CENTS, ceil(2.0 * (d + 0.6)) / 2.0) for d in distances)])
    return -most, most


def _point(k: KeyHolding, *, moved: bool) -> KeyPoint:
    words = (
        f"moved in all {signed(k.change_cents, digits=1)} cents" if k.change_cents is not None else "",
        f"chance that it went its own way {100 * k.chance:.0f} in 100" if k.chance is not None else "",
        k.moved,
        k.why,
    )
    return KeyPoint(
        key=k.key,
        value=float(k.own_cents or 0.0),
        kind="moved" if moved else "measured",
        sd=k.own_sd,
        words=tuple(w for w in words if w),
    )


def _alt(holding: Holding) -> str:
    found = [f"{note_name(k.key)} ({k.moved})" if k.moved else note_name(k.key) for k in holding.listed]
    text = f"Keys that went their own way: {listed(found) if found else 'none'}."
    if holding.drift_cents is not None:
        text += f" All keys together moved {signed(holding.drift_cents, digits=1)} cents."
    unknown = sum(k.own_cents is None for k in holding.keys)
    text += f" {unknown} of {len(holding.keys)} keys could not be compared." if unknown else ""
    if holding.least_found_cents is not None:
        text += f" A slip of one string under {holding.least_found_cents:.1f} cents could have been missed."
    return text
