"""The real notes that come with pianolab, one by one and strung together.

Sound: "Salamander Grand Piano V3" by Alexander Holm, CC BY 3.0; see ``datasets/real_notes/CARD.md``. Whoever passes
on sound made from them passes on `ATTRIBUTION` and says what was altered.
"""

from __future__ import annotations

import io
from contextlib import closing
from importlib.resources.abc import Traversable

import numpy as np

from pianolab.errors import BadInput
from pianolab.io.read import read_blocks, read_sound
from pianolab.io.sound import Samples, Sound
from pianolab.shipped import shipped

ATTRIBUTION = (
    "“Salamander Grand Piano V3” by Alexander Holm, CC BY 3.0 <https://creativecommons.org/licenses/by/3.0/>, "
    "<https://archive.org/details/SalamanderGrandPianoV3>"
)
"""Goes with every sound that is made from these notes."""

RELEASE_S = 0.05
"""Fade that stands for letting the key go."""


def real_notes() -> dict[int, Traversable]:
    """The 30 real notes, by key: every third key from A0 (1) to C8 (88), each left to ring out.

    Returns
    -------
    dict of key to a file; ``.open("rb")`` it for `read_sound`

    Examples
    --------
    >>> notes = real_notes()
    >>> len(notes), min(notes), max(notes), notes[40].name
    (30, 1, 88, 'key40_C4.ogg')
    """
    return _by_key("datasets/real_notes")


def second_blows() -> dict[int, Traversable]:
    """Twelve keys of the same piano struck once more, a little softer: every third from D#3 (31) to C6 (64).

    Returns
    -------
    dict of key to a file of 3.6 s; ``.open("rb")`` it for `read_sound`

    Examples
    --------
    >>> list(second_blows())[:3], set(second_blows()) < set(real_notes())
    ([31, 34, 37], True)
    """
    return _by_key("datasets/real_notes/second_blow")


def read_real_note(key: int, *, blow: int = 0, longest_s: float | None = None) -> Sound:
    """One of the real notes as it was recorded, two channels.

    Parameters
    ----------
    key : a key of `real_notes`
    blow : 0, or 1 for that of `second_blows`
    longest_s : float, s; so much of it and no more, which is quicker; None for all of it

    Raises
    ------
    BadInput : a key of which there is no such recording

    Examples
    --------
    >>> read_real_note(40, blow=1).rate_hz
    48000
    """
    notes = second_blows() if blow else real_notes()
    if key not in notes:
        raise BadInput("key", key, "one of " + ", ".join(map(str, notes)), "Every third key was recorded.")
    return _read(notes[key], longest_s=longest_s)


def _by_key(folder: str) -> dict[int, Traversable]:
    files = (f for f in shipped(folder).iterdir() if f.name.startswith("key") and f.name.endswith(".ogg"))
    return dict(sorted((int(file.name[3:5]), file) for file in files))


def string_together(
    *, hold_s: float = 2.0, gap_s: float = 0.5, lead_s: float = 0.5, keys: tuple[int, ...] | None = None
) -> tuple[Sound, list[float]]:
    """One continuous recording (48 kHz, stereo) of the real notes, in order of the keys.

    Every note starts at its file's first sample, is held for ``hold_s`` and then faded within 50 ms; what
    lies between is digital silence. The fade is no damper: releases can't be measured on it.

    Parameters
    ----------
    hold_s : float, s; a note that rings shorter is followed by silence until then
    gap_s : float, s; from the end of the hold to the next note
    lead_s : float, s; silence before the first note and after the last
    keys : the keys to take, all 30 if not given

    Returns
    -------
    Sound, and the list of the onsets in s

    Examples
    --------
    >>> sound, onsets_s = string_together(keys=(40, 43), hold_s=1.0, gap_s=0.5, lead_s=0.25)
    >>> sound.seconds, onsets_s
    (3.5, [0.25, 1.75])
    """
    if hold_s < RELEASE_S or gap_s < RELEASE_S or lead_s < 0:
        raise BadInput(
            "hold_s, gap_s, lead_s", (hold_s, gap_s, lead_s), f"{RELEASE_S} s or more, lead 0 or more"
        )
    notes = real_notes()
    if missing := sorted(set(keys or ()) - set(notes)):
        raise BadInput("keys", missing, "keys of " + ", ".join(map(str, notes)))
    chosen = [_read(notes[key]) for key in (keys or notes)]
    rate_hz = chosen[0].rate_hz
    onsets_s = [lead_s + i * (hold_s + gap_s) for i in range(len(chosen))]
    end_s = lead_s + len(chosen) * (hold_s + gap_s) + lead_s
    samples = np.zeros((round(end_s * rate_hz), 2), np.float32)
    for onset_s, note in zip(onsets_s, chosen, strict=True):
        piece = _held(note.samples, rate_hz, hold_s)
        start = round(onset_s * rate_hz)
        samples[start : start + len(piece)] += piece
    return Sound(samples, rate_hz, "real notes", "coded", True, "Vorbis"), onsets_s


def _read(file: Traversable, *, longest_s: float | None = None) -> Sound:
    room = io.BytesIO(file.read_bytes())
    room.name = file.name
    if longest_s is None:
        return read_sound(room)
    with closing(read_blocks(room, block_s=longest_s)) as blocks:
        return next(blocks)


def _held(samples: Samples, rate_hz: int, hold_s: float) -> Samples:
    hold, fade = round(hold_s * rate_hz), round(RELEASE_S * rate_hz)
    piece = samples[: hold + fade].copy()
    tail = piece[hold:]
    slope = 0.5 + 0.5 * np.cos(np.pi * (np.arange(len(tail)) + 1) / fade)
    tail *= slope[:, None].astype(np.float32)
    return piece
