"""The layers beside the strings: each can be heard, switched off, and leaves the truth known."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import signal

from pianolab.errors import BadInput
from pianolab.sound_model import PianoModel, note_modes, note_truth, render_note
from pianolab.sound_model.note import ring
from pianolab.sound_model.piano import OFF_DB, PLAIN
from pianolab.sound_model.truth import fall_time, level_curve
from pianolab.units import cents_between, power_to_db

RATE_HZ = 44100
USUAL = PianoModel(seed=5, kind="grand")
PLAIN_GRAND = PianoModel.plain(seed=5, kind="grand")


def rendered(model: PianoModel, key: int, seconds: float = 1.0, **more: float) -> NDArray[np.float64]:
    return render_note(model, key, seconds=seconds, **more).astype(float)  # type: ignore[arg-type]


def power_db(sound: NDArray[np.float64], low_hz: float, high_hz: float) -> float:
    """Power of a band; the window's side lobes lie 92 dB down."""
    power = np.abs(np.fft.rfft(sound * signal.windows.blackmanharris(sound.size))) ** 2
    f_hz = np.fft.rfftfreq(sound.size, 1.0 / RATE_HZ)
    return float(power_to_db(power[(f_hz > low_hz) & (f_hz < high_hz)].sum()))


def below_first_db(model: PianoModel, key: int) -> float:
    """Sound below the first partial in the first 120 ms over the partials' sound."""
    blow = rendered(model, key)[: round(0.12 * RATE_HZ)]
    f1_hz = float(model.strings(key).mean())
    return power_db(blow, 20.0, 0.75 * f1_hz) - power_db(blow, 0.9 * f1_hz, 10000.0)


def test_the_blow_is_heard_below_the_first_partial() -> None:
    """Real grands: -18 dB median from key 30 up (the shipped notes, by `benchmarks.likeness`), within 6 dB."""
    keys = range(31, 74, 6)
    assert np.median([below_first_db(USUAL, k) for k in keys]) == pytest.approx(-18.6, abs=6.0)
    assert np.median([below_first_db(PLAIN_GRAND, k) for k in keys]) < -40.0


@pytest.mark.parametrize(
    ("layer", "low_hz", "high_hz"), [("thump_db", 50.0, 300.0), ("body_db", 50.0, 300.0)]
)
def test_board_follows_its_amount(layer: str, low_hz: float, high_hz: float) -> None:
    """10 dB more of one layer alone is 10 dB more below the first partial."""
    only = replace(PLAIN_GRAND, knock_db=-60.0, **{layer: 0.0})
    more = replace(only, **{layer: 10.0})
    quiet, loud = (power_db(rendered(m, 55), low_hz, high_hz) for m in (only, more))
    assert loud - quiet == pytest.approx(10.0, abs=0.3)
    off = power_db(rendered(replace(only, **{layer: OFF_DB}), 55), low_hz, high_hz)
    assert off < quiet - 20.0


def test_partials_come_up_in_some_milliseconds() -> None:
    def rise_s(model: PianoModel) -> float:
        """From 20 to 2 dB under the loudest moment of the strings alone."""
        sound = rendered(replace(model, thump_db=OFF_DB, body_db=OFF_DB), 46, 0.5, knock=False)
        power = np.convolve(np.abs(signal.hilbert(sound)) ** 2, np.hanning(176), "same")
        loud = int(np.argmax(power > 10**-0.2 * power.max()))
        return float(loud - np.argmax(power > 0.01 * power.max())) / RATE_HZ

    assert 0.004 < rise_s(USUAL) < 0.020
    assert rise_s(replace(USUAL, rise_scale=0.0)) < 0.003
    assert rise_s(replace(USUAL, rise_scale=2.0)) > 1.4 * rise_s(USUAL)


