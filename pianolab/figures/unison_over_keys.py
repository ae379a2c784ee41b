"""How far apart the strings of each key are, in cents."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from statistics import median

from pianolab.acoustics.results import Survey
from pianolab.acoustics.tuning_need import wide_cents
from pianolab.figures.key_chart import draw_over_keys
from pianolab.figures.key_plan import KeyPlan, KeySeries
from pianolab.figures.look import Mark
from pianolab.figures.measures import Measure, Row, plan_measure
from pianolab.figures.survey_cells import number
from pianolab.figures.wording import listed
from pianolab.keyboard import usual_strings

draw_unison = draw_over_keys


def plan_unison(
    surveys: Mapping[str, Survey], names: Mapping[str, str], *, focus: str | None = None
) -> KeyPlan:
    """Plan of the unison chart: `unison_cents` over the keys, a row per instrument.

    Parameters
    ----------
    surveys, names, focus : as in `plan_measure`

    Returns
    -------
    KeyPlan; the band ``usual`` ends where the summary begins to call unisons wide; flagged keys have the kind ``fault``
    """
    return plan_measure(UNISON, surveys, names, focus=focus)


def _words(row: Row) -> Sequence[str]:
    beat, partial = number(row.get("beat_hz")), number(row.get("beat_partial"))
    where = f" in partial {partial:.0f}" if partial is not None else ""
    false_beat = usual_strings(int(row["key"])) == 1 and (number(row["unison_cents"]) or 0.0) > wide_cents()
    return (
        "" if beat is None else f"slowest clear beat {beat:.2f} Hz{where}",
        "usually a single string: a false beat" if false_beat else "",
    )


def _say(series: Sequence[KeySeries], _: Mapping[str, Survey], __: Sequence[Mark]) -> str:
    said = []
    for s in series:
        values = s.values()
        over = sum(v > wide_cents() for v in values)
        typical = f"{median(values):.1f} cents" if values else "not known"
        said.append(
            f"{s.mark.letter} {typical} ({over} of {len(values)} measured keys over {wide_cents():g} cents)"
        )
    return f"Typical distance of a key's strings: {listed(said)}. Up to {wide_cents():g} cents is usual some weeks after a tuning."


UNISON = Measure(
    title="Strings of one key, apart", column="unison_cents", measure="strings apart", unit="cents", fault="unison", say=_say,
    words=_words, usual=(0.0, wide_cents()), least=(0.0, 3.0), digits=2,
)  # fmt: skip
