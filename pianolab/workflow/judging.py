"""From a casebook to the judgement of each of its pianos: which findings and which recording count, and where all comes from.

Two recordings of one piano tell what became of the tuning, or what the left pedal does.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from pianolab.acoustics import Survey
from pianolab.assess import Assessment, Circumstances, assess_piano
from pianolab.assess.agreement import findings_that_count, technicians_of
from pianolab.casebook import Casebook
from pianolab.checklist import Checklist
from pianolab.errors import BadInput
from pianolab.model import Finding, Piano, Recording, SurveyRecord, TouchOpinion, Visit
from pianolab.recordings import Holding, LeftPedal, holds_tuning, how_captured, left_pedal
from pianolab.release import VERSION
from pianolab.workflow.currencies import Reckoning, reckon
from pianolab.workflow.hearing import Heard, all_heard, kept_survey
from pianolab.workflow.progress import Progress
from pianolab.workflow.settings import Settings


def pedals_of(
    casebook: Casebook, pianos: tuple[Piano, ...], heard: Mapping[str, Heard]
) -> dict[str, LeftPedal]:
    """What the left pedal does, where the recording that counts has a twin of the same visit with the pedal held."""
    found = {}
    for piano in pianos:
        counted = heard.get(piano.id)
        twins = [] if counted is None else _twins(casebook, piano, counted.recording)
        if counted is None or not twins:
            continue
        try:
            twin = kept_survey(twins[-1])
            found[piano.id] = left_pedal(counted.survey, twin, kind=piano.kind)
        except BadInput:  # too few keys in both: then nothing is said about the pedal
            continue
    return found


def _twins(casebook: Casebook, piano: Piano, recording: Recording) -> list[SurveyRecord]:
    pedal = {r.id for r in casebook.recordings(recording.visit_id) if r.purpose == "left pedal"}
    return [r for r in casebook.surveys(piano.id) if r.recording_id in pedal]


def holding_of(casebook: Casebook, last: Heard | None, piano_id: str) -> Holding | None:
    """The recording that counts against the latest one of an earlier day; None where there is no such pair."""
    if last is None:
        return None
    days = {v.id: v.day for v in casebook.visits(piano_id)}
    now = date.fromisoformat(last.day)
    pedal = {r.id for v in days for r in casebook.recordings(v) if r.purpose == "left pedal"}
    earlier = [
        (days[r.visit_id], n, r)
        for n, r in enumerate(casebook.surveys(piano_id))
        if days[r.visit_id] < now and r.recording_id not in pedal
    ]
    if not earlier:
        return None
    day, _, record = max(earlier)
    try:
        return holds_tuning(kept_survey(record), last.survey, days=float((now - day).days))
    except BadInput:  # too few keys in both: then nothing is said about the pins
        return None


@dataclass(frozen=True, kw_only=True)
class Judged:
    """Every piano of a casebook judged, with what that stands on, by piano id.

    ``pianos`` are as the casebook has them, ``reckoning`` says in which currency they were judged. ``visits`` are
    those that count; ``problems`` says why a piano's recording can't be used; ``holding`` is there where a piano was
    recorded on two days, ``pedals`` where it was recorded with the left pedal too.
    """

    pianos: tuple[Piano, ...]
    reckoning: Reckoning
    assessments: tuple[Assessment, ...]
    visits: tuple[Visit, ...]
    findings: Mapping[str, tuple[Finding, ...]]
    heard: Mapping[str, Heard]
    problems: Mapping[str, str]
    holding: Mapping[str, Holding]
    pedals: Mapping[str, LeftPedal]

    def survey(self, piano_id: str) -> Survey | None:
        """What counts of a piano's sound, or None."""
        heard = self.heard.get(piano_id)
        return None if heard is None else heard.survey


def judge_casebook(casebook: Casebook, settings: Settings, *, progress: Progress) -> Judged:
    """Judge all pianos of a casebook as the settings say.

    Raises
    ------
    BadInput
        an empty casebook, an unknown buyer, findings at points that the checklist doesn't have, a job without price
    """
    pianos, until = casebook.pianos(), settings.until
    if not pianos:
        raise BadInput(casebook.name, "no pianos", "one or more", "Nothing entered yet?")
    reckoning = reckon(pianos, settings.buyer(casebook), settings.price_list)
    problems: dict[str, str] = {}
    heard = all_heard(casebook, pianos, problems, until=until, progress=progress)
    progress("comparing", 0.7)
    findings = {p.id: counted_findings(casebook, p, settings.points, until=until) for p in pianos}
    _check_points(findings, settings.points)
    pairs = {p.id: holding_of(casebook, heard.get(p.id), p.id) for p in pianos}
    holding = {i: h for i, h in pairs.items() if h is not None}
    assessments = tuple(
        assess_piano(
            p,
            findings[p.id],
            survey=heard[p.id].survey if p.id in heard else None,
            checklist=settings.points,
            prices=reckoning.prices,
            profile=reckoning.buyer,
            circumstances=Circumstances(
                opinions=opinions_of(casebook, p.id, until=until),
                holding=holding.get(p.id),
                examiners=casebook.examiners(),
                year=settings.year or _year(casebook, until),
            ),
            seed=settings.seed,
        )
        for p in reckoning.pianos
    )
    return Judged(
        pianos=pianos,
        reckoning=reckoning,
        assessments=assessments,
        visits=tuple(v for v in casebook.visits() if until is None or v.day <= until),
        findings=findings,
        heard=heard,
        problems=problems,
        holding=holding,
        pedals=pedals_of(casebook, pianos, heard),
    )


