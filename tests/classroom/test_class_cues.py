"""The observer that knows one simple feature: it wins where a feature gives the answer away, and where none does it doesn't."""

from __future__ import annotations

import numpy as np
import pytest

from benchmarks.class_cues import FEATURES, drawn, scored

DRAWS = 60
BY_CHANCE = 0.57 + 2.0 * 0.5 / np.sqrt(DRAWS)
"""The limit, and what so few draws may lie above it."""

pytestmark = pytest.mark.slow


def shares(kind: str, fault: str) -> dict[str, float]:
    """Share right by each feature."""
    found = drawn(kind, fault, draws=DRAWS, source="recorded", seed=11)  # type: ignore[arg-type]
    return dict(zip(FEATURES, scored(found).tolist(), strict=True))


@pytest.mark.parametrize(("fault", "carrier"), [("short_sustain", "energy"), ("voicing", "centroid")])
def test_only_what_carries_the_question_wins(fault: str, carrier: str) -> None:
    found = shares("which is better", fault)
    assert found[carrier] > 0.7
    for feature in set(FEATURES) - {carrier}:
        assert found[feature] < BY_CHANCE, feature


def test_matched_by_its_whole_energy_the_blow_would_win(monkeypatch: pytest.MonkeyPatch) -> None:
    """The twin: the note that dies sooner is then struck harder, and the observer takes the harder blow."""

    def whole(note: np.ndarray) -> float:
        return float(10.0 * np.log10(np.mean(np.asarray(note, float) ** 2)))

    monkeypatch.setattr("pianolab.classroom.sounds.strength_db", whole)
    assert shares("which is better", "short_sustain")["blow"] > BY_CHANCE


def test_a_feature_is_learnt_on_one_half_and_tried_on_the_other() -> None:
    """What tells nothing scores about half, not more because it was picked afterwards."""
    noise = np.random.default_rng(2).standard_normal((300, 200))
    assert np.mean(scored(noise)) == pytest.approx(0.5, abs=0.02)
    assert np.mean(scored(np.abs(noise))) == 1.0
