"""The casebook: one folder with all that was recorded, written so that nothing is ever lost."""

from pianolab.casebook.based_on import Clash, FieldClash
from pianolab.casebook.book import Casebook, Verification
from pianolab.casebook.checkup import CheckUp, check_casebook
from pianolab.casebook.editing import Edit
from pianolab.casebook.gathering import GatherResult, gather
from pianolab.casebook.kept_settings import KeptSettings, OwnFile, keep_settings, kept_settings
from pianolab.casebook.opening import create_casebook, open_casebook
from pianolab.casebook.pupils import pupil_access, shut_out, without_password
from pianolab.casebook.purge import PurgePlan
from pianolab.casebook.reading import AsOf, Change, Conflict
from pianolab.casebook.repair import Repair, repair_casebook, restore_casebook
from pianolab.casebook.troubles import ChangedSince
from pianolab.casebook.unzipped import import_zip
from pianolab.casebook.zipped import export_zip

__all__ = [
    "AsOf",
    "Casebook",
    "Change",
    "ChangedSince",
    "CheckUp",
    "Clash",
    "Conflict",
    "Edit",
    "FieldClash",
    "GatherResult",
    "KeptSettings",
    "OwnFile",
    "PurgePlan",
    "Repair",
    "Verification",
    "check_casebook",
    "create_casebook",
    "export_zip",
    "gather",
    "import_zip",
    "keep_settings",
    "kept_settings",
    "open_casebook",
    "pupil_access",
    "repair_casebook",
    "restore_casebook",
    "shut_out",
    "without_password",
]
