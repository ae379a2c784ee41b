"""General-MIDI soundfonts as sources: other makers' pianos, looped, one sample for several keys.

The soundfonts are those that Debian carries; fluidsynth's library renders each press by itself, without reverberation
or chorus. Good for finding keys and for pitch; no truth but which key it is: samples may be off by cents, B is a
staircase, loops don't decay as strings do, and the release is the soundfont's ramp.
"""

from __future__ import annotations

import ctypes
import ctypes.util
import weakref
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import numpy as np

from benchmarks.fetch import debian_file
from benchmarks.room_tone import room_noise
from benchmarks.takes import TRUTH_COLUMNS, Sound
from pianolab.errors import BadInput
from pianolab.keyboard import FIRST_KEY, LAST_KEY
from pianolab.units import MIDI_OF_KEY_0

RATE_HZ = 44100
GAIN = 0.5
LONGEST_TAIL_S = 12.0
"""After the key is let go; a loop without an end is cut there."""
BACKGROUND_DB = -60.0
BLOCK = 64
"""Frames that the synthesizer computes at once: a key goes down or up at the next multiple."""
PEDAL_CONTROLLER = 64


@dataclass(frozen=True)
class Font:
    """A soundfont: Debian's package, where the file lies, and its licence as the package states it."""

    package: str
    path: str
    licence: str


FONTS = {
    "fluid": Font("fluid-soundfont-gm", "/usr/share/sounds/sf2/FluidR3_GM.sf2", "MIT"),
    "timgm": Font("timgm6mb-soundfont", "/usr/share/sounds/sf2/TimGM6mb.sf2", "GPL-2"),
    "general": Font(
        "musescore-general-soundfont",
        "/usr/share/sounds/sf3/MuseScore_General_Full.sf3",
        "MIT, parts CC0 or public domain",
    ),
    "gmbank": Font("csound-soundfont", "/usr/share/sounds/sf2/sf_GMbank.sf2", "public domain"),
    "a320u": Font("denemo-data", "/usr/share/sounds/sf2/A320U.sf2", "GPL-2"),
}
"""By a short name. Left out on purpose: other cuts of the same samples (fluidr3mono, the small and lossless general),
a simulated sound chip (opl3), and one whose package does not state the soundfont's licence (minuet-data). a320u's
programs 0 and 1 are the same sound; fluid's, timgm's and gmbank's are close."""
PROGRAMS = {0: "grand", 1: "bright grand", 2: "electric grand", 3: "honky-tonk"}
"""The piano programs of bank 0. Honky-tonk is out of tune by design: only for a stress case."""


class SoundfontPiano:
    """One piano program of one soundfont, 88 keys, 44.1 kHz stereo; a `benchmarks.takes.NoteSource`.

    Parameters
    ----------
    font : a name of `FONTS`, or the path of a soundfont
    program : one of `PROGRAMS`
    velocity : 1 to 127, for every key; ``blow_db`` changes the level alone

    Raises
    ------
    BadInput
        an unknown font or program; fluidsynth or the soundfont is missing and can't be fetched

    ::

        SoundfontPiano("fluid", 0).note(40, hold_s=2.0).shape    # about (95000, 2): the release is the soundfont's
    """

    rate_hz = RATE_HZ
    channels = 2
    keys = tuple(range(FIRST_KEY, LAST_KEY + 1))

    def __init__(self, font: str | Path, program: int = 0, velocity: int = 90) -> None:
        if program not in PROGRAMS:
            raise BadInput("program", program, "one of " + ", ".join(map(str, PROGRAMS)))
        if not 1 <= velocity <= 127:
            raise BadInput("velocity", velocity, "1 to 127")
        self.file, self.program, self.velocity = _file(font), program, velocity
        self.name = f"{Path(font).stem} {PROGRAMS[program]}, velocity {velocity}"

    def note(
        self, key: int, *, hold_s: float, blow_db: float = 0.0, seed: int = 0, pedal: bool = False
    ) -> Sound:
        """One press, shape (frames, 2). There is one recording of each key: every ``seed`` gives the same."""
        del seed
        if key not in self.keys:
            raise BadInput("key", key, f"{FIRST_KEY} to {LAST_KEY}")
        hold = round(hold_s * RATE_HZ / BLOCK) * BLOCK
        sound = _rendered(self.file, self.program, self.velocity, key, hold, pedal)
        return sound * np.float32(10 ** (blow_db / 20))

    def truth(self, key: int) -> Mapping[str, object]:
        """Which key it is, and that no fault was put in; the rest nobody knows."""
        return dict.fromkeys(TRUTH_COLUMNS, np.nan) | {"key": key, "faults": ""}

    def background(self, frames: int, seed: int) -> Sound:
        """Microphone noise `BACKGROUND_DB` from the first second of middle notes, shape (frames, 2)."""
        power = np.median([np.mean(np.square(self.note(key, hold_s=1.0)[:RATE_HZ])) for key in (28, 40, 52)])
        return room_noise(frames, RATE_HZ, seed, 2) * np.float32(np.sqrt(power) * 10 ** (BACKGROUND_DB / 20))


