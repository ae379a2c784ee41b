"""A stranger's check: who sees only the page finds which to buy, why, at what price, what is unknown, what to do next.

The right answers are computed from the comparison; the reader below knows nothing but the words on the page.
"""

import re
from dataclasses import dataclass, field, replace
from html.parser import HTMLParser

import pytest

from pianolab.assess import assess_piano, load_prices
from pianolab.checklist import findings_for, load_checklist, load_scenario
from pianolab.compare import Comparison, PriceAdvice, compare_pianos
from pianolab.model import Finding, load_profiles
from pianolab.report import comparison_page
from pianolab.report.offers import figures_line
from pianolab.statements import as_written
from pianolab.words import upper_first
from tests.figures.make import make_survey

LABELS = (
    "Which",
    "Why",
    "Not the others",
    "What to offer",
    "Do next",
    "Not known",
    "How sure",
    "Who looked",
)

IF_ANY = "Get in writing"
"""Stands only where something was promised or is to be agreed on."""


@dataclass
class Reader(HTMLParser):
    """Reads a page as text: what stands under each label of the first list of answers."""

    answers: dict[str, str] = field(default_factory=dict)
    skipped: int = 0
    place: str = ""
    label: str = ""
    done: bool = False

    def __post_init__(self) -> None:
        super().__init__()

    def handle_starttag(self, tag, attrs) -> None:  # noqa: ARG002
        self.skipped += tag in ("script", "style", "svg")
        if tag in ("dt", "dd"):
            self.place = tag
            self.label = "" if tag == "dt" else self.label

    def handle_endtag(self, tag) -> None:
        self.skipped -= tag in ("script", "style", "svg")
        self.done |= tag == "dl"
        self.place = "" if tag in ("dt", "dd") else self.place

    def handle_data(self, data) -> None:
        if self.skipped or self.done or not data.strip():
            return
        if self.place == "dt":
            self.label += data.strip()
        elif self.place == "dd":
            self.answers[self.label] = f"{self.answers.get(self.label, '')} {' '.join(data.split())}".strip()


def read(html: str) -> dict[str, str]:
    reader = Reader()
    reader.feed(html)
    return reader.answers


@dataclass
class Scenario:
    """One shortlist with what is known of it, and its page."""

    comparison: Comparison
    page: str
    surveys: dict


def build(*, cracked: str = "") -> Scenario:
    """The invented shortlist; the plate of the piano named ``cracked`` was seen to be cracked."""
    checklist, scenario, profile = load_checklist(), load_scenario(), load_profiles()["first piano"]
    findings, surveys, assessments = {}, {}, []
    for n, (piano, condition) in enumerate(
        zip(scenario.instruments, scenario.conditions.values(), strict=True)
    ):
        found = findings_for(condition, visit_id=f"v{n}", piano=piano, examiner="Ana", checklist=checklist)
        if piano.name == cracked:
            found = (
                *(f for f in found if f.point != "plate-cracks"),
                Finding(visit_id=f"v{n}", point="plate-cracks", answer=True),
            )
        findings[piano.id], surveys[piano.id] = found, make_survey(seed=n)
        assessments.append(
            assess_piano(
                piano,
                found,
                survey=surveys[piano.id],
                checklist=checklist,
                prices=load_prices(),
                profile=profile,
            )
        )
    comparison = compare_pianos(assessments, profile=profile, seed=3, draws=2000)
    page = comparison_page(comparison, surveys=surveys, findings=findings, checklist=checklist)
    return Scenario(comparison=comparison, page=page, surveys=surveys)


@pytest.fixture(scope="module")
def scenarios() -> tuple[Scenario, Scenario]:
    first = build()
    return first, build(cracked=best(first.comparison).piano.name)


def best(c: Comparison):
    """The assessment of the instrument that comes first most often."""
    winner = max(c.standings, key=lambda s: s.rank_shares[0])
    return c.assessment(winner.piano_id)


@pytest.mark.slow
def test_the_winners_differ(scenarios) -> None:
    one, other = (best(s.comparison).piano.name for s in scenarios)
    assert one != other


@pytest.mark.parametrize("number", [0, 1])
def test_the_five_answers_are_found_by_their_labels(scenarios, number) -> None:
    c, answers = scenarios[number].comparison, read(scenarios[number].page)
    winner = best(c)
    standing = c.standing(winner.piano.id)
    assert tuple(label for label in answers if label != IF_ANY) == LABELS
    assert winner.piano.name in answers["Which"]
    assert not any(a.piano.name in answers["Which"] for a in c.assessments if a is not winner)
    assert answers["Why"].startswith(tuple(speaking_for(scenarios[number], winner))), answers["Why"]
    rivals = [a.piano.name for a in c.assessments if a is not winner]
    assert all(name in answers["Not the others"] for name in rivals)
    assert winner.piano.name not in answers["Not the others"]
    assert f"{winner.points_checked} of {winner.points_total} points, by Ana" in answers["Who looked"]
    assert answers["What to offer"].startswith(
        upper_first(figures_line(standing.price, winner.piano.currency))
    )
    step = max(c.next_steps, key=lambda s: s.chance_to_change)
    assert step.piano_name in answers["Do next"]
    assert step.text.partition(": ")[0].casefold() in answers["Do next"].casefold()
    unseen = winner.points_total - winner.points_checked
    assert answers["Not known"].startswith(f"{unseen} of {winner.points_total} points")
    assert re.search(
        rf"first and is fit to buy {100 * standing.rank_shares[0]:.0f} times in 100", answers["How sure"]
    )


def speaking_for(scenario: Scenario, winner) -> list[str]:
    """What may open the reasons: the parts that hold it together, the keys that sing, the keys without a fault, its
    tuning, the budget, or that nothing speaks for it yet."""
    verdict = scenario.surveys[winner.piano.id].table["sustain_verdict"]
    sound, short = ((verdict == v).sum() for v in ("sound", "short"))
    singing = f"Its notes sing as long as they should: {sound} of the {sound + short} keys"
    return [
        "What can be seen of what holds it together was found sound",
        *([singing] if short <= 0.1 * (sound + short) else []),
        "No key is silent",
        "It can be expected",
        "With everything",
        "Nothing that was looked at or heard",
    ]


def test_the_reader_has_teeth(scenarios) -> None:
    first, other = scenarios
    assert read(other.page)["Which"] != read(first.page)["Which"]
    changed = replace(
        first.comparison,
        standings=tuple(
            replace(s, price=PriceAdvice(missing=(as_written("nobody knows"),)))
            for s in first.comparison.standings
        ),
    )
    page = comparison_page(changed, surveys={}, findings={}, checklist=load_checklist())
    assert read(page)["What to offer"].startswith("No price yet Nobody knows.")
