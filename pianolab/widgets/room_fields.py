"""The controls of a room on a form: its size, what it is made of, how it answers a clap; and back into a record."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import Any

import ipywidgets

from pianolab.model import Room
from pianolab.rooms import RoomAsFound, load_surfaces
from pianolab.rooms.as_found import BARE, LID, SIZES, SOFT, WALL
from pianolab.widgets.form_parts import number_text

NAMES = {"description_width": "12em"}
WIDE = {"width": "24em", "max_width": "100%"}
METRES = {"length_m": "Length, m", "width_m": "Width, m", "height_m": "Height, m"}
PARTS = {
    "floor": "Floor",
    "on floor": "On the floor",
    "walls": "Walls",
    "on walls": "On the walls",
    "ceiling": "Ceiling",
}
NOT_NOTED = ("not noted", "")
ANSWERS = {
    "lid": ("Lid while you listened", (NOT_NOTED, ("open", "open"), ("closed", "closed"))),
    "wall": (
        "The piano stood",
        (NOT_NOTED, ("against a wall or in a corner", "wall"), ("free", "free")),
    ),
    "hardness": (
        "A clap sounds",
        (NOT_NOTED, ("dull", "dull"), ("ordinary", "ordinary"), ("bare and hard", "bare")),
    ),
}
"""What the walk asks about the room too: title, and each choice's words with its value."""

SAYS: Mapping[tuple[str, str], Mapping[str, bool]] = {
    ("lid", "open"): {LID: True},
    ("lid", "closed"): {LID: False},
    ("wall", "wall"): {WALL: True},
    ("wall", "free"): {WALL: False},
    ("hardness", "dull"): {SOFT: True, BARE: False},
    ("hardness", "bare"): {SOFT: False, BARE: True},
    ("hardness", "ordinary"): {SOFT: False, BARE: False},
}
"""The points of the walk that a choice answers, and how."""

POINTS: Mapping[str, tuple[str, ...]] = {
    **{name: (point,) for point, name in SIZES.items()},
    "lid": (LID,),
    "wall": (WALL,),
    "hardness": (SOFT, BARE),
}
"""The points of the walk behind each control of the room there."""


class RoomFields:
    """Size and surfaces of one room, as controls.

    Parameters
    ----------
    title : what the room is called on the form
    """

    def __init__(self, title: str) -> None:
        self.sizes = {name: _metres(words) for name, words in METRES.items()}
        self.surfaces = {name: _press(name) for name in load_surfaces().surfaces}
        self.others = ipywidgets.HTML()
        groups = [self._group(part, words) for part, words in PARTS.items()]
        self.box = ipywidgets.VBox(
            [ipywidgets.HTML(value=f"<b>{title}</b>"), *self.sizes.values(), *groups, self.others]
        )

    @property
    def controls(self) -> tuple[Any, ...]:
        """Everything that can be changed."""
        return (*self.sizes.values(), *self.surfaces.values())

    def show(self, room: Room) -> None:
        """Bring the controls to a room; a surface that pianolab doesn't know is named below them."""
        for name, control in self.sizes.items():
            control.value = _typed(getattr(room, name))
        known = surface_names(room.surfaces)
        for name, press in self.surfaces.items():
            press.value = name in known
        other = [name for name in known if name not in self.surfaces]
        self.others.value = f"Named too, without figures: {len(other)}." if other else ""

    def read(self, room: Room) -> Room:
        """A room as the controls have it; what can't be used is refused by the record itself."""
        other = [name for name in surface_names(room.surfaces) if name not in self.surfaces]
        pressed = [name for name, press in self.surfaces.items() if press.value]
        sizes: dict[str, Any] = {name: number_text(c.value, "m") for name, c in self.sizes.items()}
        same = set(pressed) == set(surface_names(room.surfaces)) - set(other)
        return replace(room, surfaces=room.surfaces if same else (*pressed, *other), **sizes)

    def _group(self, part: str, words: str) -> Any:
        presses = [self.surfaces[n] for n, s in load_surfaces().surfaces.items() if s.part == part]
        row = ipywidgets.HBox(presses)
        row.add_class("pl-surfaces")
        row.children = (ipywidgets.HTML(value=f"{words}:", layout={"width": "7em"}), *row.children)
        return row


def surface_names(words: Iterable[str]) -> tuple[str, ...]:
    """Surfaces by the names of pianolab's table; a word that it doesn't know stays as it is.

    Examples
    --------
    >>> surface_names(("wood floor", "boards", "moss"))
    ('floor boards', 'moss')
    """
    table = load_surfaces()
    meant = [(word, table.surface(word)) for word in words]
    return tuple(dict.fromkeys(word if s is None else s.name for word, s in meant))


def answer_controls() -> dict[str, Any]:
    """A choice for each of lid, wall and hardness."""
    return {
        name: ipywidgets.Dropdown(description=title, options=options, style=NAMES, layout=WIDE)
        for name, (title, options) in ANSWERS.items()
    }


def answers_of(found: RoomAsFound) -> dict[str, str]:
    """What the choices show of a room as found; empty where nobody noted it."""
    wall = {None: "", True: "wall", False: "free"}[found.against_wall]
    return {"lid": found.lid or "", "wall": wall, "hardness": found.hardness or ""}


def _metres(words: str) -> Any:
    return ipywidgets.Text(description=words, continuous_update=False, style=NAMES, layout=WIDE)


def _press(name: str) -> Any:
    return ipywidgets.ToggleButton(description=name, layout={"width": "auto"})


def _typed(value: float | None) -> str:
    return "" if value is None else f"{value:g}"
