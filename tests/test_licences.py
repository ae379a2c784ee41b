"""The page of licences names what pyproject.toml asks for, as the installed packages state it, and none is GPL."""

from __future__ import annotations

import re
import tomllib
from importlib import metadata
from importlib.util import find_spec
from pathlib import Path

import pytest
from packaging.requirements import Requirement

ROOT = Path(__file__).resolve().parent.parent
PAGE = (ROOT / "docs" / "licences.md").read_text(encoding="utf-8")
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
EXTRAS = {name: lines for name, lines in PROJECT["optional-dependencies"].items() if name != "test"}
GPL = re.compile(r"(?<!Lesser )General Public|(?<![LA-Za-z])A?GPL", re.IGNORECASE)
"""The GPL and the AGPL, not the LGPL."""


def asked_for(lines: list[str]) -> set[str]:
    return {plain(Requirement(line).name) for line in lines} - {"pianolab"}


def plain(name: str) -> str:
    return re.sub(r"[-_.]+", "-", name).lower()


def stated(package: str) -> str:
    """The licence that an installed package states."""
    about = metadata.metadata(package)
    classes = [c for c in about.get_all("Classifier") or [] if c.startswith("License ::")]
    return (
        about.get("License-Expression")
        or " ".join(classes)
        or (about.get("License") or "").partition("\n")[0]
    )


def rows(page: str) -> dict[str, str]:
    """Licence by package, as the page's first two tables have it."""
    tables = page.partition("## Weaker copyleft")[0]
    cells = [
        [c.strip() for c in line.strip("|").split("|")]
        for line in tables.splitlines()
        if line.startswith("| ")
    ]
    return {row[-2]: row[-1] for row in cells if row[-1] != "licence"}


def family(licence: str) -> set[str]:
    """Which of the usual families a licence's words name."""
    words = {"BSD": "BSD", "MPL": "MPL", "Mozilla": "MPL", "MIT": "MIT", "ISC": "ISC", "Apache": "Apache"}
    found = {kind for word, kind in words.items() if re.search(rf"\b{word}\b", licence)}
    return found | ({"LGPL"} if re.search("LGPL|Lesser General", licence) else set())


def missing(page: str) -> set[str]:
    named = {plain(name) for name in rows(page)}
    return (
        asked_for([*PROJECT["dependencies"], *(line for lines in EXTRAS.values() for line in lines)]) - named
    )


def needed() -> dict[str, str]:
    """All that is installed for pianolab and its extras, with what they need in turn, and the licences they state."""
    waiting = [*PROJECT["dependencies"], *(line for lines in EXTRAS.values() for line in lines)]
    seen: set[tuple[str, frozenset[str]]] = set()
    found: dict[str, str] = {}
    while waiting:
        want = Requirement(waiting.pop())
        key = plain(want.name), frozenset(want.extras)
        if key in seen or key[0] == "pianolab":
            continue
        seen.add(key)
        try:
            found[key[0]] = stated(key[0])
        except metadata.PackageNotFoundError:
            continue  # an extra that is not installed here
        for line in metadata.requires(key[0]) or ():
            other = Requirement(line)
            if other.marker is None or any(other.marker.evaluate({"extra": e}) for e in ("", *want.extras)):
                waiting.append(line.partition(";")[0])
    return found


def test_every_dependency_is_on_the_page() -> None:
    assert missing(PAGE) == set()
    assert missing(PAGE.replace("| msgspec |", "| something |")) == {"msgspec"}
    assert set(map(plain, rows(PAGE))) == asked_for(
        [*PROJECT["dependencies"], *(line for lines in EXTRAS.values() for line in lines)]
    ), "and nothing that is not asked for any more"


def test_the_page_says_what_the_packages_state() -> None:
    for package, licence in rows(PAGE).items():
        try:
            told = stated(package)
        except metadata.PackageNotFoundError:
            assert package not in asked_for(PROJECT["dependencies"])
            continue
        if family(told):
            assert family(licence) & family(told), f"{package}: {licence} here, {told} there"
    assert not family("MIT") & family("License :: OSI Approved :: BSD License")


def test_nothing_that_is_needed_is_gpl() -> None:
    found = needed()
    assert len(found) > 30
    assert {name: licence for name, licence in found.items() if GPL.search(licence)} == {}


COMPATIBLE = re.compile(
    r"BSD|MIT|ISC|Apache|PSF|Python Software Foundation|Public Domain|MPL|Mozilla|LGPL|Lesser General Public"
)
"""Families that may stand beside BSD-3-Clause where a package is needed and handed on (by the texts of these licences)."""


def test_everything_that_is_needed_states_a_licence_that_goes_with_ours() -> None:
    assert {name: licence for name, licence in needed().items() if not COMPATIBLE.search(licence)} == {}


@pytest.mark.parametrize(
    "licence", ["", "UNKNOWN", "GPL-3.0-only", "SSPL-1.0", "CC-BY-NC-4.0", "Proprietary"]
)
def test_a_licence_that_does_not_go_with_ours_would_be_found(licence: str) -> None:
    assert not COMPATIBLE.search(licence)


def test_weaker_copyleft_is_named() -> None:
    weaker = {n for n, licence in needed().items() if re.search("LGPL|Lesser|MPL|Mozilla|EPL|CDDL", licence)}
    assert {n for n in weaker if not re.search(rf"^\|.*\b{n}\b", PAGE, re.MULTILINE)} == set()
    assert weaker, "soxr and tqdm at least"


@pytest.mark.parametrize(
    ("licence", "gpl"),
    [
        ("GPL-3.0-or-later", True),
        ("License :: OSI Approved :: GNU General Public License v3 (GPLv3)", True),
        ("AGPL-3.0-only", True),
        ("LGPL-2.1-or-later", False),
        ("MIT", False),
        ("License :: OSI Approved :: GNU Lesser General Public License v3 (LGPLv3)", False),
    ],
)
def test_a_gpl_package_would_be_found(licence: str, gpl: bool) -> None:
    assert bool(GPL.search(licence)) == gpl


def test_what_the_codec_wheel_carries_is_on_the_page() -> None:
    spec = find_spec("av")
    assert spec is not None
    assert spec.origin is not None
    inside = Path(spec.origin).parent.parent / "av.libs"
    if not inside.is_dir():
        pytest.skip("PyAV's Linux wheel only")
    for library in ("x264", "x265"):
        if any(inside.glob(f"lib{library}*")):
            assert library in PAGE


OF_OTHERS = re.compile(r"copyright|@licen[cs]e|\(c\) ?\d{4}|.{2000}", re.IGNORECASE)
"""What code of somebody else's has: its notice, or the endless lines of a packed library."""


def test_pages_and_widgets_carry_nothing_of_others() -> None:
    """So no notice need go with a page; docs/licences.md says so."""
    carried = [
        p for part in ("report/templates", "widgets/static") for p in (ROOT / "pianolab" / part).iterdir()
    ]
    assert len(carried) > 20
    assert [p.name for p in carried if OF_OTHERS.search(p.read_text(encoding="utf-8"))] == []
    assert "holds no code of others" in PAGE


@pytest.mark.parametrize("text", ["/* (c) 2020 Somebody */", "// @license MIT", "x=" + "a," * 1500])
def test_code_of_others_would_be_found(text: str) -> None:
    assert OF_OTHERS.search(text)
