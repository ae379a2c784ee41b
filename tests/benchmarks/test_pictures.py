"""Pictures for README: small whatever they show, or refused."""

import io
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from benchmarks.pictures import MOST_BYTES, Shot, as_words, small_png, stale, words_of


def shot(pixels: np.ndarray) -> bytes:
    out = io.BytesIO()
    Image.fromarray(pixels.astype(np.uint8)).save(out, "PNG")
    return out.getvalue()


def test_a_screenshot_becomes_small_and_keeps_its_colours() -> None:
    pixels = np.full((1600, 2000, 3), 251)
    pixels[100:200, 100:200] = (213, 94, 0)
    pixels[300:310, 300:310] = (0, 158, 115)
    picture = small_png(shot(pixels))
    assert len(picture) <= MOST_BYTES
    image = Image.open(io.BytesIO(picture)).convert("RGB")
    assert image.width == 1000
    for place, colour in (((75, 75), (213, 94, 0)), ((152, 152), (0, 158, 115))):
        assert max(abs(a - b) for a, b in zip(image.getpixel(place), colour, strict=True)) < 12


@pytest.mark.slow
def test_noise_is_refused() -> None:
    with pytest.raises(ValueError, match="show less of it"):
        small_png(shot(255 * np.random.default_rng(0).integers(0, 2, (1000, 1000, 3))))


def test_a_picture_carries_its_words_and_is_stale_when_the_screen_says_something_else(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    png = shot(np.full((40, 40, 3), 251))
    (tmp_path / "page.png").write_bytes(small_png(png, words="open with 0"))
    assert words_of((tmp_path / "page.png").read_bytes()) == "open with 0"
    assert stale(tmp_path, {"page.png": Shot(png, "open with 0")}) == 0
    assert stale(tmp_path, {"page.png": Shot(png, "walk away above 0")}) == 1
    assert "word 1 was 'open', is 'walk'" in capsys.readouterr().out
    assert stale(tmp_path, {"page.png": Shot(png, "open with 0 at")}) == 1
    assert stale(tmp_path, {"walk.png": Shot(png, "open with 0")}) == 1


def test_figures_and_months_may_change_and_words_may_not() -> None:
    assert as_words("by 3 May 2026,\n 1,843.50") == as_words("by 12 June 2027, 900")
    assert as_words("aim at 900") != as_words("open with 900")
    with pytest.raises(ValueError, match="not drawn"):
        Shot(b"", "")
