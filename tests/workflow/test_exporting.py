"""One casebook, judged once for page and tables together."""

from datetime import date
from pathlib import Path

import pytest

from pianolab.casebook import create_casebook
from pianolab.model import Piano, Visit
from pianolab.workflow import export_both, page_making


def test_page_and_tables_are_judged_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    judged, really = [], page_making.judge_casebook
    monkeypatch.setattr(page_making, "judge_casebook", lambda *a, **k: judged.append(1) or really(*a, **k))
    with create_casebook(tmp_path / "book") as book:
        with book.editing(by="Ana") as edit:
            for name in ("one", "two"):
                piano = edit.add(Piano(name=name))
                edit.add(Visit(piano_id=piano.id, day=date(2026, 3, 14)))
        written = export_both(book, html_path=tmp_path / "page.html", folder=tmp_path / "tables")
        assert judged == [1]
        assert written.replaced == ()
        assert all(p.exists() for p in written.paths)
        again = export_both(book, html_path=tmp_path / "page.html", replace=True)
        assert again.replaced == (tmp_path / "page.html",)