def test_two_blows_differ_but_not_the_strings() -> None:
    first, again, other = (rendered(USUAL, 50, seed=s) for s in (1, 1, 2))
    assert np.array_equal(first, again)
    alike = float(np.corrcoef(first, other)[0, 1])
    assert 0.9 < alike < 0.9995
    still = replace(USUAL, blow_spread=0.0, knock_db=-60.0)
    assert np.corrcoef(rendered(still, 50, seed=1), rendered(still, 50, seed=2))[0, 1] > 0.99999
    modes = [note_modes(USUAL, 50, blow=np.random.default_rng(s)) for s in (1, 2)]
    assert np.array_equal(modes[0].poles[modes[0].numbers > 0], modes[1].poles[modes[1].numbers > 0])


def test_undamped_strings_ring_along_where_a_partial_meets_them() -> None:
    """Octave below key 80: its second partial is near that string; key 81 has no string of the note's near it."""
    held = replace(PLAIN_GRAND, sympathetic_db=10.0)

    def ringing_db(model: PianoModel, key: int, string: int) -> float:
        sound = rendered(model, key, 1.6, hold_s=0.3)[round(0.9 * RATE_HZ) :]
        f_hz = float(model.strings(string).mean())
        return power_db(sound, 0.985 * f_hz, 1.015 * f_hz)

    assert ringing_db(held, 68, 80) > ringing_db(PLAIN_GRAND, 68, 80) + 10.0
    assert ringing_db(held, 68, 80) > ringing_db(held, 68, 81) + 3.0
    no_string = replace(held, last_key=75)
    assert (
        ringing_db(held, 68, 80)
        > power_db(
            rendered(no_string, 68, 1.6, hold_s=0.3)[round(0.9 * RATE_HZ) :],
            0.985 * float(held.strings(80).mean()),
            1.015 * float(held.strings(80).mean()),
        )
        + 10.0
    )


def test_phantoms_lie_at_the_sum_of_two_partials() -> None:
    modes = note_modes(replace(PLAIN_GRAND, phantom_db=0.0, longitudinal_db=OFF_DB), 20)
    f_hz = modes.poles.imag / (2.0 * np.pi)
    phantom = f_hz[modes.numbers <= 0]
    own = [f_hz[modes.numbers == n].mean() for n in (1, 2, 3)]
    assert np.abs(cents_between(phantom, own[1] + own[2])).min() < 2.0
    b = PLAIN_GRAND.inharmonicity(20)
    above = 5.0 * np.sqrt(1.0 + 25.0 * b) / (2.0 * np.sqrt(1.0 + 4.0 * b) + 3.0 * np.sqrt(1.0 + 9.0 * b))
    partial_5 = f_hz[modes.numbers == 5].mean()
    assert cents_between(partial_5, own[1] + own[2]) == pytest.approx(1200.0 * np.log2(above), abs=1.5)


@pytest.mark.parametrize("key", [20, 52, 70])
def test_truth_of_decay_is_that_of_the_sound(key: int) -> None:
    """The level of what is rendered without knock falls 20 dB when the truth says."""
    blow = np.random.default_rng([7, key + 1000, 77])
    truth = note_truth(note_modes(USUAL, key, blow=blow), hold_s=1.0, rate_hz=RATE_HZ)
    sound = render_note(USUAL, key, seconds=20.0, knock=False, seed=7)
    time_s, level_db = level_curve(sound, rate_hz=RATE_HZ)
    heard = fall_time(time_s, level_db, start=int(np.argmax(level_db)), drop_db=20.0)
    assert heard == pytest.approx(truth.decay_20_s, abs=0.002)
    bare = note_truth(note_modes(PLAIN_GRAND, key), hold_s=1.0, rate_hz=RATE_HZ).decay_20_s
    assert bare != pytest.approx(truth.decay_20_s, abs=0.02)


