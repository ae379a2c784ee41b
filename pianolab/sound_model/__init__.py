"""The modelled piano: notes and scales with known truth and seeded faults, for demo, class and tests."""

from pianolab.sound_model.note import render_note
from pianolab.sound_model.note_modes import NoteModes, note_modes
from pianolab.sound_model.piano import KeyFault, PianoModel
from pianolab.sound_model.room import ROOMS, RecordingRoom, impulse_response, room
from pianolab.sound_model.scale import ModelledScale, render_scale
from pianolab.sound_model.scenes import SceneSound, load_scene_sounds, render_scene
from pianolab.sound_model.truth import NoteTruth, Strike, note_truth

__all__ = [
    "ROOMS",
    "KeyFault",
    "ModelledScale",
    "NoteModes",
    "NoteTruth",
    "PianoModel",
    "RecordingRoom",
    "SceneSound",
    "Strike",
    "impulse_response",
    "load_scene_sounds",
    "note_modes",
    "note_truth",
    "render_note",
    "render_scale",
    "render_scene",
    "room",
]
