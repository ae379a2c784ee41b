"""How far each key is from the instrument's own smooth tuning curve, in cents."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from statistics import median

from pianolab.acoustics.results import Survey
from pianolab.figures.key_chart import draw_over_keys
from pianolab.figures.key_plan import KeyPlan, KeySeries
from pianolab.figures.look import Mark
from pianolab.figures.measures import Measure, Row, plan_measure
from pianolab.figures.survey_cells import number
from pianolab.figures.wording import listed, signed

draw_tuning = draw_over_keys


def plan_tuning(
    surveys: Mapping[str, Survey], names: Mapping[str, str], *, focus: str | None = None
) -> KeyPlan:
    """Plan of the tuning chart: `off_curve_cents` over the keys, a row per instrument.

    The distance is taken from each instrument's own curve, so that a piano that is flat as a whole does not
    look like 88 faults; its offset as a whole is said in ``alt``.

    Parameters
    ----------
    surveys, names, focus : as in `plan_measure`

    Returns
    -------
    KeyPlan; keys flagged `off_pitch` have the kind ``fault``
    """
    return plan_measure(TUNING, surveys, names, focus=focus)


def _words(row: Row) -> Sequence[str]:
    cents = number(row.get("cents"))
    return () if cents is None else (f"{signed(cents, digits=1)} cents from equal temperament",)


def _say(series: Sequence[KeySeries], surveys: Mapping[str, Survey], _: Sequence[Mark]) -> str:
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


TUNING = Measure(
    title="How even the tuning is", column="off_curve_cents", measure="from its own curve", unit="cents", fault="off_pitch", say=_say,
    words=_words, sd="cents_sd", usual=(-3.0, 3.0), least=(-8.0, 8.0),
)  # fmt: skip
