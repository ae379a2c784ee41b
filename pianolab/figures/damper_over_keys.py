"""How fast each damper stops its key: time to fall 20 dB after the key is let go."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from statistics import median

from pianolab.acoustics.results import Survey
from pianolab.figures.key_chart import draw_over_keys
from pianolab.figures.key_plan import KeyPlan, KeySeries
from pianolab.figures.look import Kind, Mark
from pianolab.figures.measures import BOUND_KIND, Measure, Row, plan_measure
from pianolab.figures.survey_cells import names_in
from pianolab.figures.wording import keys_are, listed
from pianolab.keyboard import usually_damped

draw_damper = draw_over_keys


def plan_damper(
    surveys: Mapping[str, Survey], names: Mapping[str, str], *, focus: str | None = None
) -> KeyPlan:
    """Plan of the damper chart: `release_20_s` over the keys, a row per instrument.

    Parameters
    ----------
    surveys, names, focus : as in `plan_measure`

    Returns
    -------
    KeyPlan; where the room hides the damper (`<`) the kind is ``at most``; flagged keys are ``fault``
    """
    return plan_measure(DAMPER, surveys, names, focus=focus)


def _kind(row: Row) -> Kind:
    """A damper that was flagged is flagged, whatever bound its time has."""
    if "damper" in names_in(row.get("faults")):
        return "fault"
    return BOUND_KIND.get(str(row.get("release_bound") or "="), "measured")


def _words(row: Row) -> Sequence[str]:
    return ("keys this high have no damper",) if usually_damped(int(row["key"])) is False else ()


def _say(series: Sequence[KeySeries], _: Mapping[str, Survey], __: Sequence[Mark]) -> str:
    said = []
    for s in series:
        values = s.values("measured", "fault")
        typical = f"{median(values):.2f} s" if values else "not known"
        slow = len(s.values("fault"))
        said.append(f"{s.mark.letter} {typical}" + (f" ({slow} {keys_are(slow)} too slow)" if slow else ""))
    return f"Typical time to stop a key once it is let go: {listed(said)}. The highest keys have no damper."


DAMPER = Measure(
    title="How fast the dampers stop a key", column="release_20_s", measure="falls 20 dB after release", unit="s", fault="damper",
    say=_say, words=_words, kind=_kind, digits=2,
)  # fmt: skip
