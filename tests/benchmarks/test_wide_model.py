"""The modelled piano as a source for the bench: what is drawn, and that its truth is in its sound."""

from __future__ import annotations

import numpy as np
import pytest

from benchmarks.takes import TRUTH_COLUMNS
from benchmarks.wide_model import FAULT_KINDS, ModelledPiano, draw_model, draw_plain
from benchmarks.wide_plain import draw_plain as offered_plain
from pianolab.errors import BadInput
from pianolab.sound_model import PianoModel
from pianolab.sound_model.truth import fall_time, level_curve


def test_same_arguments_same_sound_another_seed_another_blow() -> None:
    piano = draw_model(6)
    first, again, other = (piano.note(40, hold_s=0.4, seed=s) for s in (1, 1, 2))
    assert first.shape[1] == 1
    assert np.array_equal(first, again)
    length = min(len(first), len(other))
    assert not np.array_equal(first[:length], other[:length])


def test_draws_go_wide_on_odd_seeds_and_hold_every_keyboard() -> None:
    pianos = [draw_model(seed) for seed in range(60)]
    assert {len(p.keys) for p in pianos} == {85, 88, 92, 97}
    offsets = {
        wide: max(abs(p.model.offset_cents) for p in pianos if p.wide is wide) for wide in (False, True)
    }
    assert offsets[False] <= 20.0 < 60.0 < offsets[True] <= 100.0
    assert all(p.model.faults == () for p in pianos)
    spreads = [p.model.unison_spread_cents for p in pianos if p.wide]
    assert min(spreads) < 0.6
    assert max(spreads) > 5.0


def test_unhealthy_pianos_have_two_of_each_fault() -> None:
    for seed in (1, 2, 3):
        kinds = [f.kind for f in draw_model(seed, healthy=False).model.faults]
        assert sorted(kinds) == sorted(FAULT_KINDS * 2)


@pytest.mark.parametrize("seed", [2, 3])
def test_truth_of_one_blow_is_in_its_sound(seed: int) -> None:
    """Time to fall 20 dB read off a long note; another key's truth is another."""
    piano = draw_model(seed)
    quiet = ModelledPiano(PianoModel(**{**vars(piano.model), "knock_db": -60.0}))
    sound = quiet.note(58, hold_s=12.0, seed=4)[:, 0]
    time_s, level_db = level_curve(sound[: 12 * 44100], rate_hz=44100)
    heard = fall_time(time_s, level_db, start=int(np.argmax(level_db)), drop_db=20.0)
    truth = quiet.truth(58, seed=4)
    assert set(truth) == set(TRUTH_COLUMNS)
    assert heard == pytest.approx(truth["decay_20_s"], rel=0.005)
    assert heard != pytest.approx(quiet.truth(30, seed=4)["decay_20_s"], rel=0.005)


def test_pedal_holds_the_note_and_silent_keys_have_no_truth() -> None:
    piano = draw_model(2, healthy=False)
    held, damped = (piano.note(45, hold_s=0.4, pedal=p)[:, 0] for p in (True, False))
    after = slice(round(0.8 * 44100), round(1.0 * 44100))
    assert np.mean(held[after] ** 2) > 30.0 * np.mean(damped[after] ** 2)
    dead = next(f.key for f in piano.model.faults if f.kind == "silent")
    assert np.isnan(piano.truth(dead)["decay_20_s"])
    assert piano.truth(dead)["faults"] == "silent"


def test_plain_is_the_same_instrument_without_layers() -> None:
    whole, plain = draw_model(5), draw_plain(5)
    assert offered_plain is draw_plain
    assert plain.name == "plain-5"
    assert whole.truth(50)["f1_hz"] == plain.truth(50)["f1_hz"]
    assert plain.model.body_db == -100.0


def test_a_key_it_has_not_is_refused() -> None:
    with pytest.raises(BadInput, match="key: got 120"):
        draw_model(1).note(120, hold_s=1.0)
