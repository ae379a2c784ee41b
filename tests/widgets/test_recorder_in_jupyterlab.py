"""The recorder as people meet it: JupyterLab in Chromium with a microphone that plays a file; cut off in every way."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from recorder_lab import (
    OPEN,
    Relay,
    begin_recording,
    browser_with_microphone,
    open_recorder,
    opened_form,
    recorded_s,
    residuals_between,
    seconds_on_disk,
    write_wav,
    zero_runs,
)
from widget_lab import CHROMIUM, Lab, write_notebook

from pianolab.acoustics import Survey
from pianolab.casebook import open_casebook
from pianolab.casebook.arriving import FOLDER
from pianolab.io import read_sound
from pianolab.sound_model import PianoModel, render_scale

pytestmark = [
    pytest.mark.browser,
    pytest.mark.slow,
    pytest.mark.skipif(not CHROMIUM.exists(), reason="needs Debian's chromium"),
]

RATE = 44100  # the rate of headless Chromium's own context: another one would be converted on the way
FIRST, LAST = 40, 48


@cache
def played() -> Any:
    """A modelled scale in 16 bits, and silence enough in front to press the buttons."""
    scale = render_scale(
        PianoModel(seed=12),
        first_key=FIRST,
        last_key=LAST,
        hold_s=1.5,
        gap_s=0.5,
        rate_hz=RATE,
        snr_db=45.0,
        lead_in_s=6.0,
        tail_s=60.0,
    )
    return np.round(scale.samples * 2**15) / 2**15


@pytest.fixture(scope="module")
def wav(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_wav(tmp_path_factory.mktemp("wav") / "scale.wav", played(), RATE)


def opened(context: Any, lab: Lab, name: str, *, again: bool = False) -> tuple[Any, Any]:
    if not again:
        write_notebook(lab.folder / f"{name}.ipynb", [OPEN.format(name)])
    return opened_form(context, lab, name)


def wait_for_line(page: Any, begins: str) -> None:
    page.wait_for_function(
        f"document.querySelector('.pl-recorder-line').textContent.startsWith('{begins}')", timeout=120_000
    )


def test_what_is_recorded_is_what_was_played(lab: Lab, wav: Path, tmp_path: Path) -> None:
    with browser_with_microphone(
        tmp_path / "profile", wav, viewport={"width": 1366, "height": 768}
    ) as context:
        page, form = opened(context, lab, "played")
        open_recorder(page)
        assert "echo cancellation off, noise suppression off, automatic level off" in form.inner_text()
        begin_recording(form, what="middle")
        recorded_s(page, 26)
        page.screenshot(path=tmp_path / "playing.png")
        form.get_by_role("button", name="Stop and keep").click()
        wait_for_line(page, "Kept")
        strip = {
            b.inner_text().split()[-1]: b.get_attribute("data-state")
            for b in form.locator(".pl-strip-key").all()
        }
        form.screenshot(path=tmp_path / "kept.png")
    with open_casebook(lab.folder / "played") as book:
        (recording,) = book.recordings()
        sound = read_sound(book.media_path(recording.media))
        survey = Survey.from_json(book.surveys()[-1].survey_json)
    recorded = sound.samples[:, 0].astype(float)
    silent = zero_runs(recorded, RATE)
    residuals = residuals_between(recorded, played(), silent, RATE)
    assert len(residuals) > 15
    assert max(residuals) <= -40.0
    # the twin: one sample slipped, or a silence that nobody reported, would show
    assert max(residuals_between(np.delete(recorded, 15 * RATE), played(), silent, RATE)) > -40.0
    measured = survey.table[survey.table["status"] == "measured"]
    found = {note for note, state in strip.items() if state in ("found", "again")}
    assert found == set(measured["note"])
    assert len(found) >= LAST - FIRST
    lab.close_kernels()


def test_a_closed_page_keeps_all_but_the_last_second(lab: Lab, wav: Path, tmp_path: Path) -> None:
    with browser_with_microphone(tmp_path / "profile", wav) as context:
        page, form = opened(context, lab, "closed")
        open_recorder(page)
        begin_recording(form)
        recorded_s(page, 5)
        page.close()
        kept = seconds_on_disk(lab.folder / "closed" / FOLDER)
        assert kept >= 4.0
        page, form = opened(context, lab, "closed", again=True)
        form.get_by_role("button", name="Keep it").wait_for(timeout=120_000)
        form.get_by_role("button", name="Keep it").click()
        wait_for_line(page, "Kept")
    with open_casebook(lab.folder / "closed") as book:
        assert book.recordings()[0].seconds >= kept
    lab.close_kernels()


def test_a_killed_kernel_loses_nothing(lab: Lab, wav: Path, tmp_path: Path) -> None:
    with browser_with_microphone(tmp_path / "profile", wav) as context:
        page, form = opened(context, lab, "killed")
        open_recorder(page)
        begin_recording(form)
        recorded_s(page, 4)
        kept = seconds_on_disk(lab.folder / "killed" / FOLDER)
        page.evaluate(
            "window.jupyterapp.shell.currentWidget.sessionContext.session.kernel"
            ".requestExecute({code: 'import os, signal; os.kill(os.getpid(), signal.SIGKILL)'}) && undefined"
        )
        page.wait_for_timeout(6000)
        assert seconds_on_disk(lab.folder / "killed" / FOLDER) >= kept
        page.close()
        page, form = opened(context, lab, "killed", again=True)
        form.get_by_role("button", name="Keep it").wait_for(timeout=120_000)
        page.wait_for_timeout(1500)
        # what the page recorded while no kernel was there came out of the browser's own store
        assert seconds_on_disk(lab.folder / "killed" / FOLDER) >= kept + 3.0
    lab.close_kernels()


def test_a_cut_connection_is_mended_without_a_gap(lab: Lab, wav: Path, tmp_path: Path) -> None:
    relay = Relay(int(lab.url.rsplit(":", 1)[1]))
    through = replace(lab, url=f"http://127.0.0.1:{relay.port}")
    with browser_with_microphone(tmp_path / "profile", wav) as context:
        page, form = opened(context, through, "cut")
        open_recorder(page)
        begin_recording(form, what="held chord")
        recorded_s(page, 3)
        relay.cut()
        page.wait_for_timeout(6000)
        assert "kept in this browser" in form.locator(".pl-safe").inner_text()
        page.screenshot(path=tmp_path / "cut.png")
        relay.mend()
        page.wait_for_function(
            "document.querySelector('.pl-safe').textContent === 'Everything is on the disk.'", timeout=120_000
        )
        lost = page.locator("dialog.jp-Dialog").get_by_role("button").first
        if lost.is_visible():
            lost.click()
        form.get_by_role("button", name="Stop and keep").click()
        wait_for_line(page, "Kept")
    with open_casebook(lab.folder / "cut") as book:
        (recording,) = book.recordings()
        recorded = read_sound(book.media_path(recording.media)).samples[:, 0].astype(float)
    assert recording.seconds > 9.0
    recorded = recorded[: 45 * RATE]  # the file ends some time later
    assert max(residuals_between(recorded, played(), zero_runs(recorded, RATE), RATE)) <= -40.0
    relay.cut()
    lab.close_kernels()


@pytest.mark.parametrize(
    ("ask", "device", "says"),
    [(True, True, "may not use the microphone"), (False, False, "No microphone is there")],
)
def test_no_microphone_in_words(
    lab: Lab, wav: Path, tmp_path: Path, ask: bool, device: bool, says: str
) -> None:
    with browser_with_microphone(tmp_path / "profile", wav if device else None, ask=ask) as context:
        page, form = opened(context, lab, f"none{ask:d}")
        form.get_by_label("The microphone hears voices").check()
        form.get_by_role("button", name="Open the microphone").click()
        page.wait_for_function(
            f"document.querySelector('.pl-recorder-trouble').textContent.includes('{says}')"
        )
        page.evaluate(
            "Object.defineProperty(window, 'isSecureContext', { value: false, configurable: true })"
        )
        form.get_by_role("button", name="Open the microphone").click()
        page.wait_for_function("document.querySelector('.pl-recorder-trouble').textContent.includes('https')")
    lab.close_kernels()


ON = """
const told = MediaStreamTrack.prototype.getSettings;
MediaStreamTrack.prototype.getSettings = function () { return { ...told.call(this), autoGainControl: true }; };
Object.defineProperty(Navigator.prototype, "wakeLock", { value: undefined });
"""


def test_processing_that_stays_on_is_recorded_only_if_one_says_so(
    lab: Lab, wav: Path, tmp_path: Path
) -> None:
    with browser_with_microphone(tmp_path / "profile", wav) as context:
        context.add_init_script(ON)
        page, form = opened(context, lab, "processed")
        open_recorder(page)
        record = form.get_by_role("button", name="Record", exact=True)
        assert "keeps automatic level on" in form.locator(".pl-recorder-trouble").inner_text()
        assert record.is_disabled()
        form.get_by_label("Record all the same").check()
        assert record.is_enabled()
        form.screenshot(path=tmp_path / "processed.png")
        begin_recording(form)
        recorded_s(page, 2)
        assert "go to sleep" in form.locator(".pl-sleepy").inner_text()
        page.close()
    lab.close_kernels()
