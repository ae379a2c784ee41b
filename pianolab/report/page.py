"""The comparison page: one HTML file with everything inside, that asks nothing of any network."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

from pianolab.acoustics.results import Survey
from pianolab.checklist.points import Checklist
from pianolab.compare.results import Comparison
from pianolab.errors import BadInput
from pianolab.figures import draw_costs, draw_ranks, marks_for, plan_costs, plan_ranks
from pianolab.figures.look import PALETTE_SOURCE
from pianolab.figures.money import about, money
from pianolab.model import Finding
from pianolab.report import shapes, words
from pianolab.report.answers import likely_steps, verdict_of
from pianolab.report.charts import EXTRA, ChartBook
from pianolab.report.clips import ClaimClips, Clip
from pianolab.report.further import Further
from pianolab.report.instruments import Instrument, instruments_of
from pianolab.report.listening import clip_grid, hidden_rows
from pianolab.report.offers import offer_of
from pianolab.report.page_charts import changed_chart, over_keys, piano_charts, radars
from pianolab.report.pictures import Picture
from pianolab.report.redact import Content, check_choices, redact
from pianolab.report.render import render
from pianolab.report.sheet import sheet_of, short_of
from pianolab.report.side_by_side import side_by_side
from pianolab.words import as_sentence, listed, upper_first, with_stop


def comparison_page(
    comparison: Comparison,
    *,
    surveys: Mapping[str, Survey],
    findings: Mapping[str, Sequence[Finding]],
    checklist: Checklist,
    clips: Mapping[str, Sequence[Clip]] | None = None,
    provenance: Mapping[str, str] | None = None,
    photos: Mapping[str, Sequence[Picture]] | None = None,
    leave_out: Sequence[str] = (),
    further: Sequence[Further] = (),
    private: Sequence[str] = (),
    claims: Mapping[str, Sequence[ClaimClips]] | None = None,
    days: Mapping[str, Sequence[date]] | None = None,
) -> str:
    """The page that tells a buyer what to do and why, as one self-contained HTML text.

    Parameters
    ----------
    comparison : the compared shortlist, two to eight instruments
    surveys, findings, clips, claims, photos : by piano id; an instrument that is missing in one of them is shown as unknown there
    checklist : the points the findings belong to
    days : the days of the visits by piano id; without them the moments of the findings tell the days
    provenance : lines for the end of the page: versions, dates, file hashes
    further : other results, of one instrument or of all, each shown in a fold
    leave_out : any of ``names``, ``addresses``, ``prices``; with ``names`` photos go too, since they may show some
    private : what else goes with the names wherever it stands: people, notes of recordings, names of files

    Returns
    -------
    str, HTML; write it with `write_page`

    Raises
    ------
    BadInput : ids that belong to no instrument, an unknown word in ``leave_out``, more than eight instruments
    """
    gone = check_choices(leave_out)
    beside = {f.piano_id: f for f in further if f.piano_id}
    _check_ids(
        comparison,
        surveys=surveys,
        findings=findings,
        clips=clips or {},
        claims=claims or {},
        photos=photos or {},
        days=days or {},
        further=beside,
    )
    content = redact(
        Content(
            comparison=comparison,
            findings={i: tuple(f) for i, f in findings.items()},
            provenance=dict(provenance or {}),
            photos={i: tuple(own) for i, own in (photos or {}).items()},
            further=tuple(further),
            private=tuple(private),
        ),
        leave_out,
    )
    marks = marks_for({a.piano.id: a.piano.name for a in content.comparison.assessments})
    shown = instruments_of(
        content.comparison,
        marks,
        surveys=surveys,
        findings=content.findings,
        checklist=checklist,
        leave_out=gone,
    )
    book = ChartBook()
    context = _context(
        content,
        shown,
        book,
        surveys=surveys,
        clips=clips or {},
        claims=claims or {},
        days=days or {},
        checklist=checklist,
        gone=gone,
    )
    return render(context, book.palette)


def _check_ids(comparison: Comparison, **given: Mapping[str, Any]) -> None:
    known = {a.piano.id for a in comparison.assessments}
    for name, mapping in given.items():
        if stray := set(mapping) - known:
            raise BadInput(
                name, ", ".join(sorted(map(str, stray))), "ids of pianos that are in the comparison"
            )


def _context(
    content: Content,
    shown: Sequence[Instrument],
    book: ChartBook,
    *,
    surveys: Mapping[str, Survey],
    clips: Mapping[str, Sequence[Clip]],
    claims: Mapping[str, Sequence[ClaimClips]],
    days: Mapping[str, Sequence[date]],
    checklist: Checklist,
    gone: frozenset[str],
) -> dict[str, Any]:
    c, prices = content.comparison, "prices" not in gone
    marks = {i.id: i.mark for i in shown}
    heard = {i.id: surveys[i.id] for i in shown if i.id in surveys}
    verdict = verdict_of(c, shown, prices=prices)
    charts = {
        "radars": radars(c, marks, book),
        "ranks": book.add(plan_ranks(c, marks=marks), draw_ranks, form=EXTRA) if len(shown) > 1 else None,
        "costs": book.add(plan_costs(c, marks=marks), draw_costs) if prices else None,
        "over_keys": over_keys(heard, marks, book),
        "per_piano": {
            i.id: piano_charts(i, book, heard, marks, content.findings.get(i.id, ()), checklist)
            for i in shown
        },
    }
    said = {
        "c": c,
        "profile": c.profile,
        "shown": shown,
        "prices": prices,
        "gone": sorted(gone),
        "provenance": content.provenance,
        "verdict": verdict,
        "sheet": sheet_of(
            c, shown, findings=content.findings, photos=content.photos, days=days, prices=prices
        ),
        "steps": verdict["next"],
        "likely": likely_steps(verdict["next"]),
        "table": side_by_side(c, shown, prices=prices),
        "hidden": hidden_rows(shown),
        "clips": clip_grid(clips, shown),
        "claims": claims,
        "photos": content.photos,
        "further": [
            (f, None if f.chart_of is None else changed_chart(f.chart_of, marks[f.piano_id], book))
            for f in content.further
        ],
        "titles": {p.id: p.title for p in checklist},
    }
    return charts | said | TOOLS


TOOLS: dict[str, Any] = {
    "words": words,
    "shapes": shapes,
    "money": money,
    "about": about,
    "listed": listed,
    "offer_of": offer_of,
    "short_of": short_of,
    "upper_first": upper_first,
    "as_sentence": as_sentence,
    "with_stop": with_stop,
    "palette_source": PALETTE_SOURCE,
}
"""What the templates call."""
