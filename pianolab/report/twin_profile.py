"""Still twin of the buyer's form: what matters to whom, as plain escaped HTML without a script."""

from __future__ import annotations

from markupsafe import Markup

from pianolab.checklist import TouchScales, load_touch_scales
from pianolab.model import ASPECTS, Buyer, Room
from pianolab.show import Row, html_table, money

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
