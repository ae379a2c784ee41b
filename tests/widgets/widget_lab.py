"""JupyterLab on a free port in a fresh folder, and headless Chromium looking at it."""

from __future__ import annotations

import contextlib
import json
import os
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import nbformat

CHROMIUM = Path("/usr/bin/chromium")
CHROMIUM_FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


@dataclass(frozen=True)
class Lab:
    """A running JupyterLab; notebooks lie in ``folder``."""

    url: str
    folder: Path
    config: Path

    def settle(self) -> None:
        """Settings that hold from the server's start: no news, and every cell in the page."""
        overrides = {
            "@jupyterlab/apputils-extension:notification": {"fetchNews": "false"},
            "@jupyterlab/notebook-extension:tracker": {"windowingMode": "none"},
        }
        place = self.config / "labconfig" / "default_setting_overrides.json"
        place.parent.mkdir(parents=True, exist_ok=True)
        place.write_text(json.dumps(overrides), encoding="utf-8")

    def sessions(self) -> list[dict[str, Any]]:
        with urllib.request.urlopen(f"{self.url}/api/sessions", timeout=10) as answer:
            found: list[dict[str, Any]] = json.load(answer)
        return found

    def close_kernels(self) -> None:
        """End every kernel; they outlive the browser."""
        for session in self.sessions():
            request = urllib.request.Request(f"{self.url}/api/sessions/{session['id']}", method="DELETE")
            with contextlib.suppress(TimeoutError), urllib.request.urlopen(request, timeout=20):
                pass


def write_notebook(path: Path, cells: list[str]) -> None:
    """A notebook of code cells."""
    notebook = nbformat.v4.new_notebook(cells=[nbformat.v4.new_code_cell(c) for c in cells])
    notebook.metadata["kernelspec"] = {"name": "python3", "display_name": "Python 3", "language": "python"}
    nbformat.write(notebook, path)


def fresh_folders(home: Path) -> dict[str, str]:
    """Environment variables that keep Jupyter's settings and runtime files out of everybody's own."""
    names = ("JUPYTER_CONFIG_DIR", "JUPYTER_DATA_DIR", "JUPYTER_RUNTIME_DIR", "IPYTHONDIR")
    return {name: str(home / name.lower()) for name in names}


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
    return port


@contextlib.contextmanager
def running_lab(home: Path, *, folder: Path | None = None) -> Iterator[Lab]:
    """Start JupyterLab, wait until it answers, end it with its kernels; notebooks lie in ``folder`` or inside ``home``."""
    folder, port = (folder or home / "notebooks").resolve(), free_port()
    for place in (home, folder):
        place.mkdir(parents=True, exist_ok=True)
    fresh = fresh_folders(home)
    lab = Lab(f"http://127.0.0.1:{port}", folder, Path(fresh["JUPYTER_CONFIG_DIR"]))
    lab.settle()
    command = [
        sys.executable,
        "-m",
        "jupyterlab",
        "--no-browser",
        "--allow-root",
        "--ip=127.0.0.1",
        f"--port={port}",
        "--ServerApp.port_retries=0",
        "--IdentityProvider.token=",
        "--ServerApp.disable_check_xsrf=True",  # or no kernel can be ended from here
        f"--ServerApp.root_dir={folder}",
        "--LabApp.expose_app_in_browser=True",
    ]
    with open(home / "lab.log", "wb") as log:
        server = subprocess.Popen(command, env={**os.environ, **fresh}, stdout=log, stderr=log, cwd=folder)
        try:
            _wait_for(lab, server)
            yield lab
            lab.close_kernels()
        finally:
            server.terminate()
            try:
                server.wait(20)
            except subprocess.TimeoutExpired:
                server.kill()
                server.wait(10)


