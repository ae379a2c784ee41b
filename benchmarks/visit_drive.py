"""A whole visit driven as people do it: ``python -m benchmarks.visit_drive [--apps lab voila] [--screens laptop tablet]``.

Two pianos by turns in real JupyterLab or voila in Chromium: thirty points each (by keyboard on the laptop, by taps on the
tablet), a mark and a photo at every turn, a recording of a modelled piano each (a file, as from a telephone), a reload of
the page, a restart of the kernel, a second tab. Afterwards the casebook is read: whatever stands at the wrong piano ends
it with an error. It prints how long a tap takes until it is saved, how many presses a point takes, and the share of
points at which title, answers and *Next* are in sight at once; the machine's load stands beside them. With ``--shots``
it leaves pictures, to be looked at.
"""

from __future__ import annotations

import argparse
import os
import re
import statistics
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import soundfile
from PIL import Image

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "tests" / "widgets"))

from desk_page import DESK, FITS, LAPTOP, NAMES, OPEN, TABLET, part, to_piano
from widget_lab import (
    Lab,
    browser,
    open_notebook,
    restart_and_run_all,
    run_all,
    running_lab,
    running_voila,
    write_notebook,
)

from pianolab.casebook import open_casebook
from pianolab.sound_model import PianoModel, render_scale

A_TURN = 5
SCREENS = {"laptop": LAPTOP, "tablet": TABLET}
WAIT_MS = 180_000
FIRST_KEY, KEYS = 40, {NAMES[0]: 5, NAMES[1]: 8}
"""How many keys each piano's take holds: that tells them apart in the casebook."""
CLOCK = """() => {
  window.pressed = 0; window.savedIn = [];
  for (const kind of ['click', 'keydown']) document.addEventListener(kind, () => { window.pressed = performance.now(); }, true);
  let last = '';
  new MutationObserver(() => {
    const now = document.querySelector('.pl-status')?.textContent || '';
    if (now === last) return;
    last = now;
    if (now === 'Saving' && window.pressed) window.asked = window.pressed;
    if (now.startsWith('Saved at') && window.asked) { window.savedIn.push(performance.now() - window.asked); window.asked = 0; }
  }).observe(document.body, { childList: true, subtree: true, characterData: true });
}"""


