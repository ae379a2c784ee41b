"""Charts are light or dark as JupyterLab is, read from the settings it keeps."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from pianolab.casebook import create_casebook
from pianolab.compare import Comparison
from pianolab.figures.look import DARK, LIGHT
from pianolab.model import Piano
from pianolab.workflow.charts import chart_of, lab_theme
from pianolab.workflow.deciding import decide


@pytest.fixture
def settings(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.delenv("JUPYTERLAB_SETTINGS_DIR", raising=False)
    monkeypatch.setenv("JUPYTER_CONFIG_DIR", str(tmp_path))
    file = (
        tmp_path
        / "lab"
        / "user-settings"
        / "@jupyterlab"
        / "apputils-extension"
        / "themes.jupyterlab-settings"
    )
    file.parent.mkdir(parents=True)
    return file


@pytest.mark.parametrize(
    ("text", "theme"),
    [
        ('{"theme": "JupyterLab Dark"}', "dark"),
        ('{\n    // Theme\n    "theme": "JupyterLab Dark High Contrast"\n}', "dark"),
        ('{"theme": "JupyterLab Light"}', "light"),
        ("{}", "light"),
        ("[1]", "light"),
        ("not json", "light"),
    ],
)
def test_the_theme_is_the_labs(settings: Path, text: str, theme: str) -> None:
    settings.write_text(text, encoding="utf-8")
    assert lab_theme() == theme


@pytest.mark.usefixtures("settings")
def test_without_settings_it_is_light() -> None:
    assert lab_theme() == "light"


@pytest.fixture(scope="module")
def comparison(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Comparison]:
    with create_casebook(tmp_path_factory.mktemp("themes") / "book") as book:
        with book.editing(by="Ana") as edit:
            edit.add(Piano(name="one"))
            edit.add(Piano(name="two"))
        yield decide(book).comparison


def test_a_chart_follows_it_and_a_theme_that_is_named_wins(settings: Path, comparison: Comparison) -> None:
    settings.write_text('{"theme": "JupyterLab Dark"}', encoding="utf-8")
    assert chart_of(comparison, "ranks").layout.font.color == DARK.ink
    assert chart_of(comparison, "ranks", theme="light").layout.font.color == LIGHT.ink
    settings.write_text('{"theme": "JupyterLab Light"}', encoding="utf-8")
    assert chart_of(comparison, "ranks").layout.font.color == LIGHT.ink