def _file(font: str | Path) -> Path:
    if font in FONTS:
        return debian_file(FONTS[str(font)].package, FONTS[str(font)].path)
    if Path(font).is_file():
        return Path(font)
    raise BadInput("font", repr(str(font)), "a soundfont file or one of " + ", ".join(FONTS), "Misspelt?")


@lru_cache(maxsize=100)
def _rendered(file: Path, program: int, velocity: int, key: int, hold: int, pedal: bool) -> Sound:
    synth = _synth(file, program)
    synth.press(key + MIDI_OF_KEY_0, velocity, pedal)
    pieces = [synth.frames(hold)]
    synth.let_go(key + MIDI_OF_KEY_0)
    for _ in range(round(LONGEST_TAIL_S * 4)):
        if not synth.sounding():
            break
        pieces.append(synth.frames(RATE_HZ // 4 // BLOCK * BLOCK))
    sound = np.concatenate(pieces)
    sound.setflags(write=False)
    return sound


@lru_cache(maxsize=2)
def _synth(file: Path, program: int) -> _Synth:
    return _Synth(file, program)


class _Synth:
    """One fluidsynth with one program, kept so that a soundfont is read once."""

    def __init__(self, file: Path, program: int) -> None:
        self._lib = _library()
        settings = self._lib.new_fluid_settings()
        self._lib.fluid_settings_setnum(settings, b"synth.sample-rate", float(RATE_HZ))
        self._lib.fluid_settings_setnum(settings, b"synth.gain", GAIN)
        for name in (b"synth.reverb.active", b"synth.chorus.active"):
            self._lib.fluid_settings_setint(settings, name, 0)
        # Only the samples of the chosen program are read.
        self._lib.fluid_settings_setint(settings, b"synth.dynamic-sample-loading", 1)
        self._synth = self._lib.new_fluid_synth(settings)
        weakref.finalize(self, _closed, self._lib, self._synth, settings)
        font = self._lib.fluid_synth_sfload(self._synth, str(file).encode(), 1)
        if font < 0 or self._lib.fluid_synth_program_select(self._synth, 0, font, 0, program):
            raise BadInput(
                file.name, "no such soundfont or program", "a soundfont with General MIDI's pianos"
            )

    def press(self, midi: int, velocity: int, pedal: bool) -> None:
        self._lib.fluid_synth_all_sounds_off(self._synth, -1)
        self.frames(BLOCK)
        self._lib.fluid_synth_cc(self._synth, 0, PEDAL_CONTROLLER, 127 if pedal else 0)
        self._lib.fluid_synth_noteon(self._synth, 0, midi, velocity)

    def let_go(self, midi: int) -> None:
        self._lib.fluid_synth_noteoff(self._synth, 0, midi)

    def sounding(self) -> bool:
        return self._lib.fluid_synth_get_active_voice_count(self._synth) > 0

    def frames(self, count: int) -> Sound:
        out = np.zeros((count, 2), np.float32)
        to = out.ctypes.data_as(ctypes.c_void_p)
        self._lib.fluid_synth_write_float(self._synth, count, to, 0, 2, to, 1, 2)
        return out


def _closed(library: ctypes.CDLL, synth: int, settings: int) -> None:
    library.delete_fluid_synth(synth)
    library.delete_fluid_settings(settings)


@lru_cache(maxsize=1)
def _library() -> ctypes.CDLL:
    """fluidsynth's library with the types of what is used of it (its public C interface, version 2 and 3)."""
    name = ctypes.util.find_library("fluidsynth")
    if name is None:
        raise BadInput(
            "fluidsynth", "no such library on this machine", "it to render soundfonts", "Install fluidsynth."
        )
    library = ctypes.CDLL(name)
    pointer, text, whole, number = ctypes.c_void_p, ctypes.c_char_p, ctypes.c_int, ctypes.c_double
    for function, result, arguments in (
        ("new_fluid_settings", pointer, []),
        ("fluid_settings_setnum", whole, [pointer, text, number]),
        ("fluid_settings_setint", whole, [pointer, text, whole]),
        ("new_fluid_synth", pointer, [pointer]),
        ("delete_fluid_settings", None, [pointer]),
        ("delete_fluid_synth", None, [pointer]),
        ("fluid_synth_sfload", whole, [pointer, text, whole]),
        ("fluid_synth_program_select", whole, [pointer, whole, whole, whole, whole]),
        ("fluid_synth_all_sounds_off", whole, [pointer, whole]),
        ("fluid_synth_cc", whole, [pointer, whole, whole, whole]),
        ("fluid_synth_noteon", whole, [pointer, whole, whole, whole]),
        ("fluid_synth_noteoff", whole, [pointer, whole, whole]),
        ("fluid_synth_get_active_voice_count", whole, [pointer]),
        ("fluid_synth_write_float", whole, [pointer, whole, pointer, whole, whole, pointer, whole, whole]),
    ):
        getattr(library, function).restype = result
        getattr(library, function).argtypes = arguments
    return library
