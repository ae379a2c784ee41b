"""The demonstration, built once for all tests of the long ways through."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from pianolab.acoustics import Survey
from pianolab.casebook import Casebook, open_casebook
from pianolab.demo import demo
from pianolab.sound_model import PianoModel, SceneSound


@pytest.fixture(scope="session")
def demo_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("demonstration") / "demo"
    demo(folder)
    return folder


@pytest.fixture
def demo_book(demo_folder: Path) -> Iterator[Casebook]:
    with open_casebook(demo_folder / "casebook") as casebook:
        yield casebook


@pytest.fixture(scope="session")
def survey_by_condition(demo_folder: Path) -> dict[str, Survey]:
    """What was heard in each of the demonstration's recordings, by the condition that was played."""
    with open_casebook(demo_folder / "casebook") as casebook:
        condition = {r.id: r.note.removeprefix("modelled sound: ") for r in casebook.recordings()}
        return {condition[s.recording_id]: Survey.from_json(s.survey_json) for s in casebook.surveys()}


@pytest.fixture
def small_scene() -> SceneSound:
    """Three keys, soon rendered."""
    model = PianoModel(seed=3, first_key=40, last_key=42)
    return SceneSound(
        name="small", description="", model=model, room=None, hold_s=0.4, gap_s=0.2, rate_hz=16000
    )
