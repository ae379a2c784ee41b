"""Drills without their sounds, for what is drawn and kept many times over."""

from __future__ import annotations

import numpy as np
import pytest

from pianolab.classroom import pairs, rows, transfer
from pianolab.classroom.draws import Note
from pianolab.classroom.drills import CONFIRMED
from pianolab.classroom.sounds import RATE_HZ, Curve, DrillClip


@pytest.fixture
def unplayed(monkeypatch: pytest.MonkeyPatch) -> None:
    """Drills are made as always, but nothing is played: for what is drawn, many times over."""
    silence = np.ones(RATE_HZ // 2, np.float32)
    flat = Curve(label="A", x=(0.0,), level_db=(0.0,))

    def played(_recipe, key, fault, **_more):
        return Note(key=key, fault=fault, sound=silence, plain=silence)

    for module in (pairs, rows):
        monkeypatch.setattr(module, "played", played)
        monkeypatch.setattr(module, "by_measure", lambda *_: CONFIRMED)
        monkeypatch.setattr(module, "curves_of", lambda *_, **__: ())
    for module in (pairs, rows, transfer):
        monkeypatch.setattr(
            module,
            "struck",
            lambda label, _notes, **__: DrillClip(label=label, samples=silence, rate_hz=RATE_HZ),
        )
    for name in ("level_over_time", "level_over_pitch"):
        monkeypatch.setattr(pairs, name, lambda *_, **__: flat)
    monkeypatch.setattr(transfer, "level_over_time", lambda *_: flat)
    for name in ("in_room", "brighter"):
        monkeypatch.setattr(pairs, name, lambda sound, *_, **__: sound)
