"""Pages for a class: headings, sentences, tables and drawings in one HTML file; it knows of no class.

Everything is escaped; pictures are SVG text made by pianolab, sounds lie inside the file. Nothing is fetched,
and there is no script.
"""

from __future__ import annotations

from base64 import b64encode
from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

from pianolab.report.clips import Clip
from pianolab.show import Row, format_row

POLICY = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; media-src data:; base-uri 'none'; form-action 'none'"
STYLE = """
:root{color-scheme:light dark;--ink:#211e1a;--soft:#5f584e;--paper:#fffdf8;--line:#d9d2c5;--accent:#00609a}
@media (prefers-color-scheme:dark){:root{--ink:#efebe3;--soft:#b9b1a4;--paper:#1c1a18;--line:#48433b;--accent:#86c8f0}}
*{box-sizing:border-box}body{margin:0 auto;max-width:56rem;padding:1.5rem 1rem 4rem;background:var(--paper);color:var(--ink);
font:1rem/1.5 system-ui,"Noto Sans","DejaVu Sans",sans-serif}
h1{font-size:1.7rem;line-height:1.2;margin:0 0 .3rem}h2{font-size:1.2rem;margin:2rem 0 .4rem;border-top:2px solid var(--line);padding-top:.9rem}
h3{font-size:1rem;margin:1.3rem 0 .2rem}p{margin:.4rem 0;max-width:44rem}.soft{color:var(--soft)}
.wide{overflow-x:auto}table{border-collapse:collapse;margin:.6rem 0;font-variant-numeric:tabular-nums}caption{text-align:left;font-weight:600;padding:.2rem 0}
th,td{text-align:left;padding:.25rem .9rem .25rem 0;border-bottom:1px solid var(--line);vertical-align:top}
figure{margin:.8rem 0}figure img{max-width:100%;height:auto;background:#fffdf8}figcaption{color:var(--soft);font-size:.9rem}
ul.ticks{list-style:none;padding:0;margin:.4rem 0;columns:2;max-width:44rem}ul.ticks li{break-inside:avoid;padding:.12rem 0}
ul.ticks li::before{content:"";display:inline-block;width:.85em;height:.85em;border:1.5px solid var(--ink);margin-right:.6em;vertical-align:-.1em}
summary{cursor:pointer;color:var(--accent);padding:.3rem 0;min-height:1.75rem}audio{width:100%;max-width:24rem}a{color:var(--accent)}nav ul{columns:2;max-width:44rem;padding-left:1.1rem}
@media print{@page{margin:18mm}body{max-width:none;padding:0;background:#fff;color:#000}section{break-inside:avoid}nav,audio{display:none}}
"""


@dataclass(frozen=True, kw_only=True)
class PlainTable:
    """A table of plain values; a ``folded`` one opens by a click or the Enter key."""

    caption: str
    header: tuple[str, ...]
    rows: tuple[Row, ...]
    folded: bool = False


@dataclass(frozen=True, kw_only=True)
class Drawing:
    """SVG text made by pianolab, with what it shows in words."""

    svg: str
    words: str


@dataclass(frozen=True, kw_only=True)
class Section:
    """One part of the page, in this order: heading, paragraphs, pictures, sounds, choices to tick, tables."""

    heading: str
    paragraphs: tuple[str, ...] = ()
    drawings: tuple[Drawing, ...] = ()
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
    parts = [_section(n, s) for n, s in enumerate(sections, start=1)]
    links = "".join(
        f'<li><a href="#part-{n}">{escape(s.heading)}</a></li>' for n, s in enumerate(sections, start=1)
    )
    menu = f'<nav aria-label="Contents"><ul>{links}</ul></nav>' if contents and len(sections) > 2 else ""
    return (
        f'<!doctype html><html lang="{escape(language, quote=True)}"><head><meta charset="utf-8">'
        f'<meta http-equiv="Content-Security-Policy" content="{POLICY}"><meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{escape(title)}</title><style>{STYLE}</style></head><body><main><h1>{escape(title)}</h1>"
        f"{f'<p>{escape(lead)}</p>' if lead else ''}{menu}{''.join(parts)}</main></body></html>\n"
    )


def _section(number: int, section: Section) -> str:
    said = "".join(f"<p>{escape(text)}</p>" for text in section.paragraphs)
    drawn = "".join(_drawing(d) for d in section.drawings)
    heard = "".join(
        f'<p>{escape(c.label)}</p><audio controls preload="none" src="{c.uri}"></audio>'
        for c in section.clips
    )
    ticks = "".join(f"<li>{escape(text)}</li>" for text in section.ticks)
    boxes = f'<ul class="ticks">{ticks}</ul>' if ticks else ""
    tables = "".join(_table(t) for t in section.tables)
    return f'<section id="part-{number}"><h2>{escape(section.heading)}</h2>{said}{drawn}{heard}{boxes}{tables}</section>'


def _drawing(drawing: Drawing) -> str:
    # As an image, never as markup: nothing in a picture can act on the page.
    data = b64encode(drawing.svg.encode()).decode("ascii")
    words = escape(drawing.words)
    return f'<figure><img src="data:image/svg+xml;base64,{data}" alt="{escape(drawing.words, quote=True)}"><figcaption>{words}</figcaption></figure>'


def _table(table: PlainTable) -> str:
    head = "".join(f'<th scope="col">{escape(h)}</th>' for h in table.header)
    rows = "".join(
        "<tr>" + "".join(f"<td>{escape(c)}</td>" for c in format_row(table.header, row)) + "</tr>"
        for row in table.rows
    )
    whole = (
        f'<div class="wide" tabindex="0" role="region" aria-label="{escape(table.caption, quote=True)}"><table>'
        f"<caption>{escape(table.caption)}</caption><thead><tr>{head}</tr></thead><tbody>{rows}</tbody></table></div>"
    )
    return f"<details><summary>{escape(table.caption)}</summary>{whole}</details>" if table.folded else whole
