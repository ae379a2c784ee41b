"""Pieces of one recording at once: order, errors, and that they really run together."""

import threading

import pytest

from pianolab.acoustics import threads
from pianolab.acoustics.threads import at_once, runs


def test_pieces_run_together(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(threads, "cores", lambda: 2)
    meeting = threading.Barrier(2, timeout=120)
    assert at_once(lambda i: (meeting.wait() >= 0, i), [7, 8]) == [(True, 7), (True, 8)]


def test_on_one_core_nothing_is_started(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(threads, "cores", lambda: 1)
    assert set(at_once(lambda _: threading.current_thread().name, range(3))) == {threading.main_thread().name}


def test_an_error_in_a_piece_is_raised() -> None:
    with pytest.raises(ZeroDivisionError):
        at_once(lambda i: 1 / i, [1, 0, 2])


@pytest.mark.parametrize("count", [0, 1, 2, 25, 48, 97])
def test_runs_hold_every_row_once_and_few_each(count: int) -> None:
    found = runs(count, most=24)
    assert [int(i) for rows in found for i in rows] == list(range(count))
    assert all(0 < len(rows) <= 24 for rows in found)
