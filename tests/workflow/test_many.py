"""Many recordings at once: order, bad files, interruption, processes, threads and a cluster give the same."""

import os
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path

import pandas as pd
import pytest

from pianolab.acoustics import Survey
from pianolab.errors import BadInput
from pianolab.io import string_together, write_sound
from pianolab.workflow import ManySurveys, listen_file, many, survey_many
from pianolab.workflow.many import OneOfMany
from pianolab.workflow.parallel import WorkerEnded, worked

KEYS = {"low": (25, 28, 31), "middle": (40, 43, 46), "high": (55, 58, 61)}
COMPASS = {"first_key": 20, "last_key": 65}


@pytest.fixture(scope="module")
def recordings(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """Three short recordings of real notes, one file that is no sound, and one that isn't there."""
    folder = tmp_path_factory.mktemp("many")
    out = {}
    for name, keys in KEYS.items():
        sound, _ = string_together(keys=keys, hold_s=1.0, gap_s=0.4)
        out[name] = write_sound(folder / f"{name}.flac", sound.samples, rate_hz=sound.rate_hz)
    out["text"] = folder / "text.wav"
    out["text"].write_text("this is no sound")
    out["gone"] = folder / "gone.wav"
    return out


@pytest.fixture(scope="module")
def alone(recordings: dict[str, Path]) -> dict[str, Survey]:
    return {name: listen_file(recordings[name], **COMPASS) for name in KEYS}


def same(many_surveys: ManySurveys, names: list[str], alone: dict[str, Survey]) -> None:
    assert [e.path.stem for e in many_surveys.entries] == names
    for entry in many_surveys.entries:
        if entry.path.stem in alone:
            assert entry.survey is not None
            pd.testing.assert_frame_equal(entry.survey.table, alone[entry.path.stem].table)
            assert entry.survey.summary == alone[entry.path.stem].summary


@pytest.mark.slow
@pytest.mark.parametrize("backend", ["loky", "threading"])
def test_the_same_as_one_by_one_in_the_order_given_and_bad_files_stop_nothing(
    backend: str, recordings: dict[str, Path], alone: dict[str, Survey]
) -> None:
    names = ["high", "text", "low", "gone", "middle"]
    result = survey_many([recordings[n] for n in names], jobs=2, backend=backend, progress=False, **COMPASS)  # type: ignore[arg-type]
    same(result, names, alone)
    assert [Path(p).stem for p in result.failed] == ["text", "gone"]
    for why in result.failed.values():
        assert "\n" not in why
        assert "need" in why
    assert not result.interrupted
    assert result.headline() == "3 of 5 recordings surveyed, 2 without a survey"
    assert result.rows()[1][3] == result.failed[str(recordings["text"])]
    table = result.table()
    assert list(table["recording"].unique()) == [str(recordings[n]) for n in ("high", "low", "middle")]
    assert len(table) == 3 * 46


def test_another_recording_would_not_pass(recordings: dict[str, Path], alone: dict[str, Survey]) -> None:
    swapped = survey_many([recordings["low"]], jobs=1, progress=False, **COMPASS).entries[0].survey
    assert swapped is not None
    with pytest.raises(AssertionError):
        pd.testing.assert_frame_equal(swapped.table, alone["high"].table)


@pytest.mark.slow
def test_on_a_cluster_of_two_workers(recordings: dict[str, Path], alone: dict[str, Survey]) -> None:
    distributed = pytest.importorskip("distributed")
    names = ["middle", "gone", "low", "high"]
    with (
        distributed.LocalCluster(
            n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None
        ) as cluster,
        distributed.Client(cluster),
    ):
        result = survey_many([recordings[n] for n in names], backend="dask", progress=False, **COMPASS)
        where = {w for _, w in worked(worker_of, list(range(8)), jobs=2, backend="dask")}
    same(result, names, alone)
    assert list(result.failed) == [str(recordings["gone"])]
    assert os.getpid() not in where
    assert len(where) == 2


def worker_of(item: int) -> int:
    time.sleep(0.1 + 0.0 * item)
    return os.getpid()


def test_dask_without_a_cluster_says_what_is_needed(recordings: dict[str, Path]) -> None:
    pytest.importorskip("distributed")
    with pytest.raises(BadInput, match="'dask' without a client, need a client first"):
        survey_many([recordings["low"]], backend="dask", progress=False)


@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        ({"jobs": 0}, "jobs: got 0, need 1 or more"),
        ({"backend": "grid"}, "backend: got 'grid'"),
    ],
)
def test_bad_arguments(wrong: dict[str, object], says: str, recordings: dict[str, Path]) -> None:
    with pytest.raises(BadInput, match=says):
        survey_many([recordings["low"]], progress=False, **wrong)  # type: ignore[arg-type]


def test_one_path_is_no_list() -> None:
    with pytest.raises(BadInput, match=r"got one path, 'scale\.wav', need a list of paths"):
        survey_many("scale.wav")


def test_nothing_to_do() -> None:
    assert survey_many([], progress=False).headline() == "0 of 0 recordings surveyed"
    assert list(survey_many([], progress=False).table().columns) == ["recording"]


