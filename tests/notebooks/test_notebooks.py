"""The template notebooks as files, and the quick ones run in a folder of their own."""

from __future__ import annotations

import ast
import importlib
import re
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from pianolab.casebook import open_casebook
from pianolab.demo import demo_second_visit
from pianolab.shipped import shipped
from pianolab.workflow import visit_changes

NOTEBOOKS = sorted(Path(str(shipped("notebooks"))).glob("*.ipynb"))
IDS = [p.stem for p in NOTEBOOKS]
WRITES_TO = {
    "at_the_piano": "pianolab-practice",
    "compare_a_shortlist": "pianolab-demo",
    "decide": "pianolab-demo",
    "second_visit": "pianolab-demo",
    "inspect_one_piano": "pianolab-practice",
    "listen_to_a_recording": "pianolab-practice",
    "plan_the_visits": "pianolab-practice",
    "lesson_make_a_class": "pianolab-practice",
    "lesson_hearing_past_the_tuning": "pianolab-practice",
    "lesson_dampers": "pianolab-practice",
    "lesson_the_treble_that_sings": "pianolab-practice",
    "lesson_real_notes_unaltered": "pianolab-practice",
    "lesson_what_ails_a_note": "pianolab-practice",
    "lesson_room_and_left_pedal": "pianolab-practice",
    "lesson_the_walk_with_a_torch": "pianolab-practice",
    "lesson_deciding_together": "pianolab-practice",
}
MOST_LINES_IN_A_CELL = 14
LONGEST = "compare_a_shortlist"
ON_THE_DEMO = ("decide", "second_visit")
"""These find the demonstration where *Compare a shortlist* has made it; made once for both."""
STEP_BY_STEP = ("compare_a_shortlist", "decide", "second_visit")
LESSONS = "lesson_"
"""The pupils' lessons have the same cells but for their words, and open one class: the teacher's is run twice, they once."""


@pytest.fixture(params=NOTEBOOKS, ids=IDS)
def notebook(request: pytest.FixtureRequest) -> Any:
    import nbformat  # slow to load: processes that run none of these do without

    found = nbformat.read(request.param, as_version=4)
    found.metadata["name"] = request.param.stem
    return found


def code_of(notebook: Any) -> list[str]:
    return [c.source for c in notebook.cells if c.cell_type == "code"]


def text_of(notebook: Any) -> str:
    return "\n".join(c.source for c in notebook.cells if c.cell_type == "markdown")


def are_clean(*paths: Path) -> bool:
    command = [sys.executable, "-m", "nbstripout", "--verify", "--keep-count", *map(str, paths)]
    return subprocess.run(command, capture_output=True, check=False).returncode == 0


def test_all_are_known() -> None:
    assert set(IDS) == set(WRITES_TO)


DOES, CANNOT = "*What this step does:*", "*What it cannot know:*"


@pytest.mark.parametrize("name", STEP_BY_STEP)
def test_each_step_says_what_it_does_and_what_it_cannot_know(name: str) -> None:
    path = next(p for p in NOTEBOOKS if p.stem == name)
    import nbformat

    cells = [c.source for c in nbformat.read(path, as_version=4).cells if c.cell_type == "markdown"]
    steps = [source for source in cells if DOES in source or CANNOT in source]
    assert len(steps) >= 4
    for source in steps:
        assert source.count(DOES) == source.count(CANNOT) == 1
        does, cannot = source.split(DOES)[1].split(CANNOT)
        assert min(len(does.strip()), len(cannot.strip())) >= 15


@pytest.mark.slow
def test_nothing_but_chosen_outputs_is_kept() -> None:
    assert are_clean(*NOTEBOOKS)


@pytest.mark.slow
def test_an_output_left_inside_would_be_seen(tmp_path: Path) -> None:
    import nbformat

    found = nbformat.read(NOTEBOOKS[0], as_version=4)
    cell = next(c for c in found.cells if c.cell_type == "code" and not c.metadata.get("tags"))
    cell.outputs = [nbformat.v4.new_output("stream", name="stdout", text="left over\n")]
    nbformat.write(found, tmp_path / "dirty.ipynb")
    assert not are_clean(tmp_path / "dirty.ipynb")


