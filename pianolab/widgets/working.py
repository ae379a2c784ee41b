"""Long work behind a button: locked meanwhile, one line where it can't be done, one where it is stopped."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from html import escape
from typing import Any

from pianolab.errors import PianolabError


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
