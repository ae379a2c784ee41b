"""The recorder in JupyterLab with a microphone that plays a file, and what its recording is held against."""

from __future__ import annotations

import contextlib
import itertools
import json
import socket
import struct
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import soundfile
from scipy import signal
from widget_lab import CHROMIUM, CHROMIUM_FLAGS, Lab, open_notebook, run_all

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
    profile: Path, wav: Path | None, *, ask: bool = False, again: bool = False, **options: Any
) -> Iterator[Any]:
    """Chromium whose microphone plays a WAV file from its first asking on; without one there is no device.

    ``ask`` leaves the question for leave to use it, which nobody answers with yes; ``again`` plays the file in a ring.
    """
    from playwright.sync_api import sync_playwright

    flags = [*CHROMIUM_FLAGS, "--autoplay-policy=no-user-gesture-required"]
    if not ask:
        flags.append("--use-fake-ui-for-media-stream")
    if wav is not None:
        flags += [
            "--use-fake-device-for-media-stream",
            f"--use-file-for-fake-audio-capture={wav}{'' if again else '%noloop'}",
        ]
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


def opened_form(context: Any, lab: Lab, name: str) -> tuple[Any, Any]:
    """The page of a notebook of that name, run, and the recorder in it."""
    page, _ = open_notebook(context, lab, f"{name}.ipynb")
    run_all(page)
    form = page.locator(".pl-recorder").first
    form.wait_for()
    return page, form


def open_recorder(page: Any) -> Any:
    """Agree, and open the microphone; gives the form."""
    form = page.locator(".pl-recorder").first
    form.wait_for()
    form.get_by_label("The microphone hears voices").check()
    form.get_by_role("button", name="Open the microphone").click()
    form.locator(".pl-mic-about").wait_for(state="visible", timeout=20_000)
    return form


