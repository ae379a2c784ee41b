"""What is entered at a point, held against the checklist: a known point, its kind of value, a possible one, keys that are there."""

from __future__ import annotations

import math
import tomllib
from difflib import get_close_matches
from functools import cache
from importlib.resources import files

from pianolab.checklist.points import VALUE_OF, Checklist, Point
from pianolab.errors import BadInput
from pianolab.model import Finding, Piano

ARTICLES = {"grade": "a grade", "answer": "an answer", "count": "a count", "reading": "a reading"}
PER_KEY_UNITS = ("keys", "notes")


def check_point(point_id: str, checklist: Checklist, *, about: str) -> Point:
    """The point of that id.

    Raises
    ------
    BadInput
        a point that the checklist hasn't; the line names ``about``, a piano or a record
    """
    point = checklist.get(point_id)
    if point is None:
        close = get_close_matches(point_id, [p.id for p in checklist], n=1)
        hint = f"Did you mean {close[0]}?" if close else "Misspelt, or from another checklist?"
        raise BadInput(about, repr(point_id), "the id of a checklist point", hint)
    return point


def check_finding(finding: Finding, checklist: Checklist, piano: Piano) -> None:
    """Refuse a finding that its point or its piano can't have.

    Parameters
    ----------
    finding : what is to be entered
    checklist : the points it may be about
    piano : whose finding it is

    Raises
    ------
    BadInput
        a point unknown to the checklist, "does not apply" where every such piano has the part, a value of another
        kind than the point records, a number outside what is possible there, keys the piano hasn't; the line names
        piano and point

    Examples
    --------
    >>> from pianolab.checklist import load_checklist
    >>> dip = Finding(visit_id="v", point="action-dip", reading=102)
    >>> check_finding(dip, load_checklist(), Piano(name="A"))
    Traceback (most recent call last):
    ...
    pianolab.errors.BadInput: A, Key dip (action-dip): got 102 mm, need 2 to 25 mm. A decimal point missing?
    """
    point = check_point(finding.point, checklist, about=piano.name)
    about = f"{piano.name}, {point.title} ({point.id})"
    _check_missing(finding, point, piano, about=about)
    wanted = VALUE_OF[point.record]
    given = [name for name in ARTICLES if getattr(finding, name) is not None]
    if given and given != [wanted]:
        raise BadInput(about, " and ".join(ARTICLES[name] for name in given), ARTICLES[wanted])
    _check_number(getattr(finding, wanted), point, piano, about=about)
    outside = [key for key in finding.keys if not piano.first_key <= key <= piano.last_key]
    if outside:
        need = f"keys {piano.first_key} to {piano.last_key}, the keys of this piano"
        raise BadInput(about, f"key {outside[0]}", need, "Has it fewer keys than 88?")


def _check_missing(finding: Finding, point: Point, piano: Piano, *, about: str) -> None:
    """ "This piano has none" takes a point out of the judgement, so it may not stand for "I haven't looked"."""
    if finding.state != "does not apply" or not point.applies(piano) or point.can_be_missing(piano):
        return
    need = "what was found, or why it was not looked at"
    hint = f"Such {_kind_in_words(piano)} all have it; a point of your own names in may_lack which have none."
    raise BadInput(about, '"does not apply"', need, hint)


def _kind_in_words(piano: Piano) -> str:
    return {"grand": "grands", "upright": "uprights"}.get(piano.kind, "pianos")


def _check_number(value: float | None, point: Point, piano: Piano, *, about: str) -> None:
    if value is None or point.record not in ("count", "reading"):
        return
    low, high = possible_at(point, piano)
    if not low <= value <= high:
        need = f"{low:g} to {high:g} {point.unit}".strip()
        raise BadInput(about, f"{value:g} {point.unit}", need, "A decimal point missing?")


def possible_at(point: Point, piano: Piano) -> tuple[float, float]:
    """What a count or a reading at a point can be on a piano, in the point's unit; without end where nobody knows.

    Examples
    --------
    >>> from pianolab.checklist import load_checklist
    >>> possible_at(load_checklist()["keys-chips"], Piano(name="A", last_key=85))
    (0.0, 85.0)
    """
    if point.possible is not None:
        return point.possible
    if point.record == "count":
        most = piano.last_key - piano.first_key + 1 if point.unit in PER_KEY_UNITS else math.inf
        return _by_unit().get(point.unit, (0.0, float(most)))
    return _by_unit().get(point.unit, (-math.inf, math.inf))


@cache
def _by_unit() -> dict[str, tuple[float, float]]:
    text = (files("pianolab.checklist") / "data" / "units.toml").read_text(encoding="utf-8")
    return {unit: (float(low), float(high)) for unit, (low, high) in tomllib.loads(text)["possible"].items()}
