"""Sounds of known content, and small files of every format made on the fly."""

from collections.abc import Callable
from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import numpy as np
import pytest
import soundfile

Encode = Callable[..., Path]


@pytest.fixture(scope="session")
def tone() -> Callable[..., np.ndarray]:
    """Silence, then a sine of amplitude 0.3 from 0.5 s on: 440 Hz left, 550 Hz right, and so on."""

    def make(rate_hz: int, channels: int = 1, *, seconds: float = 2.0) -> np.ndarray:
        t = np.arange(round(rate_hz * seconds)) / rate_hz
        columns = [0.3 * np.sin(2 * np.pi * (440.0 + 110.0 * c) * t) * (t >= 0.5) for c in range(channels)]
        return np.stack(columns, axis=1).astype(np.float32)

    return make


@pytest.fixture(scope="session")
def hiss() -> Callable[..., np.ndarray]:
    """Silence, then noise under 3 kHz: its correlation has one clear peak, so it shows any shift."""

    def make(rate_hz: int, *, seconds: float = 2.0) -> np.ndarray:
        from scipy.signal import butter, sosfilt

        count = round(rate_hz * seconds)
        noise = np.random.default_rng(3).normal(size=count) * (np.arange(count) > rate_hz // 2)
        filtered = sosfilt(butter(4, 3000.0, fs=rate_hz, output="sos"), noise)
        return (0.1 * filtered[:, None]).astype(np.float32)

    return make


@pytest.fixture
def encode(tmp_path: Path) -> Encode:
    """Write a file through PyAV: any codec in any container, with or without a picture track."""

    def make(
        samples: np.ndarray,
        rate_hz: int,
        *,
        codec: str,
        container: str,
        film: bool = False,
        options: dict[str, str] | None = None,
        name: str = "made",
    ) -> Path:
        path = tmp_path / name
        layout = "mono" if samples.shape[1] == 1 else "stereo"
        with av.open(str(path), "w", format=container, options=options or {}) as out:
            pictures = _picture_stream(out, "libvpx" if container == "webm" else "mpeg4") if film else None
            stream = out.add_stream(codec, rate=rate_hz, layout=layout)
            if pictures is not None:
                _add_pictures(out, pictures, seconds=len(samples) / rate_hz)
            frame = av.AudioFrame.from_ndarray(np.ascontiguousarray(samples.T), format="fltp", layout=layout)
            frame.sample_rate, frame.pts, frame.time_base = rate_hz, 0, Fraction(1, rate_hz)
            context = stream.codec_context
            form = av.AudioResampler(
                format=context.format.name, layout=layout, rate=rate_hz, frame_size=context.frame_size or 1024
            )
            for piece in [*form.resample(frame), *form.resample(None)]:
                out.mux(stream.encode(piece))
            out.mux(stream.encode(None))
        return path

    return make


def _picture_stream(out: av.container.OutputContainer, codec: str) -> Any:
    stream = out.add_stream(codec, rate=10)
    stream.width, stream.height, stream.pix_fmt = 64, 48, "yuv420p"
    return stream


def _add_pictures(out: av.container.OutputContainer, stream: Any, *, seconds: float) -> None:
    for number in range(int(10 * seconds)):
        picture = av.VideoFrame.from_ndarray(np.full((48, 64, 3), number % 255, np.uint8), format="rgb24")
        picture.pts = number
        out.mux(stream.encode(picture))
    out.mux(stream.encode(None))


@pytest.fixture
def film_without_sound(tmp_path: Path) -> Path:
    path = tmp_path / "silent_film.mp4"
    with av.open(str(path), "w", format="mp4") as out:
        _add_pictures(out, _picture_stream(out, "mpeg4"), seconds=1.0)
    return path


@pytest.fixture
def save(tmp_path: Path) -> Encode:
    """Write a file through soundfile, under a name that tells nothing."""

    def make(samples: np.ndarray, rate_hz: int, *, form: str, subtype: str, name: str = "made") -> Path:
        path = tmp_path / name
        soundfile.write(path, samples, rate_hz, format=form, subtype=subtype)
        return path

    return make
