"""Still twins of the widgets: what a form holds, as plain escaped HTML that needs no kernel and no script."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from html import escape

from pianolab.checklist.points import Checklist, Point
from pianolab.model import Finding, Photo, Piano, Visit
from pianolab.words import keys_in_words

CELL = "text-align:left;vertical-align:top;padding:0.35em 0.8em 0.35em 0;border-bottom:1px solid #9a948a"
OPEN = "open: nobody has recorded it yet"


def usual_in_words(point: Point) -> str:
    """The usual range of a reading with its unit, empty where the checklist gives none.

    Examples
    --------
    >>> usual_in_words(Point(id="a", area="b", title="c", why="d", how="e", unit="mm", usual=(9.5, 10.5)))
    '9.5 to 10.5 mm'
    """
    if point.usual is None:
        return ""
    low, high = point.usual
    numbers = f"{low:g}" if low == high else f"{low:g} to {high:g}"
    return f"{numbers} {point.unit}".strip()


def against_usual(point: Point, value: float) -> str:
    """Where a reading or count lies against the usual range: a word or two, or nothing to say.

    Examples
    --------
    >>> dip = Point(id="a", area="b", title="c", why="d", how="e", unit="mm", usual=(9.5, 10.5))
    >>> against_usual(dip, 8.9), against_usual(dip, 10.0)
    ('below the usual 9.5 to 10.5 mm', 'within the usual 9.5 to 10.5 mm')
    """
    side = usual_side(point, value)
    return f"{side} the usual {usual_in_words(point)}" if side else ""


def usual_side(point: Point, value: float) -> str:
    """``below``, ``within`` or ``above`` the usual range; empty where the checklist gives none."""
    if point.usual is None:
        return ""
    low, high = point.usual
    return "below" if value < low else "above" if value > high else "within"


def answer_in_words(answer: bool, *, point: Point | None = None) -> str:
    """A yes or a no with what it means at this point, where the checklist says so.

    Examples
    --------
    >>> answer_in_words(False, point=Point(id="a", area="b", title="c", why="d", how="e", no_means="All quiet."))
    'No. All quiet.'
    """
    means = "" if point is None else point.yes_means if answer else point.no_means
    return f"{'Yes' if answer else 'No'}{'. ' + means if means else ''}"


def finding_in_words(finding: Finding, *, point: Point | None = None) -> str:
    """What one finding says, in a line: the anchor sentence, the answer, the number, or why there is none.

    Examples
    --------
    >>> finding_in_words(Finding(visit_id="v", point="p", state="not checked", reason="no helper"))
    'Not checked: no helper'
    """
    if finding.state != "checked":
        return f"{finding.state.capitalize()}: {finding.reason}"
    if finding.grade is not None:
        anchors = point.anchors if point is not None and len(point.anchors) == 5 else ()
        words = anchors[5 - finding.grade] if anchors else ""
        return f"{words} (grade {finding.grade} of 5)".strip() if words else f"Grade {finding.grade} of 5"
    if finding.answer is not None:
        return answer_in_words(finding.answer, point=point)
    value = float(finding.count if finding.count is not None else finding.reading or 0.0)
    unit = point.unit if point is not None else ""
    against = against_usual(point, value) if point is not None else ""
    return f"{value:g} {unit}".strip() + (f", {against}" if against else "")


def note_in_words(finding: Finding) -> str:
    """The note of a finding and what the seller promised about it, in a line; empty where there is neither.

    Examples
    --------
    >>> note_in_words(Finding(visit_id="v", point="p", grade=2, note="sharp", promised="filed by May"))
    'sharp; promised: filed by May'
    """
    promise = finding.promised.strip()
    return "; ".join(t for t in (finding.note, f"promised: {promise}" if promise else "") if t)


def findings_twin(
    *,
    piano: Piano,
    visit: Visit,
    checklist: Checklist,
    findings: Sequence[Finding],
    photos: Sequence[Photo] = (),
    pictures: Mapping[str, str] | None = None,
) -> str:
    """Everything a visit's form shows, area by area, open points included.

    Parameters
    ----------
    piano, visit : the records the form is about
    checklist : the points that exist on this piano
    findings : all findings of the visit, of every examiner
    photos : the visit's photos, in order
    pictures : a small picture of a photo, as a ``data:`` address, by the photo's id; one without is named only

    Returns
    -------
    str, HTML: one ``section``; every text from outside is escaped
    """
    known = {p.id for p in checklist}
    parts = [
        f"<h2>{escape(piano.name)}, visit of {visit.day.isoformat()}</h2>",
        f"<p>{_count(checklist, findings)}</p>",
    ]
    for area in checklist.areas:
        points = [p for p in checklist if p.area == area]
        rows = "".join(_row(p.title, [f for f in findings if f.point == p.id], p) for p in points)
        parts.append(_table(area, rows))
    others = [f for f in findings if f.point not in known]
    if others:
        rows = "".join(
            _row(point, [f for f in others if f.point == point], None) for point in _distinct(others)
        )
        parts.append(_table("Recorded beside this checklist", rows))
    if photos:
        parts.append(_photos(photos, pictures or {}, {p.id: p.title for p in checklist}))
    return f'<section class="pianolab-findings">{"".join(parts)}</section>'


def _photos(photos: Sequence[Photo], pictures: Mapping[str, str], titles: Mapping[str, str]) -> str:
    items = "".join(
        _photo(", ".join(t for t in (titles.get(p.point, p.point), p.caption) if t), pictures.get(p.id, ""))
        for p in photos
    )
    return f'<h3>Photos</h3><ul style="list-style:none;padding:0">{items}</ul>'


def _photo(title: str, picture: str) -> str:
    """Only a picture that lies in the text itself is shown: nothing is fetched."""
    words = escape(title or "the whole visit")
    shown = (
        f'<img src="{escape(picture)}" alt="{words}" style="display:block;max-width:144px">'
        if picture.startswith("data:image/")
        else "the picture can't be shown: "
    )
    return f'<li style="display:inline-block;vertical-align:top;margin:0 12px 12px 0">{shown}{words}</li>'


def _count(checklist: Checklist, findings: Sequence[Finding]) -> str:
    checked = {f.point for f in findings if f.state == "checked"}
    touched = {f.point for f in findings} - checked
    ids = [p.id for p in checklist]
    done, put_off = sum(i in checked for i in ids), sum(i in touched for i in ids)
    return f"{done} of {len(ids)} points checked, {put_off} with a reason why not, {len(ids) - done - put_off} open."


def _distinct(findings: Iterable[Finding]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(f.point for f in findings))


def _table(title: str, rows: str) -> str:
    heads = "".join(
        f'<th scope="col" style="{CELL}">{h}</th>' for h in ("Point", "Found", "Where", "Note", "By")
    )
    heading = escape(title[:1].upper() + title[1:])
    return (
        f'<h3>{heading}</h3><table style="border-collapse:collapse"><thead><tr>{heads}</tr></thead>'
        f"<tbody>{rows}</tbody></table>"
    )


def _row(title: str, findings: Sequence[Finding], point: Point | None) -> str:
    if not findings:
        return _cells(title, OPEN, "", "", "")
    return "".join(
        _cells(
            title if i == 0 else "",
            finding_in_words(f, point=point),
            ", ".join(t for t in (f.place, keys_in_words(f.keys)) if t),
            note_in_words(f),
            f.examiner,
        )
        for i, f in enumerate(findings)
    )


def _cells(*texts: str) -> str:
    head, *rest = (escape(t) for t in texts)
    return (
        f'<tr><th scope="row" style="{CELL};font-weight:600">{head}</th>'
        + "".join(f'<td style="{CELL}">{t}</td>' for t in rest)
        + "</tr>"
    )
