"""The comparison page: one HTML file with everything inside, that asks nothing of any network."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from pianolab.acoustics.survey_result import Survey
from pianolab.checklist.points import Checklist
from pianolab.compare.comparison import Comparison
from pianolab.errors import BadInput
from pianolab.figures import draw_costs, draw_ranks, marks_for, plan_costs, plan_ranks
from pianolab.figures.look import PALETTE_SOURCE
from pianolab.model import Finding
from pianolab.report import phrases, shapes
from pianolab.report.answers import likely_steps, verdict_of
from pianolab.report.further import Further
from pianolab.report.instruments import Instrument, instruments_of, side_by_side
from pianolab.report.offers import offer_of
from pianolab.report.opening_sheet import sheet_of, short_of
from pianolab.report.page_charts import EXTRA, ChartBook, changed_chart, over_keys, piano_charts, radars
from pianolab.report.photos_and_clips import ClaimClips, Clip, Picture, then_and_now
from pianolab.report.redact import Content, check_choices, redact
from pianolab.report.render import render
from pianolab.report.what_is_heard import clip_grid, hidden_rows
from pianolab.show import about, money
from pianolab.words import as_sentence, listed, upper_first, with_stop


@dataclass(frozen=True, kw_only=True)
class Enclosures:
    """What a page may hold beside the comparison itself; mappings are by piano id, and may lack any instrument.

    Parameters
    ----------
    clips : short sounds of single keys
    claims : faults that are to be judged by ear, each with a sound key beside it
    photos : in the order in which they are shown
    days : the days of the visits; without them the moments of the findings tell the days
    further : other results, of one instrument or of all, each shown in a fold
    provenance : lines for the end of the page: versions, dates, file hashes

    Examples
    --------
    >>> Enclosures(provenance={"pianolab": "0.1.0"}).photos
    {}
    """

    clips: Mapping[str, Sequence[Clip]] = field(default_factory=dict)
    claims: Mapping[str, Sequence[ClaimClips]] = field(default_factory=dict)
    photos: Mapping[str, Sequence[Picture]] = field(default_factory=dict)
    days: Mapping[str, Sequence[date]] = field(default_factory=dict)
    further: Sequence[Further] = ()
    provenance: Mapping[str, str] = field(default_factory=dict)

    def by_piano(self) -> dict[str, Mapping[str, Any]]:
        """What is by piano id, by its name."""
        own = {f.piano_id: f for f in self.further if f.piano_id}
        return {
            "clips": self.clips,
            "claims": self.claims,
            "photos": self.photos,
            "days": self.days,
            "further": own,
        }


def comparison_page(
    comparison: Comparison,
    *,
    surveys: Mapping[str, Survey],
    findings: Mapping[str, Sequence[Finding]],
    checklist: Checklist,
    enclosed: Enclosures | None = None,
    leave_out: Sequence[str] = (),
    private: Sequence[str] = (),
) -> str:
    """The page that tells a buyer what to do and why, as one self-contained HTML text.

    Parameters
    ----------
    comparison : the compared shortlist, up to eight instruments
    surveys, findings : by piano id; an instrument that is missing in one of them is shown as unknown there
    checklist : the points the findings belong to
    enclosed : sounds, photos, days, other results, and where everything comes from
    leave_out : any of ``names``, ``addresses``, ``prices``; with ``names`` photos go too, since they may show some
    private : what else goes with the names wherever it stands: people, notes of recordings, names of files

    Returns
    -------
    str, HTML; write it with `write_page`

    Raises
    ------
    BadInput : ids that belong to no instrument, an unknown word in ``leave_out``, more than eight instruments
    """
    gone, enclosed = check_choices(leave_out), enclosed or Enclosures()
    _check_ids(comparison, {"surveys": surveys, "findings": findings, **enclosed.by_piano()})
    content = redact(
        Content(
            comparison=comparison,
            findings={i: tuple(f) for i, f in findings.items()},
            provenance=dict(enclosed.provenance),
            photos={i: tuple(own) for i, own in enclosed.photos.items()},
            further=tuple(enclosed.further),
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
    drawn = _charts(content, shown, book, checklist=checklist, prices="prices" not in gone)
    said = _said(content, shown, enclosed, gone=gone)
    titles = {"titles": {p.id: p.title for p in checklist}}
    return render(drawn | said | titles | TOOLS, book.palette)


def _check_ids(comparison: Comparison, given: Mapping[str, Mapping[str, Any]]) -> None:
    known = {a.piano.id for a in comparison.assessments}
    for name, mapping in given.items():
        if stray := set(mapping) - known:
            raise BadInput(
                name, ", ".join(sorted(map(str, stray))), "ids of pianos that are in the comparison"
            )


def _charts(
    content: Content, shown: Sequence[Instrument], book: ChartBook, *, checklist: Checklist, prices: bool
) -> dict[str, Any]:
    """The charts, in the order of their numbers."""
    c, marks = content.comparison, {i.id: i.mark for i in shown}
    heard = {i.id: i.survey for i in shown if i.survey is not None}
    return {
        "radars": radars(c, marks, book),
        "ranks": book.add(plan_ranks(c, marks=marks), draw_ranks, form=EXTRA) if len(shown) > 1 else None,
        "costs": book.add(plan_costs(c, marks=marks), draw_costs) if prices else None,
        "over_keys": over_keys(heard, marks, book),
        "per_piano": {
            i.id: piano_charts(i, book, heard, marks, content.findings.get(i.id, ()), checklist)
            for i in shown
        },
        "further": [
            (f, None if f.chart_of is None else changed_chart(f.chart_of, marks[f.piano_id], book))
            for f in content.further
        ],
    }


def _said(
    content: Content, shown: Sequence[Instrument], enclosed: Enclosures, *, gone: frozenset[str]
) -> dict[str, Any]:
    """Everything else that the templates show."""
    c, prices = content.comparison, "prices" not in gone
    verdict = verdict_of(c, shown, prices=prices)
    sheet = sheet_of(
        c, shown, findings=content.findings, photos=content.photos, days=enclosed.days, prices=prices
    )
    return {
        "c": c,
        "profile": c.profile,
        "shown": shown,
        "prices": prices,
        "gone": sorted(gone),
        "provenance": content.provenance,
        "verdict": verdict,
        "sheet": sheet,
        "steps": verdict["next"],
        "likely": likely_steps(verdict["next"]),
        "table": side_by_side(c, shown, prices=prices),
        "hidden": hidden_rows(shown),
        "clips": clip_grid(enclosed.clips, shown),
        "claims": enclosed.claims,
        "photos": {
            i: then_and_now(p for p in own if p is not sheet["photo"]) for i, own in content.photos.items()
        },
    }


TOOLS: dict[str, Any] = {
    "words": phrases,
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
