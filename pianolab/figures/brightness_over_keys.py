"""Whether neighbouring keys sound alike: `brightness_dev` over the keys, a row per instrument.

Above the line a key is brighter than its neighbours, below it duller; 3 robust deviations and more are worth listening to.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from pianolab.acoustics.survey_result import Survey
from pianolab.figures.column_chart import Measure, Row
from pianolab.figures.key_chart import draw_over_keys
from pianolab.figures.key_plan import KeySeries
from pianolab.figures.messages import marked_message
from pianolab.figures.survey_cells import number
from pianolab.figures.wording import listed


def _words(row: Row) -> Sequence[str]:
    db, sd = number(row.get("brightness_db")), number(row.get("brightness_db_sd"))
    spread = f" ± {sd:.1f}" if sd is not None else ""
    return () if db is None else (f"brightness {db:.1f}{spread} dB",)


def _say(series: Sequence[KeySeries], _: Mapping[str, Survey]) -> str:
    far = BRIGHTNESS.chart.usual or (0.0, 0.0)
    said = []
    for s in series:
        out = sum(not far[0] < v < far[1] for v in s.values())
        said.append(f"{s.mark.letter} {out or 'none'} of {len(s.points)} measured keys")
    text = f"Keys whose tone stands out from their neighbours' by {far[1]:g} spreads or more: {listed(said)}."
    return f"{text} Whether their hammers are the cause is not told from one blow."


def _message(series: Sequence[KeySeries]) -> str:
    low, high = BRIGHTNESS.chart.usual or (0.0, 0.0)
    return marked_message(series, "brightness", marked=lambda p: not low < p.value < high)


BRIGHTNESS = Measure(column="brightness_dev", say=_say, words=_words, message=_message)

plan_brightness, draw_brightness = BRIGHTNESS.plan, draw_over_keys