def counted_findings(
    casebook: Casebook, piano: Piano, points: Checklist, *, until: date | None = None, on: date | None = None
) -> tuple[Finding, ...]:
    """What counts at each point of a piano: a technician's word above the others', a later look above an earlier one.

    ``until`` leaves out visits after that day, ``on`` all visits but those of that day.
    """
    if on is None:
        found = casebook.current_findings(piano.id, per_examiner=True, until=until)
    else:
        that_day = [v.id for v in casebook.visits(piano.id) if v.day == on]
        found = tuple(f for visit in that_day for f in casebook.findings(visit))
    return findings_that_count(
        found,
        piano,
        checklist=points,
        technicians=technicians_of(casebook.examiners(), found),
        days={v.id: v.day for v in casebook.visits(piano.id)},
    )


def _year(casebook: Casebook, until: date | None) -> int:
    """The year of the latest visit that counts."""
    days = [v.day for v in casebook.visits() if until is None or v.day <= until]
    return max(days, default=date.today()).year


def _check_points(findings: Mapping[str, tuple[Finding, ...]], points: Checklist) -> None:
    known = {point.id for point in points}
    if strange := sorted({f.point for found in findings.values() for f in found} - known):
        raise BadInput(
            "findings",
            f"points that the checklist doesn't have ({', '.join(strange[:5])})",
            "points that it has",
            "--checklist FILE, in Python Settings(checklist=...), adds points of your own.",
        )


def opinions_of(casebook: Casebook, piano_id: str, *, until: date | None = None) -> tuple[TouchOpinion, ...]:
    """What players said of one piano's touch, on visits up to a day."""
    visits = {v.id for v in casebook.visits(piano_id) if until is None or v.day <= until}
    return tuple(o for o in casebook.touch_opinions() if o.visit_id in visits)


def provenance_of(judged: Judged, settings: Settings, notes: Sequence[str]) -> dict[str, str]:
    """Lines by what they are about, in the order in which a reader asks."""
    lines = {"Made by": f"pianolab {VERSION}, draws with seed {settings.seed}"}
    if settings.checklist is not None:
        lines["Points"] = f"the usual ones, with those of {settings.points_file}"
    lines["Prices"] = "; ".join(notes) if judged.reckoning.why_none else settings.price_list.origin()
    if notes and not judged.reckoning.why_none:
        lines["To be known"] = "; ".join(notes)
    for piano in judged.pianos:
        lines[f"Recording of {piano.name}"] = _recording(judged, piano.id)
    if judged.heard:
        lines["Clips"] = "equally loud (A-weighted, first second), so that tone and length can be compared"
    if judged.visits:
        lines["Visits"] = _days([v.day for v in judged.visits])
    return lines


def _recording(judged: Judged, piano_id: str) -> str:
    if piano_id in judged.problems:
        return f"can't be used: {judged.problems[piano_id]}"
    if piano_id not in judged.heard:
        return "none; its sound is unknown"
    return _origin(judged.heard[piano_id])


def _origin(h: Heard) -> str:
    r = h.recording
    more = [r.note, *how_captured(h.own, r.capture), *(_further(h))]
    note = "".join(f"; {m}" for m in more if m)
    return (
        f"{h.day}, {r.seconds:.0f} s at {r.rate_hz} Hz, SHA-256 {Path(r.media).stem[:16]}, "
        f"listened to by version {h.version}{note}"
    )


def _further(h: Heard) -> list[str]:
    """The visit's other takes: counted together with it, or not and why."""
    together = [f"with {o.seconds:.0f} s, SHA-256 {Path(o.media).stem[:16]}" for o in h.others]
    apart = [f"not with SHA-256 {Path(o.media).stem[:16]}: {why}" for o, why in h.apart]
    return [*together, *apart]


def _days(days: Sequence[date]) -> str:
    first, last = min(days).isoformat(), max(days).isoformat()
    return first if first == last else f"{first} to {last}"
