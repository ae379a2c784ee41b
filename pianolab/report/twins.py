"""Still twins of the widgets: what a form holds, as plain escaped HTML that needs no kernel and no script."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from pianolab.checklist.points import Checklist, Point
from pianolab.html import templates
from pianolab.model import Finding, Photo, Piano, Visit
from pianolab.words import keys_in_words, upper_first

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
    tables = [
        (area, [row for p in checklist if p.area == area for row in _rows(p.title, findings, p.id, p)])
        for area in checklist.areas
    ]
    others = _distinct(f for f in findings if f.point not in checklist)
    if others:
        beside = [row for point in others for row in _rows(point, findings, point, None)]
        tables.append(("Recorded beside this checklist", beside))
    shown = [_photo(p, checklist, (pictures or {}).get(p.id, "")) for p in photos]
    made = templates("pianolab.report").get_template("findings_twin.html.j2")
    return made.render(
        piano=piano,
        visit=visit,
        count=_count(checklist, findings),
        tables=tables,
        photos=shown,
        upper_first=upper_first,
    )


def _photo(photo: Photo, checklist: Checklist, picture: str) -> tuple[str, str]:
    """A photo's words, and its picture where that lies in the text itself: nothing is fetched."""
    title = checklist[photo.point].title if photo.point in checklist else photo.point
    words = ", ".join(t for t in (title, photo.caption) if t) or "the whole visit"
    return words, picture if picture.startswith("data:image/") else ""


def _count(checklist: Checklist, findings: Sequence[Finding]) -> str:
    checked = {f.point for f in findings if f.state == "checked"}
    touched = {f.point for f in findings} - checked
    ids = [p.id for p in checklist]
    done, put_off = sum(i in checked for i in ids), sum(i in touched for i in ids)
    return f"{done} of {len(ids)} points checked, {put_off} with a reason why not, {len(ids) - done - put_off} open."


def _distinct(findings: Iterable[Finding]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(f.point for f in findings))


def _rows(
    title: str, findings: Sequence[Finding], point_id: str, point: Point | None
) -> list[tuple[str, ...]]:
    """A row for each finding at a point, the title in the first; or one that says that it is open."""
    own = [f for f in findings if f.point == point_id]
    return [
        (
            title if i == 0 else "",
            finding_in_words(f, point=point),
            ", ".join(t for t in (f.place, keys_in_words(f.keys)) if t),
            note_in_words(f),
            f.examiner,
        )
        for i, f in enumerate(own)
    ] or [(title, OPEN, "", "", "")]
