"""How fast each damper stops its key: `release_20_s` over the keys, a row per instrument."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from statistics import median

from pianolab.acoustics.survey_result import Survey
from pianolab.figures.column_chart import BOUND_KIND, Measure, Row
from pianolab.figures.key_chart import draw_over_keys
from pianolab.figures.key_plan import KeySeries
from pianolab.figures.look import Kind
from pianolab.figures.messages import marked_message
from pianolab.figures.wording import keys_are, listed
from pianolab.keyboard import usually_damped


def _kind(row: Row) -> Kind:
    """A damper that was flagged is flagged, whatever bound its time has."""
    if "damper" in row["faults"]:
        return "fault"
    return BOUND_KIND.get(str(row.get("release_bound") or "="), "measured")


def _words(row: Row) -> Sequence[str]:
    return ("keys this high have no damper",) if usually_damped(int(row["key"])) is False else ()


def _say(series: Sequence[KeySeries], _: Mapping[str, Survey]) -> str:
    said = []
    for s in series:
        values = s.values("measured", "fault")
        typical = f"{median(values):.2f} s" if values else "not known"
        slow = len(s.values("fault"))
        said.append(f"{s.mark.letter} {typical}" + (f" ({slow} {keys_are(slow)} too slow)" if slow else ""))
    return f"Typical time to stop a key once it is let go: {listed(said)}. The highest keys have no damper."


def _message(series: Sequence[KeySeries]) -> str:
    return marked_message(
        series,
        "damper",
        marked=lambda p: p.kind == "fault",
        asked=lambda p: usually_damped(p.key) is not False,
    )


DAMPER = Measure(column="release_20_s", say=_say, words=_words, kind=_kind, message=_message)

plan_damper, draw_damper = DAMPER.plan, draw_over_keys
