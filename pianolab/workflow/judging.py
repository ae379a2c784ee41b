"""From a casebook to the judgement of each of its pianos: which findings and which recording count."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from pianolab.acoustics.holding import Holding
from pianolab.acoustics.pedal import LeftPedal
from pianolab.assess import Assessment, PriceList, assess_piano
from pianolab.casebook import Casebook
from pianolab.checklist import Checklist
from pianolab.errors import BadInput
from pianolab.model import BuyerProfile, Finding, Piano, TouchOpinion, load_profiles
from pianolab.workflow.hearing import Heard, all_heard
from pianolab.workflow.pairs import holding_of, pedals_of
from pianolab.workflow.progress import Progress


@dataclass(frozen=True, kw_only=True)
class Judged:
    """Every piano of a casebook judged, with what that stands on, by piano id.

    ``problems`` says why a piano's recording can't be used; ``holding`` is there where a piano was recorded on
    two days, ``pedals`` where it was recorded with the left pedal too.
    """

    pianos: tuple[Piano, ...]
    assessments: tuple[Assessment, ...]
    findings: Mapping[str, tuple[Finding, ...]]
    heard: Mapping[str, Heard]
    problems: Mapping[str, str]
    holding: Mapping[str, Holding]
    pedals: Mapping[str, LeftPedal]


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
    heard = all_heard(casebook, pianos, problems, until=until, progress=progress)
    progress("comparing", 0.7)
    findings = {p.id: casebook.current_findings(p.id, until=until) for p in pianos}
    opinions = {p.id: opinions_of(casebook, p.id, until=until) for p in pianos}
    pairs = {p.id: holding_of(casebook, heard.get(p.id), p.id) for p in pianos}
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
        pedals=pedals_of(casebook, pianos, heard),
    )


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
