"""What every plan has in common: a title, a text alternative, and its data as a table."""

from __future__ import annotations

from dataclasses import dataclass

from pianolab.show import Showable


@dataclass(frozen=True, kw_only=True, repr=False)
class Plan(Showable):
    """Plain data of one figure. ``alt`` says in a sentence or two what a reader shall see in it.

    ``rows()`` (and `to_frame`) give the same data as a table; ``takeaway`` is the first sentence of ``alt``.
    """

    title: str
    alt: str

    @property
    def takeaway(self) -> str:
        end = self.alt.find(". ")
        return self.alt if end < 0 else self.alt[: end + 1]

    def headline(self) -> str:
        return f"{self.title}: {self.alt}"
