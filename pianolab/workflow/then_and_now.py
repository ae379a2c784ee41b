"""Keys to be heard then and now: the same notes of one piano from the recordings of two visits, side by side."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from html import escape

from pianolab.casebook import Casebook
from pianolab.errors import BadInput, PianolabError
from pianolab.io import read_sound
from pianolab.keyboard import note_name
from pianolab.report import Clip
from pianolab.show import Row, Showable
from pianolab.workflow.clips import clip_keys, cut_note, equally_loud
from pianolab.workflow.fault_clips import player
from pianolab.workflow.hearing import Heard
from pianolab.workflow.second_visit import heard_then_and_now

THEN, NOW = "then", "now"


@dataclass(frozen=True, kw_only=True, repr=False)
class ThenAndNow(Showable):
    """The same keys from two recordings, each pair made equally loud; a notebook shows them with players."""

    name: str
    pairs: tuple[tuple[Clip, Clip], ...]
    why_none: str = ""
    header = ("key", "then, s", "now, s")

    def headline(self) -> str:
        if not self.pairs:
            return f"{self.name}: nothing to play then and now, as {self.why_none}"
        keys = "key" if len(self.pairs) == 1 else "keys"
        return f"{self.name}: {len(self.pairs)} {keys} then and now, equally loud"

    def rows(self) -> list[Row]:
        return [(then.label, round(then.seconds, 2), round(now.seconds, 2)) for then, now in self.pairs]

    def _repr_html_(self) -> str:
        items = "".join(
            f"<li>{escape(then.label)}: then {player(then)} now {player(now)}</li>"
            for then, now in self.pairs
        )
        return (
            f'<figure class="pianolab" style="margin:0"><figcaption style="font-weight:600">{escape(self.headline())}'
            f'</figcaption><ul style="margin:0">{items}</ul></figure>'
        )


def hear_then_and_now(casebook: Casebook, piano: str, keys: Sequence[int] = ()) -> ThenAndNow:
    """Play keys of one piano as they were recorded before the last visit, and at it.

    Parameters
    ----------
    casebook : an open casebook; it is only read
    piano : id or name
    keys : key numbers, A4 = 49; a few telling ones that both recordings hold if none are given

    Returns
    -------
    ThenAndNow; without a recording of either visit it says which one is missing

    Raises
    ------
    BadInput
        no such piano, only one visit to it, a key that isn't in both recordings

    Examples
    --------
    In a notebook::

        import pianolab as pl
        pl.forms.hear_then_and_now(casebook, "by the window", keys=[40, 64])
    """
    which = casebook.piano(piano)
    then, now = heard_then_and_now(casebook, which)
    if then is None or now is None:
        missing = " and ".join(when for when, h in ((THEN, then), (NOW, now)) if h is None)
        return ThenAndNow(name=which.name, pairs=(), why_none=f"nothing was recorded {missing}")
    heard = {THEN: then, NOW: now}
    chosen = _checked(keys, heard) or clip_keys({when: h.own for when, h in heard.items()})
    if not chosen:
        return ThenAndNow(
            name=which.name, pairs=(), why_none="the recordings share none of the keys compared"
        )
    try:
        sounds = {when: read_sound(casebook.media_path(h.recording.media)) for when, h in heard.items()}
    except PianolabError as error:  # the survey is there, the sound is gone
        return ThenAndNow(name=which.name, pairs=(), why_none=f"a sound file can't be read ({error})")
    cuts = [[cut_note(sounds[when], h.own, key=key) for when, h in heard.items()] for key in chosen]
    whole = [pair for pair in cuts if all(len(cut.samples) for cut in pair)]
    if not whole:
        return ThenAndNow(name=which.name, pairs=(), why_none="a sound file ends before these keys")
    return ThenAndNow(name=which.name, pairs=tuple((a, b) for a, b in map(equally_loud, whole)))


def _checked(keys: Sequence[int], heard: Mapping[str, Heard]) -> tuple[int, ...]:
    for when, h in heard.items():
        table = h.own.table
        there = {int(k) for k in table.loc[table["status"] == "measured", "key"]}
        for key in keys:
            if key not in there:
                name = note_name(key) if isinstance(key, int) else ""
                got = f"{key!r}{f' ({name})' if name else ''}, which was not measured {when}"
                raise BadInput("key", got, "keys that both recordings hold")
    return tuple(keys)
