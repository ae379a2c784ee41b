"""What like instruments are sold for, in the notebook: enter a price, see all of them, take one out; saved at once."""

from __future__ import annotations

from datetime import date
from html import escape
from typing import TYPE_CHECKING, Any, get_args

import ipywidgets

from pianolab.errors import PianolabError
from pianolab.html import not_saved
from pianolab.model import Comparable, Condition, Piano
from pianolab.show import html_table, money
from pianolab.widgets.form_parts import StillTwin, big_enough, money_text, number_text
from pianolab.widgets.piano_fields import NAMES, NOT_KNOWN, NUMBERS, SELLERS, WIDE, YES_NO, known

if TYPE_CHECKING:
    from pianolab.casebook import Casebook

BUTTON = {"width": "auto", "min_height": "44px"}
ROW = {"align_items": "center", "flex_flow": "row wrap"}
CONDITIONS = (NOT_KNOWN, *((kind, kind) for kind in get_args(Condition)))
SOLD = (("asked", False), ("paid", True), NOT_KNOWN)
KEPT = ("piano", "seller_kind", "sold", "seen_on", "place")
"""What stays on the form for the next price: they come from one page of advertisements more often than not."""

HEADER = ("price", "kind", "for", "age", "condition", "from", "price was", "with it", "seen", "note")
HELP = (
    "Like instruments: of the same kind and class, sound and in playing order. Two at least carry a price, three or "
    "more carry it better; what was paid says more than what is asked."
)


class ComparablesForm(StillTwin, ipywidgets.VBox):
    """Prices of like instruments in a casebook: one at a time to enter, all of them in a list.

    A price is in the casebook before the form says "Saved"; one that can't be used is refused in one line, and what
    was typed stays. One that was taken out can be brought back with *Undo*.

    Parameters
    ----------
    casebook : an open casebook
    piano : Piano; for which prices are looked up at first, that of the latest visit if not given
    examiner : str; who enters them

    Examples
    --------
    In a notebook::

        from pianolab.widgets import ComparablesForm
        ComparablesForm(casebook)
    """

    def __init__(self, casebook: Casebook, piano: Piano | None = None, *, examiner: str = "me") -> None:
        self._casebook, self._by = casebook, examiner
        self.controls = _controls()
        self.add = ipywidgets.Button(description="Add this price", button_style="primary", layout=BUTTON)
        self.undo = ipywidgets.Button(description="Undo", layout=BUTTON, disabled=True)
        self.line = ipywidgets.HTML()
        self.list = ipywidgets.VBox()
        title = ipywidgets.HTML(f"<b>What like instruments are sold for</b><br>{HELP}")
        buttons = ipywidgets.HBox([self.add, self.undo])
        super().__init__([title, *self.controls.values(), buttons, self.line, self.list])
        self.children: tuple[Any, ...] = (big_enough(self), *self.children)
        self.add.on_click(lambda _: self._enter())
        self.undo.on_click(lambda _: self._take_back())
        self._show(_first(casebook, piano))

    def __repr__(self) -> str:
        return f"<ComparablesForm {len(self._casebook.comparables())} prices>"

    def _enter(self) -> None:
        values = {name: control.value for name, control in self.controls.items()}
        try:
            wanted = _read(values, self._casebook)
            with self._casebook.editing(by=self._by) as edit:
                edit.add(wanted)
        except PianolabError as error:
            self._refused(error)
            return
        for name in self.controls.keys() - set(KEPT):
            self.controls[name].value = ""
        self._done("Saved.")

    def _remove(self, comparable: Comparable) -> None:
        try:
            with self._casebook.editing(by=self._by) as edit:
                edit.remove(comparable.id, was=comparable)
        except PianolabError as error:  # taken out elsewhere meanwhile: the list then shows what is there
            self._show(self.controls["piano"].value)
            self._refused(error)
            return
        self._done("Taken out; Undo brings it back.")

    def _take_back(self) -> None:
        try:
            with self._casebook.editing(by=self._by) as edit:
                edit.undo(kinds=("Comparable",))
        except PianolabError as error:
            self._refused(error)
            return
        self._done("Taken back.", undo=False)

    def _done(self, words: str, *, undo: bool = True) -> None:
        self._show(self.controls["piano"].value)
        self.undo.disabled = not undo
        self.line.value = f"{words} {_enough(self._casebook)}"

    def _refused(self, error: PianolabError) -> None:
        self.line.value = not_saved(error)

    def _show(self, chosen: str | None) -> None:
        """Bring choice and list to what the casebook holds now."""
        pianos = self._casebook.pianos()
        every = [("any upright", "upright"), ("any grand", "grand")]
        self.controls["piano"].options = [*((p.name, p.id) for p in pianos), *every]
        there = {value for _, value in self.controls["piano"].options}
        self.controls["piano"].value = chosen if chosen in there else "upright"
        self.list.children = tuple(self._row(c) for c in self._casebook.comparables())

    def _row(self, comparable: Comparable) -> Any:
        words = in_words(comparable, {p.id: p.name for p in self._casebook.pianos()})
        button = ipywidgets.Button(
            description="Take out", tooltip=f"Take out: {words[0]}, {words[1]}", layout=BUTTON
        )
        button.on_click(lambda _: self._remove(comparable))
        text = ipywidgets.HTML(
            escape(", ".join(w for w in words if w)), layout={"max_width": "36em", "flex": "1 1 20em"}
        )
        return ipywidgets.HBox([button, text], layout=ROW)

    def to_html(self) -> str:
        """The prices as a still, escaped table: for export, print, or a notebook without a kernel."""
        names = {p.id: p.name for p in self._casebook.pianos()}
        rows = [in_words(c, names) for c in self._casebook.comparables()]
        return html_table("What like instruments are sold for", HEADER, rows, empty="no price entered yet")


