"""The sounds of the demonstration are what their conditions say."""

from dataclasses import replace

import numpy as np
import pytest

from pianolab.errors import BadInput
from pianolab.sound_model import SceneSound, load_scene_sounds, note_modes, note_truth, render_scene
from pianolab.units import cents_between

SCENES = load_scene_sounds()
TREBLE = range(54, 72)


def decay_s(scene: SceneSound, keys: range) -> float:
    """Median of the true time to -20 dB."""
    return float(
        np.median(
            [note_truth(note_modes(scene.model, k), hold_s=2.0, rate_hz=22050).decay_20_s for k in keys]
        )
    )


def unison_cents(scene: SceneSound, key: int) -> float:
    strings = scene.model.strings(key)
    return float(cents_between(strings.max(), strings.min()))


def test_the_conditions() -> None:
    assert list(SCENES) == [
        "masked treble",
        "masked treble, tuned",
        "fine in a dull room",
        "worn but honest",
        "polished and failing",
    ]


@pytest.mark.slow
def test_tuning_the_masked_treble_changes_the_unisons_and_nothing_else() -> None:
    before, after = SCENES["masked treble"], SCENES["masked treble, tuned"]
    assert all(2.0 <= unison_cents(before, k) <= 8.0 for k in range(34, 81))
    assert all(unison_cents(after, k) < 1.2 for k in range(34, 81))
    assert before.fault_keys["short_sustain"] == after.fault_keys["short_sustain"] == tuple(TREBLE)
    slacker = 2.0 ** (2.0 * 25.3 / 1200.0)  # B goes with one over the tension (fletcher1964)
    for key in (30, 55, 70):
        b = after.model.inharmonicity(key)
        assert before.model.inharmonicity(key) == pytest.approx(slacker * b, rel=1e-9)
        assert before.model.inharmonicity(key) != pytest.approx(b, rel=0.01)
        assert before.model.fault(key, "short_sustain") == after.model.fault(key, "short_sustain")
    assert decay_s(after, TREBLE) < 0.7 * decay_s(
        replace(after, model=replace(after.model, faults=())), TREBLE
    )


@pytest.mark.slow
def test_fine_piano_outlasts_the_failing_one_in_the_treble() -> None:
    fine, failing = SCENES["fine in a dull room"], SCENES["polished and failing"]
    assert not fine.model.faults
    assert fine.room is not None
    assert failing.room is not None
    assert fine.room.t60_s < 0.3 < failing.room.t60_s
    assert decay_s(fine, range(60, 71)) > 2.0 * decay_s(failing, range(60, 71))
    assert not decay_s(fine, range(40, 50)) > 2.0 * decay_s(failing, range(40, 50))


def test_slipped_strings_of_the_failing_piano() -> None:
    failing = SCENES["polished and failing"]
    slipped = failing.fault_keys["off_pitch"]
    assert len(slipped) >= 4
    assert all(unison_cents(failing, k) > 9.0 for k in slipped)
    assert all(unison_cents(failing, k) < 1.5 for k in range(29, 89) if k not in slipped)


def test_faults_of_the_honest_piano_are_few() -> None:
    honest = SCENES["worn but honest"]
    assert {kind: len(keys) for kind, keys in honest.fault_keys.items()} == {
        "silent": 1,
        "damper": 2,
        "buzz": 1,
        "voicing": 3,
    }
    bright = [note_modes(honest.model, k).brightness_db() for k in TREBLE]
    usual = [note_modes(replace(honest.model, hardness_db=0.0), k).brightness_db() for k in TREBLE]
    assert np.mean(bright) > np.mean(usual) + 4.0


def test_other_seeds_give_other_pianos_in_the_same_condition() -> None:
    moved = load_scene_sounds(seed_shift=100)["masked treble"]
    assert moved.fault_keys == SCENES["masked treble"].fault_keys
    assert moved.model.strings(60).tolist() != SCENES["masked treble"].model.strings(60).tolist()
    assert moved.description == SCENES["masked treble"].description


def test_a_scene_can_be_played() -> None:
    scene = SCENES["worn but honest"]
    few = replace(
        scene,
        model=replace(scene.model, first_key=42, last_key=44, faults=scene.model.faults[:1]),
        rate_hz=16000,
    )
    played = render_scene(few)
    assert played.truth["faults"].tolist() == ["", "silent", ""]
    assert played.snr_db == scene.snr_db


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ('["a"]\ndescription = "x"\npiano = {}', "condition 'a': got no recording"),
        ('["a"]\nas = "b"', "as of 'a': got 'b'"),
        ('["a"]\nas = "a"', "as of 'a': got 'a'"),
        (
            '["a"]\ndescription = "x"\npiano = {}\nrecording = {}\n[["a".faults]]\nkind = "buzz"',
            "keys of buzz: got none",
        ),
        (
            '["a"]\ndescription = "x"\npiano = {}\nrecording = {}\n[["a".faults]]\nkind = "buzz"\nkeys = ["x"]',
            "keys of buzz: got 'x'",
        ),
        ('["a"]\ndescription = "x"\npiano = { colour = 1 }\nrecording = {}', "piano of 'a': got colour"),
        ('["a"]\ndescription = "x"\npiano = {}\nrecording = { loud = 1 }', "recording of 'a': got loud"),
    ],
)
def test_scene_files_with_mistakes_are_refused(text: str, words: str) -> None:
    with pytest.raises(BadInput, match=words):
        load_scene_sounds(text=text)
