"""From a casebook to the judgement of each of its pianos: which findings and which recording count."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from pianolab import __version__
from pianolab.acoustics import Survey, listen
from pianolab.acoustics.holding import Holding, holds_tuning
from pianolab.assess import Assessment, PriceList, assess_piano
from pianolab.casebook import Casebook
from pianolab.checklist import Checklist
from pianolab.errors import BadInput, PianolabError
from pianolab.io import read_sound
from pianolab.model import (
    BuyerProfile,
    Finding,
    Piano,
    Recording,
    SurveyRecord,
    TouchOpinion,
    load_profiles,
)
from pianolab.workflow.progress import Progress


@dataclass(frozen=True, kw_only=True)
class Heard:
    """The survey of a piano that counts, the recording it is of, and how it was made."""

    survey: Survey
    recording: Recording
    day: str
    version: str


@dataclass(frozen=True, kw_only=True)
class Judged:
    """Every piano of a casebook judged, with what that stands on, by piano id.

    ``problems`` says why a piano's recording can't be used; ``holding`` is there where a piano was recorded on
    two days.
    """

    pianos: tuple[Piano, ...]
    assessments: tuple[Assessment, ...]
    findings: Mapping[str, tuple[Finding, ...]]
    heard: Mapping[str, Heard]
    problems: Mapping[str, str]
    holding: Mapping[str, Holding]


def judge_casebook(
    casebook: Casebook,
    *,
    profile: BuyerProfile,
    checklist: Checklist,
    prices: PriceList,
    seed: int = 0,
    until: date | None = None,
    progress: Progress,
) -> Judged:
    """Judge all pianos of a casebook; ``until`` leaves out visits after that day.

    Raises
    ------
    BadInput
        an empty casebook, findings of another checklist, prices in another currency
    """
    pianos = casebook.pianos()
    if not pianos:
        raise BadInput(casebook.name, "no pianos", "one or more", "Nothing entered yet?")
    problems: dict[str, str] = {}
    heard = _all_heard(casebook, pianos, problems, until=until, progress=progress)
    progress("comparing", 0.7)
    findings = {p.id: casebook.current_findings(p.id, until=until) for p in pianos}
    opinions = {p.id: opinions_of(casebook, p.id, until=until) for p in pianos}
    pairs = {p.id: _holding(casebook, heard.get(p.id), p.id) for p in pianos}
    holding = {i: h for i, h in pairs.items() if h is not None}
    assessments = tuple(
        assess_piano(
            p, findings[p.id], survey=heard[p.id].survey if p.id in heard else None, checklist=checklist,
            prices=prices, profile=profile, opinions=opinions[p.id],
            holding=holding.get(p.id), seed=seed,
        )
        for p in pianos
    )  # fmt: skip
    return Judged(
        pianos=pianos,
        assessments=assessments,
        findings=findings,
        heard=heard,
        problems=problems,
        holding=holding,
    )


def _holding(casebook: Casebook, last: Heard | None, piano_id: str) -> Holding | None:
    """The recording that counts against the latest one of an earlier day; None where there is no such pair."""
    if last is None:
        return None
    days = {v.id: v.day for v in casebook.visits(piano_id)}
    now = date.fromisoformat(last.day)
    earlier = [
        (days[r.visit_id], n, r) for n, r in enumerate(casebook.surveys(piano_id)) if days[r.visit_id] < now
    ]
    if not earlier:
        return None
    day, _, record = max(earlier)
    try:
        return holds_tuning(Survey.from_json(record.survey_json), last.survey, days=float((now - day).days))
    except BadInput:  # too few keys in both: then nothing is said about the pins
        return None


def opinions_of(casebook: Casebook, piano_id: str, *, until: date | None = None) -> tuple[TouchOpinion, ...]:
    """What players said of one piano's touch, on visits up to a day."""
    visits = {v.id for v in casebook.visits(piano_id) if until is None or v.day <= until}
    return tuple(o for o in casebook.touch_opinions() if o.visit_id in visits)


def find_profile(casebook: Casebook, profile: str | BuyerProfile) -> BuyerProfile:
    """A buyer by name: of the casebook, or of those that come with pianolab."""
    if isinstance(profile, BuyerProfile):
        return profile
    known = {**load_profiles(), **{p.name: p for p in casebook.profiles()}}
    if profile not in known:
        raise BadInput("profile", repr(profile), "one of " + ", ".join(sorted(known)), "Misspelt?")
    return known[profile]


def _all_heard(
    casebook: Casebook,
    pianos: tuple[Piano, ...],
    problems: dict[str, str],
    *,
    until: date | None,
    progress: Progress,
) -> dict[str, Heard]:
    heard = {}
    for n, piano in enumerate(pianos):
        try:
            found = _heard(casebook, piano, until=until, progress=progress, share=0.7 * n / len(pianos))
        except PianolabError as error:
            problems[piano.id] = str(error)
            continue
        if found is not None:
            heard[piano.id] = found
    return heard


def _heard(
    casebook: Casebook, piano: Piano, *, until: date | None, progress: Progress, share: float
) -> Heard | None:
    """What counts of a piano's sound: its latest visit with a recording, there the one with most keys."""
    records = {r.recording_id: r for r in casebook.surveys(piano.id)}
    for visit in reversed([v for v in casebook.visits(piano.id) if until is None or v.day <= until]):
        candidates = []
        for recording in casebook.recordings(visit.id):
            record = records.get(recording.id)
            if record is None:
                progress(f"{piano.name}: listening to {recording.original_name}", share)
            survey = _survey_of(casebook, recording, record)
            version = record.version if record else f"{__version__}, listened to for this page"
            candidates.append(
                Heard(survey=survey, recording=recording, day=visit.day.isoformat(), version=version)
            )
        if candidates:
            return max(reversed(candidates), key=lambda h: h.survey.summary.measured)
    return None


def _survey_of(casebook: Casebook, recording: Recording, record: SurveyRecord | None) -> Survey:
    if record is not None:
        return Survey.from_json(record.survey_json)
    sound = read_sound(casebook.media_path(recording.media))
    return listen(
        sound.samples,
        rate_hz=sound.rate_hz,
        first_key=recording.first_key,
        last_key=recording.last_key,
        a4_hz=recording.a4_hz,
        lossy=sound.lossy,
        name=recording.original_name or recording.media,
    )
