"""What the browser tests of the walk do again and again on the page."""

from __future__ import annotations

from typing import Any

from widget_lab import Lab, wait_idle


def run_cell(page: Any, cell: int) -> None:
    page.evaluate(f"window.jupyterapp.shell.currentWidget.content.activeCellIndex = {cell}")
    page.evaluate("window.jupyterapp.commands.execute('notebook:run-cell')")
    wait_idle(page)


def saved(page: Any) -> None:
    page.wait_for_function(
        "document.querySelector('.pl-status').textContent.startsWith('Saved at')", timeout=120_000
    )


def at_point(page: Any, title: str) -> None:
    page.wait_for_function(
        "t => document.querySelector('.pl-point-title').textContent === t", arg=title, timeout=120_000
    )


def press_next(page: Any) -> None:
    page.locator(".pl-moves .pl-main-button").click()


def outside_requests(page: Any, lab: Lab) -> list[str]:
    seen: list[str] = []
    page.on(
        "request", lambda r: None if r.url.startswith((lab.url, "data:", "blob:")) else seen.append(r.url)
    )
    return seen


def tab_into_form(page: Any) -> None:
    page.keyboard.press("Escape")
    for _ in range(60):
        page.keyboard.press("Tab")
        if page.evaluate("!!document.activeElement.closest('.pl-walk')"):
            return
    raise AssertionError("Tab never reached the form")


def tab_to(page: Any, label: str, *, role: str = "textbox") -> None:
    wanted = page.get_by_role(role, name=label).element_handle()
    for _ in range(60):
        if page.evaluate("e => document.activeElement === e", wanted):
            return
        page.keyboard.press("Tab")
    raise AssertionError(f"Tab never reached {label}")


def progress(page: Any) -> str:
    text: str = page.locator(".pl-total").inner_text()
    return text


SMALL_TARGETS = """root => [...document.querySelectorAll(root + ' button, ' + root + ' input, ' + root + ' textarea')]
  .filter(e => e.offsetParent)
  .map(e => [e.textContent || e.getAttribute('aria-label'), e.getBoundingClientRect()])
  .filter(([, box]) => box.height < 44 || box.width < 44)
  .map(([text, box]) => `${text}: ${box.width} x ${box.height}`)"""


def small_targets(page: Any, root: str) -> list[str]:
    """What a thumb would miss inside ``root``: anything to press or type into under 44 pixels."""
    found: list[str] = page.evaluate(SMALL_TARGETS, root)
    return found
