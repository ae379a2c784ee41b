"""Pictures for README: small whatever they show, or refused."""

import io

import numpy as np
import pytest
from PIL import Image

from benchmarks.pictures import MOST_BYTES, small_png


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


def test_noise_is_refused() -> None:
    with pytest.raises(ValueError, match="show less of it"):
        small_png(shot(np.random.default_rng(0).integers(0, 255, (1500, 1000, 3))))
