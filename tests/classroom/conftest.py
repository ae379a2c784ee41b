"""Drills without their sounds, for what is drawn and kept many times over."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from pianolab.classroom import kinds
from pianolab.classroom.drills import CONFIRMED
from pianolab.classroom.sounds import RATE_HZ, Played


@pytest.fixture
def unplayed(monkeypatch: pytest.MonkeyPatch) -> None:
    """Drills are made as always, but nothing is played: for what is drawn, many times over."""
    silence = np.ones(RATE_HZ // 2, np.float32)
    keys = range(1, 89)
    played = Played(
        samples=silence, rate_hz=RATE_HZ, table=pd.DataFrame(), onsets_s=dict.fromkeys(keys, 0.1), ends_s=dict.fromkeys(keys, 0.2)
    )  # fmt: skip
    for name in ("play_around", "play_note", "play_real"):
        monkeypatch.setattr(kinds, name, lambda *_, **__: played)
    for name in ("by_faults", "by_measure", "by_verdict"):
        monkeypatch.setattr(kinds, name, lambda *_, **__: CONFIRMED)
    monkeypatch.setattr(kinds, "even_piano", lambda recipe, *_, **__: kinds.drawn_piano(recipe))
    monkeypatch.setattr(kinds, "_curves", lambda *_: ())
    monkeypatch.setattr(kinds, "equally_loud", lambda clips: tuple(clips))
    monkeypatch.setattr(kinds, "_one", lambda *_: None)
