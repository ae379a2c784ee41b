"""The casebook: one folder with all that was recorded, written so that nothing is ever lost."""

from pianolab.casebook.book import Casebook, Verification, create_casebook, open_casebook
from pianolab.casebook.editing import Edit
from pianolab.casebook.gathering import GatherResult, gather
from pianolab.casebook.purge import PurgePlan
from pianolab.casebook.reading import AsOf, Change, Conflict

__all__ = [
    "AsOf",
    "Casebook",
    "Change",
    "Conflict",
    "Edit",
    "GatherResult",
    "PurgePlan",
    "Verification",
    "create_casebook",
    "gather",
    "open_casebook",
]
