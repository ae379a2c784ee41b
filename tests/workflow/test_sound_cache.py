"""Rendered sounds between runs: found again, told from damaged ones, never in the way."""

from dataclasses import replace
from pathlib import Path

import pytest

from pianolab.demo import sound_cache
from pianolab.demo.sound_cache import cache_folder, scene_file, scene_key
from pianolab.io import read_sound
from pianolab.sound_model import SceneSound


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return tmp_path / "cache"


@pytest.fixture
def rendered(small_scene: SceneSound, folder: Path, tmp_path: Path) -> Path:
    return scene_file(small_scene, scratch=tmp_path, folder=folder)


def no_rendering(scene: SceneSound) -> None:
    raise AssertionError(f"{scene.name} was rendered again")


def test_the_second_time_nothing_is_rendered(rendered, small_scene, folder, tmp_path, monkeypatch) -> None:
    monkeypatch.setattr(sound_cache, "render_scene", no_rendering)
    assert scene_file(small_scene, scratch=tmp_path, folder=folder) == rendered
    assert read_sound(rendered).rate_hz == 16000


@pytest.mark.usefixtures("rendered")
def test_another_seed_is_rendered(small_scene, folder, tmp_path, monkeypatch) -> None:
    """The check above can fail: another scene isn't found."""
    monkeypatch.setattr(sound_cache, "render_scene", no_rendering)
    with pytest.raises(AssertionError, match="rendered again"):
        scene_file(replace(small_scene, seed=9), scratch=tmp_path, folder=folder)


@pytest.mark.parametrize("damage", ["cut off", "one byte", "empty"])
def test_a_damaged_file_is_rendered_again(rendered, small_scene, folder, tmp_path, damage) -> None:
    whole = rendered.read_bytes()
    bad = bytearray(whole)
    bad[len(bad) // 2] ^= 0xFF
    rendered.write_bytes({"cut off": whole[: len(whole) // 2], "one byte": bytes(bad), "empty": b""}[damage])
    again = scene_file(small_scene, scratch=tmp_path, folder=folder)
    assert again.read_bytes() == whole
    assert [p.name for p in folder.iterdir()] == [again.name]


def test_a_cache_that_cannot_be_written_is_no_obstacle(small_scene, folder, tmp_path) -> None:
    folder.write_text("a file where the folder should be")
    path = scene_file(small_scene, scratch=tmp_path, folder=folder)
    assert path.parent == tmp_path
    assert read_sound(path).seconds > 1.0


def test_settings_and_code_make_the_key(small_scene, monkeypatch) -> None:
    key = scene_key(small_scene)
    assert scene_key(replace(small_scene)) == key
    assert scene_key(replace(small_scene, snr_db=30.0)) != key
    monkeypatch.setattr(sound_cache, "code_version", lambda package: f"another {package}")
    assert scene_key(small_scene) != key


def test_only_so_many_are_kept(small_scene, folder, tmp_path, monkeypatch) -> None:
    monkeypatch.setattr(sound_cache, "MOST_ENTRIES", 2)
    paths = [scene_file(replace(small_scene, seed=s), scratch=tmp_path, folder=folder) for s in (1, 2, 3)]
    assert len(list(folder.iterdir())) == 2
    assert paths[-1].exists()


def test_where_the_cache_is(monkeypatch, tmp_path) -> None:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    assert cache_folder() == tmp_path / "pianolab" / "sounds"
    monkeypatch.setenv("XDG_CACHE_HOME", "relative")
    assert cache_folder().is_relative_to(Path.home())
