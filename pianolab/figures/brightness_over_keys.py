"""Whether neighbouring keys sound alike: brightness against the neighbours, level taken out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from pianolab.acoustics.results import Survey
from pianolab.figures.key_chart import draw_over_keys
from pianolab.figures.key_plan import KeyPlan, KeySeries
from pianolab.figures.look import Mark
from pianolab.figures.measures import Measure, Row, plan_measure
from pianolab.figures.survey_cells import number
from pianolab.figures.wording import listed

draw_brightness = draw_over_keys


def plan_brightness(
    surveys: Mapping[str, Survey], names: Mapping[str, str], *, focus: str | None = None
) -> KeyPlan:
    """Plan of the brightness chart: `brightness_dev` over the keys, a row per instrument.

    Above the line a key is brighter than its neighbours, below it duller; 3 robust deviations and more
    are worth listening to.

    Parameters
    ----------
    surveys, names, focus : as in `plan_measure`

    Returns
    -------
    KeyPlan; keys flagged `voicing` have the kind ``fault``
    """
    return plan_measure(BRIGHTNESS, surveys, names, focus=focus)


def _words(row: Row) -> Sequence[str]:
    db, sd = number(row.get("brightness_db")), number(row.get("brightness_db_sd"))
    spread = f" ± {sd:.1f}" if sd is not None else ""
    return () if db is None else (f"brightness {db:.1f}{spread} dB",)


def _say(series: Sequence[KeySeries], _: Mapping[str, Survey], __: Sequence[Mark]) -> str:
    said = [
        f"{s.mark.letter} {len(s.values('fault')) or 'none'} of {len(s.points)} measured keys" for s in series
    ]
    return f"Keys that stand out from their neighbours in brightness: {listed(said)}."


BRIGHTNESS = Measure(
    title="Brightness against the neighbours", column="brightness_dev", measure="brighter (+) or duller (−)",
    unit="robust deviations", fault="voicing", say=_say, words=_words, usual=(-3.0, 3.0), least=(-6.0, 6.0),
)  # fmt: skip