def test_soft_dampers_take_hold_slowly_and_then_not_evenly() -> None:
    def fall_db(model: PianoModel, from_s: float, to_s: float) -> float:
        modes = note_modes(replace(model, body_db=OFF_DB, thump_db=OFF_DB, sympathetic_db=OFF_DB), 36)
        sound = ring(modes, hold_s=0.5, frames=RATE_HZ, rate_hz=RATE_HZ)
        time_s, level_db = level_curve(sound, rate_hz=RATE_HZ)
        return float(np.subtract(*np.interp([0.5 + from_s, 0.5 + to_s], time_s, level_db)))

    hard = replace(USUAL, damper_softness=0.0)
    assert fall_db(USUAL, 0.0, 0.04) < 0.7 * fall_db(hard, 0.0, 0.04)
    rate = fall_db(USUAL, 0.04, 0.1) / fall_db(USUAL, 0.25, 0.35)
    assert rate > 1.3 * fall_db(hard, 0.04, 0.1) / fall_db(hard, 0.25, 0.35)


def test_weak_first_partials_and_the_break() -> None:
    weak = replace(
        USUAL, first_partial_db=-30.0, first_partial_up_to=28, break_key=28, inharmonicity_jump=2.0
    )

    def first_db(model: PianoModel, key: int) -> float:
        modes = note_modes(model, key)
        level = [abs(modes.amplitudes[modes.numbers == n].sum()) for n in (1, 2)]
        return float(20.0 * np.log10(level[0] / level[1]))

    assert first_db(weak, 28) - first_db(USUAL, 28) == pytest.approx(-30.0, abs=0.01)
    assert first_db(weak, 29) == pytest.approx(first_db(USUAL, 29), abs=1e-9)
    assert weak.inharmonicity(28) == pytest.approx(2.0 * USUAL.inharmonicity(28))
    assert weak.inharmonicity(29) == pytest.approx(USUAL.inharmonicity(29))
    assert [replace(USUAL, break_key=25, last_single_key=7).string_count(k) for k in (7, 8, 25, 26)] == [
        1,
        2,
        2,
        3,
    ]


def test_touch_changes_the_spectrum_and_the_share_of_the_knock() -> None:
    def brightening_db(touch: float) -> float:
        soft, hard = (
            note_modes(replace(USUAL, touch=touch), 44, blow_db=b).brightness_db() for b in (-8.0, 8.0)
        )
        return hard - soft

    assert brightening_db(0.0) == pytest.approx(0.0, abs=1e-9)
    assert brightening_db(2.0) > brightening_db(1.0) + 1.0 > 3.0
    soft, hard = (below_first_db_at(USUAL, b) for b in (-10.0, 10.0))
    assert soft > hard + 2.0


def below_first_db_at(model: PianoModel, blow_db: float) -> float:
    blow = rendered(model, 60, 0.3, blow_db=blow_db)[: round(0.12 * RATE_HZ)]
    return power_db(blow, 40.0, 500.0) - power_db(blow, 650.0, 10000.0)


def test_plain_has_no_layer() -> None:
    modes = note_modes(PLAIN_GRAND, 60)
    assert (modes.numbers <= 0).sum() == 1  # the one line along the strings
    assert (note_modes(USUAL, 60).numbers <= 0).sum() > 100
    assert all(getattr(PLAIN_GRAND, name) == value for name, value in PLAIN.items())
    assert PianoModel.plain(body_db=0.0).body_db == 0.0


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"body_db": 99.0}, r"body_db: got 99\.0"),
        ({"rise_scale": -1.0}, r"rise_scale: got -1\.0"),
        ({"thump_db": float("nan")}, "thump_db: got nan"),
        ({"break_key": 200}, "break_key: got 200"),
        ({"last_single_key": 40}, "last_single_key: got 40, need a key up to break_key 28"),
    ],
)
def test_impossible_amounts_are_refused(fields: dict[str, float], words: str) -> None:
    with pytest.raises(BadInput, match=words):
        PianoModel(**fields)  # type: ignore[arg-type]
