"""Nothing that nobody looked at or heard looks fine: every chart, table and sentence, with an empty visit and survey."""

from __future__ import annotations

import importlib
import inspect
import pkgutil
import re
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import date
from typing import Any

import numpy as np
import pytest

import pianolab as pl
from pianolab import figures
from pianolab.acoustics import Survey, listen
from pianolab.acoustics.survey_result import FAULTS
from pianolab.assess.changes import compare_visits
from pianolab.casebook import create_casebook
from pianolab.checklist import load_checklist
from pianolab.errors import BadInput
from pianolab.figures import plan_keyboard
from pianolab.figures.recording_plan import plan_recording
from pianolab.figures.sheet import Plan
from pianolab.io import Sound
from pianolab.model import Finding, Piano, SurveyRecord, Visit
from pianolab.recordings.holding import holds_tuning
from pianolab.recordings.left_pedal import left_pedal
from pianolab.report.instruments import heard_words
from pianolab.sound_model import PianoModel, render_scale
from pianolab.workflow.charts import OF_A_COMPARISON, OVER_KEYS, _columns
from pianolab.workflow.decision_tables import OF_ALL, OF_ONE

NAMES = ("blind survey", "empty visit", "never visited")
KEYS = {"first_key": 40, "last_key": 43}

PRAISE = re.compile(
    r"\b(no faults?\b|none found|nothing found|in order|faultless|all good|(?<!no )sound$|as it should|no key is flagged)",
    re.I,
)
LIMITED = re.compile(
    r"not (yet )?(been |be )?(known|judged|recorded|looked|heard|checked|seen|told|asked|faultless)|unknown|nobody|judged on no|"
    r"could be judged|of \d+ keys|unseen|unjudged|no price|not one|if it is|can say",
    re.I,
)
"""What must stand in the same text where something sounds like praise."""


def blind(survey: Survey) -> Survey:
    """The same recording, but nothing in it could be judged on any key."""
    table = survey.table.copy()
    table["faults"] = ""
    table["not_judged"] = ";".join(f"{fault}=the sound could not be judged" for fault in FAULTS)
    for column in (
        "off_curve_cents",
        "unison_cents",
        "decay_20_s",
        "release_20_s",
        "brightness_dev",
        "cents",
    ):
        table[column] = np.nan
    table["gaps"] = "decay_20_s=not judged;unison_cents=not judged"
    return replace(survey, table=table)


@pytest.fixture(scope="module")
def survey() -> Survey:
    scale = render_scale(PianoModel(seed=5), **KEYS, rate_hz=22050, hold_s=0.8, gap_s=0.3)
    return listen(scale.samples, rate_hz=scale.rate_hz, **KEYS, name="scale.flac")


@pytest.fixture(scope="module")
def decision(tmp_path_factory: pytest.TempPathFactory, survey: Survey) -> Iterator[pl.Decision]:
    """Three pianos of which nothing is known: one with a recording that tells nothing, one visited, one not even that."""
    with create_casebook(tmp_path_factory.mktemp("unknown") / "book") as book:
        with book.editing(by="Ana") as edit:
            first, second, _ = (edit.add(Piano(name=name)) for name in NAMES)
            visits = [edit.add(Visit(piano_id=p.id, day=date(2026, 5, 14))) for p in (first, second)]
            silence = np.zeros((22050, 1), dtype=np.float32)
            recording = edit.add_sound(visits[0].id, Sound(silence, 22050, name="scale.flac"), **KEYS)
            edit.add(
                SurveyRecord(
                    recording_id=recording.id,
                    visit_id=visits[0].id,
                    version="1",
                    survey_json=blind(survey).to_json(),
                )
            )
        yield pl.decide(book)