def residual_db(
    recorded: Any, original: Any, rate_hz: int, *, near: int | None = None
) -> tuple[int, list[float]]:
    """Where in the original the recording begins (frames), and each second's residual in dB of that second's sound.

    ``near`` is about where it begins, where that is known: within half a second.
    """
    span = min(len(recorded), 60 * rate_hz)
    at = int(np.argmax(np.abs(recorded[:span])))
    begin = max(at - rate_hz // 4, 0)
    part = recorded[begin : at + rate_hz // 2]
    from_, to = 0, len(original)
    if near is not None:
        from_ = min(max(near + begin - rate_hz // 2, 0), len(original) - len(part))
        to = from_ + rate_hz + len(part)
    about = original[from_:to]
    product = signal.correlate(about, part, mode="valid", method="fft")
    energy = np.cumsum(np.concatenate([[0.0], about**2]))
    # a louder place must not win over the same one
    product /= np.sqrt(np.maximum(energy[len(part) :] - energy[: -len(part)], 1e-9))
    lag = from_ + int(np.argmax(product)) - begin
    out = []
    for begin in range(0, len(recorded) - rate_hz, rate_hz):
        if not 0 <= begin + lag <= len(original) - rate_hz:
            continue
        own, true = recorded[begin : begin + rate_hz], original[begin + lag : begin + lag + rate_hz]
        power = max(float(np.mean(true**2)), 1e-12)
        # Nothing left over at all is no more than the last bits of a float.
        out.append(10.0 * np.log10(max(float(np.mean((own - true) ** 2)), 1e-20) / power))
    return lag, out


def residuals_between(recorded: Any, original: Any, gaps_s: Any, rate_hz: int) -> list[float]:
    """Residuals of each stretch between the gaps that were reported, each aligned by itself.

    A microphone that puts silence in or leaves sound out moves all that comes after it, so one lag for the whole would
    say nothing. Each gap is its begin and end, and by how much the original runs ahead after it, in s (negative for
    silence that was put in).
    """
    out, near, at = [], None, 0
    for begin_s, end_s, more_s in [*gaps_s, (len(recorded) / rate_hz, len(recorded) / rate_hz, 0.0)]:
        stretch = recorded[at + 4 : round(begin_s * rate_hz) - 4]
        if len(stretch) > 1.5 * rate_hz:
            lag, found = residual_db(stretch, original, rate_hz, near=None if near is None else near + at + 4)
            out += found
            near = lag - at - 4
        at = round(end_s * rate_hz)
        near = None if near is None else near + round(more_s * rate_hz)
    return out


def zero_runs(sound: Any, rate_hz: int) -> list[tuple[float, float, float]]:
    """Runs of exact zeros of 4 ms and more, apart from the library's own search, as `residuals_between` takes them."""
    edges = np.diff(np.concatenate([[0], np.asarray(sound) == 0, [0]]).astype(int))
    runs = zip(np.flatnonzero(edges == 1).tolist(), np.flatnonzero(edges == -1).tolist(), strict=True)
    return [(b / rate_hz, e / rate_hz, (b - e) / rate_hz) for b, e in runs if e - b >= 0.004 * rate_hz]


class Told:
    """What went over a page's connection, read off the frames: pieces of sound that it sent, numbers it was confirmed.

    Frames are of the protocol ``v1.kernel.websocket.jupyter.org``: a count and offsets as 64-bit numbers, little end
    first, then channel, header, parent, metadata, content and buffers.
    """

    def __init__(self, page: Any) -> None:
        self.sent: dict[int, tuple[int, bytes]] = {}
        self.confirmed = set[int]()
        self.channels = 1
        page.on("websocket", self._watch)

    def _watch(self, connection: Any) -> None:
        connection.on("framesent", self._sent)
        connection.on("framereceived", self._received)

    def _sent(self, frame: Any) -> None:
        said, buffers = _content(frame)
        if said.get("do") == "begin":
            self.channels = said["channels"]
        if said.get("do") == "piece":
            self.sent[said["number"]] = said["first_frame"], bytes(buffers[0])

    def _received(self, frame: Any) -> None:
        said, _ = _content(frame)
        if said.get("says") == "have":
            self.confirmed |= set(said["numbers"])

    def confirmed_frames(self) -> int:
        """Frames of sound in the pieces that were confirmed."""
        return sum(len(self.sent[n][1]) // 3 // self.channels for n in self.confirmed)

    def lost_from(self, recorded: Any) -> list[int]:
        """Numbers of confirmed pieces that do not stand in a recording, sample for sample, where they belong.

        Parameters
        ----------
        recorded : whole numbers of 24 bits, shape (frames, channels); one channel stands for all
        """
        out = []
        for number in sorted(self.confirmed):
            first, data = self.sent[number]
            wide = np.zeros((len(data) // 3, 4), np.uint8)
            wide[:, 1:] = np.frombuffer(data, np.uint8).reshape(-1, 3)
            true = wide.view("<i4").reshape(-1, self.channels) >> 8
            here = recorded[first : first + len(true)]
            if len(here) < len(true) or np.any(here != true):
                out.append(number)
        return out


def _content(frame: Any) -> tuple[dict[str, Any], list[bytes]]:
    """What a widget's message says, and its buffers; nothing of any other frame."""
    if not isinstance(frame, bytes) or len(frame) < 64:
        return {}, []
    at = struct.unpack_from(f"<{struct.unpack_from('<Q', frame)[0]}Q", frame, 8)
    parts = [frame[a:b] for a, b in itertools.pairwise(at)]
    if json.loads(parts[1]).get("msg_type") != "comm_msg":
        return {}, []
    data = json.loads(parts[4]).get("data", {})
    return (data.get("content") or {} if data.get("method") == "custom" else {}), parts[5:]


class Relay:
    """Stands between browser and server, and can cut every connection for a while."""

    def __init__(self, port: int) -> None:
        self._target = port
        self._open: set[socket.socket] = set()
        self._listener: socket.socket | None = None
        self.port = 0
        self.mend()

    def mend(self) -> None:
        """Let connections through (again), at the same port."""
        listener = socket.socket()
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listener.bind(("127.0.0.1", self.port))
        listener.listen(64)
        self.port, self._listener = listener.getsockname()[1], listener
        threading.Thread(target=self._accept, args=(listener,), daemon=True).start()

    def cut(self) -> None:
        """Cut every connection, and take no new one."""
        listener, self._listener = self._listener, None
        if listener is not None:
            with contextlib.suppress(OSError):
                listener.shutdown(socket.SHUT_RDWR)
            listener.close()
        for end in list(self._open):
            with contextlib.suppress(OSError):
                end.shutdown(socket.SHUT_RDWR)

    def _accept(self, listener: socket.socket) -> None:
        while True:
            try:
                here, _ = listener.accept()
                there = socket.create_connection(("127.0.0.1", self._target))
            except OSError:
                return
            for one, other in ((here, there), (there, here)):
                self._open.add(one)
                threading.Thread(target=self._pass_on, args=(one, other), daemon=True).start()

    def _pass_on(self, one: socket.socket, other: socket.socket) -> None:
        with contextlib.suppress(OSError):
            while data := one.recv(1 << 16):
                other.sendall(data)
        self._open.discard(one)
        for end in (one, other):
            with contextlib.suppress(OSError):
                end.shutdown(socket.SHUT_RDWR)
        one.close()


def seconds_on_disk(place: Path) -> float:
    """How much sound is confirmed, read apart from the widget."""
    from pianolab.casebook.arrived import waiting

    return sum(a.seconds for a in waiting(place))


def begin_recording(form: Any, *, what: str | None = None) -> None:
    """Press *Record* and wait until something was heard."""
    if what is not None:
        form.get_by_label("What to record").select_option(what)
    form.get_by_role("button", name="Record", exact=True).click()
    form.locator(".pl-going").wait_for(state="visible")


def recorded_s(page: Any, least_s: float) -> None:
    """Wait until so many seconds were heard."""
    page.wait_for_function(
        f"parseFloat(document.querySelector('.pl-clock')?.textContent || '0') >= {least_s}",
        timeout=60_000,
    )
