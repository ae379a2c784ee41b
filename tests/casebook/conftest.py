"""A casebook with one piano, one visit and one finding: in a folder, and on a server where there is one."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from pianolab.casebook import Casebook, create_casebook, open_casebook
from pianolab.io import write_sound
from pianolab.model import Finding, Piano, Room, Visit
from tests.casebook.places import Folders, Schemas, server_url

Places = Folders | Schemas


@dataclass(frozen=True)
class Case:
    book: Casebook
    piano: Piano
    visit: Visit
    finding: Finding
    place: Any
    """What opens it: a folder or a URL."""


def _fill(place: Any) -> tuple[Any, Piano, Visit, Finding]:
    with create_casebook(place) as book, book.editing(by="Ana") as edit:
        piano = edit.add(
            Piano(name="by the window", asking_price=Decimal("1200.50"), address="5 Hidden Lane")
        )
        visit = edit.add(Visit(piano_id=piano.id, day=date(2026, 5, 1), room=Room(length_m=4.5)))
        finding = edit.add(Finding(visit_id=visit.id, point="bridge-treble", grade=4, keys=(1, 2)))
    return place, piano, visit, finding


@pytest.fixture(scope="session")
def templates(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Callable[[str], Any]]:
    """The filled casebook to copy from, by kind of place; made when first asked for."""
    made: dict[str, Any] = {}
    servers: list[Schemas] = []

    def template(kind: str) -> Any:
        if kind not in made:
            places: Places = Folders(tmp_path_factory.mktemp("template"))
            if kind == "postgresql":
                places = Schemas(server_url())
                servers.append(places)
            made[kind] = _fill(places.new("case"))
        return made[kind]

    yield template
    for server in servers:
        server.close()


@pytest.fixture(params=["sqlite", "postgresql"])
def places(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Places]:
    """Where casebooks of this test lie: every test that asks for it runs on both."""
    places: Places = Folders(tmp_path) if request.param == "sqlite" else Schemas(server_url())
    yield places
    places.close()


def _copied(places: Places, templates: Callable[[str], Any]) -> Iterator[Case]:
    place, *records = templates(places.kind)
    copy = places.copy(place, "case")
    with open_casebook(copy) as book:
        yield Case(book, *records, copy)


@pytest.fixture
def case(places: Places, templates: Callable[[str], Any]) -> Iterator[Case]:
    yield from _copied(places, templates)


@pytest.fixture
def folder_case(tmp_path: Path, templates: Callable[[str], Any]) -> Iterator[Case]:
    """The same in a folder only, for what is true of folders only."""
    yield from _copied(Folders(tmp_path), templates)


@pytest.fixture
def server_case(templates: Callable[[str], Any]) -> Iterator[Case]:
    """The same on a server only."""
    places = Schemas(server_url())
    yield from _copied(places, templates)
    places.close()


@pytest.fixture
def sound_file(tmp_path: Path) -> Path:
    """A tenth of a second of sound."""
    wave = 0.1 * np.sin(np.arange(4800) * 0.06)
    return write_sound(tmp_path / "tone.wav", wave[:, None], rate_hz=48000, subtype="PCM_16")


@pytest.fixture
def photo_file(tmp_path: Path) -> Path:
    """A small picture."""
    path = tmp_path / "picture.png"
    Image.new("RGB", (8, 6), "red").save(path)
    return path