def texts_of(value: Any) -> Iterator[str]:
    """Every text in nested data."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        for each in value.values():
            yield from texts_of(each)
    elif isinstance(value, (list, tuple)):
        for each in value:
            yield from texts_of(each)


def said_in(figure: Any) -> list[str]:
    """Titles, legends, notes and hovers of a figure."""
    drawn = figure.to_dict()
    traces = [{k: t.get(k) for k in ("name", "text", "hovertext")} for t in drawn["data"]]
    layout = {k: drawn["layout"].get(k) for k in ("title", "annotations", "xaxis", "yaxis")}
    lines = [*texts_of(traces), *texts_of(layout)]
    return [re.sub(r"<br>|</?b>", lambda tag: " " if tag[0] == "<br>" else "", line) for line in lines]


def praises(texts: list[str]) -> list[str]:
    """Texts that praise without saying in the same breath how little is known."""
    return [t for t in texts if PRAISE.search(t) and not LIMITED.search(t)]


@pytest.mark.parametrize("kind", [*OVER_KEYS, *OF_A_COMPARISON])
def test_every_chart_of_the_shortlist_names_every_piano_and_praises_none(
    decision: pl.Decision, kind: str
) -> None:
    texts = said_in(decision.chart(kind))
    assert praises(texts) == []
    for name in NAMES:
        assert any(name in text for text in texts), f"{name} vanishes from {kind}"
    if kind in OVER_KEYS:
        for name in NAMES[1:]:
            assert any(name in t and "not recorded" in t for t in texts)


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("kind", ["keyboard", "instrument", "room"])
def test_every_chart_of_one_piano_says_that_it_is_unknown(
    decision: pl.Decision, kind: str, name: str
) -> None:
    texts = said_in(decision.chart(kind, piano=name))
    assert praises(texts) == []
    assert any(re.search(r"not |unknown|judged on no", text) for text in texts), texts


def builders() -> set[str]:
    """Every function of the figures that makes a plan, found in the folder itself."""
    modules = [
        importlib.import_module(m.name) for m in pkgutil.iter_modules(figures.__path__, "pianolab.figures.")
    ]
    made = {
        name
        for module in modules
        for name, f in inspect.getmembers(module, callable)
        if name.startswith("plan_") and getattr(f, "__module__", "").startswith("pianolab.figures")
    }
    return made | {name for name in figures.__all__ if name.startswith("plan_")}


def two_blind_visits(survey: Survey) -> Any:
    unheard = {"heard_before": blind(survey), "heard_after": blind(survey)}
    return compare_visits(Piano(name="x", **KEYS), [], [], checklist=load_checklist(), **unheard)


def over_keys(kind: str) -> Callable[[pl.Decision, Survey], Plan]:
    def made(decision: pl.Decision, _: Survey) -> Plan:
        plan: Plan = getattr(figures, kind)(decision.surveys, {p.id: p.name for p in decision.pianos})
        return plan

    return made


def never_visited(decision: pl.Decision) -> Piano:
    return decision.piano("never visited")


PLANS: dict[str, Callable[[pl.Decision, Survey], Any]] = {
    **{f"plan_{kind}": over_keys(f"plan_{kind}") for kind in OVER_KEYS},
    "plan_column": lambda d, _: figures.plan_column(
        "inharmonicity", d.surveys, {p.id: p.name for p in d.pianos}
    ),
    "plan_costs": lambda d, _: figures.plan_costs(d.comparison),
    "plan_ranks": lambda d, _: figures.plan_ranks(d.comparison),
    "plan_next_steps": lambda d, _: figures.plan_next_steps(d.comparison),
    "plan_radar": lambda d, _: figures.plan_radar(d.comparison.assessments, profile=d.comparison.profile),
    "plan_keyboard": lambda d, _: plan_keyboard(never_visited(d)),
    "plan_instrument": lambda d, _: figures.plan_instrument(
        never_visited(d), findings=(), checklist=d.checklist
    ),
    "plan_room_change": lambda d, _: figures.plan_room_change(d.rooms[never_visited(d).id], name="x"),
    "plan_drift": lambda _, s: figures.plan_drift(holds_tuning(blind(s), blind(s)), name="x"),
    "plan_left_pedal": lambda _, s: figures.plan_left_pedal(left_pedal(blind(s), blind(s), kind="grand")),
    "plan_marks_then_and_now": lambda _, s: figures.plan_marks_then_and_now(two_blind_visits(s)),
    "plan_promises": lambda _, s: figures.plan_promises(two_blind_visits(s)),
    "plan_note": lambda _, s: figures.plan_note(blind(s), 40),
    "plan_recording": lambda _, s: plan_recording(np.zeros(22050), rate_hz=22050, table=blind(s).table),
}
"""How each plan is made of what nobody knows."""


def test_every_plan_there_is_has_its_turn() -> None:
    """A figure that is added is asked here too, or this fails."""
    assert builders() == set(PLANS)


@pytest.mark.parametrize("name", PLANS)
def test_no_plan_praises_what_nobody_knows(decision: pl.Decision, survey: Survey, name: str) -> None:
    try:
        plan = PLANS[name](decision, survey)
    except BadInput as error:  # said in one line, and nothing is drawn
        said = [str(error)]
    else:
        rows = plan.rows() if isinstance(plan, Plan) else ()
        said = [plan.alt, *("; ".join(map(str, row)) for row in rows)]
    assert all(said)
    assert praises(said) == []


def test_no_column_of_a_survey_praises_and_each_names_every_piano(decision: pl.Decision) -> None:
    columns = _columns(decision.surveys)
    assert len(columns) > 20
    for column in columns:
        texts = said_in(decision.chart(column))
        assert praises(texts) == [], column
        for name in NAMES:
            assert any(name in text for text in texts), f"{name} vanishes from {column}"


@pytest.mark.parametrize("kind", OF_ALL)
def test_no_table_of_all_praises_what_nobody_knows(decision: pl.Decision, kind: str) -> None:
    table = decision.table(kind)
    rows = ["; ".join(str(cell) for cell in row) for row in table.rows()]
    assert praises([table.headline(), *rows]) == []


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("kind", OF_ONE)
def test_no_table_of_one_piano_praises_it(decision: pl.Decision, kind: str, name: str) -> None:
    try:
        table = decision.table(kind, name)
    except BadInput:  # what nobody recorded has no such table, and is told so
        return
    assert praises([table.headline(), *("; ".join(map(str, row)) for row in table.rows())]) == []


def test_a_stop_that_nobody_looked_for_is_not_said_to_be_absent(decision: pl.Decision) -> None:
    for _, stop, unseen in decision.table("stops").rows():
        assert int(unseen) > 0
        assert stop == f"none seen, {unseen} not looked at"


def partly(survey: Survey, fault: str, keys: set[int]) -> Survey:
    """The same recording without a fault, and one fault that could not be judged on some keys."""
    table = survey.table.copy()
    table["faults"] = ""
    table["not_judged"] = [f"{fault}=noise" if k in keys else "" for k in table["key"]]
    return replace(survey, table=table, summary=replace(survey.summary, fault_counts={}))


def test_no_fault_heard_is_never_said_alone_where_one_could_not_be_told(survey: Survey) -> None:
    said = {
        "buzz on any key": partly(survey, "buzz", {40, 41, 42, 43}),
        "buzz on 2 of 4 keys": partly(survey, "buzz", {40, 41}),
    }
    for words, heard in said.items():
        for line in (heard.headline(), heard_words(heard)):
            assert "no fault heard" in line
            assert f"could not be told: {words}" in line
    whole = partly(survey, "buzz", set())
    assert whole.unjudged() == {}
    assert whole.headline().endswith("no fault heard")


def test_faults_are_told_from_the_keys_where_nobody_counted_them(survey: Survey) -> None:
    """A survey made before faults were counted says the same of its keys."""
    table = survey.table.copy()
    table["faults"] = ["buzz" if k < 42 else "" for k in table["key"]]
    for counts in ({}, {"buzz": 2}):
        heard = replace(survey, table=table, summary=replace(survey.summary, fault_counts=counts))
        assert "buzz on 2" in heard_words(heard)


def test_no_sentence_of_the_verdict_praises(decision: pl.Decision) -> None:
    assert decision.comparison.verdict.kind != "buy"
    assert praises(list(decision.comparison.verdict.sentences)) == []


def test_a_keyboard_of_which_nothing_was_judged_says_so(survey: Survey) -> None:
    plan = plan_keyboard(Piano(name="x", **KEYS), survey=blind(survey))
    assert set(plan.tested.values()) == {0}
    assert "nothing could be judged" in plan.alt
    assert "none found" not in plan.alt


def test_two_visits_of_which_the_first_heard_nothing_are_no_zero_before(survey: Survey) -> None:
    piano = Piano(name="x", **KEYS)
    changes = compare_visits(
        piano, [], [], checklist=load_checklist(), heard_before=blind(survey), heard_after=survey
    )
    assert changes.heard
    for row in changes.rows():
        if row[0].startswith("by ear"):
            assert "not known" in row[1], row
            assert not row[1].startswith("0")


@pytest.mark.parametrize("kind", ["decay", "tuning", "unison"])
def test_then_and_now_stand_in_one_chart_and_what_was_not_recorded_is_named(
    survey: Survey, kind: str
) -> None:
    def said(before: Survey | None, after: Survey | None) -> list[str]:
        changes = compare_visits(
            Piano(name="x", **KEYS),
            [],
            [],
            checklist=load_checklist(),
            heard_before=before,
            heard_after=after,
        )
        return said_in(changes.chart(kind))

    both = said(survey, survey)
    assert any("then" in t for t in both)
    assert any("now" in t for t in both)
    assert any("then: not recorded" in t for t in said(None, survey))
    with pytest.raises(BadInput, match="surveys: got none"):
        said(None, None)


def test_another_answer_is_not_the_same() -> None:
    tuned = [Finding(visit_id=str(n), point="papers-tuner", answer=bool(n)) for n in (0, 1)]
    changes = compare_visits(Piano(name="x"), tuned[:1], tuned[1:], checklist=load_checklist())
    assert [p.direction for p in changes.points] == ["different"]
    again = compare_visits(Piano(name="x"), tuned[:1], tuned[:1], checklist=load_checklist())
    assert [p.direction for p in again.points] == ["the same"]


@pytest.mark.parametrize("text", ["no fault heard", "buzz: none found", "The hammers are in order."])
def test_praise_would_be_seen(text: str) -> None:
    """The twin: what the checks above look for is caught."""
    assert praises([text]) == [text]
    assert praises([f"{text}; 40 of 88 keys could be judged"]) == []
