"""Pages for a class: headings, sentences, tables and drawings in one HTML file; it knows of no class.

Everything is escaped; pictures are SVG text made by pianolab, sounds lie inside the file. Nothing is fetched,
and there is no script.
"""

from __future__ import annotations

from base64 import b64encode
from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from pianolab.html import templates
from pianolab.report.photos_and_clips import Clip
from pianolab.report.render import text_of
from pianolab.show import Row, format_row


@dataclass(frozen=True, kw_only=True)
class PlainTable:
    """A table of plain values; a ``folded`` one opens by a click or the Enter key."""

    caption: str
    header: tuple[str, ...]
    rows: tuple[Row, ...]
    folded: bool = False


@dataclass(frozen=True, kw_only=True)
class SvgDrawing:
    """SVG text made by pianolab, with what it shows in words."""

    svg: str
    words: str

    @property
    def uri(self) -> str:
        """As an image, never as markup: nothing in a picture can act on the page."""
        return f"data:image/svg+xml;base64,{b64encode(self.svg.encode()).decode('ascii')}"


@dataclass(frozen=True, kw_only=True)
class Section:
    """One part of the page, in this order: heading, paragraphs, pictures, sounds, choices to tick, tables."""

    heading: str
    paragraphs: tuple[str, ...] = ()
    drawings: tuple[SvgDrawing, ...] = ()
    clips: tuple[Clip, ...] = ()
    ticks: tuple[str, ...] = ()
    tables: tuple[PlainTable, ...] = ()


def class_page(
    title: str, sections: Sequence[Section], *, lead: str = "", contents: bool = True, language: str = "en"
) -> str:
    """One self-contained HTML page; write it with `pianolab.report.write_page`.

    Examples
    --------
    >>> page = class_page("Tuesday <1>", [Section(heading="Hearing", paragraphs=("8 of 10 right",))])
    >>> "Tuesday &lt;1&gt;" in page, "<script" in page
    (True, False)
    """
    made = templates("pianolab.report").get_template("class.html.j2")
    return made.render(
        title=title,
        sections=sections,
        lead=lead,
        contents=contents,
        language=language,
        css=Markup(text_of("class.css")),
        format_row=format_row,
    )
