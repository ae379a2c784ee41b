"""Controls of a form large enough for a finger."""

from __future__ import annotations

from typing import Any

import ipywidgets

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