@contextlib.contextmanager
def running_voila(home: Path, notebook: Path) -> Iterator[str]:
    """A notebook as an app; gives its address."""
    port = free_port()
    command = [
        sys.executable,
        "-m",
        "voila",
        str(notebook),
        "--no-browser",
        f"--port={port}",
        "--Voila.ip=127.0.0.1",
    ]
    with open(home / "voila.log", "wb") as log:
        server = subprocess.Popen(
            command, env={**os.environ, **fresh_folders(home)}, stdout=log, stderr=log, cwd=notebook.parent
        )
        try:
            for _ in range(200):
                with (
                    contextlib.suppress(OSError),
                    urllib.request.urlopen(f"http://127.0.0.1:{port}/static/", timeout=2),
                ):
                    break
                with contextlib.suppress(OSError), socket.create_connection(("127.0.0.1", port), timeout=1):
                    break
                time.sleep(0.3)
            yield f"http://127.0.0.1:{port}"
        finally:
            server.terminate()
            server.wait(20)


def _wait_for(lab: Lab, server: subprocess.Popen[bytes]) -> None:
    deadline = time.monotonic() + 180
    while time.monotonic() < deadline:
        assert server.poll() is None, "JupyterLab ended on its own"
        with contextlib.suppress(OSError), urllib.request.urlopen(f"{lab.url}/api/status", timeout=5):
            return
        time.sleep(0.3)
    raise AssertionError("JupyterLab does not answer")


@contextlib.contextmanager
def browser(profile: Path, **options: Any) -> Iterator[Any]:
    """Debian's Chromium with a fresh profile; gives the Playwright context."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        context = playwright.chromium.launch_persistent_context(
            str(profile), executable_path=str(CHROMIUM), headless=True, args=CHROMIUM_FLAGS, **options
        )
        context.set_default_timeout(120_000)
        try:
            yield context
        finally:
            context.close()


def open_notebook(context: Any, lab: Lab, name: str) -> tuple[Any, list[str]]:
    """Open a notebook and wait until its kernel is ready; the list collects console errors."""
    page = context.new_page()
    errors: list[str] = []
    page.on("console", lambda m: errors.append(m.text) if m.type == "error" else None)
    page.on("pageerror", lambda e: errors.append(str(e)))
    page.goto(f"{lab.url}/doc/tree/{name}?reset", wait_until="domcontentloaded")
    page.wait_for_selector(".jp-Notebook", timeout=120_000)
    wait_idle(page)
    return page, errors


def use_theme(page: Any, name: str) -> None:
    """The ``light`` or the ``dark`` theme; JupyterLab keeps it for pages opened later."""
    page.evaluate(
        f"window.jupyterapp.commands.execute('apputils:change-theme', {{theme: 'JupyterLab {name.title()}'}})"
    )
    page.wait_for_function(f"document.body.dataset.jpThemeLight === '{str(name == 'light').lower()}'")


def wait_idle(page: Any) -> None:
    page.wait_for_function(
        "document.querySelector('#jp-main-statusbar')?.textContent.includes('| Idle')", timeout=120_000
    )


STARTED = (
    "[...document.querySelectorAll('.jp-CodeCell .jp-InputPrompt')].some(p => !p.textContent.includes('[ ]'))"
)


def run_all(page: Any, *, timeout_s: float = 90) -> None:
    """Run every cell; asked again where the page was not ready and dropped it without a word."""
    for _ in range(5):
        page.evaluate("window.jupyterapp.commands.execute('notebook:run-all-cells')")
        with contextlib.suppress(Exception):
            page.wait_for_function(STARTED, timeout=8_000)
            break
    page.wait_for_function(
        "![...document.querySelectorAll('.jp-CodeCell .jp-InputPrompt')].some(p => p.textContent.includes('*'))",
        timeout=120_000 * timeout_s,
    )
    wait_idle(page)


def restart_and_run_all(page: Any) -> None:
    """Restart the kernel, as the menu does, and run everything again; back when no output of before stands there."""
    page.evaluate(
        "document.querySelectorAll('.jp-OutputArea-child').forEach(e => { e.dataset.old = 'yes'; })"
    )
    page.evaluate("void window.jupyterapp.commands.execute('notebook:restart-run-all')")
    page.get_by_role("button", name="Confirm Kernel Restart").click()
    page.wait_for_function("!document.querySelector('.jp-OutputArea-child[data-old]')", timeout=120_000)
    wait_idle(page)


def output_text(page: Any, cell: int) -> str:
    """What a cell printed."""
    found = page.locator(".jp-CodeCell").nth(cell).locator(".jp-OutputArea-output").all_inner_texts()
    return "\n".join(found)
