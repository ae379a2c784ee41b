"""Parts that the forms share.

Controls for a finger, numbers as typed, long work behind a button, word of what was written, the still twin where no
kernel runs, and the browser's half.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from html import escape
from pathlib import Path
from typing import Any

import ipywidgets

from pianolab.errors import PianolabError

LEAST_PX = 44
"""Least height of what is tapped, CSS px: success criterion 2.5.5 of WCAG 2.2 (from memory)."""

_STYLE = f"""<style>
.pl-form {{ --jp-widgets-inline-height: {LEAST_PX}px; }}
.pl-form .widget-checkbox input[type="checkbox"] {{ width: 24px; height: 24px; }}
.pl-form .jupyter-button, .pl-form .widget-toggle-button {{ min-width: {LEAST_PX}px; }}
.pl-form .widget-inline-hbox, .pl-form .jupyter-button, .pl-form .widget-toggle-button {{ min-height: {LEAST_PX}px; }}
.pl-form .jupyter-widget-Collapse-header {{ min-height: {LEAST_PX}px; box-sizing: border-box; align-items: center; }}
.pl-form .noUi-handle {{ width: 28px; height: 28px; }}
.pl-form .noUi-horizontal .noUi-handle {{ top: -12px; right: -14px; }}
.pl-form .pl-surfaces {{ flex-flow: row wrap; gap: 4px; }}
</style>"""


def big_enough(form: Any) -> Any:
    """Make all controls of a form at least 44 px high; returns what brings the style to the page, a child of it."""
    form.add_class("pl-form")
    return ipywidgets.HTML(value=_STYLE, layout={"display": "none"})


THOUSANDS = re.compile(r"\d{1,3}([.,' \u2009\u00a0]\d{3})+")


def number_text(text: str, *units: str) -> str | None:
    """What was typed as a number that a record reads, or as it stands where it is none; None where nothing was.

    Parameters
    ----------
    text : what was typed
    units : words that may stand behind the number, such as ``cm``

    Examples
    --------
    >>> number_text(" 1,5 years", "years"), number_text("148cm", "cm"), number_text("  ")
    ('1.5', '148', None)
    """
    bare = text.strip()
    for unit in units:
        bare = re.sub(rf"\s*{re.escape(unit)}\.?$", "", bare, flags=re.IGNORECASE)
    return bare.replace(",", ".") or None


def money_text(text: str, currency: str) -> str | None:
    """A sum as typed; three figures behind a point or a comma are thousands, as prices are written.

    Examples
    --------
    >>> money_text("2.400", "EUR"), money_text("2,400.50", "EUR"), money_text("EUR 900,-", "EUR"), money_text("€ 12,5", "EUR")
    ('2400', '2400.50', '900', '12.5')
    """
    text = "".join(sign for sign in text if unicodedata.category(sign) != "Sc")
    bare = re.sub(
        rf"^\s*{currency}|{currency}$|[,.]?[-\u2013]+$", "", text.strip(), flags=re.IGNORECASE
    ).strip()
    whole, _, rest = bare.rpartition(".") if re.search(r"\.\d{1,2}$", bare) else (bare, "", "")
    if not rest and re.search(r",\d{1,2}$", bare):
        whole, _, rest = bare.rpartition(",")
    if THOUSANDS.fullmatch(whole):
        whole = re.sub(r"\D", "", whole)
    return (f"{whole}.{rest}" if rest else whole) or None


class StillTwin:
    """Adds the widget's ``to_html`` to what a notebook keeps of it; stands before the widget's class among the bases."""

    def to_html(self) -> str:
        """The widget as a still, escaped page part."""
        raise NotImplementedError

    def _repr_mimebundle_(self, **kwargs: Any) -> Any:
        bundle = super()._repr_mimebundle_(**kwargs)  # type: ignore[misc]
        shown = bundle[0] if isinstance(bundle, tuple) else bundle
        if shown:
            shown["text/html"] = self.to_html()
        return bundle


class Wrote:
    """Adds `when_written` to a form; the form calls `wrote` after each change that is in the casebook."""

    _acts: tuple[Callable[[], None], ...] = ()

    def when_written(self, act: Callable[[], None]) -> None:
        """Call ``act`` after each change from now on."""
        self._acts = (*self._acts, act)

    def wrote(self) -> None:
        """Say that a change is in the casebook."""
        for act in self._acts:
            act()


@contextmanager
def working(*, buttons: Sequence[Any], bar: Any, said: Any, done: str) -> Iterator[None]:
    """Lock the buttons and show the bar; ``said`` gets the line if the work fails or is stopped.

    Parameters
    ----------
    buttons, bar, said : ipywidgets
    done : str; what the work does, as in "Not written." and "nothing was written."
    """
    for button in buttons:
        button.disabled = True
    bar.layout.visibility = "visible"
    try:
        yield
    except PianolabError as error:
        said.value = f"Not {done}. {escape(str(error))}"
    except KeyboardInterrupt:
        said.value = f"Stopped; nothing was {done}."
    finally:
        bar.layout.visibility = "hidden"
        for button in buttons:
            button.disabled = False


STATIC = Path(__file__).parent / "static"


def browser_code(*names: str) -> str:
    """Files of the static folder joined into one text: a widget's module can't import its neighbours."""
    return "\n".join((STATIC / name).read_text(encoding="utf-8") for name in names)