@dataclass
class Drive:
    """What one drive does and has seen."""

    page: Any
    keyboard: bool
    folder: Path
    files: dict[str, Path]
    picture: Path
    turns: int
    entered: dict[str, list[str]] = field(default_factory=lambda: {name: [] for name in NAMES})
    fits: list[bool] = field(default_factory=list)
    presses: list[int] = field(default_factory=list)
    waits_ms: list[float] = field(default_factory=list)

    def watch(self) -> None:
        """Start the page's own clock; a page that was loaded anew needs it again."""
        self.page.locator(".pl-walk").wait_for(timeout=WAIT_MS)
        self.page.evaluate(CLOCK)

    def collect(self) -> None:
        """Take over what the page's clock has measured so far."""
        self.waits_ms += self.page.evaluate("() => window.savedIn.splice(0)")

    def point(self, name: str) -> None:
        """One point: the better answer at the first piano, the worse one at the second; then on to the next."""
        title = self.page.locator(".pl-point-title").inner_text()
        self.fits.append(self.page.evaluate(FITS))
        presses = self._by_keys(name) if self.keyboard else self._by_taps(name)
        self.page.wait_for_function(
            "document.querySelector('.pl-status').textContent.startsWith('Saved at')"
            " && !document.querySelector('.pl-sending')",
            timeout=WAIT_MS,
        )
        if self.keyboard:
            self.page.keyboard.press("Escape")
            self.page.keyboard.press(".")
        else:
            self.page.locator(".pl-moves .pl-main-button").tap()
        self.page.wait_for_function(
            "t => document.querySelector('.pl-point-title').textContent !== t", arg=title, timeout=WAIT_MS
        )
        self.presses.append(presses + 1)
        self.entered[name].append(title)

    def _kind(self) -> str:
        choices = self.page.locator(".pl-choice").count()
        if choices:
            return "grade" if choices == 5 else "yes_no"
        return "count" if self.page.get_by_role("button", name="None", exact=True).count() else "reading"

    def _reading(self) -> str:
        """A number that can be: an instrument is not 20 cm tall."""
        return "120" if self.page.locator(".pl-number").get_attribute("aria-label").endswith("cm") else "20"

    def _by_taps(self, name: str) -> int:
        kind = self._kind()
        if kind in ("grade", "yes_no"):
            choice = self.page.locator(".pl-choice")
            choice.nth(0 if name == NAMES[0] else choice.count() - 1).tap()
            return 1
        if kind == "count":
            self.page.get_by_role("button", name="None", exact=True).tap()
            return 1
        self.page.locator(".pl-number").tap()
        self.page.locator(".pl-number").fill(self._reading())
        self.page.locator(".pl-number").press("Enter")
        return 4  # into the field, two digits, Enter

    def _by_keys(self, name: str) -> int:
        kind, press = self._kind(), self.page.keyboard.press
        self.page.locator(".pl-point-title").focus()
        if kind in ("grade", "yes_no"):
            press({"grade": ("5", "1"), "yes_no": ("y", "n")}[kind][NAMES.index(name)])
            return 1
        self.page.locator(".pl-number").focus()
        self.page.keyboard.type("0" if kind == "count" else self._reading())
        press("Enter")
        return 2 if kind == "count" else 3

    def turn(self, name: str, number: int) -> None:
        """Five points, a mark, a photo; at the first turn the recording too."""
        to_piano(self.page, name)
        for _ in range(A_TURN):
            self.point(name)
        part(self.page, "Keyboard", ".pl-picker")
        assert name in self.page.locator(".pl-picker-title").inner_text()
        key = self.page.locator(
            f"[aria-label*='key {FIRST_KEY + number},'], [aria-label$='key {FIRST_KEY + number}']"
        )
        key.first.click(position={"x": 8, "y": 90 if number % 2 else 140})
        self.page.get_by_role("button", name=re.compile("^chip")).click()
        said(self.page, ".pl-picker-line", "aved")
        part(self.page, "Photos", ".pl-pictures")
        assert name in self.page.locator(".pl-pictures-title").inner_text()
        self.page.locator(".pl-pictures input[type=file]").set_input_files(self.picture)
        said(self.page, ".pl-pictures-line", "Photo saved")
        if number == 0:
            part(self.page, "Recording", ".pl-recorder")
            assert name in self.page.locator(".pl-recorder h3, .pl-recorder h2").first.inner_text()
            self.page.locator(".pl-recorder input[type=file]").set_input_files(self.files[name])
            self.page.wait_for_function(
                "document.querySelector('.pl-recorder').textContent.includes('Kept:')", timeout=2 * WAIT_MS
            )
        part(self.page, "Walk", ".pl-walk")
        self.collect()

    def check(self) -> None:
        """Every record at the piano where it was entered, and nowhere else."""
        with open_casebook(self.folder) as book:
            titles = {p.id: p.title for p in book.checklist()}
            for piano in book.pianos():
                (visit,) = book.visits(piano.id)
                found = {titles[f.point]: f for f in book.findings(visit_id=visit.id)}
                marked = found.pop("Chipped key tops")
                astray = set(found) ^ set(self.entered[piano.name])
                assert not astray, f"{piano.name}: {astray}, last entered {self.entered[piano.name][-3:]}"
                assert {f.grade for f in found.values()} <= {None, 5 if piano.name == NAMES[0] else 1}
                assert len(marked.keys) == len(book.photos(visit_id=visit.id)) == self.turns
                (record,) = book.surveys(piano.id)
                assert {r.id for r in book.recordings(visit.id)} == {record.recording_id}
                sound = soundfile.info(str(book.media_path(book.recordings(visit.id)[0].media)))
                assert abs(sound.duration - soundfile.info(str(self.files[piano.name])).duration) < 0.1


def say(step: str) -> None:
    """Where the drive is, for who waits."""
    print(f"  {time.strftime('%H:%M:%S')} {step}", file=sys.stderr, flush=True)


def said(page: Any, where: str, words: str) -> None:
    page.wait_for_function(
        "([w, t]) => document.querySelector(w).textContent.includes(t)", arg=[where, words], timeout=WAIT_MS
    )


def takes(folder: Path) -> dict[str, Path]:
    """A modelled take of a few keys for each piano."""
    made = {}
    for seed, (name, keys) in enumerate(KEYS.items()):
        scale = render_scale(
            PianoModel(seed=12 + seed),
            first_key=FIRST_KEY,
            last_key=FIRST_KEY + keys - 1,
            hold_s=1.0,
            gap_s=0.4,
            rate_hz=44100,
            snr_db=45.0,
        )
        made[name] = folder / f"{name.replace(' ', '_')}.wav"
        soundfile.write(made[name], scale.samples, scale.rate_hz, subtype="PCM_16")
    return made


@contextmanager
def opened(app: str, home: Path, screen: str) -> Iterator[tuple[Any, Any, Lab | None, str]]:
    """The notebook in JupyterLab or as an app: the browser's context, its page, the lab, the app's address."""
    name = f"{app}_{screen}"
    if app == "lab":
        with running_lab(home / "lab") as lab:
            write_notebook(lab.folder / f"{name}.ipynb", [OPEN.format(home / name), DESK])
            with browser(home / "profile", **SCREENS[screen]) as context:
                page, _ = open_notebook(context, lab, f"{name}.ipynb")
                run_all(page)
                yield context, page, lab, ""
        return
    write_notebook(home / f"{name}.ipynb", [OPEN.format(home / name), DESK])
    with (
        running_voila(home, home / f"{name}.ipynb") as url,
        browser(home / "profile", **SCREENS[screen]) as context,
    ):
        page = context.new_page()
        page.goto(url, wait_until="domcontentloaded", timeout=WAIT_MS)
        yield context, page, None, url


