"""One casebook, decided once for page and tables together, with the user's own points and prices."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from decimal import Decimal
from pathlib import Path

import pytest

from pianolab.casebook import Casebook, create_casebook
from pianolab.errors import BadInput
from pianolab.model import Piano, Visit
from pianolab.workflow import Settings, decide, deciding, export, exporting


@pytest.fixture
def book(tmp_path: Path) -> Iterator[Casebook]:
    with create_casebook(tmp_path / "book") as book:
        with book.editing(by="Ana") as edit:
            for name in ("one", "two"):
                piano = edit.add(Piano(name=name, asking_price=Decimal(1000)))
                edit.add(Visit(piano_id=piano.id, day=date(2026, 3, 14)))
        yield book


@pytest.mark.slow
def test_page_and_tables_are_decided_once(book, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    decided, really = [], exporting.decide
    monkeypatch.setattr(exporting, "decide", lambda *a, **k: decided.append(1) or really(*a, **k))
    written = export(book, tmp_path / "page.html", tables=tmp_path / "tables")
    assert decided == [1]
    assert written.replaced == ()
    assert all(p.exists() for p in written.paths)
    again = export(book, tmp_path / "page.html", replace=True)
    assert again.replaced == (tmp_path / "page.html",)
    assert "replaced" in again._repr_html_()


@pytest.mark.slow
def test_a_decision_exports_itself_without_being_made_again(book, tmp_path: Path, monkeypatch) -> None:
    decision = decide(book, seed=5)
    monkeypatch.setattr(deciding, "judge_casebook", lambda *_, **__: pytest.fail("decided again"))
    decision.export(tmp_path / "own.html")
    monkeypatch.undo()
    export(book, tmp_path / "other.html", settings=Settings(seed=5))
    assert (tmp_path / "own.html").read_bytes() == (tmp_path / "other.html").read_bytes()
    export(book, tmp_path / "third.html", settings=Settings(seed=6))
    assert (tmp_path / "own.html").read_bytes() != (tmp_path / "third.html").read_bytes()


def test_where_nothing_could_be_written(book, tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="export: got nowhere to write"):
        export(book)
    with pytest.raises(BadInput, match="decided already"):
        export(decide(book), tmp_path / "page.html", settings=Settings())
    assert [p.name for p in tmp_path.iterdir()] == ["book"]


@pytest.mark.slow
def test_the_page_says_where_prices_and_points_come_from(book, tmp_path: Path) -> None:
    (tmp_path / "mine.toml").write_text('[[point]]\nid = "keys-chips"\nminutes = 7\n')
    page = export(book, tmp_path / "a.html").paths[0].read_text(encoding="utf-8")
    money = page.partition('id="money-title"')[2].partition("</section>")[0]
    assert "Prices of prices.toml: invented, 2026-01-15, in EUR." in money
    assert "prices.toml: invented, 2026-01-15, in EUR" in page.partition('id="provenance-title"')[2]
    assert "mine.toml" not in page
    own = Settings(checklist=tmp_path / "mine.toml")
    page = export(book, tmp_path / "b.html", settings=own).paths[0].read_text(encoding="utf-8")
    assert "the usual ones, with those of mine.toml" in page


@pytest.mark.slow
def test_clips_are_made_for_the_page_only(book, tmp_path: Path, monkeypatch) -> None:
    monkeypatch.setattr("pianolab.workflow.decided.clips_of", lambda *_: pytest.fail("clips were made"))
    export(book, tables=tmp_path / "tables")
    with pytest.raises(pytest.fail.Exception, match="clips were made"):
        export(book, tmp_path / "page.html")


def test_weights_that_exclude_each_other_are_refused_on_every_road(book, tmp_path: Path) -> None:
    buyer = replace(Settings().buyer(book), name="greedy", money_weight=(0.9, 0.95))
    buyer = replace(buyer, weights=dict.fromkeys(buyer.weights, (0.1, 0.2)))
    for road in (
        lambda: decide(book, profile=buyer),
        lambda: export(book, tmp_path / "a.html", settings=Settings(profile=buyer)),
        lambda: export(book, tables=tmp_path / "t", settings=Settings(profile=buyer)),
    ):
        with pytest.raises(BadInput, match="weights of greedy"):
            road()
