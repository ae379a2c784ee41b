"""From a casebook to the comparison of its shortlist, with all that the page shows."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from html import escape
from pathlib import Path

from pianolab import __version__
from pianolab.acoustics import Survey, listen
from pianolab.assess import PriceList, assess_piano, load_prices
from pianolab.casebook import Casebook
from pianolab.checklist import Checklist, load_checklist
from pianolab.compare import Comparison, compare_pianos
from pianolab.errors import BadInput, PianolabError
from pianolab.io import read_sound
from pianolab.model import BuyerProfile, Finding, Piano, Recording, SurveyRecord, load_profiles
from pianolab.report import Clip
from pianolab.show import Row, Showable
from pianolab.workflow.clips import Cut, clip_keys, cut_note, make_clips
from pianolab.workflow.progress import Progress, quiet


@dataclass(frozen=True, kw_only=True)
class Heard:
    """The survey of a piano that counts, the recording it is of, and how it was made."""

    survey: Survey
    recording: Recording
    day: str
    version: str


@dataclass(frozen=True, kw_only=True, repr=False, eq=False)
class CasebookComparison(Showable):
    """A shortlist compared: the comparison, and the surveys, findings and clips behind it, by piano id.

    ``provenance`` says where everything comes from: versions, days, hashes of the recordings.
    """

    comparison: Comparison
    surveys: dict[str, Survey]
    findings: dict[str, tuple[Finding, ...]]
    clips: dict[str, tuple[Clip, ...]]
    provenance: dict[str, str]
    checklist: Checklist
    header = Comparison.header

    def headline(self) -> str:
        return self.comparison.headline()

    def rows(self) -> list[Row]:
        return self.comparison.rows()

    def _repr_html_(self) -> str:
        sentences = "".join(f"<p>{escape(s)}</p>" for s in self.comparison.verdict.sentences)
        return super()._repr_html_() + sentences


def compare_casebook(
    casebook: Casebook,
    *,
    profile: str | BuyerProfile = "first piano",
    seed: int = 0,
    checklist: Checklist | None = None,
    prices: PriceList | None = None,
    progress: Progress | None = None,
) -> CasebookComparison:
    """Compare all pianos of a casebook for one buyer.

    Of each piano the latest findings count and the recording of the latest visit; a recording that has no
    survey yet is listened to. A piano without a recording, or with one that can't be used, is judged by
    its findings alone, and its sound stays unknown.

    Parameters
    ----------
    casebook : an open casebook; it is only read
    profile : a buyer, or the name of one in the casebook or of those that come with pianolab
    seed : int; the same seed gives the same result
    checklist, prices : those that come with pianolab if not given
    progress : called with what is being done and a share from 0 to 1

    Returns
    -------
    CasebookComparison

    Raises
    ------
    BadInput
        an empty casebook, an unknown profile, findings of another checklist, prices in another currency
    """
    tell, checklist, prices = progress or quiet, checklist or load_checklist(), prices or load_prices()
    buyer = find_profile(casebook, profile)
    pianos = casebook.pianos()
    if not pianos:
        raise BadInput(str(casebook.folder), "no pianos", "one or more", "Nothing entered yet?")
    problems: dict[str, str] = {}
    heard = _all_heard(casebook, pianos, problems, progress=tell)
    tell("comparing", 0.7)
    findings = {p.id: casebook.current_findings(p.id) for p in pianos}
    assessments = [
        assess_piano(
            p, findings[p.id], survey=heard[p.id].survey if p.id in heard else None, checklist=checklist,
            prices=prices, profile=buyer, seed=seed,
        )
        for p in pianos
    ]  # fmt: skip
    comparison = compare_pianos(assessments, profile=buyer, seed=seed)
    tell("cutting the clips", 0.8)
    surveys = {i: h.survey for i, h in heard.items()}
    clips = make_clips(surveys, _cuts(casebook, heard))
    return CasebookComparison(
        comparison=comparison,
        surveys=surveys,
        findings=findings,
        clips=clips,
        provenance=_provenance(pianos, heard, problems, seed=seed),
        checklist=checklist,
    )


def find_profile(casebook: Casebook, profile: str | BuyerProfile) -> BuyerProfile:
    """A buyer by name: of the casebook, or of those that come with pianolab."""
    if isinstance(profile, BuyerProfile):
        return profile
    known = {**load_profiles(), **{p.name: p for p in casebook.profiles()}}
    if profile not in known:
        raise BadInput("profile", repr(profile), "one of " + ", ".join(sorted(known)), "Misspelt?")
    return known[profile]


def _all_heard(
    casebook: Casebook, pianos: tuple[Piano, ...], problems: dict[str, str], *, progress: Progress
) -> dict[str, Heard]:
    heard = {}
    for n, piano in enumerate(pianos):
        try:
            found = _heard(casebook, piano, progress=progress, share=0.7 * n / len(pianos))
        except PianolabError as error:
            problems[piano.id] = str(error)
            continue
        if found is not None:
            heard[piano.id] = found
    return heard


def _heard(casebook: Casebook, piano: Piano, *, progress: Progress, share: float) -> Heard | None:
    """What counts of a piano's sound: its latest visit with a recording, there the one with most keys."""
    records = {r.recording_id: r for r in casebook.surveys(piano.id)}
    for visit in reversed(casebook.visits(piano.id)):
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


def _cuts(casebook: Casebook, heard: Mapping[str, Heard]) -> dict[str, tuple[Cut, ...]]:
    keys = clip_keys({i: h.survey for i, h in heard.items()})
    cuts = {}
    for i, h in heard.items():
        try:
            sound = read_sound(casebook.media_path(h.recording.media)) if keys else None
        except PianolabError:  # the survey is there, the sound is gone: no clips of this one
            sound = None
        cuts[i] = tuple(cut_note(sound, h.survey, key=k) for k in keys) if sound is not None else ()
    return cuts


def _provenance(
    pianos: tuple[Piano, ...], heard: Mapping[str, Heard], problems: Mapping[str, str], *, seed: int
) -> dict[str, str]:
    lines = {"Made by": f"pianolab {__version__}, draws with seed {seed}"}
    for piano in pianos:
        name = f"Recording of {piano.name}"
        if piano.id in problems:
            lines[name] = f"can't be used: {problems[piano.id]}"
        elif piano.id not in heard:
            lines[name] = "none; its sound is unknown"
        else:
            lines[name] = _origin(heard[piano.id])
    if heard:
        lines["Clips"] = "equally loud (A-weighted, first second), so that tone and length can be compared"
    return lines


def _origin(h: Heard) -> str:
    r = h.recording
    note = f"; {r.note}" if r.note else ""
    return (
        f"{h.day}, {r.seconds:.0f} s at {r.rate_hz} Hz, SHA-256 {Path(r.media).stem[:16]}, "
        f"listened to by version {h.version}{note}"
    )
