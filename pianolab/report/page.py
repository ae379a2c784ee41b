"""The comparison page: one HTML file with everything inside, that asks nothing of any network."""

from __future__ import annotations

import os
import tempfile
from base64 import b64encode
from collections.abc import Mapping, Sequence
from functools import cache
from hashlib import sha256
from importlib.resources import files
from pathlib import Path
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup
from plotly.offline import get_plotlyjs

from pianolab.acoustics.results import Survey
from pianolab.checklist.points import Checklist
from pianolab.compare.results import Comparison
from pianolab.errors import BadInput
from pianolab.figures import (
    draw_brightness,
    draw_costs,
    draw_damper,
    draw_decay,
    draw_instrument,
    draw_keyboard,
    draw_radar,
    draw_ranks,
    draw_tuning,
    draw_unison,
    marks_for,
    plan_brightness,
    plan_costs,
    plan_damper,
    plan_decay,
    plan_instrument,
    plan_keyboard,
    plan_radar,
    plan_ranks,
    plan_tuning,
    plan_unison,
)  # fmt: skip
from pianolab.figures.look import PALETTE_SOURCE, Mark, ink_on
from pianolab.figures.wording import listed
from pianolab.figures.money import about, money
from pianolab.model import Finding
from pianolab.report import sections, shapes, words
from pianolab.report.charts import Chart, ChartBook
from pianolab.report.clips import Clip
from pianolab.report.pictures import Picture
from pianolab.report.redact import Content, check_choices, redact

TEMPLATES = "templates"


def comparison_page(
    comparison: Comparison, *, surveys: Mapping[str, Survey], findings: Mapping[str, Sequence[Finding]], checklist: Checklist,
    clips: Mapping[str, Sequence[Clip]] | None = None, provenance: Mapping[str, str] | None = None, photos: Mapping[str, Sequence[Picture]] | None = None, leave_out: Sequence[str] = (),
) -> str:  # fmt: skip
    """The page that tells a buyer what to do and why, as one self-contained HTML text.

    Parameters
    ----------
    comparison : the compared shortlist, two to eight instruments
    surveys, findings, clips, photos : by piano id; an instrument that is missing in one of them is shown as unknown there
    checklist : the points the findings belong to
    provenance : lines for the end of the page: versions, dates, file hashes
    leave_out : any of ``names``, ``addresses``, ``prices``; with ``names`` photos go too, since they may show some

    Returns
    -------
    str, HTML; write it with `write_page`

    Raises
    ------
    BadInput : ids that belong to no instrument, an unknown word in ``leave_out``, more than eight instruments
    """
    gone = check_choices(leave_out)
    _check_ids(comparison, surveys=surveys, findings=findings, clips=clips or {}, photos=photos or {})
    own = {i: tuple(f) for i, f in findings.items()}
    content = redact(
        Content(comparison=comparison, findings=own, provenance=dict(provenance or {})), leave_out
    )
    marks = marks_for({a.piano.id: a.piano.name for a in content.comparison.assessments})
    shown = sections.instruments_of(
        content.comparison, marks, surveys=surveys, findings=content.findings, checklist=checklist, leave_out=gone,
    )  # fmt: skip
    book = ChartBook()
    context = _context(
        content, shown, book, surveys=surveys, clips=clips or {}, checklist=checklist, gone=gone
    )
    context["photos"] = {} if "names" in gone else {i: tuple(own) for i, own in (photos or {}).items()}
    return _render(context, book)


def _check_ids(comparison: Comparison, **given: Mapping[str, Any]) -> None:
    known = {a.piano.id for a in comparison.assessments}
    for name, mapping in given.items():
        if stray := set(mapping) - known:
            raise BadInput(
                name, ", ".join(sorted(map(str, stray))), "ids of pianos that are in the comparison"
            )


def _context(
    content: Content, shown: Sequence[sections.Instrument], book: ChartBook, *, surveys: Mapping[str, Survey],
    clips: Mapping[str, Sequence[Clip]], checklist: Checklist, gone: frozenset[str],
) -> dict[str, Any]:  # fmt: skip
    c, prices = content.comparison, "prices" not in gone
    marks = {i.id: i.mark for i in shown}
    heard = {i.id: surveys[i.id] for i in shown if i.id in surveys}
    context = {
        "c": c,
        "profile": c.profile,
        "shown": shown,
        "prices": prices,
        "gone": sorted(gone),
        "provenance": content.provenance,
        "verdict": sections.verdict_of(c, shown, prices=prices),
        "table": sections.side_by_side(c, shown, prices=prices),
        "radars": _radars(c, marks, book),
        "ranks": book.add(plan_ranks(c, marks=marks), draw_ranks),
        "costs": book.add(plan_costs(c, marks=marks), draw_costs) if prices else None,
        "hidden": sections.hidden_rows(shown),
        "clips": sections.clip_grid(clips, shown),
        "over_keys": _over_keys(heard, marks, book),
        "unheard": [i for i in shown if i.id not in heard],
        "per_piano": {
            i.id: _piano_charts(i, book, heard, marks, content.findings.get(i.id, ()), checklist)
            for i in shown
        },
        "titles": {p.id: p.title for p in checklist},
        "words": words,
        "shapes": shapes,
        "money": money,
        "about": about,
        "listed": listed,
        "palette_source": PALETTE_SOURCE,
    }
    return context | {"steps": context["verdict"]["next"]}  # type: ignore[index]


