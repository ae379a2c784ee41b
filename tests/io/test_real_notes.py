"""The real notes: all there, as their card says, and strung together where they should be."""

import io

import numpy as np
import pytest

from pianolab.demo import practice
from pianolab.errors import BadInput
from pianolab.io import read_sound, real_notes, string_together
from pianolab.keyboard import note_name
from pianolab.shipped import shipped
from pianolab.units import cents_between, key_to_hz


def test_every_third_key_under_its_name():
    notes = real_notes()
    assert list(notes) == list(range(1, 89, 3))
    for key, file in notes.items():
        assert file.name == f"key{key:02d}_{note_name(key).replace('#', 's')}.ogg"


@pytest.mark.parametrize("key", [22, 34, 49, 61])
def test_the_names_fit_the_sound(key):
    sound = read_sound(io.BytesIO(real_notes()[key].read_bytes()))
    assert (sound.rate_hz, sound.channels, sound.lossy) == (48000, 2, True)
    spectrum = sum(np.abs(np.fft.rfft(sound.samples[:96000, c] * np.hanning(96000))) for c in (0, 1))
    around = np.abs(cents_between(np.maximum(np.fft.rfftfreq(96000, 1 / 48000), 1e-9), key_to_hz(key))) < 600
    peak_hz = np.fft.rfftfreq(96000, 1 / 48000)[np.argmax(spectrum * around)]
    assert abs(cents_between(peak_hz, key_to_hz(key))) < 50


def test_the_card_gives_what_the_licence_asks_for():
    card = shipped("datasets/real_notes/CARD.md").read_text(encoding="utf-8")
    for needed in (
        "Alexander Holm",
        "https://creativecommons.org/licenses/by/3.0/",
        "renamed, otherwise unchanged",
    ):
        assert needed in card


def test_strung_together_at_the_onsets_it_names():
    sound, onsets_s = string_together(hold_s=1.0, gap_s=0.5, lead_s=0.5)
    assert onsets_s == pytest.approx([0.5 + 1.5 * i for i in range(30)])
    assert sound.seconds == pytest.approx(0.5 + 30 * 1.5 + 0.5)
    assert (sound.rate_hz, sound.channels) == (48000, 2)
    level = np.abs(sound.samples).max(axis=1)
    for onset_s in onsets_s:
        start = round(onset_s * 48000)
        assert level[start - 2400 : start].max() == 0.0
        assert level[start : start + 4800].max() > 0.02
        assert level[start + 48000 + 2400 : start + 72000].max() == 0.0


def test_a_note_is_as_it_was_until_it_is_let_go():
    sound, _ = string_together(keys=(49,), hold_s=1.0, lead_s=0.0)
    note = read_sound(io.BytesIO(real_notes()[49].read_bytes())).samples
    assert np.array_equal(sound.samples[:48000], note[:48000])
    fade = np.abs(sound.samples[48000:50400]).max(axis=1) / np.abs(note[48000:50400]).max(axis=1)
    assert fade[0] > 0.99
    assert fade[-1] < 0.01
    assert np.all(np.diff(fade) < 1e-4)


def test_impossible_settings():
    with pytest.raises(BadInput, match="hold_s"):
        string_together(hold_s=0.0)
    with pytest.raises(BadInput, match=r"keys: got \[2\]"):
        string_together(keys=(1, 2))


def test_a_recording_to_practise_on_holds_the_notes_and_leaves_a_file_that_is_there(tmp_path):
    path = practice.real_notes(tmp_path / "new" / "notes.flac", keys=(40, 49))
    sound, _ = string_together(keys=(40, 49))
    assert np.allclose(read_sound(path).samples, sound.samples, atol=1e-4)
    path.write_text("mine")
    assert practice.real_notes(path, keys=(40,)).read_text() == "mine"
