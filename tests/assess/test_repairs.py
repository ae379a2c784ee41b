"""Jobs are counted once, and their sum is simulated: against the distribution's own formulas."""

from dataclasses import replace
from decimal import Decimal
from math import sqrt

import numpy as np
import pytest

from pianolab.assess import RepairJob, load_prices, simulate_repairs
from pianolab.assess.findings import view_point
from pianolab.assess.jobs import jobs_from
from pianolab.assess.proposals import Proposal, proposals_from_tuning
from pianolab.assess.repairs import estimate, triangular
from pianolab.assess.scoring import load_scoring
from pianolab.assess.tuning_state import FIRST_KEY, TuningState
from pianolab.checklist import load_checklist
from pianolab.model import Finding, load_profiles
from pianolab.statements import as_written

PRICES = load_prices()
CHECKLIST = load_checklist()


def job(
    name: str, low: int, usual: int, high: int, chance: float = 1.0, includes: tuple[str, ...] = ()
) -> RepairJob:
    return RepairJob(
        job=name,
        what=as_written(name),
        low=Decimal(low),
        usual=Decimal(usual),
        high=Decimal(high),
        chance=chance,
        why=(as_written("test"),),
        includes=includes,
    )


def draw(*jobs: RepairJob, shared: float = 0.0, draws: int = 200_000) -> np.ndarray:
    return simulate_repairs(jobs, draws=draws, rng=np.random.default_rng(1), shared=shared)


def test_one_job_has_the_triangular_mean_and_spread() -> None:
    """Mean (a + b + c) / 3 and variance (a² + b² + c² - ab - ac - bc) / 18: textbook, from memory."""
    sums = draw(job("a", 100, 200, 600))
    assert sums.mean() == pytest.approx(900 / 3, rel=0.005)
    variance = (100**2 + 200**2 + 600**2 - 100 * 200 - 100 * 600 - 200 * 600) / 18
    assert sums.std() == pytest.approx(sqrt(variance), rel=0.01)
    assert sums.min() >= 100
    assert sums.max() <= 600


def test_the_mean_would_notice_a_wrong_peak() -> None:
    assert draw(job("a", 100, 300, 600)).mean() != pytest.approx(900 / 3, rel=0.005)


def test_triangular_quantiles_follow_the_closed_form() -> None:
    level = np.array([0.2, 0.8])
    low, usual, high = 0.0, 4.0, 10.0
    expected = [sqrt(0.2 * 10 * 4), 10 - sqrt(0.2 * 10 * 6)]
    assert triangular(level, low, usual, high) == pytest.approx(expected)
    assert triangular(level, 5.0, 5.0, 5.0) == pytest.approx([5.0, 5.0])


def test_chance_decides_how_often_a_job_is_paid() -> None:
    sums = draw(job("a", 100, 200, 600, chance=0.3))
    assert (sums > 0).mean() == pytest.approx(0.3, abs=0.005)


def test_the_sum_is_narrower_than_adding_the_highs() -> None:
    jobs = [job(name, 100, 200, 600) for name in "abcdef"]
    sums = draw(*jobs)
    assert np.percentile(sums, 90) < 0.6 * 6 * 600
    assert np.percentile(draw(*jobs, shared=0.9), 90) > np.percentile(sums, 90)


def test_a_job_inside_a_bigger_one_is_not_paid_twice() -> None:
    big, small = job("big", 1000, 1000, 1000, includes=("small",)), job("small", 50, 50, 50)
    assert set(draw(big, small, draws=500)) == {1000.0}
    assert set(draw(small, draws=500)) == {50.0}


def test_no_jobs_cost_nothing() -> None:
    assert draw(draws=10).tolist() == [0.0] * 10


def test_shared_jobs_are_counted_once() -> None:
    """Two reasons for one job: one price, the chance that at least one of them holds, the keys together."""
    two = [
        Proposal(job="damper felt", why=as_written("felt"), chance=0.5, keys=(20, 21)),
        Proposal(job="damper felt", why=as_written("heard"), chance=0.5, keys=(21, 22)),
    ]
    (found,) = jobs_from(two, prices=PRICES, profile=None)
    assert found.quantity == 3
    assert found.chance == pytest.approx(0.75)
    assert found.usual == 3 * PRICES["damper felt"].usual
    assert jobs_from(two[::-1], prices=PRICES, profile=None) == (found,)


def test_what_was_only_not_checked_weighs_less_than_what_was_found() -> None:
    guess = Proposal(job="regulation", why=as_written("not checked: let-off"), chance=0.1, found=False)
    (only_guess,) = jobs_from([guess, guess], prices=PRICES, profile=None)
    assert not only_guess.found
    assert only_guess.chance == pytest.approx(0.1)
    seen = Proposal(job="regulation", why=as_written("uneven"), chance=0.9)
    (both,) = jobs_from([guess, seen], prices=PRICES, profile=None)
    assert both.reasons == ("uneven",)
    assert both.chance == pytest.approx(1 - 0.1 * 0.9)


def test_who_enjoys_projects_pays_for_material_only() -> None:
    work = [Proposal(job="refinishing", why=as_written("flaking"), chance=1.0)]
    profiles = load_profiles()
    (bought,) = jobs_from(work, prices=PRICES, profile=profiles["first piano"])
    (own,) = jobs_from(work, prices=PRICES, profile=profiles["patient restorer"])
    assert own.usual == Decimal("0.2") * bought.usual