def test_kept_outputs_are_compared(notebook: Any) -> None:
    tagged = [set(c.metadata.get("tags", [])) for c in notebook.cells if c.metadata.get("tags")]
    assert tagged == [{"keep_output", "nbval-check-output"}]
    kept = [c for c in notebook.cells if c.cell_type == "code" and c.outputs]
    assert len(kept) == 1
    assert kept[0].outputs[0]["text"].strip()


def test_each_says_first_what_there_is_in_it_and_how_long_it_takes(notebook: Any) -> None:
    opening = notebook.cells[0]
    assert opening.cell_type == "markdown"
    for promise in ("What you will have at the end", "How long it takes", "What you need to know of Python"):
        assert promise in opening.source


def test_one_line_to_change(notebook: Any) -> None:
    assert text_of(notebook).count("one line to change") == 1


def test_little_code_per_cell_and_prose_before_it(notebook: Any) -> None:
    assert max(len(c.splitlines()) for c in code_of(notebook)) <= MOST_LINES_IN_A_CELL
    assert len(text_of(notebook)) > 2 * len("\n".join(code_of(notebook)))


def test_metadata_stay_small(notebook: Any) -> None:
    assert set(notebook.metadata) == {"kernelspec", "language_info", "name"}
    assert notebook.metadata["kernelspec"]["name"] == "python3"
    assert [bool(c.get("execution_count")) for c in notebook.cells] == [
        bool(c.get("outputs")) for c in notebook.cells
    ]


def test_no_path_of_one_machine(notebook: Any) -> None:
    for source in code_of(notebook):
        assert not re.search(r"[\"'](/|~|[A-Za-z]:\\|\.\.)", source), source


def test_what_it_imports_is_there(notebook: Any) -> None:
    for source in code_of(notebook):
        for node in ast.walk(ast.parse(source)):
            if isinstance(node, ast.ImportFrom):
                module = importlib.import_module(str(node.module))
                for alias in node.names:
                    assert hasattr(module, alias.name), f"{node.module}.{alias.name}"


def test_plain_characters(notebook: Any) -> None:
    whole = text_of(notebook) + "\n".join(code_of(notebook))
    assert not [ch for ch in whole if ord(ch) > 0x2FFF], "pictures or emoji in the text"


@pytest.fixture(scope="module")
def demonstration(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demonstration's folder, with the second visit in it."""
    folder = tmp_path_factory.mktemp("made") / "pianolab-demo"
    demo_second_visit(folder).close()
    return folder


@pytest.mark.slow
def test_the_second_visit_of_the_demonstration_knows_its_piano_again(demonstration: Path) -> None:
    with open_casebook(demonstration / "after-the-tuning") as casebook:
        (piano,) = [p for p in casebook.pianos() if len(casebook.visits(p.id)) == 2]
        said = visit_changes(casebook, piano.name).pins_sentence()
    assert said.startswith("tuned in between")


def run_elsewhere(path: Path, folder: Path) -> Any:
    import nbformat
    from nbclient import NotebookClient

    found = nbformat.read(path, as_version=4)
    NotebookClient(
        found, timeout=300, kernel_name="python3", resources={"metadata": {"path": folder}}
    ).execute()
    return found


@pytest.mark.slow
@pytest.mark.filterwarnings("default")
@pytest.mark.parametrize("path", NOTEBOOKS, ids=IDS)
def test_it_runs_elsewhere_and_again_and_writes_only_where_it_says(
    path: Path, tmp_path: Path, request: pytest.FixtureRequest
) -> None:
    if path.stem in ON_THE_DEMO:
        shutil.copytree(request.getfixturevalue("demonstration"), tmp_path / "pianolab-demo")
    alike = path.stem.startswith(LESSONS) and path.stem != "lesson_make_a_class"
    for _ in range(1 if path.stem in (LONGEST, *ON_THE_DEMO) or alike else 2):
        done = run_elsewhere(path, tmp_path)
    assert [p.name for p in tmp_path.iterdir()] == [WRITES_TO[path.stem]]
    errors = [o for c in done.cells if c.cell_type == "code" for o in c.outputs if o.output_type == "error"]
    assert errors == []
    complaints = [
        o.text for c in done.cells if c.cell_type == "code" for o in c.outputs if o.get("name") == "stderr"
    ]
    assert complaints == []
