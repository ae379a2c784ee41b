"""Further results on the page: touch, remaining life, rooms and the like, each as sentences and a table in a fold."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from pianolab.errors import BadInput
from pianolab.recordings.holding import Holding
from pianolab.recordings.left_pedal import LeftPedal
from pianolab.rooms.change import RoomChange
from pianolab.show import Showable, format_row

Changed = RoomChange | Holding | LeftPedal
"""Results of one instrument that have a chart of their own."""


@dataclass(frozen=True, kw_only=True)
class Further:
    """One result in words and as a table; ``piano_id`` is empty where it is about all instruments.

    One that is ``about_money`` goes where prices are left out; one that ``names_people`` goes with the names. The
    page draws ``chart_of`` in the fold.
    """

    title: str
    sentences: tuple[str, ...]
    header: tuple[str, ...] = ()
    rows: tuple[tuple[str, ...], ...] = ()
    piano_id: str = ""
    about_money: bool = False
    names_people: bool = False
    chart_of: Changed | None = None

    def __post_init__(self) -> None:
        if self.chart_of is not None and not self.piano_id:
            raise BadInput(self.title, "a chart of no instrument", "the piano's id")


def further(
    title: str,
    result: Showable,
    *,
    sentences: Sequence[str] = (),
    piano_id: str = "",
    about_money: bool = False,
    names_people: bool = False,
) -> Further:
    """A result as the page carries it: its own sentences, else its headline, and its rows.

    Parameters
    ----------
    title : its title on the page
    result : whatever shows itself
    sentences : what it says; its headline where none are given
    piano_id : the piano it is about; empty for all
    about_money : left out where prices are
    names_people : left out where names are

    Returns
    -------
    Further

    Examples
    --------
    >>> class Two(Showable):
    ...     def headline(self): return "two things"
    ...     def rows(self): return [("a", 1.5, "s", "")]
    >>> further("Things", Two()).sentences
    ('two things',)
    """
    said = tuple(sentences) or (result.headline(),)
    rows = tuple(format_row(result.header, row) for row in result.rows())
    return Further(
        title=title,
        sentences=said,
        header=tuple(result.header),
        rows=rows,
        piano_id=piano_id,
        about_money=about_money,
        names_people=names_people,
    )
