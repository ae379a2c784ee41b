"""How likely what nobody has seen turns out bad: more so in an old piano, one from bad air, or one played much.

It bears on the unseen alone. What was looked at counts as it was found, whatever the age.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from importlib.resources import files
from typing import Any

import numpy as np

from pianolab.assess.findings import PointView
from pianolab.assess.places import value_of
from pianolab.model import Piano

AGE_POINT = "papers-age"


@dataclass(frozen=True, kw_only=True)
class Prior:
    """Factors on the chance that something unseen is bad, by what they stand for: ``age``, ``air``, ``use``."""

    age: float
    air: float
    use: float

    def factor(self, area: str) -> float:
        """The factor for the unseen points of one area of the checklist."""
        return float(np.prod([getattr(self, name) for name in _data()["bears_on"].get(area, ())]))


@cache
def _data() -> dict[str, Any]:
    text = (files("pianolab.assess") / "data" / "prior.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


def prior_of(piano: Piano, views: Mapping[str, PointView], *, year: int) -> Prior:
    """What age, air and use say of the parts that nobody has seen.

    Parameters
    ----------
    piano : its year of building and where it stood, where they are known
    views : what was found, by point: age, standing, heat and water, grooves in the hammers
    year : int, the present year

    Returns
    -------
    Prior : factors without unit; 1 is a piano of some fifty years from an ordinary room, played an ordinary amount

    Notes
    -----
    Source: ``data/prior.toml``; that they matter is common practice, by how much is an own estimate.

    Examples
    --------
    >>> old, young = (prior_of(Piano(name="A", year=built), {}, year=2026) for built in (1905, 2018))
    >>> old.factor("Soundboard") > 3 * young.factor("Soundboard"), old.factor("Papers and story")
    (True, 1.0)
    """
    return Prior(age=_age(piano, views, year), air=_air(piano, views), use=_graded("use", views))


def with_prior(views: Sequence[PointView], prior: Prior) -> list[PointView]:
    """The same views, each with the factor for what of it is out of sight."""
    return [replace(view, prior=prior.factor(view.point.area)) for view in views]


def _age(piano: Piano, views: Mapping[str, PointView], year: int) -> float:
    table = _data()["age"]
    said = _values(views, AGE_POINT)
    if piano.year is None and not said:
        return float(table["unknown"])
    years = max(said) if piano.year is None else float(max(0, year - piano.year))
    return float(np.interp(years, table["years"], table["factor"]))


def _air(piano: Piano, views: Mapping[str, PointView]) -> float:
    table = _data()["air"]
    known = [table["kind"][piano.storage_kind]] if piano.storage_kind in table["kind"] else []
    known += [table["grade"]["factor"][int(g) - 1] for g in _values(views, table["grade"]["point"])]
    worse = [f for point, f in table["yes"].items() if any(_values(views, point))]
    return float(np.prod([max(known, default=table["unknown"]), *worse]))


def _graded(name: str, views: Mapping[str, PointView]) -> float:
    table = _data()[name]
    grades = _values(views, table["point"])
    return float(table["factor"][int(min(grades)) - 1] if grades else table["unknown"])


def _values(views: Mapping[str, PointView], point: str) -> list[float]:
    view = views.get(point)
    return (
        []
        if view is None
        else [float(value_of(f, view.point)) for f in view.findings if f.state == "checked"]
    )
