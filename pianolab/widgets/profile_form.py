"""The buyer's form of the notebook: what matters, to whom, in which room; saved as it is moved."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from datetime import datetime
from html import escape
from typing import TYPE_CHECKING, Any

import ipywidgets

from pianolab.checklist import load_touch_scales
from pianolab.errors import BadInput, PianolabError
from pianolab.model import ASPECTS, BuyerProfile, Room, load_profiles
from pianolab.report.twin_profile import profile_twin
from pianolab.rooms import load_surfaces
from pianolab.widgets.still import StillTwin

if TYPE_CHECKING:
    from pianolab.casebook import Casebook

MONEY = "money"
WIDE = {"width": "42em", "max_width": "100%"}
NAMES = {"description_width": "19em"}
ROOM_FOR_RANGES = "<style>.pl-buyer .widget-readout {min-width: 7em; max-width: none}</style>"
ALL_THE_SAME = (1, 5)


class ProfileForm(StillTwin, ipywidgets.VBox):
    """One buyer, to be looked at and changed in a notebook.

    There is no save button: each change that can be used is in the casebook before the form says "Saved". One
    that can't (weights that exclude each other, a budget of nothing) is refused in one line, and the casebook
    keeps what it had.

    Parameters
    ----------
    casebook : an open casebook
    name : str; the buyer of that name in the casebook, else of those that come with pianolab, else a new one
    examiner : str; who makes the changes
    like : str; a buyer to start a new one from

    Raises
    ------
    BadInput
        an unknown buyer in ``like``

    Examples
    --------
    In a notebook::

        from pianolab.widgets.profile_form import ProfileForm
        ProfileForm(casebook, "my pupil", like="first piano")
    """

    def __init__(
        self, casebook: Casebook, name: str = "first piano", *, examiner: str = "me", like: str = ""
    ) -> None:
        self._casebook, self._by = casebook, examiner
        self._profile = _start(casebook, name, like)
        self.controls = _controls(self._profile)
        self.line = ipywidgets.HTML(value=_quiet(self._profile))
        title = ipywidgets.HTML(value=f"<b>{escape(self._profile.name)}</b>{ROOM_FOR_RANGES}")
        self.sum = ipywidgets.HTML(value=_sum_words(self._profile))
        super().__init__([title, *self.controls.values(), self.sum, self.line])
        self.add_class("pl-buyer")
        for field in self.controls:
            self.controls[field].observe(self._moved, names="value")

    def __repr__(self) -> str:
        return f"<ProfileForm {self._profile.name}>"

    @property
    def profile(self) -> BuyerProfile:
        """The buyer as the casebook holds them now, or would if nothing was changed yet."""
        return self._profile

    def _moved(self, _: Any) -> None:
        try:
            wanted = self._wanted()
            self.sum.value = _sum_words(wanted)
            wanted.check()
            self._save(wanted)
        except PianolabError as error:
            self.line.value = f"<b>Not saved.</b> {escape(str(error))}"
        else:
            self.line.value = f"Saved at {datetime.now():%H:%M:%S}"

    def _save(self, wanted: BuyerProfile) -> None:
        there = any(p.name == wanted.name for p in self._casebook.profiles())
        with self._casebook.editing(by=self._by) as edit:
            (edit.change if there else edit.add)(wanted)
        self._profile = wanted

    def _wanted(self) -> BuyerProfile:
        """What the controls say; the record itself reads figures out of text, or refuses them."""
        value: dict[str, Any] = {field: control.value for field, control in self.controls.items()}
        costs: Any = tuple(value[f"moving {end}"].strip() or 0 for end in ("low", "high"))
        tastes = {f.removeprefix("taste "): v for f, v in value.items() if f.startswith("taste ")}
        return replace(
            self._profile,
            weights={a: _pair(value[a]) for a in ASPECTS},
            money_weight=_pair(value[MONEY]),
            budget=value["budget"].strip() or None,
            moving_cost=costs,
            level=value["level"].strip(),
            years_of_use=float(value["years"]),
            enjoys_projects=value["projects"],
            touch_taste={scale: tuple(v) for scale, v in tastes.items() if tuple(v) != ALL_THE_SAME},
            home_room=Room(
                length_m=_metres(value["length"]),
                width_m=_metres(value["width"]),
                height_m=_metres(value["height"]),
                surfaces=tuple(value["surfaces"]),
                note=self._profile.home_room.note,
            ),
        )

    def to_html(self) -> str:
        """The buyer as a still, escaped page part: for export, print, or a notebook without a kernel."""
        return profile_twin(self._profile)


def _start(casebook: Casebook, name: str, like: str) -> BuyerProfile:
    known = {**load_profiles(), **{p.name: p for p in casebook.profiles()}}
    if like and like not in known:
        raise BadInput("like", repr(like), "one of " + ", ".join(sorted(known)), "Misspelt?")
    if name in known:
        return known[name]
    return replace(known[like], name=name) if like else BuyerProfile(name=name)


def _controls(p: BuyerProfile) -> dict[str, Any]:
    """A control for each field, in the order in which one is asked."""
    room = p.home_room
    found: dict[str, Any] = {a: _share_slider(a, p.weights[a]) for a in ASPECTS}
    found[MONEY] = _share_slider("money saved", p.money_weight)
    found["budget"] = _text(f"Budget, {p.currency}", p.budget)
    found["moving low"] = _text(f"Moving from, {p.currency}", p.moving_cost[0])
    found["moving high"] = _text(f"Moving to, {p.currency}", p.moving_cost[1])
    found["level"] = _text("Level of the player", p.level)
    found["years"] = ipywidgets.BoundedFloatText(
        value=p.years_of_use, min=1, max=100, step=1, description="Years of use", style=NAMES, layout=WIDE
    )
    found["projects"] = ipywidgets.Checkbox(
        value=p.enjoys_projects, description="Likes to do some of the work", style=NAMES, layout=WIDE
    )
    for field, metres in (("length", room.length_m), ("width", room.width_m), ("height", room.height_m)):
        found[field] = _text(f"Home room, {field}, m", metres)
    known = tuple(dict.fromkeys([*_surfaces(), *room.surfaces]))
    found["surfaces"] = ipywidgets.SelectMultiple(
        options=known, value=room.surfaces, description="Surfaces there", style=NAMES, layout=WIDE
    )
    for scale in load_touch_scales().taste:
        found[f"taste {scale.id}"] = ipywidgets.IntRangeSlider(
            value=p.touch_taste.get(scale.id, ALL_THE_SAME), min=1, max=5, description=f"Touch: {scale.name}",
            tooltip=f"1: {scale.low} 5: {scale.high} From 1 to 5: all the same.", continuous_update=False,
            style=NAMES, layout=WIDE,
        )  # fmt: skip
    return found


def _surfaces() -> Iterable[str]:
    return load_surfaces().surfaces


def _share_slider(title: str, weight: tuple[float, float]) -> Any:
    return ipywidgets.FloatRangeSlider(
        value=weight, min=0.0, max=1.0, step=0.01, description=title.capitalize(), readout_format=".0%",
        continuous_update=False, style=NAMES, layout=WIDE,
    )  # fmt: skip


def _text(title: str, value: object) -> Any:
    return ipywidgets.Text(
        value="" if value is None else f"{value}", description=title, continuous_update=False, style=NAMES, layout=WIDE
    )  # fmt: skip


def _pair(value: tuple[float, float]) -> tuple[float, float]:
    return round(float(value[0]), 4), round(float(value[1]), 4)


def _metres(raw: str) -> Any:
    """Metres as they are typed: with or without the unit, with a point or a comma."""
    return raw.strip().removesuffix("m").replace(",", ".").strip() or None


def _sum_words(p: BuyerProfile) -> str:
    """What the ranges come to together, so that one sees where they begin to exclude each other."""
    ranges = [*p.weights.values(), p.money_weight]
    low, high = sum(r[0] for r in ranges), sum(r[1] for r in ranges)
    return f"All shares together: {low:.0%} to {high:.0%}; 100 % must lie between."


def _quiet(p: BuyerProfile) -> str:
    try:
        p.check()
    except BadInput as error:
        return f"<b>This buyer can't be used yet.</b> {escape(str(error))}"
    return "Every change is saved as you make it."
