"""The recorder, for a notebook."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from pianolab.casebook import Casebook
from pianolab.model import Visit

if TYPE_CHECKING:
    from pianolab.widgets.recorder import RecorderForm


def recorder_form(
    casebook: Casebook,
    visit: Visit | str,
    *,
    examiner: str = "",
    on_kept: Callable[[Any], None] | None = None,
) -> RecorderForm:
    """A form that records from the microphone or takes in a file, listens, and keeps both at a visit.

    Parameters
    ----------
    casebook : an open casebook
    visit : Visit or its id
    examiner : str; who records; empty takes the examiner named in the visit
    on_kept : called with each recording that was kept

    Returns
    -------
    RecorderForm; a notebook shows it as it is
    """
    from pianolab.widgets.recorder import RecorderForm

    return RecorderForm(casebook, visit, examiner=examiner, on_kept=on_kept)
