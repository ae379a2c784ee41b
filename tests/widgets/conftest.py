import shutil
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from widget_driver import Driver
from widget_lab import Lab, running_lab
from widget_small import CHECKLIST, small_casebook

from pianolab.casebook import Casebook, open_casebook
from pianolab.model import Visit
from pianolab.widgets import FindingsForm


@pytest.fixture(scope="session")
def untouched_book(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A fresh casebook to copy; making one takes a while."""
    folder = tmp_path_factory.mktemp("untouched") / "book"
    small_casebook(folder)[0].close()
    return folder


@pytest.fixture
def visit_and_book(tmp_path: Path, untouched_book: Path) -> Iterator[tuple[Casebook, Visit]]:
    shutil.copytree(untouched_book, tmp_path / "book")
    with open_casebook(tmp_path / "book") as casebook:
        yield casebook, casebook.visits()[0]


@pytest.fixture
def driver(visit_and_book: tuple[Casebook, Visit]) -> Driver:
    casebook, visit = visit_and_book
    return Driver(FindingsForm(casebook, visit.id, checklist=CHECKLIST))


@pytest.fixture(scope="session")
def lab(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Lab]:
    """One JupyterLab for all browser tests of the widgets."""
    with running_lab(tmp_path_factory.mktemp("lab")) as lab:
        shutil.copy(Path(__file__).with_name("widget_small.py"), lab.folder)
        yield lab
