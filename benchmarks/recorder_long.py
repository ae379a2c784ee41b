"""Minutes of recording in the browser: ``python -m benchmarks.recorder_long [--minutes N] [--where lab voila] [--sound model soundfont]``.

Chromium's fake microphone plays a scale to the recorder in JupyterLab or voila. Said at the end:

- chunks: how many the page sent, how many were confirmed, read off its own connection;
- gaps: what the recorder says that the microphone did not hear, beside runs of exact zeros found here apart from it
  (the fake microphone puts silence in where the machine is busy);
- every second between those gaps held against the file, in dB of that second's sound;
- memory of the kernel and of the page (resident, Linux) minute by minute, and the kernel's share of one core;
- with ``--survey``: the strip that was shown beside the survey of the recording, and that survey beside the file's, within
  the uncertainties they state.

What the sound truly is plays no part here; that is the question of `benchmarks.bench`.
"""

from __future__ import annotations

import argparse
import shutil
import sys
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np
import psutil
import soundfile

TESTS = Path(__file__).resolve().parent.parent / "tests" / "widgets"
sys.path.insert(0, str(TESTS))

from recorder_lab import (  # noqa: E402
    OPEN,
    Told,
    begin_recording,
    browser_with_microphone,
    open_recorder,
    residuals_between,
    write_wav,
    zero_runs,
)
from widget_lab import open_notebook, run_all, running_lab, running_voila, write_notebook  # noqa: E402

from benchmarks.playing import play  # noqa: E402
from benchmarks.soundfonts import SoundfontPiano  # noqa: E402
from pianolab.acoustics import Survey, listen  # noqa: E402
from pianolab.acoustics.columns import declared, sd_of  # noqa: E402
from pianolab.casebook import open_casebook  # noqa: E402
from pianolab.casebook.arrived import waiting  # noqa: E402
from pianolab.casebook.arriving import place_for  # noqa: E402
from pianolab.model import SoundGap  # noqa: E402
from pianolab.sound_model import PianoModel, render_scale  # noqa: E402

RATE = 44100
LEAD_S = 25.0
"""Time to press the buttons before the first key."""
CELL = OPEN.format("book") + "\nimport os\nPath(place + '.pid').write_text(str(os.getpid()))\nform"


def scale_of(kind: str) -> Any:
    """Every key once, in 16 bits, shape (frames,)."""
    if kind == "soundfont":
        take = play(SoundfontPiano("fluid"), family="soundfont", seed=3, hold_s=2.2, gap_s=0.6, lead_s=LEAD_S)
        sound = take.samples[:, 0]
    else:
        sound = render_scale(
            PianoModel(seed=21), hold_s=2.2, gap_s=0.6, rate_hz=RATE, snr_db=45.0, lead_in_s=LEAD_S
        ).samples
    return np.round(np.asarray(sound, float) * 2**15) / 2**15