@pytest.mark.parametrize(
    ("offset", "jobs"),
    [
        (0.0, {"first tunings"}),
        (-19.0, {"first tunings"}),
        (-25.0, {"first tunings", "pitch raise"}),
        (-60.0, {"first tunings", "pitch raise", "pitch advice", "tuning"}),
        (30.0, {"first tunings"}),
    ],
)
def test_low_pitch_asks_for_a_pitch_raise_and_very_low_pitch_for_advice(
    offset: float, jobs: set[str]
) -> None:
    state = TuningState(heard=True, offset_cents=offset)
    found = proposals_from_tuning(state, [], scoring=load_scoring())
    assert {p.job for p in found} == jobs


def pitch_jobs(offset: float, *findings: Finding):
    """What a low pitch asks for, once the string points are as found."""
    points = [CHECKLIST[i] for i in load_scoring().money["weak_string_points"]]
    views = [view_point(p, findings, scoring=load_scoring()) for p in points]
    state = TuningState(heard=True, offset_cents=offset)
    proposals = proposals_from_tuning(state, views, scoring=load_scoring())
    return {j.job: j for j in jobs_from(proposals, prices=PRICES, profile=None)}


SOUND_STRINGS = (
    Finding(visit_id="v", point="strings-rust", grade=5),
    Finding(visit_id="v", point="strings-splices", count=0),
    Finding(visit_id="v", point="strings-age", reading=20),
)
RUSTY = (Finding(visit_id="v", point="strings-rust", grade=1), *SOUND_STRINGS[1:])


class TestPitchRaise:
    def test_its_cost_includes_strings_that_may_break(self) -> None:
        jobs = pitch_jobs(-25.0, *SOUND_STRINGS)
        assert set(jobs) == {"first tunings", "pitch raise"}
        raised, alone, string = jobs["pitch raise"], PRICES["pitch raise"], PRICES["single string"]
        assert raised.chance == 1.0
        assert raised.low == alone.low
        assert raised.high == alone.high + 2 * string.high
        assert "0 to 2 strings that may break" in raised.title

    @pytest.mark.parametrize("case", [(-25.0, *RUSTY), (-60.0, *SOUND_STRINGS)], ids=["rusty", "far flat"])
    def test_a_technician_is_asked_and_the_lower_tuning_is_priced(self, case) -> None:
        """Advice is paid for sure; then either the raise, or one tuning at the lower pitch, never both."""
        jobs = pitch_jobs(*case)
        assert set(jobs) == {"first tunings", "pitch advice", "pitch raise", "tuning"}
        assert jobs["pitch advice"].chance == 1.0
        assert 0.0 < jobs["pitch raise"].chance < 1.0
        assert "tuning" in jobs["pitch raise"].includes
        assert "tune it lower" in jobs["tuning"].reasons[0]
        two = [jobs["pitch raise"], jobs["tuning"]]
        sums = simulate_repairs(two, draws=20_000, rng=np.random.default_rng(0))
        raised = sums > float(jobs["tuning"].high)
        assert raised.mean() >= jobs["pitch raise"].chance - 0.15
        assert sums.min() >= float(jobs["tuning"].low)

    def test_weak_strings_break_more(self) -> None:
        sound, rusty = pitch_jobs(-25.0, *SOUND_STRINGS), pitch_jobs(-25.0, *RUSTY)
        assert rusty["pitch raise"].high > sound["pitch raise"].high
        assert rusty["pitch raise"].usual > sound["pitch raise"].usual

    def test_strings_nobody_looked_at_may_yet_ask_for_advice(self) -> None:
        unseen = pitch_jobs(-25.0)
        assert 0.0 < unseen["pitch advice"].chance < 0.2
        assert {key for key, _ in unseen["pitch advice"].waits_for} == {f.point for f in SOUND_STRINGS}
        assert "pitch advice" not in pitch_jobs(-25.0, *SOUND_STRINGS)

    def test_a_doubtful_reading_gives_each_reading_half_a_chance(self) -> None:
        state = TuningState(heard=True, offset_cents=-40.0, other_offset_cents=60.0)
        proposals = proposals_from_tuning(state, [], scoring=load_scoring())
        jobs = {j.job: j for j in jobs_from(proposals, prices=PRICES, profile=None)}
        assert jobs["pitch raise"].chance == pytest.approx(0.5)
        assert jobs["pitch raise"].waits_for == ((FIRST_KEY, pytest.approx(0.5)),)


def test_many_guesses_make_a_job_no_likelier_than_the_weightiest() -> None:
    guesses = [
        Proposal(
            job="regulation",
            why=as_written(f"not checked: {i}"),
            chance=0.12,
            found=False,
            unknown=f"point {i}",
        )
        for i in range(10)
    ]
    (job_,) = jobs_from(guesses, prices=PRICES, profile=None)
    assert job_.chance == pytest.approx(0.12)
    assert len(job_.waits_for) == 10
    assert job_.known_chance == pytest.approx(0.0, abs=1e-12)


def test_a_job_that_waits_follows_the_levels_given() -> None:
    hunted = job("a", 100, 100, 100, chance=0.25)
    hunted = replace(hunted, waits_for=(("k", 0.25),))
    levels = {"k": np.linspace(0.0, 1.0, 1000)}
    sums = simulate_repairs([hunted], draws=1000, rng=np.random.default_rng(0), levels=levels)
    assert np.array_equal(sums > 0, levels["k"] > 0.75)


def test_fixed_seed_gives_the_same_estimate() -> None:
    jobs = (job("a", 100, 200, 600), job("b", 10, 20, 30, chance=0.5))
    first, again, other = (estimate(jobs, currency="EUR", seed=s, draws=5000) for s in (1, 1, 2))
    assert first == again
    assert first != other
    assert first.p10 <= first.p50 <= first.p90
