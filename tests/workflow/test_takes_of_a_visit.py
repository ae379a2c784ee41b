"""Several takes of one visit count together; what doesn't go with them is left out by name, and the processing is told."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from functools import cache

import numpy as np
import pytest

from pianolab.acoustics import Survey, listen
from pianolab.casebook import Casebook, create_casebook
from pianolab.io import write_sound
from pianolab.model import Capture, Piano, SoundGap
from pianolab.recordings import how_captured, with_capture
from pianolab.sound_model import PianoModel, render_scale
from pianolab.workflow import Settings, decide, keep_survey
from pianolab.workflow.hearing import Heard, all_heard
from pianolab.workflow.progress import quiet

RATE = 16000
DAY = date(2026, 5, 2)


@cache
def take(first: int, last: int, *, seed: int = 1, piano: int = 3) -> tuple[np.ndarray, Survey]:
    scale = render_scale(
        PianoModel(seed=piano), first_key=first, last_key=last, hold_s=0.8, rate_hz=RATE, seed=seed
    )
    return scale.samples, listen(scale.samples, rate_hz=RATE, first_key=first, last_key=last)


@pytest.fixture
def book(tmp_path):
    with create_casebook(tmp_path / "book") as book:
        with book.editing(by="Ana") as edit:
            edit.add(Piano(name="by the window"))
        yield book


def keep(book: Casebook, path, *of, day: date = DAY, **more) -> None:
    samples, survey = take(*of, **more)
    name = "-".join(map(str, (*of, *more.values(), day)))
    sound = write_sound(path / f"{name}.wav", samples, rate_hz=RATE, subtype="PCM_16")
    keep_survey(book, sound, survey, piano="by the window", visit=day, by="Ana")


def heard(book: Casebook) -> Heard:
    problems: dict[str, str] = {}
    found = all_heard(book, book.pianos(), problems, until=None, progress=quiet)
    assert not problems
    return found[book.pianos()[0].id]


def keys_of(survey: Survey) -> list[int]:
    return survey.table.loc[survey.table["status"] == "measured", "key"].astype(int).tolist()


@pytest.mark.slow
def test_what_a_second_take_heard_reaches_the_survey_that_counts(book, tmp_path):
    keep(book, tmp_path, 40, 46)
    assert keys_of(heard(book).survey) == list(range(40, 47))
    keep(book, tmp_path, 45, 49, seed=2)
    found = heard(book)
    assert keys_of(found.survey) == list(range(40, 50))
    assert keys_of(found.own) == list(range(40, 47))
    assert (found.recording.last_key, [o.first_key for o in found.others]) == (46, [45])
    decision = decide(book, settings=Settings())
    (survey,) = decision.surveys.values()
    assert keys_of(survey) == list(range(40, 50))
    assert "with " in decision.provenance["Recording of by the window"]


@pytest.mark.slow
def test_another_pianos_take_is_left_out_and_named(book, tmp_path):
    keep(book, tmp_path, 40, 46)
    low, _ = take(40, 45)
    off = listen(low, rate_hz=round(RATE * 1.015), first_key=40, last_key=45)  # as 26 cents sharp
    sound = write_sound(tmp_path / "off.wav", low, rate_hz=RATE, subtype="PCM_16")
    keep_survey(book, sound, off, piano="by the window", visit=DAY, by="Ana")
    found = heard(book)
    assert keys_of(found.survey) == list(range(40, 47))
    ((other, why),) = found.apart
    assert other.original_name == "off.wav"
    assert "cents apart" in why
    assert not found.others
    assert "cents apart" in decide(book, settings=Settings()).provenance["Recording of by the window"]


def test_a_take_of_an_earlier_visit_is_not_mixed_in(book, tmp_path):
    keep(book, tmp_path, 45, 49, day=date(2026, 4, 1))
    keep(book, tmp_path, 40, 46)
    found = heard(book)
    assert keys_of(found.survey) == list(range(40, 47))
    assert (found.others, found.apart) == ((), ())


def test_what_was_on_unknown_or_missing_is_told_and_nothing_where_all_was_off():
    survey = take(40, 46)[1]
    off = Capture(echo_cancellation="off", noise_suppression="off", automatic_gain="off")
    assert with_capture(survey, off) is survey
    assert with_capture(survey, None) is survey
    assert how_captured(survey, off) == ("echo cancellation, noise suppression and automatic gain off",)
    onset_s = float(survey.table.set_index("key").loc[43, "onset_s"])
    gap = SoundGap(kind="never came", begin_s=onset_s + 0.1, end_s=onset_s + 0.3, lost_s=0.2)
    told = with_capture(survey, replace(off, automatic_gain="on", gaps=(gap,))).summary.quality
    assert "automatic gain was on" in told[-2]
    assert told[-1] == "0.20 s of sound is missing, in the notes of D#4: play these again"
    spoiled = with_capture(survey, replace(off, automatic_gain="on"))
    row = spoiled.table.set_index("key").loc[43]
    assert np.isnan(row["decay_20_s"])
    assert row["sustain_trust"] == "automatic gain"
    assert "decay_20_s=automatic gain" in row["gaps"]
    assert row["cents"] == survey.table.set_index("key").loc[43, "cents"]
    assert (spoiled.summary.t60_s, spoiled.summary.impairments[-1]) == (None, "automatic gain")
    # the twin: what was off or unknown takes nothing out
    for said in (off, Capture()):
        assert with_capture(survey, said).table.equals(survey.table)
    (unknown,) = how_captured(survey, Capture(echo_cancellation="off", automatic_gain="off"))
    assert unknown == "the browser didn't say whether its noise suppression was off"
