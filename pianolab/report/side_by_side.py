"""The table that puts the shortlist side by side: a name, and a cell per instrument."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from pianolab.compare.results import Comparison, Standing
from pianolab.figures.money import about, money
from pianolab.figures.radar_plan import money_share, weight_shares
from pianolab.report import shapes, words
from pianolab.report.instruments import Instrument


def side_by_side(
    comparison: Comparison, instruments: Sequence[Instrument], *, prices: bool
) -> list[dict[str, Any]]:
    """Rows of the table that puts the shortlist side by side: a name, and a cell per instrument."""
    code = comparison.profile.currency
    first: list[dict[str, Any]] = [
        _text_row(
            "First choice in",
            [f"{words.of_hundred(i.standing.rank_shares[0])} of 100" for i in instruments],
            strong=True,
        )
    ]
    rows: list[dict[str, Any]] = [
        *(first if len(instruments) > 1 else []),
        _text_row(
            "Looked at",
            [f"{i.assessment.points_checked} of {i.assessment.points_total} points" for i in instruments],
        ),
        _text_row("Listened to", [i.heard_short for i in instruments]),
    ]
    shares = weight_shares([a.aspect for a in instruments[0].assessment.aspects], comparison.profile)
    for n, (a, share) in enumerate(zip(instruments[0].assessment.aspects, shares, strict=True)):
        cells = []
        for i in instruments:
            r = i.assessment.aspects[n]
            cells.append(
                {"text": words.span(r.low, r.high), "bar": shapes.range_bar(r.low, r.high, index=i.index)}
            )
        rows.append(
            {"name": a.aspect.capitalize(), "sub": f"counts {share:.0%}", "cells": cells, "strong": False}
        )
    if prices:
        rows += [
            _text_row(
                "Price asked",
                [money(i.assessment.piano.asking_price, code) for i in instruments],
                sub=f"money counts {money_share(comparison.profile):.0%}",
            ),
            _text_row(
                "In the end", [_total(i.standing, code) for i in instruments], sub="estimate, not quote"
            ),
        ]
    if any(i.standing.dominated_by for i in instruments):
        names = {i.id: i.mark.letter for i in instruments}
        rows.append(
            _text_row(
                "Beaten in everything by",
                [", ".join(names.get(d, d) for d in i.standing.dominated_by) or "none" for i in instruments],
            )
        )
    return rows


def _text_row(name: str, texts: Sequence[str], *, sub: str = "", strong: bool = False) -> dict[str, Any]:
    return {"name": name, "sub": sub, "cells": [{"text": t, "bar": ""} for t in texts], "strong": strong}


def _total(s: Standing, code: str) -> str:
    if s.total_p10 is None or s.total_p90 is None:
        return "not known"
    return f"{about(s.total_p10, code)} to {about(s.total_p90, code)}"
