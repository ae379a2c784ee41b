"""The visit plan as a page to print: one sheet for the bag and the days, one for each piano."""

from __future__ import annotations

from collections.abc import Iterable
from html import escape
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pianolab.workflow.visit_plan import PlannedVisit, VisitPlan

STYLE = """
body { margin: 0 auto; padding: 24px; max-width: 46rem; color: #211e1a; background: #ffffff;
  font: 15px/1.45 system-ui, "Segoe UI", "Noto Sans", "DejaVu Sans", sans-serif; }
h1, h2 { font-family: Georgia, "Noto Serif", "DejaVu Serif", serif; line-height: 1.25; overflow-wrap: anywhere; }
h2 { margin: 2rem 0 0.3rem; border-top: 1px solid #857d70; padding-top: 0.8rem; }
h3 { margin: 1rem 0 0.2rem; font-size: 1rem; }
table { border-collapse: collapse; width: 100%; }
th, td { text-align: left; vertical-align: top; padding: 0.3rem 0.8rem 0.3rem 0; border-bottom: 1px solid #d9d2c5;
  overflow-wrap: anywhere; }
ul { list-style: none; padding: 0; margin: 0; columns: 2; column-gap: 2rem; }
li { padding: 0.12rem 0 0.12rem 1.6rem; text-indent: -1.6rem; break-inside: avoid; overflow-wrap: anywhere; }
li::before { content: "\\2610"; display: inline-block; width: 1.6rem; text-indent: 0; }
.soft { color: #5f584e; } .one { columns: 1; }
@media print { body { padding: 0; font-size: 12px; } h2 { break-before: page; border: 0; } h2.first { break-before: auto; } }
@media (max-width: 40rem) { ul { columns: 1; } }
"""


def plan_sheet(plan: VisitPlan) -> str:
    """The whole page; every text from outside is escaped, and nothing is fetched."""
    policy = "default-src 'none'; style-src 'unsafe-inline'"
    return (
        f'<!doctype html><html lang="en"><head><meta charset="utf-8"><title>Visit plan</title>'
        f'<meta name="viewport" content="width=device-width, initial-scale=1">'
        f'<meta http-equiv="Content-Security-Policy" content="{policy}"><style>{STYLE}</style></head>'
        f"<body><h1>Visit plan</h1>{_overview(plan)}{''.join(_stop(s) for s in plan.stops)}</body></html>"
    )


def _overview(plan: VisitPlan) -> str:
    rows = "".join(
        f"<tr><td>{s.begins:%a %d %b %Y}</td><td>{s.begins:%H:%M}–{s.ends:%H:%M}</td>"
        f"<th scope='row'>{escape(s.piano.name)}</th><td>{escape(s.piano.address or 'address unknown')}</td></tr>"
        for s in plan.stops
    )
    return (
        f"<p class='soft'>{escape(plan.headline())}</p><table><thead><tr><th>Day</th><th>Time</th><th>Piano</th>"
        f"<th>Where</th></tr></thead><tbody>{rows}</tbody></table>"
        + _boxes("In the bag", (f"{thing} ({why})" for thing, why in plan.kit))
        + _boxes("Stays at home", (f"{thing} ({why})" for thing, why in plan.leave_at_home))
        + _boxes("At home, before you travel", plan.at_home, one=True)
        + _boxes("On the day", plan.on_the_day, one=True)
    )


def _stop(stop: PlannedVisit) -> str:
    areas = (f"{area}: {still} of {all_} points open" for area, still, all_ in stop.open_areas)
    earlier = ", ".join(f"{d:%d %b %Y}" for d in stop.earlier_visits) or "none"
    price = (
        "price unknown"
        if stop.piano.asking_price is None
        else f"{stop.piano.asking_price} {stop.piano.currency}"
    )
    return (
        f"<h2>{escape(stop.piano.name)}</h2><p>{stop.begins:%A %d %B, %H:%M} to {stop.ends:%H:%M}, after about "
        f"{stop.drive_minutes:.0f} min on the way. {escape(stop.piano.address or 'Address unknown.')}</p>"
        f"<p class='soft'>{stop.piano.kind}, {stop.piano.year or 'year unknown'}, {escape(price)}. Seller: "
        f"{escape(stop.piano.seller or 'unknown')}. Earlier visits: {earlier}. What is open takes about "
        f"{stop.whole_minutes:.0f} min in full, {stop.short_minutes:.0f} min as the short walk.</p>"
        + _boxes("Unknown so far", stop.unknown)
        + _boxes("Ask before you travel", stop.questions, one=True)
        + _boxes("Ask leave on the spot", stop.openings, one=True)
        + _boxes("Still open", areas)
        + _boxes("Left open last time, because", stop.reasons, one=True)
    )


def _boxes(title: str, texts: Iterable[str], *, one: bool = False) -> str:
    items = "".join(f"<li>{escape(text)}</li>" for text in texts)
    columns = ' class="one"' if one else ""
    return f"<h3>{escape(title)}</h3><ul{columns}>{items}</ul>" if items else ""
