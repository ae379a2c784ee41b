"""The recorder in JupyterLab with a microphone that plays a file, and what its recording is held against."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import soundfile
from widget_lab import CHROMIUM, CHROMIUM_FLAGS

OPEN = """
from pathlib import Path
from widget_small import small_casebook
from pianolab.casebook import open_casebook
from pianolab.widgets.recorder import RecorderForm
place = "{0}"
book = open_casebook(place) if Path(place).exists() else small_casebook(place)[0]
form = RecorderForm(book, book.visits()[0])
form
"""


@contextlib.contextmanager
def browser_with_microphone(
    profile: Path, wav: Path | None, *, ask: bool = False, **options: Any
) -> Iterator[Any]:
    """Chromium whose microphone plays a WAV file from its first asking on; without one there is no device.

    ``ask`` leaves the question for leave to use it, which nobody answers with yes.
    """
    from playwright.sync_api import sync_playwright

    flags = [*CHROMIUM_FLAGS, "--autoplay-policy=no-user-gesture-required"]
    if not ask:
        flags.append("--use-fake-ui-for-media-stream")
    if wav is not None:
        flags += ["--use-fake-device-for-media-stream", f"--use-file-for-fake-audio-capture={wav}%noloop"]
    with sync_playwright() as playwright:
        context = playwright.chromium.launch_persistent_context(
            str(profile), executable_path=str(CHROMIUM), headless=True, args=flags, **options
        )
        try:
            yield context
        finally:
            context.close()


def write_wav(path: Path, samples: Any, rate_hz: int) -> Path:
    """16 bits: the fake device gives silence for 24."""
    soundfile.write(path, samples, rate_hz, subtype="PCM_16")
    return path


def open_recorder(page: Any) -> Any:
    """Agree, and open the microphone; gives the form."""
    form = page.locator(".pl-recorder").first
    form.wait_for()
    form.locator("input[type=checkbox]").check()
    form.get_by_role("button", name="Open the microphone").click()
    form.locator(".pl-mic-about").wait_for(state="visible", timeout=20_000)
    return form


def residual_db(recorded: Any, original: Any, rate_hz: int) -> tuple[int, list[float]]:
    """Where in the original the recording begins (frames), and each second's residual in dB of that second's sound."""
    span = min(len(recorded), 10 * rate_hz)
    at = int(np.argmax(np.abs(recorded[:span])))
    part = recorded[max(at - rate_hz // 4, 0) : at + rate_hz // 2]
    size = 1 << int(np.ceil(np.log2(len(original) + len(part))))
    product = np.fft.irfft(np.fft.rfft(original, size) * np.conj(np.fft.rfft(part, size)), size)
    lag = int(np.argmax(product[: len(original)])) - max(at - rate_hz // 4, 0)
    out = []
    for begin in range(0, len(recorded) - rate_hz, rate_hz):
        if not 0 <= begin + lag <= len(original) - rate_hz:
            continue
        own, true = recorded[begin : begin + rate_hz], original[begin + lag : begin + lag + rate_hz]
        power = max(float(np.mean(true**2)), 1e-12)
        out.append(10.0 * np.log10(max(float(np.mean((own - true) ** 2)), 1e-12) / power))
    return lag, out
