"""Still twins of the forms for findings, touch and a buyer: plain escaped HTML that needs no kernel and no script."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from markupsafe import Markup

from pianolab.checklist import TouchScales, load_touch_scales
from pianolab.checklist.points import Checklist, Point
from pianolab.html import templates
from pianolab.model import ASPECTS, Buyer, Finding, Photo, Piano, Room, TouchOpinion, Visit
from pianolab.show import Row, html_table, money
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


TASTE_ROOM = 5


def touch_rows(
    scales: TouchScales, opinions: Sequence[TouchOpinion]
) -> list[tuple[str, str, tuple[str, ...]]]:
    """What the table says: kind, scale, and a text for each player; a scale not answered says so.

    Parameters
    ----------
    scales : the scales that were asked
    opinions : one for each player

    Returns
    -------
    list of (kind, name of the scale, texts in the order of the opinions)
    """
    rows = []
    for taste in scales.taste:
        texts = tuple(_taste(o.taste.get(taste.id), taste.low, taste.high) for o in opinions)
        rows.append(("Taste", taste.name, texts))
    liking = tuple(_taste(o.liking, scales.liking.low, scales.liking.high) for o in opinions)
    rows.append(("Taste", "Liking", liking))
    for fault in scales.faults:
        texts = tuple(_fault(o.faults.get(fault.id), fault.anchors) for o in opinions)
        rows.append(("Fault", fault.name, texts))
    return [*rows, ("Note", "In their own words", tuple(o.note or "–" for o in opinions))]


def _taste(value: int | None, low: str, high: str) -> str:
    if value is None:
        return "not answered"
    ends = {1: low, 2: f"towards: {low}", 3: "in between", 4: f"towards: {high}", 5: high}
    return f"{value} of {TASTE_ROOM}, {ends[value]}"


def _fault(grade: int | None, anchors: Sequence[str]) -> str:
    return "not answered" if grade is None else f"{anchors[5 - grade]} (grade {grade} of 5)"


def touch_twin(
    *,
    title: str,
    scales: TouchScales,
    opinions: Sequence[TouchOpinion],
    waiting: Sequence[str] = (),
    trials: Sequence[str] = (),
) -> str:
    """The opinions as plain, escaped HTML; while somebody is still to answer, only who has.

    Parameters
    ----------
    title : the piano and the day
    scales : the scales that were asked
    opinions : of those who are done
    waiting : names of those who are not; with any of them no answer is shown
    trials : sentences about pairs of pianos

    Examples
    --------
    >>> from pianolab.checklist import load_touch_scales
    >>> html = touch_twin(title="x", scales=load_touch_scales(), opinions=(), waiting=("<b>",))
    >>> "Still to answer: &lt;b&gt;" in html
    True
    """
    made = templates("pianolab.report").get_template("touch_twin.html.j2")
    return made.render(
        title=title,
        rows=touch_rows(scales, opinions),
        opinions=opinions,
        waiting=waiting,
        trials=trials,
    )


SECTION = Markup('<section class="pianolab-profile"><h2>{}</h2><p>{}</p>{}</section>')


def profile_twin(profile: Buyer, *, scales: TouchScales | None = None) -> str:
    """Everything a buyer's form holds.

    Parameters
    ----------
    profile : the buyer
    scales : the described scales of touch, those that come with pianolab if not given

    Returns
    -------
    str, HTML: one ``section``; every text from outside is escaped

    Examples
    --------
    >>> "tone</td>" in profile_twin(Buyer(name="Ada"))
    True
    """
    weights: list[Row] = [(a, _share(profile.weights[a])) for a in ASPECTS]
    weights.append(("money", _share(profile.money_weight)))
    tables = [
        html_table("How much each may count", ("aspect", "share of the whole"), weights),
        html_table("Plans", ("what", "value"), _plans(profile)),
        html_table("Taste of touch", ("scale", "suits"), _tastes(profile, scales or load_touch_scales())),
    ]
    return str(SECTION.format(profile.name, profile.description, Markup("").join(map(Markup, tables))))


def _share(weight: tuple[float, float]) -> str:
    return f"{weight[0]:.0%} to {weight[1]:.0%}"


def _plans(p: Buyer) -> list[Row]:
    low, high = (money(m, p.currency, locale=p.locale) for m in p.moving_cost)
    budget = "no limit given" if p.budget is None else money(p.budget, p.currency, locale=p.locale)
    return [
        ("budget", budget),
        ("moving", f"{low} to {high}"),
        ("level of the player", p.level or "not said"),
        ("years of use", f"{p.years_of_use:g}"),
        ("enjoys projects", p.enjoys_projects),
        ("home room", _room(p.home_room)),
    ]


def _room(room: Room) -> str:
    sides = (room.length_m, room.width_m, room.height_m)
    size = " x ".join("?" if s is None else f"{s:g}" for s in sides) + " m"
    if all(s is None for s in sides):
        size = "size not known"
    return ", ".join([size, *room.surfaces])


def _tastes(p: Buyer, scales: TouchScales) -> list[Row]:
    names = {s.id: (s.name, s.low, s.high) for s in scales.taste}
    rows: list[Row] = []
    for scale in {**names, **p.touch_taste}:
        name, low, high = names.get(scale, (scale, "", ""))
        first, last = p.touch_taste.get(scale, (1, 5))
        suits = "all the same" if (first, last) == (1, 5) else f"{first} to {last} (1: {low} 5: {high})"
        rows.append((name, suits))
    return rows
