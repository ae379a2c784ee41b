"""What a room does to the time in which a note falls 20 dB, and how sure the time is that is heard in it.

A room makes one partial louder and the next one weaker by some 5 dB, each at random, and goes on ringing itself. Which
partial it favoured can't be told from the recording: pianos whose spectra are smooth over the keys would show it, real
ones are not. So nothing is "taken out". The level 20 dB down may be off against the level at the blow by an amount that
was measured on modelled pianos of two kinds and on real notes, in rooms of known response; it is the same for all three
to a quarter of its size, smaller in the bass where many partials share it, and larger in longer rooms. The time gets the
uncertainty that follows from its own level curve. A fall that is hardly slower than the room's own is an upper bound.

That there is a room is believed where the falls after damped notes are slower than dampers would make them, and reckoned
with where that stays open (`reverberation.believed_t60_s`); the time is told where they agree. Elsewhere the sound counts
as it is: a room that rings less than a quarter of a second can't be told from dampers, and still moves times by a tenth.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pianolab.acoustics.envelope.decay import DRY_SD_DB
from pianolab.acoustics.limits import limits
from pianolab.units import FloatArray

USUAL_T60_S = 0.4
OWN_SHARE = 0.6
"""Modes that die faster than this share of the room's rate may be the room's."""


def level_sd_db(key: NDArray[np.int64], *, t60_s: float) -> FloatArray:
    """How far a room moves the level 20 dB down against that at the blow, dB, one standard deviation.

    Parameters
    ----------
    key : shape (notes,)
    t60_s : s; NaN where no room was proven

    Examples
    --------
    >>> level_sd_db(np.array([20, 60]), t60_s=np.nan).round(2)
    array([0.08, 0.08])
    >>> bool(np.all(np.diff(level_sd_db(np.array([10, 30, 70]), t60_s=0.4)) > 0))
    True
    """
    if np.isnan(t60_s):
        return np.full(len(key), DRY_SD_DB)
    lim = limits()["decay"]
    at_usual = np.interp(key, lim["room_sd_keys"], lim["room_sd_db"])
    return np.asarray(at_usual * (t60_s / USUAL_T60_S) ** lim["room_sd_power"])


def room_hides_s(t60_s: float) -> float:
    """Up to which time a fall of 20 dB may be the room's own, s; 0 where no room was proven."""
    if np.isnan(t60_s):
        return 0.0
    lim = limits()["decay"]
    return float(lim["room_hides_fall"] * (t60_s / USUAL_T60_S) ** lim["room_sd_power"] * t60_s / 3.0)
