"""A continuous scale of all 88 keys from a General MIDI soundfont: another instrument, made by nobody here.

Debian's fluid-soundfont-gm (MIT) through fluidsynth. Its samples are looped and stretched over several keys: good for
cutting into keys and for pitch, not for decay or inharmonicity.
"""

import shutil
import struct
import subprocess
from pathlib import Path

import numpy as np
import pytest

from pianolab.acoustics import listen
from pianolab.io import read_sound

SOUNDFONT = Path("/usr/share/sounds/sf2/FluidR3_GM.sf2")
HOLD_S, STEP_S = 1.4, 1.8


def scale_midi() -> bytes:
    """A MIDI file of every key from A0 to C8, 480 ticks a beat, one beat a second."""

    def ticks(seconds: float) -> bytes:
        value, out = round(480 * seconds), b""
        while True:
            out = bytes([value & 0x7F | (0x80 if out else 0)]) + out
            value >>= 7
            if not value:
                return out

    events = ticks(0) + b"\xff\x51\x03" + (1_000_000).to_bytes(3, "big") + ticks(0) + b"\xc0\x00"
    for note in range(21, 109):
        events += ticks(STEP_S - HOLD_S) + bytes([0x90, note, 90]) + ticks(HOLD_S) + bytes([0x80, note, 64])
    events += ticks(2.0) + b"\xff\x2f\x00"
    header = b"MThd" + struct.pack(">IHHH", 6, 0, 1, 480)
    return header + b"MTrk" + struct.pack(">I", len(events)) + events


@pytest.mark.soundfont
def test_a_scale_of_another_instrument(tmp_path: Path) -> None:
    if shutil.which("fluidsynth") is None or not SOUNDFONT.exists():
        pytest.skip("fluidsynth and fluid-soundfont-gm are not installed")
    (tmp_path / "scale.mid").write_bytes(scale_midi())
    command = [
        "fluidsynth",
        "-ni",
        "-q",
        "-R",
        "0",
        "-C",
        "0",
        "-r",
        "44100",
        "-g",
        "0.6",
        "-F",
        str(tmp_path / "scale.wav"),
    ]
    subprocess.run(
        [*command, str(SOUNDFONT), str(tmp_path / "scale.mid")], check=True, capture_output=True, timeout=120
    )
    sound = read_sound(tmp_path / "scale.wav")
    survey = listen(sound.samples, rate_hz=sound.rate_hz)
    table = survey.table.set_index("key")
    assert (table["status"] == "measured").sum() >= 87
    steps = np.diff(table["onset_s"].dropna())
    assert np.median(steps) == pytest.approx(STEP_S, abs=0.01)
    assert (np.abs(steps - STEP_S) < 0.06).mean() >= 0.98
    assert table.loc[13:60, "cents"].abs().median() < 6.0
    assert (table.loc[13:60, "cents"] + 100.0).abs().median() > 50.0, "a slip by a semitone would show"
