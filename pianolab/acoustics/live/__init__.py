"""Listening while somebody plays: the measures of `listen` on a sound that grows, and what to play next or again.

`recent` holds the last seconds and the band powers of the last minute, `listener` reads the notes in them, `level`
looks at loudness and noise before anything is played, `guide` leads through the keys, `leaving` says after a survey what
should be played again. The same onsets, evidence, key path, levels and releases are asked as for a file.
"""

from pianolab.acoustics.live.guide import Guide, GuideView
from pianolab.acoustics.live.level import LevelCheck, check_chord, check_silence
from pianolab.acoustics.live.listener import LiveListener, LiveNote

__all__ = ["Guide", "GuideView", "LevelCheck", "LiveListener", "LiveNote", "check_chord", "check_silence"]
