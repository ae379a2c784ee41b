"""What the raw sound contradicts is not shown: ticks over fading notes, a codec's noise, a register that moved together.

The notes are the shipped ones of a real grand (datasets/real_notes/CARD.md), the ticks and the noise are made here.
"""

from __future__ import annotations

from functools import cache
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from scipy import signal

from pianolab.acoustics import listen
from pianolab.acoustics.envelope import decay
from pianolab.acoustics.envelope.sustain import heard_rate, short_notes
from pianolab.acoustics.judging.tuning_need import moved_together
from pianolab.acoustics.keys.compass import usual_decay_20_s
from pianolab.acoustics.limits import limits
from pianolab.acoustics.recorder.elsewhere import beside_over_middle_db
from pianolab.acoustics.recorder.recorder_states import top_string_perhaps
from pianolab.io import string_together

TICK_DB = -14.0
"""Peak of a tick re the take's."""


@cache
def take() -> tuple[np.ndarray, int]:
    sound, _ = string_together(hold_s=2.0, gap_s=0.5, lead_s=0.5)
    return sound.samples[:, 0], sound.rate_hz


def with_ticks(samples: np.ndarray, rate_hz: int) -> np.ndarray:
    """A tick every second, as of a clock: four tones that are over in some 10 ms and a ring of 0.15 s."""
    rng = np.random.default_rng(3)
    t = np.arange(round(0.15 * rate_hz)) / rate_hz
    tones = sum(np.sin(2 * np.pi * f * t) for f in (2300.0, 4100.0, 6700.0, 9800.0)) * np.exp(-t / 0.003)
    tick = tones + 0.6 * rng.standard_normal(len(t)) * np.exp(-t / 0.03)
    tick *= 10 ** (TICK_DB / 20) * np.abs(samples).max() / np.abs(tick).max()
    out = samples.copy()
    for at in range(round(0.3 * rate_hz), len(out) - len(t), rate_hz):
        out[at : at + len(t)] += tick
    return out


@cache
def plain() -> pd.DataFrame:
    samples, rate_hz = take()
    return listen(samples, rate_hz=rate_hz).table.set_index("key")


def off_under_ticks() -> tuple[int, int]:
    """How many times to fall 20 dB are told with and without ticks, and how many of them differ by more than 15 %."""
    samples, rate_hz = take()
    ticking = listen(with_ticks(samples, rate_hz), rate_hz=rate_hz).table.set_index("key")
    both = (ticking["decay_20_bound"] == "=") & (plain()["decay_20_bound"] == "=")
    off = (ticking["decay_20_s"] / plain()["decay_20_s"] - 1.0)[both].abs() > 0.15
    return int(both.sum()), int(off.sum())


def test_a_tick_over_a_note_that_has_faded_does_not_make_it_last() -> None:
    told, off = off_under_ticks()
    assert told >= 10
    assert off <= 0.1 * told


