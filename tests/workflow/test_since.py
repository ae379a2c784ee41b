"""Since when something has changed: the day of the latest return, to a piano that was visited on more than one day."""

from datetime import date
from pathlib import Path

import pytest

from pianolab.casebook import create_casebook
from pianolab.errors import BadInput
from pianolab.model import Piano, Visit
from pianolab.workflow.second_visit import _latest_return


def test_only_a_return_on_another_day_counts(tmp_path: Path) -> None:
    days = {"once": (20,), "twice": (2, 12), "two looks in a day": (25, 25)}
    with create_casebook(tmp_path / "book") as casebook:
        with casebook.editing(by="Ana") as edit:
            for name, visits in days.items():
                piano = edit.add(Piano(name=name))
                for day in visits:
                    edit.add(Visit(piano_id=piano.id, day=date(2026, 5, day)))
        assert _latest_return(casebook) == date(2026, 5, 12)


def test_without_a_return_there_is_no_day(tmp_path: Path) -> None:
    with create_casebook(tmp_path / "book") as casebook:
        with casebook.editing(by="Ana") as edit:
            edit.add(Visit(piano_id=edit.add(Piano(name="once")).id, day=date(2026, 5, 2)))
        with pytest.raises(BadInput, match="no piano visited twice"):
            _latest_return(casebook)
