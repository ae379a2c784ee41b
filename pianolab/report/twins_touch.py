"""Still twin of the opinions of touch: players side by side, taste apart from faults, nothing before all are done."""

from __future__ import annotations

from collections.abc import Sequence

from pianolab.checklist import TouchScales
from pianolab.html import templates
from pianolab.model import TouchOpinion

TASTE_ROOM = 5


def touch_rows(
    scales: TouchScales, opinions: Sequence[TouchOpinion]
) -> list[tuple[str, str, tuple[str, ...]]]:
    """What the table says: kind, scale, and a text for each player; a scale not answered says so.

    Parameters
    ----------
    scales : the scales that were asked
    opinions : one for each player

    Returns
    -------
    list of (kind, name of the scale, texts in the order of the opinions)
    """
    rows = []
    for taste in scales.taste:
        texts = tuple(_taste(o.taste.get(taste.id), taste.low, taste.high) for o in opinions)
        rows.append(("Taste", taste.name, texts))
    liking = tuple(_taste(o.liking, scales.liking.low, scales.liking.high) for o in opinions)
    rows.append(("Taste", "Liking", liking))
    for fault in scales.faults:
        texts = tuple(_fault(o.faults.get(fault.id), fault.anchors) for o in opinions)
        rows.append(("Fault", fault.name, texts))
    return [*rows, ("Note", "In their own words", tuple(o.note or "–" for o in opinions))]


def _taste(value: int | None, low: str, high: str) -> str:
    if value is None:
        return "not answered"
    ends = {1: low, 2: f"towards: {low}", 3: "in between", 4: f"towards: {high}", 5: high}
    return f"{value} of {TASTE_ROOM}, {ends[value]}"


def _fault(grade: int | None, anchors: Sequence[str]) -> str:
    return "not answered" if grade is None else f"{anchors[5 - grade]} (grade {grade} of 5)"


def touch_twin(
    *,
    title: str,
    scales: TouchScales,
    opinions: Sequence[TouchOpinion],
    waiting: Sequence[str] = (),
    trials: Sequence[str] = (),
) -> str:
    """The opinions as plain, escaped HTML; while somebody is still to answer, only who has.

    Parameters
    ----------
    title : the piano and the day
    scales : the scales that were asked
    opinions : of those who are done
    waiting : names of those who are not; with any of them no answer is shown
    trials : sentences about pairs of pianos

    Examples
    --------
    >>> from pianolab.checklist import load_touch_scales
    >>> html = touch_twin(title="x", scales=load_touch_scales(), opinions=(), waiting=("<b>",))
    >>> "Still to answer: &lt;b&gt;" in html
    True
    """
    made = templates("pianolab.report").get_template("touch_twin.html.j2")
    return made.render(
        title=title,
        rows=touch_rows(scales, opinions),
        opinions=opinions,
        waiting=waiting,
        trials=trials,
    )
