"""What a notebook shows where pianolab refuses something or somebody stops it: one line, no wall of calls."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from IPython.core.interactiveshell import InteractiveShell

from pianolab.errors import Stopped
from pianolab.workflow.progress import stoppable


@pytest.fixture
def shell(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[InteractiveShell]:
    monkeypatch.setenv("IPYTHONDIR", str(tmp_path))
    shell = InteractiveShell()
    shell.history_manager.enabled = False
    yield shell
    InteractiveShell.clear_instance()


def shown(shell: InteractiveShell, cell: str, capsys: Any) -> list[str]:
    shell.run_cell(cell)
    return [line for line in capsys.readouterr().out.splitlines() if line.strip()]


def test_bad_input_is_one_line_and_others_keep_their_calls(shell: InteractiveShell, capsys: Any) -> None:
    (line,) = shown(shell, "import pianolab; pianolab.open_casebook('no such folder')", capsys)
    assert line.startswith(("BadInput: no such folder", "CasebookError: no such folder"))
    assert len(shown(shell, "1 / 0", capsys)) > 3


def test_what_is_stopped_says_what_became_of_it(shell: InteractiveShell, capsys: Any) -> None:
    cell = """
from pianolab.workflow import listen_file
def stop(step, share):
    raise KeyboardInterrupt
listen_file('anything.wav', progress=stop)
"""
    (line,) = shown(shell, cell, capsys)
    assert line.startswith("Stopped: The recording was not heard to its end; nothing was kept.")
    assert len(shown(shell, "raise KeyboardInterrupt", capsys)) > 1


def test_only_stopping_is_told_otherwise() -> None:
    with pytest.raises(Stopped, match="Half done"), stoppable("Half done."):
        raise KeyboardInterrupt
    with pytest.raises(json.JSONDecodeError), stoppable("Half done."):
        json.loads("{")
    assert issubclass(Stopped, KeyboardInterrupt)
