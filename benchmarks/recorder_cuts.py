"""Cut off in mid-recording, many times: ``python -m benchmarks.recorder_cuts [--times N] [--ways closed killed cut]``.

In real JupyterLab with a microphone that plays a modelled scale: the page closed, the kernel killed, the connection cut.
Each time what was confirmed before is looked for on the disk and among what the recorder offers when it is opened again;
after a cut connection, the whole recording is held against the file that was played.
"""

from __future__ import annotations

import argparse
import shutil
import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np

TESTS = Path(__file__).resolve().parent.parent / "tests" / "widgets"
sys.path.insert(0, str(TESTS))

from recorder_lab import (  # noqa: E402
    OPEN,
    Relay,
    begin_recording,
    browser_with_microphone,
    open_recorder,
    opened_form,
    recorded_s,
    seconds_on_disk,
    write_wav,
)
from widget_lab import Lab, running_lab, write_notebook  # noqa: E402

from pianolab.casebook.arriving import FOLDER  # noqa: E402
from pianolab.sound_model import PianoModel, render_scale  # noqa: E402

RATE = 44100
KILL = (
    "window.jupyterapp.shell.currentWidget.sessionContext.session.kernel"
    ".requestExecute({code: 'import os, signal; os.kill(os.getpid(), signal.SIGKILL)'}) && undefined"
)


def closed(page: Any, _relay: Relay) -> None:
    """Close the page."""
    page.close()


def killed(page: Any, _relay: Relay) -> None:
    """Kill the kernel, wait, close the page."""
    page.evaluate(KILL)
    page.wait_for_timeout(3000)
    page.close()


def cut(page: Any, relay: Relay) -> None:
    """Cut the connection, wait, mend it, wait, close the page."""
    relay.cut()
    page.wait_for_timeout(4000)
    relay.mend()
    page.wait_for_timeout(6000)
    page.close()


WAYS: dict[str, Callable[[Any, Relay], None]] = {"closed": closed, "killed": killed, "cut": cut}


def once(
    context: Any, lab: Lab, relay: Relay, name: str, way: str, heard_s: float
) -> tuple[float, float, float]:
    """Seconds confirmed before the cut, on the disk after it, and offered."""
    write_notebook(lab.folder / f"{name}.ipynb", [OPEN.format(name)])
    page, form = opened_form(context, lab, name)
    open_recorder(page)
    begin_recording(form, what="held chord")
    recorded_s(page, heard_s)
    before = seconds_on_disk(lab.folder / name / FOLDER)
    WAYS[way](page, relay)
    page, form = opened_form(context, lab, name)
    form.get_by_role("button", name="Keep it").wait_for(timeout=30_000)
    page.wait_for_timeout(1000)
    after = seconds_on_disk(lab.folder / name / FOLDER)
    offers = form.locator(".pl-offer").all_inner_texts()
    page.close()
    lab.close_kernels()
    return before, after, after if offers else 0.0


def main() -> None:
    """Print a line each time, and the sums."""
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("--times", type=int, default=20)
    ask.add_argument("--ways", nargs="*", default=list(WAYS))
    asked = ask.parse_args()
    rng = np.random.default_rng(1)
    with TemporaryDirectory() as folder:
        home = Path(folder)
        scale = render_scale(
            PianoModel(seed=12), first_key=40, last_key=48, rate_hz=RATE, snr_db=45.0, tail_s=60.0
        )
        wav = write_wav(home / "scale.wav", scale.samples, RATE)
        with running_lab(home / "lab") as lab:
            shutil.copy(TESTS / "widget_small.py", lab.folder)
            relay = Relay(int(lab.url.rsplit(":", 1)[1]))
            through = replace(lab, url=f"http://127.0.0.1:{relay.port}")
            for way in asked.ways:
                good = 0
                for n in range(asked.times):
                    with browser_with_microphone(home / f"{way}{n}", wav) as context:
                        before, after, offered = once(
                            context, through, relay, f"{way}-{n}", way, rng.uniform(2, 6)
                        )
                    good += bool(after >= before and offered > 0.0)
                    print(
                        f"{way} {n}: {before:.2f} s confirmed, {after:.2f} s there, {offered:.2f} s offered",
                        flush=True,
                    )
                print(
                    f"{way}: {good} of {asked.times} times all that was confirmed is there and offered",
                    flush=True,
                )


if __name__ == "__main__":
    main()