def drive(app: str, screen: str, home: Path, shots: Path | None, turns: int) -> dict[str, Any]:
    """One whole visit; its figures."""
    picture = home / "lid.jpg"
    Image.effect_noise((1600, 1200), 60).convert("RGB").save(picture)
    began, load = time.monotonic(), os.getloadavg()[0]
    with opened(app, home, screen) as (context, page, lab, url):
        one = Drive(page, screen == "laptop", home / f"{app}_{screen}", takes(home), picture, turns)
        one.watch()
        page.locator(".pl-desk").evaluate("e => e.scrollIntoView({ block: 'start' })")
        for number in range(turns):
            say(f"turn {number + 1}")
            for name in NAMES:
                one.turn(name, number)
        one.check()
        if shots is not None:
            page.locator(".pl-known-radar svg").wait_for(timeout=WAIT_MS)
            page.screenshot(path=shots / f"drive_{app}_{screen}.png")
        say("reload")
        reload_and_restart(one, lab)
        say("second tab")
        second_tab(one, context, lab, url)
        one.check()
    waits = sorted(one.waits_ms)
    return {
        "points": len(one.fits),
        "saved ms, median": round(statistics.median(waits)),
        "saved ms, 90 %": round(waits[int(0.9 * (len(waits) - 1))]),
        "load": f"{load:.0f} to {os.getloadavg()[0]:.0f}",
        "presses a point, median": statistics.median(one.presses),
        "in sight at once": f"{sum(one.fits)} of {len(one.fits)}",
        "minutes": round((time.monotonic() - began) / 60, 1),
    }


def reload_and_restart(one: Drive, lab: Lab | None) -> None:
    """After each the screen must stand at the piano that was written to last; one more point is entered."""
    page, last = one.page, NAMES[-1]
    if lab is not None:
        save(page)
    for way in ("reload", "restart"):
        if way == "reload":
            page.reload()
        elif lab is not None:
            restart_and_run_all(page)
        else:
            continue
        one.watch()
        assert page.locator(".pl-point-step").inner_text().startswith(last), way
        page.locator(".pl-desk").evaluate("e => e.scrollIntoView({ block: 'start' })")
        one.point(last)
        one.collect()


def save(page: Any) -> None:
    """Keep the notebook's output, which is what another page of it opens."""
    page.evaluate("window.jupyterapp.commands.execute('docmanager:save')")
    page.wait_for_timeout(2000)


def second_tab(one: Drive, context: Any, lab: Lab | None, url: str) -> None:
    """The same notebook in another tab: in the lab both show one screen; as an app the second has a kernel of its own."""
    last = NAMES[-1]
    if lab is not None:
        save(one.page)
        other, _ = open_notebook(context, lab, Path(one.page.url.partition("?")[0]).name)
        other.locator(".pl-walk").wait_for(timeout=WAIT_MS)
    else:
        other = context.new_page()
        other.goto(url, wait_until="domcontentloaded", timeout=WAIT_MS)
        other.locator(".pl-walk").wait_for(timeout=WAIT_MS)
    other.wait_for_timeout(1000)
    assert other.locator(".pl-point-step").inner_text().startswith(last)
    there = other.locator(".pl-point-title").inner_text()
    one.page.bring_to_front()
    if lab is not None:
        one.point(last)
        other.wait_for_function(
            "t => document.querySelector('.pl-point-title').textContent !== t", arg=there, timeout=WAIT_MS
        )
        return
    one.point(last)
    if (
        one.entered[last][-1] != there
    ):  # two kernels may think different points worth most; then nobody is in the way
        return
    other.bring_to_front()
    choice = other.locator(".pl-choice")
    if choice.count():
        choice.first.click()
        other.locator(".pl-asking:visible").wait_for(timeout=WAIT_MS)
        other.get_by_role("button", name="Keep what is saved").click()
        said(other, ".pl-status", "What was there is kept")


def main() -> None:
    """Drive what was asked for and print a row each."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--apps", nargs="*", default=["lab", "voila"], choices=["lab", "voila"])
    parser.add_argument("--screens", nargs="*", default=list(SCREENS), choices=list(SCREENS))
    parser.add_argument(
        "--turns", type=int, default=6, help="how often each piano has its five points (default 6)"
    )
    parser.add_argument("--shots", type=Path)
    asked = parser.parse_args()
    for app in asked.apps:
        for screen in asked.screens:
            with TemporaryDirectory() as home:
                found = drive(app, screen, Path(home), asked.shots, asked.turns)
            print(f"{app}, {screen}: " + "; ".join(f"{k} {v}" for k, v in found.items()), flush=True)


if __name__ == "__main__":
    main()
