"""The visual language: themes, type, spacing, and one letter + colour + shape + dash per instrument.

Colours are the eight of M. Okabe and K. Ito, Color Universal Design (2008), as printed in B. Wong, Points of
view: Color blindness, Nature Methods 8, 441 (2011). They are told apart with the common kinds of colour
blindness; a letter, a marker shape and a dash say the same thing again for print and for everybody else.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from pianolab.errors import BadInput

PALETTE_SOURCE = (
    "M. Okabe, K. Ito, Color Universal Design (2008); B. Wong, Points of view: Color blindness, "
    "Nature Methods 8, 441 (2011)"
)
OKABE_ITO = {
    "orange": "#E69F00",
    "sky blue": "#56B4E9",
    "bluish green": "#009E73",
    "yellow": "#F0E442",
    "blue": "#0072B2",
    "vermillion": "#D55E00",
    "reddish purple": "#CC79A7",
    "black": "#000000",
}

SANS = "system-ui, 'Segoe UI', 'Noto Sans', 'Liberation Sans', sans-serif"
SERIF = "'Iowan Old Style', 'Palatino Linotype', Palatino, P052, 'Book Antiqua', Georgia, serif"
TEXT_PX, SMALL_PX, TITLE_PX = 13, 12, 17
GAP_PX = 8

ThemeName = Literal["light", "dark"]
Kind = Literal["measured", "at least", "at most", "masked", "fault", "moved"]

MOST_INSTRUMENTS = 8


@dataclass(frozen=True, kw_only=True)
class Theme:
    """Colours of paper and ink; everything else is an instrument's own colour."""

    name: ThemeName
    paper: str
    panel: str
    ink: str
    muted: str
    rule: str
    faint: str
    accent: str
    alarm: str


LIGHT = Theme(
    name="light",
    paper="#FBFAF6",
    panel="#F2EFE7",
    ink="#1C2127",
    muted="#565D66",
    rule="#D6D1C5",
    faint="#A8A59C",
    accent="#0072B2",
    alarm="#A33F00",
)
DARK = Theme(
    name="dark",
    paper="#15181B",
    panel="#1E2226",
    ink="#ECE9E1",
    muted="#AEB2B5",
    rule="#3A4046",
    faint="#6E757B",
    accent="#56B4E9",
    alarm="#F08A4B",
)
THEMES: dict[str, Theme] = {"light": LIGHT, "dark": DARK}


def theme_of(name: str) -> Theme:
    """The theme of that name.

    Examples
    --------
    >>> theme_of("dark").name
    'dark'
    """
    if name not in THEMES:
        raise BadInput("theme", repr(name), "light or dark")
    return THEMES[name]


@dataclass(frozen=True, kw_only=True)
class Mark:
    """How one instrument is recognised everywhere: by letter, colour, marker shape and dash."""

    letter: str
    name: str
    light: str
    dark: str
    symbol: str
    dash: str

    @property
    def label(self) -> str:
        return f"{self.letter}  {self.name}"

    def colour(self, theme: Theme) -> str:
        return self.dark if theme.name == "dark" else self.light


_COLOURS = ("blue", "vermillion", "bluish green", "reddish purple", "orange", "sky blue", "black", "yellow")
_SYMBOLS = ("circle", "square", "diamond", "hexagon", "triangle-up", "pentagon", "star", "triangle-down")
_DASHES = ("solid", "6px 3px", "2px 2px", "9px 3px 2px 3px", "solid", "6px 3px", "2px 2px", "9px 3px 2px 3px")


def marks_for(names: Mapping[str, str]) -> dict[str, Mark]:
    """One `Mark` per instrument, in the order of ``names`` (id to name); two to eight stay legible.

    Parameters
    ----------
    names : names of the instruments by their ids

    Returns
    -------
    dict of `Mark` by id

    Examples
    --------
    >>> [m.letter + ":" + m.symbol for m in marks_for({"x": "Hall", "y": "Attic"}).values()]
    ['A:circle', 'B:square']
    """
    if not 1 <= len(names) <= MOST_INSTRUMENTS:
        raise BadInput(
            "names", f"{len(names)} instruments", f"1 to {MOST_INSTRUMENTS}", "Split the shortlist."
        )
    return {
        piano_id: Mark(
            letter="ABCDEFGH"[i],
            name=name,
            light=OKABE_ITO[_COLOURS[i]],
            dark="#F2F2F2" if _COLOURS[i] == "black" else OKABE_ITO[_COLOURS[i]],
            symbol=_SYMBOLS[i],
            dash=_DASHES[i],
        )
        for i, (piano_id, name) in enumerate(names.items())
    }


KIND_SYMBOL: dict[str, str] = {
    "measured": "circle",
    "at least": "triangle-up-open",
    "at most": "triangle-down-open",
    "masked": "circle-open",
    "fault": "diamond",
    "moved": "diamond",
}
KIND_WORDS: dict[str, str] = {
    "measured": "measured",
    "at least": "at least this (let go or drowned before)",
    "at most": "at most this (the room rings on)",
    "masked": "hidden by the unison: tune, then judge",
    "fault": "flagged as a fault",
    "moved": "went its own way",
}


def luminance(colour: str) -> float:
    """Relative luminance of a #rrggbb colour, as WCAG 2 defines it.

    Examples
    --------
    >>> luminance("#FFFFFF"), luminance("#000000")
    (1.0, 0.0)
    """
    parts = [int(colour[i : i + 2], 16) / 255.0 for i in (1, 3, 5)]
    r, g, b = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts)
    return round(0.2126 * r + 0.7152 * g + 0.0722 * b, 12)


def contrast(one: str, other: str) -> float:
    """Contrast ratio of two colours, 1 to 21 (WCAG 2).

    Examples
    --------
    >>> contrast("#000000", "#FFFFFF")
    21.0
    """
    low, high = sorted((luminance(one), luminance(other)))
    return round((high + 0.05) / (low + 0.05), 6)


def ink_on(colour: str) -> str:
    """Black or white, whichever reads better on ``colour``."""
    return max(("#000000", "#FFFFFF"), key=lambda ink: contrast(ink, colour))


def faded(colour: str, alpha: float) -> str:
    """The colour with transparency.

    Examples
    --------
    >>> faded("#0072B2", 0.2)
    'rgba(0,114,178,0.2)'
    """
    r, g, b = (int(colour[i : i + 2], 16) for i in (1, 3, 5))
    return f"rgba({r},{g},{b},{alpha:g})"
