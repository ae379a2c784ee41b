"""How long each key sings: the time to fall 20 dB, over the keys, for one instrument or the shortlist."""

from __future__ import annotations

from collections.abc import Mapping
from statistics import median
from typing import Any

from pianolab.acoustics.results import Survey
from pianolab.figures.key_chart import key_chart
from pianolab.figures.key_plan import (
    KeyPlan,
    KeyPoint,
    KeySeries,
    check_surveys,
    compass,
    keys_are,
    names_in,
    number,
    series_of,
)  # fmt: skip
from pianolab.figures.look import Kind, Mark, listed
from pianolab.figures.sheet import Sheet, drawing

TREBLE_FROM = 52
TICKS_S = (0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0)


def plan_decay(
    surveys: Mapping[str, Survey], names: Mapping[str, str], *, focus: str | None = None
) -> KeyPlan:
    """Plan of the decay chart: `decay_20_s` over the keys.

    Parameters
    ----------
    surveys : mapping of piano id to `Survey`; instruments without one are left out and named in ``alt``
    names : mapping of piano id to name, in the order of the shortlist
    focus : one piano id to show alone, with the others as grey lines

    Returns
    -------
    KeyPlan; lower bounds (`>`) have the kind ``at least``, notes hidden by a bad unison ``masked``

    Raises
    ------
    BadInput : no survey at all, or one that belongs to no named instrument
    """
    marks = check_surveys(surveys, names, focus)
    series = tuple(
        series_of(
            marks[piano_id], survey, column="decay_20_s", point=_point, quiet=focus not in (None, piano_id)
        )
        for piano_id, survey in surveys.items()
    )
    values = [v for s in series for v in s.values()] or [0.2, 20.0]
    limits = (max(0.02, 0.8 * min(values)), 1.35 * max(values))
    first_key, last_key = compass(surveys if focus is None else {focus: surveys[focus]})
    return KeyPlan(
        title="How long each key sings",
        alt=_alt([s for s in series if not s.quiet], [marks[i] for i in names if i not in surveys and focus is None]),
        measure="time to fall 20 dB", unit="s", first_key=first_key, last_key=last_key, series=series, log=True,
        limits=limits, ticks=tuple(t for t in TICKS_S if limits[0] <= t <= limits[1]), digits=2,
    )  # fmt: skip


@drawing
def draw_decay(plan: KeyPlan, theme: str = "light", *, bare: bool = False) -> Sheet:
    """The decay chart as a figure."""
    return key_chart(plan, theme, bare=bare)


def _point(row: Mapping[str, Any]) -> KeyPoint | None:
    value = number(row["decay_20_s"])
    if value is None or value <= 0:
        return None
    trust, verdict = str(row.get("sustain_trust") or ""), str(row.get("sustain_verdict") or "")
    words = (f"trust: {trust}" if trust not in ("", "ok") else "", f"verdict: {verdict}" if verdict else "")
    return KeyPoint(
        key=int(row["key"]),
        value=value,
        kind=_kind(row, trust),
        sd=number(row.get("decay_20_s_sd")),
        words=tuple(w for w in words if w),
    )


def _kind(row: Mapping[str, Any], trust: str) -> Kind:
    if str(row.get("decay_20_bound") or "=") == ">":
        return "at least"
    if trust == "masked by unison":
        return "masked"
    return "fault" if "short_sustain" in names_in(row.get("faults")) else "measured"


def _treble_keys(s: KeySeries) -> int:
    return sum(p.key >= TREBLE_FROM for p in s.points) + sum(g.key >= TREBLE_FROM for g in s.gaps)


def _alt(series: list[KeySeries], unheard: list[Mark]) -> str:
    said = []
    for s in series:
        treble = [p.value for p in s.points if p.key >= TREBLE_FROM and p.kind in ("measured", "fault")]
        judged, all_keys = len(treble), _treble_keys(s)
        if judged and 2 * judged >= all_keys:
            said.append((median(treble), f"{s.mark.letter} {median(treble):.1f} s"))
        else:
            said.append((-1.0, f"{s.mark.letter} not known (only {judged} of {all_keys} keys can be judged)"))
    said.sort(reverse=True)
    text = f"Typical treble note (from C#5 up) falls 20 dB in: {listed([words for _, words in said])}."
    masked = sum(len(s.values("masked")) for s in series)
    at_least = sum(len(s.values("at least")) for s in series)
    gaps = sum(len(s.gaps) for s in series)
    short = sum(len(s.values("fault")) for s in series)
    parts = [f"{short} {keys_are(short)} flagged as too short" if short else "No key is flagged as too short"]
    parts += [f"{masked} {keys_are(masked)} hidden by bad unisons"] if masked else []
    parts += [f"{at_least} known only as a lower bound"] if at_least else []
    parts += [f"{gaps} without a value"] if gaps else []
    text += f" {listed(parts)}."
    return text + (f" Not recorded: {listed([m.label for m in unheard])}." if unheard else "")
