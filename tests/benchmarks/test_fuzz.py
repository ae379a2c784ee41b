"""Some mutants for every reader in each run; `python -m benchmarks.fuzz` makes thousands."""

import random
import time
from pathlib import Path

import pytest

from benchmarks import fuzz
from benchmarks.fuzz_readers import READERS
from pianolab.errors import BadInput

GOOD = {"taken", "refused"}


@pytest.mark.slow
@pytest.mark.parametrize("name", READERS)
def test_bad_input_is_taken_or_refused_in_one_line(name: str) -> None:
    found = fuzz.measure(name, 40)
    assert not found["seen"], found["seen"]
    assert sum(found["counts"].values()) == 40
    assert set(found["counts"]) <= GOOD
    assert found["peak"] < fuzz.MOST_MB


class Made:
    """A reader that does what it is told."""

    name = "made"

    def __init__(self, does: str) -> None:
        self.does = does

    def try_one(self, folder: Path, rng: random.Random) -> None:  # noqa: ARG002
        match self.does:
            case "refused":
                raise BadInput("x", "y", "z")
            case "traceback":
                raise KeyError("x")
            case "half-written":
                (folder / ".page.html.0123456789ab.part").write_text("half")
            case "hang":
                time.sleep(120)


@pytest.mark.parametrize("does", ["taken", "refused", "traceback", "half-written", "hang"])
def test_what_goes_wrong_is_counted(does: str, monkeypatch: pytest.MonkeyPatch) -> None:
    import signal

    monkeypatch.setattr(fuzz, "TOO_LONG_S", 1 if does == "hang" else 60)
    before = signal.signal(signal.SIGALRM, fuzz._alarm)
    try:
        assert fuzz.tried(Made(does), 1)[0] == does
    finally:
        signal.signal(signal.SIGALRM, before)


def test_mutants_differ_and_come_again() -> None:
    data = bytes(range(256)) * 8
    made = [fuzz.mutated(data, random.Random(n)) for n in range(50)]
    assert len(set(made)) > 40
    assert made == [fuzz.mutated(data, random.Random(n)) for n in range(50)]


@pytest.mark.slow
def test_a_run_that_was_stopped_goes_on_where_it_was(tmp_path, monkeypatch) -> None:
    keep = tmp_path / "rows.jsonl"
    whole = fuzz.measure("toml", 4, keep)
    lines = keep.read_text(encoding="utf-8").split("\n")[1:5]  # a batch begins with an empty line
    keep.write_text("\n".join([*lines[:3], lines[3][:9]]), encoding="utf-8")
    asked = []
    batch = fuzz.one_batch

    def watched(name, first, last, keep):
        asked.append((first, last))
        return batch(name, first, last, keep)

    monkeypatch.setattr(fuzz, "one_batch", watched)
    assert fuzz.measure("toml", 4, keep)["counts"] == whole["counts"]
    assert asked == [(3, 4)]
