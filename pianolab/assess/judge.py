"""One piano judged: findings and survey in, scores, alerts and repair costs out."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date

from pianolab.acoustics.survey_result import Survey
from pianolab.assess.agreement import findings_that_count, technicians_of
from pianolab.assess.alerts import alerts_from_listening, alerts_from_points, alerts_from_tuning, in_order
from pianolab.assess.assessment import Alert, Assessment, RepairEstimate, Unknown
from pianolab.assess.by_ear import (
    alerts_from_fresh_tuning,
    contradictions,
    hidden_by_fresh_tuning,
    sour_by_ear,
    tuning_by_ear,
    with_doubt,
)
from pianolab.assess.by_recording import HeardKeys, evidence_of_heard, hear, hear_twice
from pianolab.assess.evidence import Evidence, Gap, judge_aspects, once_at_a_key
from pianolab.assess.findings import PointView, evidence_of, view_point
from pianolab.assess.jobs import jobs_from
from pianolab.assess.prices import PriceList
from pianolab.assess.prior import prior_of, with_prior
from pianolab.assess.proposals import (
    as_second_time,
    proposals_from_listening,
    proposals_from_points,
    proposals_from_tuning,
    string_state,
)
from pianolab.assess.repairs import estimate
from pianolab.assess.scoring import Scoring, load_scoring
from pianolab.assess.stops import MEASURED, Evidenced, alerts_from_stops, load_stops
from pianolab.assess.touch_evidence import touch_evidence
from pianolab.assess.tuning_state import FIRST_KEY, TuningState, tuning_state
from pianolab.checklist import Checklist, load_touch_scales
from pianolab.errors import BadInput
from pianolab.model import Buyer, Examiner, Finding, Piano, TouchOpinion
from pianolab.recordings.holding import Holding
from pianolab.show import LOCALE
from pianolab.statements import Statement, statement


@dataclass(frozen=True, kw_only=True)
class Circumstances:
    """What is known of a piano beside its findings and its sound.

    ``opinions`` are what players said of its touch, on the described scales: faults count as evidence,
    taste never does. ``holding`` is two recordings on different days compared
    (`pianolab.recordings.holding.holds_tuning`). ``examiners`` are those who looked: at one point the word of
    somebody whose role is a technician's counts above the others'. The age follows from ``year``, the present one by
    the machine's clock where None.
    """

    opinions: Sequence[TouchOpinion] = ()
    holding: Holding | None = None
    examiners: Sequence[Examiner] = ()
    year: int | None = None

    @property
    def present_year(self) -> int:
        """The year from which the age follows."""
        return self.year or date.today().year


NOTHING_ELSE_KNOWN = Circumstances()


def assess_piano(
    piano: Piano,
    findings: Iterable[Finding],
    *,
    survey: Survey | None,
    checklist: Checklist,
    prices: PriceList,
    profile: Buyer | None = None,
    circumstances: Circumstances = NOTHING_ELSE_KNOWN,
    seed: int = 0,
) -> Assessment:
    """Judge one piano from what was found and what was heard.

    Read it as: how good each side of it is at best and at worst, what stands above all weighing, and what
    putting it right may cost. What was not checked or could not be heard widens, it never counts as good.

    Parameters
    ----------
    piano : the instrument; its name plays no part
    findings : what was found at the checklist's points, in any order
    survey : what was heard, or None where nothing has been recorded
    checklist : the points, with what they bear on
    prices : what jobs cost, in the piano's currency
    profile : the buyer, or None; who enjoys projects does some of the work themselves
    circumstances : who looked, what players said, what became of the tuning, the present year
    seed : int, for the simulated sum of the repairs

    Returns
    -------
    Assessment

    Raises
    ------
    BadInput
        For a finding at an unknown point or of the wrong kind, an opinion on a scale that isn't there, or a
        price list in another currency.

    Examples
    --------
    >>> from pianolab.assess import load_prices
    >>> from pianolab.checklist import load_checklist
    >>> unseen = assess_piano(Piano(name="A"), [], survey=None, checklist=load_checklist(), prices=load_prices())
    >>> unseen.aspect("tone").high, unseen.points_checked, unseen.heard
    (10.0, 0, False)
    """
    findings = tuple(findings)
    _check(piano, findings, checklist, prices)
    scoring = load_scoring()
    recorded = tuning_state(survey, scoring=scoring)
    views, state = _look(piano, findings, recorded, checklist, circumstances, scoring)
    heard = hear(piano, survey, state, scoring=scoring)
    heard = (*heard, *hear_twice(piano, circumstances.holding, scoring=scoring))
    heard = hidden_by_fresh_tuning(_told_by_playing(heard, views, scoring), state, piano)
    evidence = [evidence_of(view, state, scoring=scoring) for view in views]
    evidence += [evidence_of_heard(h) for h in heard]
    if circumstances.opinions:
        evidence += touch_evidence(circumstances.opinions, load_touch_scales(), scoring=scoring, views=views)
    hidden = _hidden_by_tuning(heard, state, scoring) or sour_by_ear(state, {v.point.id: v for v in views})
    repairs = _repairs(piano, views, heard, state, prices, profile, seed, scoring)
    return Assessment(
        piano=piano,
        aspects=judge_aspects(
            once_at_a_key(evidence, scoring.one_key["faults"]), full_loss=scoring.scale["full_loss"]
        ),
        alerts=_alerts(_Noticed(piano.kind, views, heard, recorded, state, survey, hidden), scoring),
        repairs=repairs,
        points_checked=sum(view.checked for view in views),
        points_total=len(views),
        heard=survey is not None,
        hidden=hidden,
        unknown_vetoes=_unknown_vetoes(evidence),
        unknown_costs=_unknown_costs(evidence, repairs, state),
        promises=_promises(findings, checklist),
    )


def _promises(findings: Sequence[Finding], checklist: Checklist) -> tuple[Statement, ...]:
    """What the seller said of each point, once."""
    said = {(f.point, " ".join(f.promised.split())): None for f in findings if f.promised.strip()}
    return tuple(
        statement("promise", point, title=checklist[point].title, words=words) for point, words in said
    )


def _check(piano: Piano, findings: Sequence[Finding], checklist: Checklist, prices: PriceList) -> None:
    known = {point.id for point in checklist}
    for f in findings:
        if f.point not in known:
            hint = "From another checklist? Load that one too."
            raise BadInput("finding", repr(f.point), "the id of a checklist point", hint)
    if prices.currency != piano.currency:
        raise BadInput(
            f"asking price of {piano.name}", piano.currency, f"{prices.currency}, as the price list has it"
        )


def _look(
    piano: Piano,
    findings: Sequence[Finding],
    recorded: TuningState,
    checklist: Checklist,
    circumstances: Circumstances,
    scoring: Scoring,
) -> tuple[list[PointView], TuningState]:
    """What was found at each point that this piano has, and the tuning by recording and by ear."""
    experts = technicians_of(circumstances.examiners, findings, scoring=scoring)
    findings = findings_that_count(findings, piano, checklist=checklist, technicians=experts)
    points = checklist.for_piano(piano)
    views = [view_point(point, findings, scoring=scoring, technicians=experts) for point in points]
    by_point = {view.point.id: view for view in views if view.applies}
    state = tuning_by_ear(recorded, by_point, scoring=scoring)
    prior = prior_of(piano, by_point, year=circumstances.present_year)
    return with_prior(with_doubt(list(by_point.values()), state, scoring=scoring), prior), state


def _told_by_playing(
    heard: Sequence[HeardKeys], views: Sequence[PointView], scoring: Scoring
) -> tuple[HeardKeys, ...]:
    """What no recording tells is not left open where somebody played and listened for it."""
    by_ear = {scoring.alike.get(v.point.id) for v in views if v.checked and not v.doubt}
    return tuple(replace(h, unheard=()) if h.item.untold and h.item.key in by_ear else h for h in heard)


@dataclass(frozen=True)
class _Noticed:
    """All that alerts may come from; ``recorded`` is the tuning by the recording alone, ``state`` by ear as well."""

    kind: str
    views: Sequence[PointView]
    heard: Sequence[HeardKeys]
    recorded: TuningState
    state: TuningState
    survey: Survey | None
    hidden: Statement | None


def _alerts(noticed: _Noticed, scoring: Scoring) -> tuple[Alert, ...]:
    views, heard, state = noticed.views, noticed.heard, noticed.state
    weak, _ = string_state(views, scoring.money["weak_string_points"])
    found = Evidenced(
        views={v.point.id: v for v in views},
        heard={h.item.key: h for h in heard},
        offset_cents=noticed.recorded.offset_cents,
        scoring=scoring,
    )
    alerts = [
        *alerts_from_points(views, scoring=scoring),
        *alerts_from_listening(heard),
        *alerts_from_tuning(state, noticed.survey, noticed.hidden, weak_strings=weak, scoring=scoring),
        *alerts_from_stops(load_stops(), found, kind=noticed.kind),
        *alerts_from_fresh_tuning(found.views, state),
        *contradictions(views, heard, noticed.recorded, scoring=scoring),
    ]
    measured = frozenset({"listening", *(v.point.id for v in views if v.point.record in MEASURED)})
    return in_order(alerts, scoring, measured)


def _repairs(
    piano: Piano,
    views: Sequence[PointView],
    heard: Sequence[HeardKeys],
    state: TuningState,
    prices: PriceList,
    profile: Buyer | None,
    seed: int,
    scoring: Scoring,
) -> RepairEstimate:
    proposals = [
        *proposals_from_points(views, state, scoring=scoring),
        *proposals_from_listening(heard),
        *proposals_from_tuning(state, views, scoring=scoring),
    ]
    proposals = as_second_time(proposals, views)
    jobs = jobs_from(proposals, prices=prices, profile=profile, piano=piano)
    locale = profile.locale if profile is not None else LOCALE
    draws = int(scoring.money["draws"])
    result = estimate(jobs, currency=prices.currency, seed=seed, draws=draws, locale=locale)
    unchecked = sum(not job.found for job in jobs)
    note = f"{result.note}; {prices.origin()}"
    if unchecked:
        note += f"; {unchecked} of the jobs only because something was not checked"
    return replace(result, note=note, origin=prices.origin())


def _hidden_by_tuning(heard: Sequence[HeardKeys], state: TuningState, scoring: Scoring) -> Statement | None:
    """How many notes it hides; nothing where unisons are as wide as is usual some weeks after a tuning."""
    sustain = [h for h in heard if h.item.key in ("sustain treble", "sustain middle")]
    hidden = sum(len(h.hidden) for h in sustain)
    total = sum(h.total for h in sustain)
    if not state.neglected or not total or hidden < scoring.tuning["worth_tuning_first_share"] * total:
        return None
    return statement(
        "heard.hidden by the tuning", "sustain", evidence=["listening"], count=hidden, total=total
    )


def _unknown_vetoes(evidence: Sequence[Evidence]) -> tuple[Unknown, ...]:
    return tuple(_as_unknown(e, gap) for e in evidence for gap in e.gaps if gap.veto_chance > 0)


def _unknown_costs(
    evidence: Sequence[Evidence], repairs: RepairEstimate, state: TuningState
) -> tuple[Unknown, ...]:
    """What a job waits for and no score or veto does."""
    waited = {key for job in repairs.jobs for key, _ in job.waits_for}
    gaps = {gap.key: (e, gap) for e in evidence for gap in e.gaps if not e.strengths and not gap.veto_chance}
    found = [_as_unknown(*gaps[key]) for key in sorted(waited & set(gaps))]
    if state.other_offset_cents is not None and FIRST_KEY in waited:
        found.append(
            Unknown(
                what=statement("unknown.first key"),
                why=statement("unknown.two readings"),
                width=0.0,
                source="listening",
                minutes=2.0,
                key=FIRST_KEY,
            )
        )
    return tuple(found)


def _as_unknown(e: Evidence, gap: Gap) -> Unknown:
    return Unknown(
        what=gap.what,
        why=gap.why,
        width=0.0,
        source=e.source,
        effort=gap.effort,
        minutes=gap.minutes,
        key=gap.key,
        veto_chance=gap.veto_chance,
    )
