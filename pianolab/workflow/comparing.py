"""From a casebook to the comparison of its shortlist, with all that the page shows."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from html import escape
from pathlib import Path

from pianolab import __version__
from pianolab.acoustics import Survey
from pianolab.assess import PriceList, load_prices
from pianolab.casebook import Casebook
from pianolab.checklist import Checklist, load_checklist
from pianolab.compare import Comparison, compare_pianos
from pianolab.errors import PianolabError
from pianolab.io import read_sound
from pianolab.model import BuyerProfile, Finding, Piano
from pianolab.report import Clip
from pianolab.show import Row, Showable
from pianolab.workflow.clips import Cut, clip_keys, cut_note, make_clips
from pianolab.workflow.hearing import Heard
from pianolab.workflow.judging import Judged, find_profile, judge_casebook
from pianolab.workflow.progress import Progress, quiet, stoppable


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

    def shown(self) -> list[Row]:
        return self.comparison.shown()

    def _repr_html_(self) -> str:
        sentences = "".join(f"<p>{escape(s)}</p>" for s in self.comparison.verdict.sentences)
        return super()._repr_html_() + sentences


@stoppable("Not compared to the end; the casebook is as it was.")
def compare_casebook(
    casebook: Casebook,
    *,
    profile: str | BuyerProfile = "first piano",
    seed: int = 0,
    checklist: Checklist | None = None,
    prices: PriceList | None = None,
    until: date | None = None,
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
    until : leave out visits after that day
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
    judged = judge_casebook(
        casebook, profile=buyer, checklist=checklist, prices=prices, seed=seed, until=until, progress=tell
    )
    comparison = compare_pianos(judged.assessments, profile=buyer, seed=seed)
    return compared_of(casebook, judged, comparison, checklist=checklist, progress=tell)


def compared_of(
    casebook: Casebook, judged: Judged, comparison: Comparison, *, checklist: Checklist, progress: Progress | None = None
) -> CasebookComparison:  # fmt: skip
    """What was judged and compared, with the clips and where everything comes from."""
    tell, heard = progress or quiet, judged.heard
    tell("cutting the clips", 0.8)
    surveys = {i: h.survey for i, h in heard.items()}
    clips = make_clips(surveys, _cuts(casebook, heard))
    return CasebookComparison(
        comparison=comparison,
        surveys=surveys,
        findings=dict(judged.findings),
        clips=clips,
        provenance=_provenance(judged.pianos, heard, judged.problems, seed=comparison.seed),
        checklist=checklist,
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
