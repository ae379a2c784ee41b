"""The truth of a take is that of the blow that sounds in it, where a source tells its blows apart."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from benchmarks.playing import Retuned, play
from benchmarks.takes import TRUTH_COLUMNS, Sound

RATE_HZ = 16000


def rate_db_per_s(blow_db: float, seed: int) -> float:
    """How fast a note of this source falls: an ideal sine whose decay the blow decides."""
    return 20.0 + blow_db + 0.01 * (seed % 1000)


class BlowByBlow:
    """Sines that fall at `rate_db_per_s`: the time to fall 20 dB is 20 over it, by definition."""

    name, rate_hz, channels, keys = "blow by blow", RATE_HZ, 1, (40, 41, 42)

    def note(
        self, key: int, *, hold_s: float, blow_db: float = 0.0, seed: int = 0, pedal: bool = False
    ) -> Sound:
        del pedal
        t = np.arange(round(hold_s * RATE_HZ)) / RATE_HZ
        level = 10.0 ** (-rate_db_per_s(blow_db, seed) * t / 20.0)
        return (0.1 * level * np.sin(2 * np.pi * (200.0 + key) * t)).astype(np.float32)[:, None]

    def truth(self, key: int, *, blow_db: float = 0.0, seed: int = 0) -> Mapping[str, object]:
        fall_s = 20.0 / rate_db_per_s(blow_db, seed)
        return dict.fromkeys(TRUTH_COLUMNS, np.nan) | {"key": key, "faults": "", "decay_20_s": fall_s}


class AnyBlow(BlowByBlow):
    """The same strings, told of a mean blow only."""

    def truth(self, key: int) -> Mapping[str, object]:  # type: ignore[override]
        return super().truth(key)


def read_off(source: BlowByBlow) -> tuple[list[float], list[float]]:
    """Times to fall 20 dB that the truth names, and those that the samples show (half a second of each note)."""
    take = play(source, family="test", seed=5, blow_spread_db=3.0, snr_db=80.0)
    shown = []
    for press in take.presses:
        first, second = (
            take.samples[round((press.onset_s + s) * RATE_HZ) :][: RATE_HZ // 10] for s in (0.1, 0.6)
        )
        fall_db = 10.0 * np.log10(np.mean(first**2) / np.mean(second**2))
        shown.append(float(20.0 * 0.5 / fall_db))
    return take.truth.set_index("key").loc[list(source.keys), "decay_20_s"].tolist(), shown


def test_truth_is_of_the_blow_that_sounds() -> None:
    told, shown = read_off(BlowByBlow())
    np.testing.assert_allclose(shown, told, rtol=0.005)
    assert len(set(told)) == len(told)


def test_the_mean_blow_would_be_another() -> None:
    """The twin: a source that isn't told of the blow is off by more than a hundredth."""
    told, shown = read_off(AnyBlow())
    assert np.max(np.abs(np.array(shown) / told - 1.0)) > 0.02


def test_a_retuned_source_passes_the_blow_on() -> None:
    retuned = Retuned(BlowByBlow(), 100.0)
    hard = retuned.truth(40, blow_db=10.0, seed=3)["decay_20_s"]
    assert np.isclose(hard, 20.0 / rate_db_per_s(10.0, 3) / float(retuned.faster))
    assert not np.isclose(hard, retuned.truth(40)["decay_20_s"])
