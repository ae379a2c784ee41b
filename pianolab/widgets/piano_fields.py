"""The fields of a piano on a form: what they are called, their controls, what these show, and back into a record."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any, get_args

import ipywidgets

from pianolab.keyboard import note_name
from pianolab.model import Piano, SellerKind, StorageKind
from pianolab.widgets.form_parts import money_text, number_text

WIDE = {"width": "36em", "max_width": "100%"}
NAMES = {"description_width": "10em"}
COMPASSES = ((1, 88), (1, 85))
CHOICES = {
    "key_tops": ("Key tops", ("unknown", "plastic", "ivory", "wood")),
    "middle_pedal": ("Middle pedal", ("unknown", "none", "sostenuto", "practice felt", "bass dampers")),
}
NOT_KNOWN = ("not known", "")
"""A choice of None would stand empty on the screen, as if nobody had been asked."""

SELLERS = (
    NOT_KNOWN,
    *((f"a {kind}" if kind == "dealer" else f"{kind}ly", kind) for kind in get_args(SellerKind)),
)
YES_NO = (NOT_KNOWN, ("yes", True), ("no", False))
OPTIONS = {
    "seller_kind": ("Sold by", SELLERS),
    "delivery_included": ("Delivery included", YES_NO),
    "storage_kind": ("Air where it stood", (NOT_KNOWN, *((kind, kind) for kind in get_args(StorageKind)))),
}
"""What may be unknown, as choices: title, and each choice's words with its value."""

NUMBERS = {
    "size_cm": ("Height or length, cm", ("cm",)),
    "weight_kg": ("Weight, kg", ("kg",)),
    "warranty_years": ("Warranty, years", ("years", "year", "y")),
    "tunings_included": ("Tunings included", ("tunings", "tuning")),
}
"""What is typed as a number: title, and the units that may stand behind it."""

TEXTS = {
    "name": "Name",
    "seller": "Seller",
    "address": "Address",
    "serial": "Serial number",
    "note": "Note",
    "make": "Make",
    "model": "Model",
    "storage": "Where it stood",
}
TITLES = {
    **TEXTS,
    **{name: title for table in (CHOICES, OPTIONS, NUMBERS) for name, (title, _) in table.items()},
    "kind": "Kind",
    "year": "Year",
    "compass": "Keys",
    "first_key": "First key",
    "last_key": "Last key",
    "asking_price": "Asking price",
    "currency": "Currency",
}
"""What the fields of a piano are called on the form."""

FIRST = (
    "name",
    "kind",
    "year",
    "compass",
    "asking_price",
    "key_tops",
    "middle_pedal",
    "seller",
    "address",
    "note",
)
"""What is asked of every piano; the rest stands in the folded parts."""

FOLDED = {
    "Make, model, size, serial number": ("make", "model", "size_cm", "weight_kg", "serial"),
    "What the price holds": ("seller_kind", "warranty_years", "tunings_included", "delivery_included"),
    "Where it stood these last years": ("storage_kind", "storage"),
}
"""Title of each folded part, and its fields."""


def controls_for(piano: Piano) -> dict[str, Any]:
    """A control for each field, in the order in which one is asked."""

    def text(title: str) -> Any:
        return ipywidgets.Text(description=title, continuous_update=False, style=NAMES, layout=WIDE)

    def choice(title: str, options: Any) -> Any:
        return ipywidgets.Dropdown(description=title, options=options, style=NAMES, layout=WIDE)

    made = {name: text(title) for name, title in TEXTS.items()}
    made |= {name: text(title) for name, (title, _) in NUMBERS.items()}
    made |= {name: choice(title, options) for name, (title, options) in (CHOICES | OPTIONS).items()}
    made["kind"] = choice("Kind", [("upright", "upright"), ("grand", "grand")])
    made["year"] = text("Year, if known")
    made["compass"] = choice("Keys", compasses())
    made["asking_price"] = text(f"Asking price, {piano.currency}")
    return {name: made[name] for name in (*FIRST, *(n for fields in FOLDED.values() for n in fields))}


def folded(controls: Mapping[str, Any]) -> Any:
    """The parts that are opened when somebody wants them, all closed."""
    parts = [ipywidgets.VBox([controls[name] for name in names]) for names in FOLDED.values()]
    return ipywidgets.Accordion(
        children=parts, titles=tuple(FOLDED), selected_index=None, layout={"max_width": "42em"}
    )


def values_of(piano: Piano) -> dict[str, Any]:
    """What the controls show of a piano; what isn't known is empty."""
    typed = ("year", "asking_price", *NUMBERS)
    values = {name: getattr(piano, name) for name in ("kind", *CHOICES, *TEXTS)}
    values |= {name: chosen(getattr(piano, name)) for name in OPTIONS}
    values |= {name: _typed(getattr(piano, name)) for name in typed}
    return values | {"compass": (piano.first_key, piano.last_key)}


def chosen(value: object) -> object:
    """What a choice shows of a value."""
    return "" if value is None else value


def known(choice: Any) -> Any:
    """The value behind a choice; None where nobody knows."""
    return None if choice == "" else choice


def _typed(value: object) -> str:
    if value is None:
        return ""
    return f"{value:g}" if isinstance(value, float) else str(value)


def read_piano(piano: Piano, value: Mapping[str, Any]) -> Piano:
    """The piano as its controls have it; what can't be used is refused by the record itself, in one line."""
    first, last = value["compass"]
    fields: dict[str, Any] = {name: value[name].strip() for name in (*TEXTS, *CHOICES)}
    fields |= {name: known(value[name]) for name in OPTIONS}
    fields |= {name: number_text(value[name], *units) for name, (_, units) in NUMBERS.items()}
    fields |= {"kind": value["kind"], "first_key": first, "last_key": last}
    fields["year"] = value["year"].strip() or None
    fields["asking_price"] = money_text(value["asking_price"], piano.currency)
    return replace(piano, **fields)


def compasses(other: tuple[int, int] = COMPASSES[0]) -> list[tuple[str, tuple[int, int]]]:
    return [(span_in_words(*keys), keys) for keys in dict.fromkeys((*COMPASSES, other))]


def span_in_words(first: int, last: int) -> str:
    """A compass in words.

    Examples
    --------
    >>> span_in_words(1, 85)
    '85 keys, A0 to A7'
    """
    return f"{last - first + 1} keys, {note_name(first)} to {note_name(last)}"