def long_enough(scale: Any, minutes: float) -> Any:
    """The scale again and again, without its silence in front from the second time on."""
    most = round(60 * minutes * RATE)
    again = scale[round((LEAD_S - 1.0) * RATE) :]
    times = max(0, -(-(most - len(scale)) // len(again)))
    return np.concatenate([scale, *[again] * times])[:most]


class Watch:
    """Memory and processor time of the kernel and of the browser that this process started."""

    def __init__(self, kernel: int) -> None:
        self.kernel = psutil.Process(kernel)
        self.begun_s = self._cpu_s()
        self.kernel_mb, self.page_mb, self.page_cpu_s = list[float](), list[float](), 0.0

    def _cpu_s(self) -> float:
        used = self.kernel.cpu_times()
        return float(used.user + used.system)

    def look(self) -> None:
        """Note the memory now."""
        self.kernel_mb.append(self.kernel.memory_info().rss / 1e6)
        pages = [p for p in psutil.Process().children(recursive=True) if _is_page(p)]
        self.page_mb.append(max((p.memory_info().rss for p in pages), default=0) / 1e6)
        self.page_cpu_s = max((p.cpu_times().user + p.cpu_times().system for p in pages), default=0.0)

    def share(self, seconds: float) -> float:
        """Share of one core that the kernel took since it was first looked at."""
        return (self._cpu_s() - self.begun_s) / seconds


def _is_page(process: psutil.Process) -> bool:
    try:
        return "--type=renderer" in process.cmdline()
    except psutil.Error:
        return False


@contextmanager
def opened(where: str, home: Path, wav: Path) -> Iterator[tuple[Any, Told, Path]]:
    """The page with the recorder, what goes over its connection, and the folder of the casebook."""
    folder = home / "work"
    folder.mkdir()
    shutil.copy(TESTS / "widget_small.py", folder)
    write_notebook(folder / "app.ipynb", [CELL])
    with browser_with_microphone(home / "profile", wav) as context:
        page = context.new_page()
        told = Told(page)
        if where == "voila":
            with running_voila(home, folder / "app.ipynb") as url:
                page.goto(url, wait_until="domcontentloaded", timeout=120_000)
                page.locator(".pl-recorder").first.wait_for(timeout=120_000)
                yield page, told, folder
        else:
            with running_lab(home, folder=folder) as lab:
                context.new_page = lambda: page
                open_notebook(context, lab, "app.ipynb")
                run_all(page)
                yield page, told, folder


def record(page: Any, folder: Path, seconds: float) -> Watch:
    """Record so long, looking each minute."""
    form = open_recorder(page)
    watch = Watch(int((folder / "book.pid").read_text()))
    begin_recording(form, what="all")
    done = 0.0
    while done < seconds:
        some = min(60.0, seconds - done)
        page.wait_for_timeout(1000 * some)
        done += some
        watch.look()
        print(
            f"{done / 60:.0f} min: kernel {watch.kernel_mb[-1]:.0f} MB, page {watch.page_mb[-1]:.0f} MB, "
            f"kernel {watch.share(done):.2f} and page {watch.page_cpu_s / done:.2f} of a core",
            flush=True,
        )
    return watch


def keep(page: Any) -> dict[str, str]:
    """Stop, wait until it has been listened to; what the strip shows, by note."""
    form = page.locator(".pl-recorder").first
    form.get_by_role("button", name="Stop and keep").click()
    page.wait_for_function(
        "document.querySelector('.pl-recorder-line').textContent.startsWith('Kept')", timeout=900_000
    )
    cells = form.locator(".pl-strip-key").all()
    return {c.inner_text().split()[-1]: str(c.get_attribute("data-state")) for c in cells}


def held_against(recorded: Any, original: Any, gaps: tuple[SoundGap, ...], told: Told) -> None:
    """Print chunks, gaps and residuals."""
    lost = sorted(set(range(max(told.sent, default=-1) + 1)) - told.confirmed)
    print(f"{len(told.sent)} chunks sent, {len(told.confirmed)} confirmed, {len(lost)} lost")
    kinds = Counter(g.kind for g in gaps)
    runs = zero_runs(recorded, RATE)
    said = [(g.begin_s - 1e-3, g.end_s + 1e-3) for g in gaps]
    unsaid = [r for r in runs if not any(b <= r[0] and e >= r[1] for b, e in said)]
    print(
        f"gaps reported: {dict(kinds)}, {sum(g.lost_s for g in gaps):.2f} s; runs of zeros found here: {len(runs)}, "
        f"{len(unsaid)} of them not reported {unsaid[:5]}"
    )
    ahead = {"silence put in": -1.0, "clock jumped": 1.0, "never came": 0.0}
    edges = [(g.begin_s, g.end_s, ahead[g.kind] * g.lost_s) for g in gaps]
    worst = np.array(residuals_between(recorded, original, edges, RATE))
    print(
        f"{len(worst)} whole seconds between gaps of {len(recorded) / RATE:.0f} s: residual {worst.max():.1f} dB at most, "
        f"{np.sum(worst > -40)} over -40 dB"
    )


def strip_beside(survey: Survey, strip: dict[str, str]) -> None:
    """Print on how many keys the strip agrees with the survey of the same recording."""
    measured = set(survey.table.loc[survey.table["status"] == "measured", "note"])
    differ = [n for n, state in strip.items() if (n in measured) != (state in ("found", "again", "ringing"))]
    print(f"strip: {len(strip) - len(differ)} of {len(strip)} keys as in the survey {differ}")


def surveys_beside(recorded: Survey, file: Survey) -> None:
    """Print how many values of the recording's survey lie within the file's, one and two of their common sd."""
    own, true = recorded.table.set_index("key"), file.table.set_index("key")
    print(f"status equal on {int((own['status'] == true['status']).sum())} of {len(true)} keys")
    for column in declared():
        sd = sd_of(column.name)
        if not sd or column.name not in own or sd not in own:
            continue
        off = (own[column.name] - true[column.name]).abs()
        z = (off / np.hypot(own[sd], true[sd])).dropna()
        if len(z):
            print(
                f"{column.name}: {(z <= 1).mean():.3f} within 1 sd, {(z <= 2).mean():.3f} within 2, of {len(z)}"
            )


def main() -> None:
    """Record, then print."""
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("--minutes", type=float, default=5.0)
    ask.add_argument("--where", choices=("lab", "voila"), default="lab")
    ask.add_argument("--sound", choices=("model", "soundfont"), default="model")
    ask.add_argument("--survey", action="store_true")
    ask.add_argument("--keep", type=Path, help="a folder for the file that was played and the casebook")
    asked = ask.parse_args()
    with TemporaryDirectory() as folder:
        home = Path(folder)
        original = long_enough(scale_of(asked.sound), asked.minutes + 0.5)
        wav = write_wav(home / "played.wav", original, RATE)
        original, _ = soundfile.read(wav)  # as it is played: in 16 bits
        with opened(asked.where, home, wav) as (page, told, work):
            watch = record(page, work, 60.0 * asked.minutes)
            strip = keep(page) if asked.survey else {}
            page.close()
        print(
            f"kernel {watch.kernel_mb[-1] - watch.kernel_mb[min(1, len(watch.kernel_mb) - 1)]:+.1f} MB,",
            end=" ",
        )
        print(
            f"page {watch.page_mb[-1] - watch.page_mb[min(1, len(watch.page_mb) - 1)]:+.1f} MB after minute 2"
        )
        if asked.keep is not None:
            shutil.copytree(home / "work" / "book", asked.keep / "book")
            shutil.copy(wav, asked.keep)
        with open_casebook(work / "book") as book:
            if not asked.survey:
                (arrived,) = waiting(place_for(book))
                whole = np.concatenate(list(arrived.blocks()))[:, 0] / 2**23
                held_against(whole, original, arrived.gaps(), told)
                return
            (recording,) = book.recordings()
            whole = soundfile.read(book.media_path(recording.media), always_2d=True)[0][:, 0]
            gaps = recording.capture.gaps if recording.capture else ()
            survey = Survey.from_json(book.surveys()[-1].survey_json)
        held_against(whole, original, gaps, told)
        strip_beside(survey, strip)
        surveys_beside(survey, listen(original[:, None], rate_hz=RATE, first_key=1, last_key=88))


if __name__ == "__main__":
    main()
