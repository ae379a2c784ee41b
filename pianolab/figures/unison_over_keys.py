"""How far apart the strings of each key are: `unison_cents`, a row per instrument.

The band of what is usual ends where the summary begins to call unisons wide.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from statistics import median

from pianolab.acoustics.judging.tuning_need import wide_cents
from pianolab.acoustics.survey_result import Survey
from pianolab.figures.column_chart import Measure, Row
from pianolab.figures.key_chart import draw_over_keys
from pianolab.figures.key_plan import KeySeries
from pianolab.figures.messages import marked_message
from pianolab.figures.survey_cells import number
from pianolab.figures.wording import listed
from pianolab.keyboard import usual_strings


def _words(row: Row) -> Sequence[str]:
    beat, partial = number(row.get("beat_hz")), number(row.get("beat_partial"))
    where = f" in partial {partial:.0f}" if partial is not None else ""
    false_beat = usual_strings(int(row["key"])) == 1 and (number(row["unison_cents"]) or 0.0) > wide_cents()
    return (
        "" if beat is None else f"slowest clear beat {beat:.2f} Hz{where}",
        "usually a single string: a false beat" if false_beat else "",
    )


def _say(series: Sequence[KeySeries], _: Mapping[str, Survey]) -> str:
    said = []
    for s in series:
        values = s.values()
        over = sum(v > wide_cents() for v in values)
        typical = f"{median(values):.1f} cents" if values else "not known"
        said.append(
            f"{s.mark.letter} {typical} ({over} of {len(values)} measured keys over {wide_cents():g} cents)"
        )
    return f"Typical distance of a key's strings: {listed(said)}. Up to {wide_cents():g} cents is usual some weeks after a tuning."


def _message(series: Sequence[KeySeries]) -> str:
    return marked_message(series, "unison", marked=lambda p: p.value > wide_cents())


UNISON = Measure(column="unison_cents", say=_say, words=_words, message=_message)

plan_unison, draw_unison = UNISON.plan, draw_over_keys
