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
from pianolab.html import not_saved
from pianolab.model import ASPECTS, Buyer, Room, load_profiles
from pianolab.report.twins import profile_twin
from pianolab.rooms import load_surfaces
from pianolab.widgets.asking import Asking
from pianolab.widgets.form_parts import StillTwin, big_enough

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
        self._casebook, self._by, self._quiet = casebook, examiner, False
        self._profile = _start(casebook, name, like)
        self.controls = _controls(self._profile)
        self.line = ipywidgets.HTML(value=_quiet(self._profile))
        title = ipywidgets.HTML(value=f"<b>{escape(self._profile.name)}</b>{ROOM_FOR_RANGES}")
        self.sum = ipywidgets.HTML(value=_sum_words(self._profile))
        self.asking = Asking(self._save, {})
        super().__init__([title, *self.controls.values(), self.sum, self.line, self.asking])
        self.children: tuple[Any, ...] = (big_enough(self), *self.children)
        self.add_class("pl-buyer")
        for field in self.controls:
            self.controls[field].observe(self._moved, names="value")

    def __repr__(self) -> str:
        return f"<ProfileForm {self._profile.name}>"

    @property
    def profile(self) -> Buyer:
        """The buyer as the casebook holds them now, or would if nothing was changed yet."""
        return self._profile

    def _moved(self, _: Any) -> None:
        if self._quiet:
            return
        try:
            wanted = self._wanted()
            self.sum.value = _sum_words(wanted)
            self._save(wanted, self._profile)
        except PianolabError as error:
            self.line.value = not_saved(error)

    def _save(self, wanted: Buyer, was: Buyer) -> None:
        """Keep the buyer as the form shows it, based on what it had read; what another changed meanwhile is kept too."""
        wanted.check()
        if any(p.name == wanted.name for p in self._casebook.profiles()):
            kept = self.asking.keep(self._casebook, wanted, was=was, by=self._by)
        else:
            with self._casebook.editing(by=self._by) as edit:
                kept = edit.add(wanted)
        if kept is None:
            self.line.value = ""
            return
        more = "" if kept == wanted else " What was changed elsewhere meanwhile is shown too."
        self._profile = kept
        self._show()
        self.line.value = f"Saved at {datetime.now():%H:%M:%S}{more}"

    def _show(self) -> None:
        """Bring the controls to what the casebook holds."""
        self._quiet = True
        try:
            for field, value in _values(self._profile).items():
                if self.controls[field].value != value:
                    self.controls[field].value = value
        finally:
            self._quiet = False
        self.sum.value = _sum_words(self._profile)

    def _wanted(self) -> Buyer:
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


def _start(casebook: Casebook, name: str, like: str) -> Buyer:
    known = {**load_profiles(), **{p.name: p for p in casebook.profiles()}}
    if like and like not in known:
        raise BadInput("like", repr(like), "one of " + ", ".join(sorted(known)), "Misspelt?")
    if name in known:
        return known[name]
    return replace(known[like], name=name) if like else Buyer(name=name)


def _values(p: Buyer) -> dict[str, Any]:
    """What the controls show of a buyer; what isn't known is empty."""
    room = p.home_room
    metres = {"length": room.length_m, "width": room.width_m, "height": room.height_m}
    return {
        **{aspect: p.weights[aspect] for aspect in ASPECTS},
        MONEY: p.money_weight,
        "budget": _typed(p.budget),
        "moving low": _typed(p.moving_cost[0]),
        "moving high": _typed(p.moving_cost[1]),
        "level": p.level,
        "years": p.years_of_use,
        "projects": p.enjoys_projects,
        **{field: _typed(value) for field, value in metres.items()},
        "surfaces": room.surfaces,
        **{f"taste {s.id}": p.touch_taste.get(s.id, ALL_THE_SAME) for s in load_touch_scales().taste},
    }


def _typed(value: object) -> str:
    return "" if value is None else f"{value}"


def _controls(p: Buyer) -> dict[str, Any]:
    """A control for each field, in the order in which one is asked."""
    value = _values(p)
    found: dict[str, Any] = {a: _share_slider(a, value[a]) for a in ASPECTS}
    found[MONEY] = _share_slider("money saved", value[MONEY])
    texts = {
        "budget": f"Budget, {p.currency}",
        "moving low": f"Moving from, {p.currency}",
        "moving high": f"Moving to, {p.currency}",
        "level": "Level of the player",
    }
    found |= {field: _text(title, value[field]) for field, title in texts.items()}
    found["years"] = ipywidgets.BoundedFloatText(
        value=value["years"], min=1, max=100, step=1, description="Years of use", style=NAMES, layout=WIDE
    )
    found["projects"] = ipywidgets.Checkbox(
        value=value["projects"], description="Likes to do some of the work", style=NAMES, layout=WIDE
    )
    for field in ("length", "width", "height"):
        found[field] = _text(f"Home room, {field}, m", value[field])
    known = tuple(dict.fromkeys([*_surfaces(), *value["surfaces"]]))
    found["surfaces"] = ipywidgets.SelectMultiple(
        options=known, value=value["surfaces"], description="Surfaces there", style=NAMES, layout=WIDE
    )
    for scale in load_touch_scales().taste:
        found[f"taste {scale.id}"] = ipywidgets.IntRangeSlider(
            value=value[f"taste {scale.id}"],
            min=1,
            max=5,
            description=f"Touch: {scale.name}",
            tooltip=f"1: {scale.low} 5: {scale.high} From 1 to 5: all the same.",
            continuous_update=False,
            style=NAMES,
            layout=WIDE,
        )
    return found


def _surfaces() -> Iterable[str]:
    return load_surfaces().surfaces


def _share_slider(title: str, weight: tuple[float, float]) -> Any:
    return ipywidgets.FloatRangeSlider(
        value=weight,
        min=0.0,
        max=1.0,
        step=0.01,
        description=title.capitalize(),
        readout_format=".0%",
        continuous_update=False,
        style=NAMES,
        layout=WIDE,
    )


def _text(title: str, value: str) -> Any:
    return ipywidgets.Text(value=value, description=title, continuous_update=False, style=NAMES, layout=WIDE)


def _pair(value: tuple[float, float]) -> tuple[float, float]:
    return round(float(value[0]), 4), round(float(value[1]), 4)


def _metres(raw: str) -> Any:
    """Metres as they are typed: with or without the unit, with a point or a comma."""
    return raw.strip().removesuffix("m").replace(",", ".").strip() or None


def _sum_words(p: Buyer) -> str:
    """What the ranges come to together, so that one sees where they begin to exclude each other."""
    ranges = [*p.weights.values(), p.money_weight]
    low, high = sum(r[0] for r in ranges), sum(r[1] for r in ranges)
    return f"All shares together: {low:.0%} to {high:.0%}; 100 % must lie between."


def _quiet(p: Buyer) -> str:
    try:
        p.check()
    except BadInput as error:
        return f"<b>This buyer can't be used yet.</b> {escape(str(error))}"
    return "Every change is saved as you make it."
