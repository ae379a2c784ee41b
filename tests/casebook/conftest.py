"""A casebook with one piano, one visit and one finding."""

import shutil
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from pathlib import Path

import pytest

from pianolab.casebook import Casebook, create_casebook, open_casebook
from pianolab.model import Finding, Piano, Room, Visit


@dataclass(frozen=True)
class Case:
    book: Casebook
    piano: Piano
    visit: Visit
    finding: Finding


@pytest.fixture(scope="session")
def template(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Piano, Visit, Finding]:
    folder = tmp_path_factory.mktemp("template") / "case"
    with create_casebook(folder) as book, book.editing(by="Ana") as edit:
        piano = edit.add(
            Piano(name="by the window", asking_price=Decimal("1200.50"), address="5 Hidden Lane")
        )
        visit = edit.add(Visit(piano_id=piano.id, day=date(2026, 5, 1), room=Room(length_m=4.5)))
        finding = edit.add(Finding(visit_id=visit.id, point="plate", grade=4, keys=(1, 2)))
    return folder, piano, visit, finding


@pytest.fixture
def case(tmp_path: Path, template: tuple[Path, Piano, Visit, Finding]) -> Iterator[Case]:
    folder, *records = template
    shutil.copytree(folder, tmp_path / "case")
    with open_casebook(tmp_path / "case") as book:
        yield Case(book, *records)