def test_without_looking_for_it_a_tick_makes_notes_last(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(decay, "broken_into_s", lambda *_: np.inf)
    told, off = off_under_ticks()
    assert off > 0.1 * told


def level(power: np.ndarray, t: np.ndarray) -> decay.NoteLevel:
    return decay.NoteLevel(t, power, noise=1e-9)


def test_a_beat_is_no_other_sound() -> None:
    t = np.arange(-0.06, 3.0, 0.005)
    strings = np.abs(0.5 + 0.49 * np.exp(2j * np.pi * 0.7 * t)) ** 2
    beating = np.where(t > 0, 10.0 ** (-1.5 * t) * strings, 1e-8)
    assert decay.broken_into_s(level(beating, t)) == np.inf
    knocked = beating + np.where((t > 2.5) & (t < 2.6), 0.05, 0.0)
    assert 2.4 < decay.broken_into_s(level(knocked, t)) <= 2.5


def test_a_beat_out_of_a_flat_hole_is_no_other_sound_where_the_partials_jump() -> None:
    """Three strings can make such a hole; a knock, the twin, jumps between the partials alone."""
    t = np.arange(-0.06, 3.0, 0.005)
    faded = np.where(t > 0, 10.0 ** (-0.9 * t), 1e-8)
    hole = level(faded * np.where((t > 1.5) & (t < 1.9), 0.1, 1.0), t)
    steady = level(faded * np.where(t > 1.5, 0.1, 1.0), t)
    jumped_s = decay.broken_into_s(hole)
    assert np.isfinite(jumped_s), "by the whole level it might be another sound"
    assert decay.broken_into_s(hole, hole) == np.inf
    assert decay.broken_into_s(hole, steady) == jumped_s


def between_partials(noise: str) -> float:
    """A note of 260 Hz whose partials a codec blurs, or beside which something rattles."""
    rate_hz = 44100
    t, rng = np.arange(rate_hz) / rate_hz, np.random.default_rng(5)
    partials = sum(np.sin(2 * np.pi * 260.0 * n * t) / n for n in range(1, 34))
    if noise == "blurred":
        slow = signal.sosfilt(signal.butter(2, 60.0, fs=rate_hz, output="sos"), rng.standard_normal(len(t)))
        sound = partials * (1.0 + 0.05 * slow / slow.std())
    else:
        sound = partials + 0.02 * rng.standard_normal(len(t))
    m = SimpleNamespace(
        strikes=SimpleNamespace(onset_s=np.zeros(1), f1_hz=np.array([260.0])),
        f1_hz=np.array([260.0]),
        inharmonicity=np.zeros(1),
    )
    return beside_over_middle_db(sound[None].astype(np.float32), m, 0, rate_hz=rate_hz)  # type: ignore[arg-type]


def test_what_hugs_the_partials_is_told_from_what_fills_the_gaps() -> None:
    hugs_db = limits()["elsewhere"]["hugs_db"]
    assert between_partials("blurred") > hugs_db
    assert abs(between_partials("rattle")) < 0.5 * hugs_db


KEY = np.arange(25, 88)


def short(key: int | tuple[int, ...], *, sooner: float, quicker: float) -> set[int]:
    """Keys called short where some fall sooner and lose energy quicker (ln) than an otherwise even instrument's."""
    usual, own = usual_decay_20_s(KEY), np.isin(KEY, key)
    decay_s, rate = usual * np.exp(-sooner * own), 20.0 / usual * np.exp(quicker * own)
    return {int(k) for k in KEY[short_notes(decay_s, np.full(len(KEY), "="), rate, KEY)[0]]}


BESIDE_EACH_OTHER = (48, 49, 50, 51, 52, 53)


def test_sound_neighbours_that_differ_as_a_real_grand_s_do_are_not_short() -> None:
    """Two struck notes of a real grand: 0.4 sooner than its line, 0.45 quicker."""
    assert short(BESIDE_EACH_OTHER, sooner=0.4, quicker=0.45) == set()
    assert short(BESIDE_EACH_OTHER, sooner=0.9, quicker=0.9) == set(BESIDE_EACH_OTHER)


def test_of_a_register_that_is_short_less_is_asked() -> None:
    """As short as a few neighbours may be on a sound piano; most of an octave and more is a board or a bridge."""
    register = tuple(range(52, 66))
    assert short(register, sooner=0.45, quicker=0.45) >= set(range(55, 63))
    assert short(register[:6], sooner=0.45, quicker=0.45) == set()


def test_strings_alone_do_not_make_a_note_short() -> None:
    """One partial, misread as quick: at the top of a real grand through a codec 1.1 quicker, 0.26 sooner."""
    assert short(82, sooner=0.26, quicker=1.5) == set()
    assert short(82, sooner=1.0, quicker=1.0) == {82}


def test_on_a_piano_whose_sound_notes_differ_much_a_note_is_not_short_by_what_others_have() -> None:
    """A short-lived piano: its notes scatter by a half and more, one lasts a third of what other pianos' do."""
    usual, rng = usual_decay_20_s(KEY), np.random.default_rng(8)

    def called(scatter: float) -> bool:
        own, quick = rng.normal(0.0, scatter, (2, len(KEY)))
        own[20], quick[20] = -0.5, 0.4
        decay_s, rate = usual * np.exp(-0.7 + own), 20.0 / usual * np.exp(0.6 + quick)
        return bool(short_notes(decay_s, np.full(len(KEY), "="), rate, KEY)[0][20])

    assert not called(0.4)
    assert called(0.1)


def test_strings_lose_no_energy_that_the_level_keeps() -> None:
    """Modes that were misread as quick as 48 dB/s in a note whose level begins to fall by 15 dB/s."""
    decays = [SimpleNamespace(early_db_per_s=v) for v in (15.0, 15.0, np.nan)]
    m = SimpleNamespace(decays=decays, string_db_per_s=np.array([48.0, 14.0, 48.0]))
    assert np.allclose(heard_rate(m), [15.0 * limits()["decay"]["rate_over_level"], 14.0, 48.0])  # type: ignore[arg-type]


def test_one_key_far_off_is_a_fault_and_a_register_is_not() -> None:
    key = np.arange(20, 60)
    assert not moved_together(np.isin(key, [30, 41, 57, 58]), key).any()
    assert moved_together(np.isin(key, [30, 31, 33, 34, 50]), key).sum() == 4


def test_a_string_said_off_by_two_partials_is_not_believed_in_noise_either() -> None:
    def perhaps(partials: int) -> bool:
        spread = np.full(41, 1.0)
        spread[20] = 14.0
        weight = np.zeros((41, 8))
        weight[:, :partials] = 1.0
        m = SimpleNamespace(
            strikes=SimpleNamespace(key=np.arange(50, 91)[:41] - 5),
            unison=SimpleNamespace(spread_cents=spread, spread_sd=np.full(41, 1.0)),
            partial_weight=weight,
        )
        return bool(top_string_perhaps(m)[20])  # type: ignore[arg-type]

    assert perhaps(2)
    assert not perhaps(5)
