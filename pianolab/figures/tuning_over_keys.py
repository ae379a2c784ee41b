"""How far each key is from the instrument's own smooth tuning curve: `off_curve_cents`, a row per instrument.

The distance is taken from each instrument's own curve, so that a piano that is flat as a whole doesn't look like 88
faults; its offset as a whole is said in the text alternative.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from statistics import median

from pianolab.acoustics.survey_result import Survey
from pianolab.figures.column_chart import Measure, Row
from pianolab.figures.key_chart import draw_over_keys
from pianolab.figures.key_plan import KeySeries
from pianolab.figures.messages import marked_message
from pianolab.figures.survey_cells import number
from pianolab.figures.wording import listed, signed


def _words(row: Row) -> Sequence[str]:
    cents = number(row.get("cents"))
    return () if cents is None else (f"{signed(cents, digits=1)} cents from equal temperament",)


def _say(series: Sequence[KeySeries], surveys: Mapping[str, Survey]) -> str:
    said = []
    for s, survey in zip(series, surveys.values(), strict=True):
        sizes = [abs(v) for v in s.values()]
        typical = f"{median(sizes):.1f} cents" if sizes else "not known"
        offset = survey.summary.offset_cents
        whole = f"{signed(offset)} cents" if offset is not None else "not known"
        off = len(s.values("fault"))
        out = f", {off} off pitch" if off else ""
        said.append(f"{s.mark.letter} {typical} (as a whole {whole} from A4{out})")
    return f"Typical distance of a key from the instrument's own curve: {listed(said)}."


def _message(series: Sequence[KeySeries]) -> str:
    low, high = TUNING.chart.usual or (0.0, 0.0)
    return marked_message(series, "tuning", marked=lambda p: p.kind == "fault" or not low <= p.value <= high)


TUNING = Measure(column="off_curve_cents", say=_say, words=_words, message=_message)

plan_tuning, draw_tuning = TUNING.plan, draw_over_keys
