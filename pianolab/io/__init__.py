"""Files to arrays and back: any format a phone or a browser makes, as recorded."""

from pianolab.io.listenable import check_listenable
from pianolab.io.loudness import a_weight_db, loudness_db, momentary_lufs
from pianolab.io.read import read_blocks, read_sound, sound_info
from pianolab.io.real_notes import read_real_note, real_notes, second_blows, string_together
from pianolab.io.sound import Sound, SoundInfo
from pianolab.io.write import EncodedClip, clip_bytes, write_sound

__all__ = [
    "EncodedClip",
    "Sound",
    "SoundInfo",
    "a_weight_db",
    "check_listenable",
    "clip_bytes",
    "loudness_db",
    "momentary_lufs",
    "read_blocks",
    "read_real_note",
    "read_sound",
    "real_notes",
    "second_blows",
    "sound_info",
    "string_together",
    "write_sound",
]