def in_words(c: Comparable, names: dict[str, str]) -> tuple[str, ...]:
    """A price in words, one for each column; what is not known is empty.

    Examples
    --------
    >>> in_words(Comparable(price=2200, age_years=40, seller_kind="dealer", warranty_years=2, sold=False), {})
    ('€2,200', 'upright', '', '40 years', '', 'a dealer', 'asked', '2 years of warranty', '', '')
    """
    with_it = [
        f"{c.warranty_years:g} years of warranty" if c.warranty_years else "",
        f"{c.tunings_included} tunings" if c.tunings_included else "",
        "delivery" if c.delivery_included else "",
    ]
    seller = next((words for words, kind in SELLERS if kind == c.seller_kind and kind), "")
    return (
        money(c.price, c.currency),
        c.kind,
        f"for {names[c.piano_id]}" if c.piano_id in names else "",
        "" if c.age_years is None else f"{c.age_years:g} years",
        c.condition or "",
        seller,
        {True: "paid", False: "asked", None: ""}[c.sold],
        ", ".join(w for w in with_it if w),
        " ".join(w for w in (c.place, c.seen_on.isoformat() if c.seen_on else "") if w),
        c.note,
    )


def _first(casebook: Casebook, piano: Piano | None) -> str | None:
    visits = casebook.visits()
    if piano is not None:
        return piano.id
    return visits[-1].piano_id if visits else None


def _controls() -> dict[str, Any]:
    """A control for each field, in the order in which an advertisement tells them."""

    def text(title: str, hint: str = "") -> Any:
        return ipywidgets.Text(description=title, placeholder=hint, style=NAMES, layout=WIDE)

    def choice(title: str, options: Any) -> Any:
        return ipywidgets.Dropdown(description=title, options=options, style=NAMES, layout=WIDE)

    return {
        "piano": choice("Looked up for", []),
        "price": text("Price", "such as 2,200"),
        "sold": choice("The price was", SOLD),
        "age_years": text("Age, years"),
        "condition": choice("Condition", CONDITIONS),
        "seller_kind": choice("Sold by", SELLERS),
        "warranty_years": text("Warranty, years"),
        "tunings_included": text("Tunings included"),
        "delivery_included": choice("Delivery included", YES_NO),
        "place": text("Place"),
        "seen_on": ipywidgets.DatePicker(description="Seen on", value=date.today(), style=NAMES, layout=WIDE),
        "note": text("Note", "make, model, where it was seen"),
    }


def _read(values: dict[str, Any], casebook: Casebook) -> Comparable:
    """The price as it was typed, in the currency of the piano that it was looked up for."""
    mine = next((p for p in casebook.pianos() if p.id == values["piano"]), None)
    kind = mine.kind if mine else values["piano"]
    like = [mine] if mine else [p for p in casebook.pianos() if p.kind == kind]
    currency = like[0].currency if like else "EUR"
    return Comparable(
        piano_id=mine.id if mine else None,
        kind=kind,
        currency=currency,
        price=money_text(values["price"], currency) or "",  # type: ignore[arg-type]
        age_years=number_text(values["age_years"], "years", "year"),  # type: ignore[arg-type]
        warranty_years=number_text(values["warranty_years"], *NUMBERS["warranty_years"][1]),  # type: ignore[arg-type]
        tunings_included=number_text(values["tunings_included"], *NUMBERS["tunings_included"][1]),  # type: ignore[arg-type]
        note=values["note"].strip(),
        **{
            name: known(values[name])
            for name in ("sold", "condition", "seller_kind", "delivery_included", "seen_on")
        },
        place=values["place"].strip(),
    )


def _enough(casebook: Casebook) -> str:
    """How many prices may stand beside each piano."""
    counts = [(p.name, len(casebook.comparables(p.id))) for p in casebook.pianos()]
    return escape("Prices beside each: " + ", ".join(f"{name} {count}" for name, count in counts) + ".")
