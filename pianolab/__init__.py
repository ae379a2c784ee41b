"""pianolab: judge used pianos by eye, hand and ear, and compare the shortlist.

Records: `Piano`, `Visit`, `Finding`, `Buyer`, `Comparable`, `Room`, kept in a `Casebook`. Ears: `listen`, `survey_many`,
`compare_recordings`. The answer: `decide` gives a `Decision`, as `Settings` say (your own figures for hire or
a new one by `plans=`), and `export` writes it down.
Everything shows itself, and draws what it can with ``chart(kind)``. For notebooks: `forms`, `practice`, `classroom`.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

from pianolab.release import VERSION as __version__

_LAZY = {
    "Casebook": "pianolab.casebook",
    "create_casebook": "pianolab.casebook",
    "open_casebook": "pianolab.casebook",
    "gather": "pianolab.casebook",
    "Piano": "pianolab.model",
    "Visit": "pianolab.model",
    "Finding": "pianolab.model",
    "Buyer": "pianolab.model",
    "Comparable": "pianolab.model",
    "Room": "pianolab.model",
    "Settings": "pianolab.workflow",
    "load_checklist": "pianolab.checklist",
    "load_prices": "pianolab.assess",
    "plan_visits": "pianolab.planning",
    "listen": "pianolab.workflow",
    "Survey": "pianolab.acoustics",
    "survey_into": "pianolab.workflow",
    "survey_many": "pianolab.workflow",
    "compare_recordings": "pianolab.workflow",
    "decide": "pianolab.workflow",
    "Decision": "pianolab.workflow",
    "visit_changes": "pianolab.workflow",
    "ranking_changes": "pianolab.workflow",
    "export": "pianolab.workflow",
    "Printer": "pianolab.workflow",
    "Lines": "pianolab.show",
    "Table": "pianolab.show",
}
_ROOMS = {
    "forms": "pianolab.workflow.forms",
    "practice": "pianolab.demo.practice",
    "classroom": "pianolab.classroom",
}
"""Names that hold further names."""

__all__ = ["__version__"]
__all__ += list(_LAZY)
__all__ += list(_ROOMS)


def __getattr__(name: str) -> Any:
    if name in _LAZY:
        return getattr(import_module(_LAZY[name]), name)
    if name in _ROOMS:
        return import_module(_ROOMS[name])
    raise AttributeError(f"module 'pianolab' has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted(__all__)


if TYPE_CHECKING:
    from pianolab import classroom as classroom
    from pianolab.acoustics import Survey as Survey
    from pianolab.assess import load_prices as load_prices
    from pianolab.casebook import Casebook as Casebook
    from pianolab.casebook import create_casebook as create_casebook
    from pianolab.casebook import gather as gather
    from pianolab.casebook import open_casebook as open_casebook
    from pianolab.checklist import load_checklist as load_checklist
    from pianolab.demo import practice as practice
    from pianolab.model import Buyer as Buyer
    from pianolab.model import Comparable as Comparable
    from pianolab.model import Finding as Finding
    from pianolab.model import Piano as Piano
    from pianolab.model import Room as Room
    from pianolab.model import Visit as Visit
    from pianolab.planning import plan_visits as plan_visits
    from pianolab.show import Lines as Lines
    from pianolab.show import Table as Table
    from pianolab.workflow import Decision as Decision
    from pianolab.workflow import Printer as Printer
    from pianolab.workflow import Settings as Settings
    from pianolab.workflow import compare_recordings as compare_recordings
    from pianolab.workflow import decide as decide
    from pianolab.workflow import export as export
    from pianolab.workflow import forms as forms
    from pianolab.workflow import listen as listen
    from pianolab.workflow import ranking_changes as ranking_changes
    from pianolab.workflow import survey_into as survey_into
    from pianolab.workflow import survey_many as survey_many
    from pianolab.workflow import visit_changes as visit_changes
