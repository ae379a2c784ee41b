"""Half an hour of recording: memory and the live path's share of a core, ``python -m benchmarks.recorder_long [--minutes N]``.

The recorder form is fed with the pieces that a page would send, as fast as it takes them: a modelled scale again and
again. The share of a core is the time of this process over the length of the sound; the browser's own is not in it.
Memory is the process's resident set, read every minute; the first two minutes, in which buffers fill, are left out.
"""

from __future__ import annotations

import argparse
import time
from datetime import date
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np

from pianolab.casebook import create_casebook
from pianolab.model import Piano, Visit
from pianolab.sound_model import PianoModel, render_scale
from pianolab.widgets.recorder import RecorderForm

RATE = 44100
PIECE = RATE // 4
PAGE = Path("/proc/self/statm")


def resident_mb() -> float:
    """Resident set of this process, MB (Linux)."""
    return int(PAGE.read_text().split()[1]) * 4096 / 1e6


def pieces() -> list[bytes]:
    """A scale from A0 to C8 as the page would send it."""
    scale = render_scale(PianoModel(seed=5), hold_s=1.6, gap_s=0.4, rate_hz=RATE, snr_db=45.0)
    whole = np.round(scale.samples * 2**15).astype("<i4") * 256
    packed = whole.reshape(-1, 1).view(np.uint8).reshape(-1, 4)[:, :3].tobytes()
    return [packed[at : at + 3 * PIECE] for at in range(0, len(packed) - 3 * PIECE, 3 * PIECE)]


def main() -> None:
    """Print memory minute by minute, then the sums."""
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("--minutes", type=int, default=30)
    minutes = ask.parse_args().minutes
    sound = pieces()
    with TemporaryDirectory() as folder, create_casebook(Path(folder) / "book") as book:
        with book.editing(by="bench") as edit:
            piano = edit.add(Piano(name="bench"))
            visit = edit.add(Visit(piano_id=piano.id, day=date(2026, 5, 1)))
        form = RecorderForm(book, visit)
        confirmed = 0

        def told(message: dict[str, object], **_: object) -> None:
            nonlocal confirmed
            confirmed += message.get("says") == "have"

        form.send = told
        form.receive({"do": "begin", "page": "bench", "rate_hz": RATE, "what": "all"})
        used, cpu = [], time.process_time()
        for number in range(4 * 60 * minutes):
            event = {
                "do": "piece",
                "page": "bench",
                "number": number,
                "first_frame": number * PIECE,
                "clock_ms": 250.0 * number,
            }
            form.receive(event, [sound[number % len(sound)]])
            if (number + 1) % 240 == 0:
                used.append(resident_mb())
                print(f"minute {len(used)}: {used[-1]:.0f} MB", flush=True)
        share = (time.process_time() - cpu) / (60.0 * minutes)
        grown = used[-1] - used[min(2, len(used) - 1)]
        print(
            f"{confirmed} of {4 * 60 * minutes} pieces confirmed; {share:.2f} of a core; {grown:+.1f} MB after minute 3"
        )


if __name__ == "__main__":
    main()