def test_interrupted_keeps_what_is_finished(
    recordings: dict[str, Path], alone: dict[str, Survey], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The second file waits until the main thread is interrupted, as by Ctrl-C; nobody waits for the third."""
    taken, ever, ended = threading.Event(), threading.Event(), list[str]()
    entry = many._entry

    def take(path: Path, heard: Survey | str) -> OneOfMany:
        taken.set()
        return entry(path, heard)

    def slow(path: Path, **_: object) -> Survey | str:
        if path.stem == "low":
            return alone["low"]
        if path.stem == "middle":
            taken.wait(120)
            time.sleep(0.3)
            os.kill(os.getpid(), signal.SIGINT)
        ever.wait(120)
        ended.append(path.stem)
        return "never"

    monkeypatch.setattr(many, "_listen", slow)
    monkeypatch.setattr(many, "_entry", take)
    names = ["low", "middle", "high"]
    result = survey_many([recordings[n] for n in names], jobs=2, backend="threading", progress=False)
    waited_for = list(ended)
    ever.set()
    assert waited_for == []
    assert result.interrupted
    assert list(result.surveys) == [str(recordings["low"])]
    assert result.left == (recordings["middle"], recordings["high"])
    assert result.headline().endswith("interrupted")


@pytest.mark.slow
def test_a_worker_that_dies_takes_only_its_own_item_with_it() -> None:
    results = dict(worked(dies_at_five, list(range(12)), jobs=2, backend="loky"))
    assert set(results) == set(range(12))
    assert isinstance(results.pop(5), WorkerEnded)
    assert results == {n: n for n in range(12) if n != 5}


def dies_at_five(item: int) -> int:
    if item == 5:
        time.sleep(0.5)
        os.kill(os.getpid(), signal.SIGKILL)
    return item


@pytest.mark.slow
def test_a_worker_that_was_killed_once_from_outside_costs_nothing(tmp_path: Path) -> None:
    items = [(n, tmp_path / "killed") for n in range(8)]
    results = dict(worked(dies_once, items, jobs=2, backend="loky"))
    assert results == {n: n for n in range(8)}
    assert (tmp_path / "killed").exists()


def dies_once(item: tuple[int, Path]) -> int:
    number, mark = item
    if number == 3 and not mark.exists():
        mark.touch()
        os.kill(os.getpid(), signal.SIGKILL)
    return number


def test_the_recording_of_a_dead_worker_is_among_those_left(
    recordings: dict[str, Path], alone: dict[str, Survey], monkeypatch: pytest.MonkeyPatch
) -> None:
    def work(path: Path, **_: object) -> Survey | str:
        if path.stem == "high":
            raise WorkerEnded("its worker ended")
        return alone[path.stem]

    monkeypatch.setattr(many, "_listen", work)
    paths = [recordings[n] for n in KEYS]
    result = survey_many(paths, jobs=1, backend="threading", progress=False)
    assert result.left == (recordings["high"],)
    assert len(result.surveys) == 2


def test_what_was_finished_is_taken_up_again(
    recordings: dict[str, Path], alone: dict[str, Survey], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    heard: list[str] = []

    def work(path: Path, **_: object) -> Survey | str:
        heard.append(path.stem)
        return alone.get(path.stem, "text.wav: no sound")

    monkeypatch.setattr(many, "_listen", work)
    given = {"jobs": 1, "backend": "threading", "progress": False, "keep": tmp_path / "night" / "kept"}
    survey_many([recordings["low"], recordings["text"]], **given)  # type: ignore[arg-type]
    moved = tmp_path / "elsewhere.flac"
    moved.write_bytes(recordings["low"].read_bytes())
    again = survey_many([moved, recordings["middle"], recordings["text"]], **given)  # type: ignore[arg-type]
    assert sorted(heard) == ["low", "middle", "text", "text"]
    pd.testing.assert_frame_equal(again.surveys[str(moved)].table, alone["low"].table)
    # Asked for in another way it is listened to anew; a damaged file is no survey.
    survey_many([recordings["low"]], **given, a4_hz=442.0)  # type: ignore[arg-type]
    for path in (tmp_path / "night" / "kept").iterdir():
        path.write_text("half a surv")
    survey_many([recordings["middle"]], **given)  # type: ignore[arg-type]
    assert heard[4:] == ["low", "middle"]
    with pytest.raises(BadInput, match="keep: got"):
        survey_many([recordings["low"]], progress=False, keep=recordings["low"] / "below")


def test_a_bar_shows_how_far_it_is(recordings: dict[str, Path], capsys: pytest.CaptureFixture[str]) -> None:
    survey_many([recordings["gone"], recordings["text"]], jobs=1, backend="threading")
    assert "2/2" in capsys.readouterr().out
    survey_many([recordings["gone"]], jobs=1, backend="threading", progress=False)
    assert capsys.readouterr().out == ""


@pytest.mark.slow
def test_the_library_stays_light() -> None:
    code = "import sys, pianolab.workflow.many; print(sorted({'joblib', 'tqdm', 'distributed', 'dask'} & set(sys.modules)))"
    said = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout
    assert said.strip() == "[]"


def test_what_a_worker_was_at_that_ended_is_left_and_a_bad_file_is_not() -> None:
    entries = [
        many._entry(Path("cut.wav"), WorkerEnded("it ended")),
        many._entry(Path("bad.wav"), "no sound"),
    ]
    result = ManySurveys(entries=tuple(entries))
    assert result.left == (Path("cut.wav"),)
    assert set(result.failed) == {"cut.wav", "bad.wav"}