def _radars(c: Comparison, marks: Mapping[str, Mark], book: ChartBook) -> list[Chart]:
    plan = plan_radar(c.assessments, profile=c.profile, marks=marks)
    if plan.form == "bars":
        return [book.add(plan, draw_radar, marks=[s.mark for s in plan.series])]
    charts = []
    for n, s in enumerate(plan.series):
        charts.append(
            book.add(plan, draw_radar, title=s.mark.label, marks=[s.mark], panel=s.piano_id, table=n == 0)
        )
    return charts


def _over_keys(heard: Mapping[str, Survey], marks: Mapping[str, Mark], book: ChartBook) -> list[Chart]:
    if not heard:
        return []
    names = {i: m.name for i, m in marks.items()}
    drawn = [marks[i] for i in heard]
    return [
        book.add(plan(heard, names), draw, marks=drawn, extra=extra)
        for plan, draw, extra in (
            (plan_decay, draw_decay, False),
            (plan_unison, draw_unison, False),
            (plan_tuning, draw_tuning, True),
            (plan_damper, draw_damper, True),
            (plan_brightness, draw_brightness, True),
        )
    ]


def _piano_charts(
    i: sections.Instrument, book: ChartBook, heard: Mapping[str, Survey], marks: Mapping[str, Mark], findings: Sequence[Finding],
    checklist: Checklist,
) -> list[Chart]:  # fmt: skip
    piano = i.assessment.piano
    where = plan_instrument(piano, findings=findings, checklist=checklist)
    plan = plan_keyboard(piano, survey=heard.get(i.id), findings=findings, checklist=checklist)
    charts = [book.add(where, draw_instrument, wide=True)] if where.parts else []
    charts.append(book.add(plan, draw_keyboard, wide=True))
    if i.id in heard:
        names = {k: m.name for k, m in marks.items()}
        charts.append(
            book.add(
                plan_decay(heard, names, focus=i.id),
                draw_decay,
                marks=[i.mark],
                extra=True,
                title="How long its keys sing, the others in grey",
            )
        )
    return charts


@cache
def _environment() -> Environment:
    env = Environment(
        loader=PackageLoader("pianolab.report", TEMPLATES),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    env.globals["ink_on"] = ink_on
    return env


def _read(name: str) -> str:
    return (files("pianolab.report") / TEMPLATES / name).read_text(encoding="utf-8").replace("\r\n", "\n")


@cache
def _plotly_js() -> str:
    return str(get_plotlyjs()).replace("\r\n", "\n")


@cache
def _hash(script: str) -> str:
    return f"'sha256-{b64encode(sha256(script.encode('utf-8')).digest()).decode('ascii')}'"


def content_security_policy(scripts: Sequence[str]) -> str:
    """A policy that lets exactly these scripts run, and lets nothing be fetched.

    Examples
    --------
    >>> content_security_policy(["1"]).split("; ")[0]
    "default-src 'none'"
    """
    return "; ".join(
        [
            "default-src 'none'",
            f"script-src {' '.join(_hash(s) for s in scripts)}",
            "style-src 'unsafe-inline'",
            "img-src data:",
            "media-src data:",
            "base-uri 'none'",
            "form-action 'none'",
        ]
    )


def _render(context: Mapping[str, Any], book: ChartBook) -> str:
    plotly_js, page_js = _plotly_js(), _read("page.js")
    return (
        _environment()
        .get_template("page.html.j2")
        .render(
            **context,
            charts=book.charts,
            css=Markup(_read("page.css")),
            plotly_js=Markup(plotly_js),
            page_js=Markup(page_js),
            policy=content_security_policy([plotly_js, page_js]),
            Markup=Markup,
        )
    )


def write_page(path: Path | str, html: str) -> Path:
    """Writes the page under a temporary name beside its place, then renames it; returns the path.

    Raises
    ------
    BadInput : the folder does not exist
    """
    path = Path(path)
    if not path.parent.is_dir():
        raise BadInput(str(path), "a folder that does not exist", "a path in an existing folder")
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=".page-", suffix=".tmp")
    try:
        with os.fdopen(handle, "w", encoding="utf-8", newline="\n") as out:
            out.write(html)
        os.chmod(name, 0o644)
        os.replace(name, path)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise
    return path
