"""Work in threads, outputs that appear whole, and progress in lines."""

import io
import threading
from pathlib import Path

import pytest

from pianolab.errors import BadInput
from pianolab.files import staged
from pianolab.workflow.parallel import in_parallel
from pianolab.workflow.progress import Printer


def test_items_are_worked_on_at_the_same_time() -> None:
    meeting = threading.Barrier(2, timeout=120)
    assert in_parallel(lambda i: (meeting.wait() >= 0, i), [7, 8], workers=2) == [(True, 7), (True, 8)]


def test_the_first_error_is_raised_and_no_further_item_begun() -> None:
    begun = []

    def work(item: int) -> None:
        begun.append(item)
        raise BadInput("item", item, "another")

    with pytest.raises(BadInput, match="got 0"):
        in_parallel(work, range(100), workers=1)
    assert len(begun) < 100


def test_nothing_to_do() -> None:
    assert in_parallel(abs, []) == []


def test_all_appear_or_none(tmp_path: Path) -> None:
    old = tmp_path / "old.csv"
    old.write_text("as it was")

    def fail_halfway() -> None:
        with staged(old, tmp_path / "new.json", replace=True) as (one, other):
            one.write_text("half")
            other.write_text("half")
            raise BadInput("x", "y", "z")

    with pytest.raises(BadInput):
        fail_halfway()
    assert [p.name for p in tmp_path.iterdir()] == ["old.csv"]
    assert old.read_text() == "as it was"


def test_an_unwritable_place_shows_before_the_work(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="a folder that doesn't exist"), staged(tmp_path / "no" / "a.csv"):
        pytest.fail("the work began")
    with pytest.raises(BadInput, match="got a folder, need a file name"), staged(tmp_path):
        pytest.fail("the work began")


def test_one_line_for_each_step_without_a_terminal() -> None:
    out = io.StringIO()
    tell = Printer(out, clock=iter([0.0, 1.2, 65.0]).__next__)
    for step, share in (("listening", 0.1), ("listening", 0.2), ("page ready", 1.0)):
        tell(step, share)
    assert out.getvalue() == "[  1 s] listening\n[ 65 s] page ready\n"


def test_a_stream_without_some_signs_takes_all_the_others() -> None:
    out = io.TextIOWrapper(io.BytesIO(), encoding="cp1252", newline="\n")
    Printer(out, clock=lambda: 0.0)("Flügel in F♯", 0.5)
    assert out.buffer.getvalue().decode("cp1252") == "[  0 s] Flügel in F\\u266f\n"  # type: ignore[attr-defined]
