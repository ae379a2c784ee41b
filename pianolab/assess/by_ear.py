"""What the points say of the tuning where no recording does, and where ear and recording contradict each other."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

from pianolab.assess.assessment import Alert
from pianolab.assess.by_recording import HeardKeys, counted
from pianolab.assess.findings import PointView, found_at
from pianolab.assess.places import value_of
from pianolab.assess.scoring import Scoring
from pianolab.assess.tuning_state import TuningState
from pianolab.model import Piano
from pianolab.statements import Statement, statement

PITCH, UNISONS, PREPARED = "tuning-pitch", "tuning-unisons", "state-prepared"
FRESH = statement("unknown.fresh tuning")


def tuning_by_ear(state: TuningState, views: Mapping[str, PointView], *, scoring: Scoring) -> TuningState:
    """The state of the tuning with what was read and heard at the points, where the recording leaves it open."""
    pitch, unisons = _values(views, PITCH), _values(views, UNISONS)
    if state.offset_cents is None and pitch:
        furthest = max(pitch, key=abs)
        state = replace(state, offset_cents=furthest, offset_source=PITCH)
    if not state.unisons_judged and unisons:
        state = replace(state, neglected=min(unisons) <= scoring.tuning["neglected_by_ear_from_grade"])
    settled = any(_sound(views, point) for point in scoring.tuning["fresh_settled_by"])
    return replace(state, fresh=any(_values(views, PREPARED)) and not settled)


def _sound(views: Mapping[str, PointView], point: str) -> bool:
    return point in views and views[point].checked and views[point].worst == 0.0


def with_doubt(views: Sequence[PointView], state: TuningState, *, scoring: Scoring) -> list[PointView]:
    """What was judged by ear on strings that disagree stays open: sour notes die young on any piano.

    So does what a tuning of yesterday hides.
    """
    doubts = dict.fromkeys(scoring.tuning["doubted_on_fresh_tuning"] if state.fresh else (), FRESH)
    if state.neglected:
        doubts |= dict.fromkeys(scoring.tuning["doubted_on_untuned_piano"], statement("unknown.out of tune"))
    return [replace(v, doubt=doubts[v.point.id]) if v.checked and v.point.id in doubts else v for v in views]


def hidden_by_fresh_tuning(
    heard: Sequence[HeardKeys], state: TuningState, piano: Piano
) -> tuple[HeardKeys, ...]:
    """No string out of place tells nothing of the pins where the tuning is of yesterday."""
    keys = range(piano.first_key, piano.last_key + 1)
    return tuple(_unproven(h, keys) if state.fresh and h.item.fault == "slipped" else h for h in heard)


def _unproven(heard: HeardKeys, keys: Iterable[int]) -> HeardKeys:
    told = {*heard.faulty, *heard.hidden, *heard.mute}
    rest = tuple(key for key in keys if key not in told)
    return replace(heard, unheard=rest, why=FRESH, effort="technician")


def alerts_from_fresh_tuning(views: Mapping[str, PointView], state: TuningState) -> list[Alert]:
    """A warning where a tuning made for the visit hides whether the pins hold."""
    if not state.fresh:
        return []
    says = statement("warning.fresh tuning", PREPARED, found=views[PREPARED].point.yes_means)
    who = "technician"
    return [
        Alert(kind="warning", says=says, how_sure="likely", confirm_by=who, source=PREPARED, severity=0.4)
    ]


def sour_by_ear(state: TuningState, views: Mapping[str, PointView]) -> Statement | None:
    """That the tuning hides the treble, where only the ear tells so."""
    if state.heard or not state.neglected:
        return None
    return statement("heard.hidden by ear", UNISONS, evidence=[UNISONS] if UNISONS in views else [])


def contradictions(
    views: Iterable[PointView],
    heard: Iterable[HeardKeys],
    recorded: TuningState,
    *,
    scoring: Scoring,
) -> list[Alert]:
    """Warnings where a finding and the recording say the opposite of one and the same thing."""
    by_point = {v.point.id: v for v in views if v.checked}
    items = {h.item.key: h for h in heard}
    found = [
        _pitch(by_point.get(PITCH), recorded, scoring),
        _unisons(by_point.get(UNISONS), recorded, scoring),
    ]
    for point, key in scoring.alike.items():
        if point in by_point and key in items:
            found.append(_faults(by_point[point], items[key], scoring))
    return [alert for alert in found if alert is not None]


def _pitch(view: PointView | None, recorded: TuningState, scoring: Scoring) -> Alert | None:
    if view is None or recorded.offset_cents is None or recorded.other_offset_cents is not None:
        return None
    offset, apart = recorded.offset_cents, scoring.contradiction["pitch_cents"]
    if all(abs(value - offset) <= apart for value in _read(view)):
        return None
    return _warning(view, statement("contradiction.pitch", "pitch", cents=offset), scoring)


def _unisons(view: PointView | None, recorded: TuningState, scoring: Scoring) -> Alert | None:
    if view is None or not recorded.unisons_judged:
        return None
    grade = min(_read(view))
    if grade >= scoring.contradiction["good_grade"] and recorded.neglected:
        return _warning(view, statement("contradiction.sour", "tuning"), scoring)
    if grade <= scoring.contradiction["bad_grade"] and not recorded.neglected:
        return _warning(view, statement("contradiction.in tune", "tuning"), scoring)
    return None


def _faults(view: PointView, heard: HeardKeys, scoring: Scoring) -> Alert | None:
    limits, faulty = scoring.contradiction, len(heard.faulty)
    sound_here, bad_here = _sound_and_bad(view, limits)
    untold = len(heard.hidden) + len(heard.mute) + len(heard.unheard)
    heard_clean = faulty == 0 and untold <= limits["untold_share"] * heard.total
    if not ((sound_here and faulty >= limits["keys"]) or (bad_here and heard_clean)):
        return None
    says = counted("heard.counted", heard.item, keys=heard.faulty, total=heard.total)
    return _warning(view, says, scoring)


def _sound_and_bad(view: PointView, limits: Mapping[str, float]) -> tuple[bool, bool]:
    values = _read(view)
    if view.point.record == "grade":
        return min(values) >= limits["good_grade"], min(values) <= limits["bad_grade"]
    return max(values) == 0, max(values) >= limits["keys"]


def _warning(view: PointView, recording: Statement, scoring: Scoring) -> Alert:
    says = statement(
        "warning.contradiction", view.point.id, found=found_at(view, scoring), recording=recording
    )
    return Alert(
        kind="warning",
        says=says,
        how_sure="likely",
        confirm_by="a second look",
        source=view.point.id,
        sources=(view.point.id, "listening"),
        severity=scoring.contradiction["severity"],
    )


def _values(views: Mapping[str, PointView], point: str) -> list[float]:
    return _read(views[point]) if point in views else []


def _read(view: PointView) -> list[float]:
    return [float(value_of(f, view.point)) for f in view.findings if f.state == "checked"]
