"""Cut off in mid-recording, many times: ``python -m benchmarks.recorder_cuts [--times N] [--ways closed killed cut]``.

In real JupyterLab with a microphone that plays a modelled scale: the page closed, the kernel killed (SIGKILL), the
connection cut (mended while the page is open, or only after it was closed, by turns). What counts as confirmed is read
off the page's own connection, frame by frame, and not from the library. After each cut the recording that is offered is
kept, and every confirmed piece must stand in it sample for sample. One browser and one JupyterLab serve all cuts of a
way, so that what one cut leaves behind is there at the next.
"""

from __future__ import annotations

import argparse
import contextlib
import os
import re
import shutil
import signal
import sys
import time
from dataclasses import dataclass, replace
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np
import soundfile
from playwright.sync_api import TimeoutError as TookTooLong

TESTS = Path(__file__).resolve().parent.parent / "tests" / "widgets"
sys.path.insert(0, str(TESTS))

from recorder_lab import (  # noqa: E402
    OPEN,
    Relay,
    Told,
    begin_recording,
    browser_with_microphone,
    open_recorder,
    recorded_s,
    write_wav,
)
from widget_lab import Lab, open_notebook, run_all, running_lab, write_notebook  # noqa: E402

from pianolab.casebook import open_casebook  # noqa: E402
from pianolab.sound_model import PianoModel, render_scale  # noqa: E402

RATE = 44100
PID = "\nimport os\nPath(place + '.pid').write_text(str(os.getpid()))\nform"
ALL_SAFE = "document.querySelector('.pl-safe').textContent === 'Everything is on the disk.'"
NOT_SAFE = "document.querySelector('.pl-safe').textContent.includes('kept in this browser')"
WAYS = ("closed", "killed", "cut")


@dataclass(frozen=True)
class Cut:
    """Seconds confirmed to the page, offered afterwards and kept; pieces sent, confirmed, and lost of those."""

    confirmed_s: float
    offered_s: float
    kept_s: float
    sent: int
    confirmed: int
    lost: tuple[int, ...]

    @property
    def good(self) -> bool:
        """All that was confirmed was offered and is kept."""
        # the offer is told in whole seconds
        return not self.lost and self.confirmed > 0 and self.offered_s >= self.confirmed_s - 0.51


@dataclass(frozen=True)
class Place:
    """Where a recording is made and cut: the browser, JupyterLab through a relay, the notebook's name."""

    context: Any
    lab: Lab
    relay: Relay
    name: str

    def opened(self) -> tuple[Any, Any, Told]:
        """A new page with the notebook run, its form, and what goes over its connection."""
        pages = _Watched(self.context)
        page, _ = open_notebook(pages, self.lab, f"{self.name}.ipynb")
        run_all(page)
        form = page.locator(".pl-recorder").first
        form.wait_for()
        return page, form, pages.told

    def cut(self, page: Any, way: str, *, mend_first: bool) -> None:
        """Cut it off, and close the page."""
        if way == "killed":
            os.kill(int((self.lab.folder / f"{self.name}.pid").read_text()), signal.SIGKILL)
            page.wait_for_timeout(3000)
        if way == "cut":
            self.relay.cut()
            page.wait_for_function(NOT_SAFE, timeout=120_000)
            if mend_first:
                self.relay.mend()
                # JupyterLab tries again after ever longer pauses: it may not be back when the page is closed
                with contextlib.suppress(TookTooLong):
                    page.wait_for_function(ALL_SAFE, timeout=20_000)
        page.close()
        if way == "cut" and not mend_first:
            self.relay.mend()


class _Watched:
    """A browser context whose new page is watched from its beginning."""

    def __init__(self, context: Any) -> None:
        self._context = context
        self.told: Told

    def new_page(self) -> Any:
        page = self._context.new_page()
        self.told = Told(page)
        return page


def once(place: Place, way: str, heard_s: float, *, mend_first: bool) -> Cut:
    """Record, cut, open again, keep what is offered."""
    write_notebook(place.lab.folder / f"{place.name}.ipynb", [OPEN.format(place.name) + PID])
    page, form, told = place.opened()
    open_recorder(page)
    begin_recording(form, what="held chord")
    recorded_s(page, heard_s)
    place.cut(page, way, mend_first=mend_first)
    page, form, _ = place.opened()
    form.get_by_role("button", name="Keep it").wait_for(timeout=120_000)
    page.wait_for_timeout(1000)  # what the page still held has come by then
    (offer,) = form.locator(".pl-offer").all_inner_texts()
    told_of = re.search(r": (?:(\d+) min )?(\d+) s", offer)
    offered_s = 60.0 * int(told_of[1] or 0) + int(told_of[2]) if told_of else 0.0
    form.get_by_role("button", name="Keep it").click()
    page.wait_for_function(
        "document.querySelector('.pl-recorder-line').textContent.startsWith('Kept')", timeout=60_000
    )
    page.close()
    place.lab.close_kernels()
    with open_casebook(place.lab.folder / place.name) as book:
        (recording,) = book.recordings()
        whole, _ = soundfile.read(book.media_path(recording.media), dtype="int32", always_2d=True)
    lost = told.lost_from(whole >> 8)
    confirmed_s = told.confirmed_frames() / RATE
    return Cut(confirmed_s, offered_s, len(whole) / RATE, len(told.sent), len(told.confirmed), tuple(lost))


def main() -> None:
    """Print a line each time, and the sums."""
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("--times", type=int, default=20)
    ask.add_argument("--ways", nargs="*", default=list(WAYS), choices=WAYS)
    asked = ask.parse_args()
    rng = np.random.default_rng(1)
    with TemporaryDirectory() as folder:
        home = Path(folder)
        scale = render_scale(PianoModel(seed=12), first_key=40, last_key=48, rate_hz=RATE, snr_db=45.0)
        wav = write_wav(home / "scale.wav", scale.samples, RATE)
        with running_lab(home / "lab") as lab:
            shutil.copy(TESTS / "widget_small.py", lab.folder)
            relay = Relay(int(lab.url.rsplit(":", 1)[1]))
            through = replace(lab, url=f"http://127.0.0.1:{relay.port}")
            for way in asked.ways:
                good = 0
                with browser_with_microphone(home / way, wav, again=True) as context:
                    for n in range(asked.times):
                        begun, mend = time.monotonic(), n % 2 == 0
                        place = Place(context, through, relay, f"{way}-{n}")
                        try:
                            cut: Cut | str = once(place, way, rng.uniform(4, 10), mend_first=mend)
                        except Exception as error:  # what broke is a line of the table, not its end
                            cut = f"broken: {error}".splitlines()[0]
                        good += isinstance(cut, Cut) and cut.good
                        print(f"{way} {n}: {cut}, {time.monotonic() - begun:.0f} s", flush=True)
                print(
                    f"{way}: {good} of {asked.times} times all that was confirmed is offered and kept",
                    flush=True,
                )


if __name__ == "__main__":
    main()
