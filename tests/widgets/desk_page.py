"""What the browser tests and the drive of the visit's screen do again and again: pianos, parts, answers, what was kept."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from pianolab.casebook import open_casebook

NAMES = ("by the window", "in the barn")
OPEN = """
from pathlib import Path
import pianolab as pl
from pianolab.model import Piano
folder = Path("{0}")
book = pl.open_casebook(folder) if folder.exists() else pl.create_casebook(folder)
if not book.pianos():
    with book.editing(by="Ana") as edit:
        for name, kind in (("by the window", "upright"), ("in the barn", "grand")):
            edit.add(Piano(name=name, kind=kind, year=1990, key_tops="plastic"))
"""
DESK = "desk = pl.forms.visit_desk(book, examiner='Ana')\ndesk"
LAPTOP = {"viewport": {"width": 1366, "height": 768}}
TABLET = {"viewport": {"width": 820, "height": 1180}, "has_touch": True}
FITS = """() => {
  const seen = [...document.querySelectorAll('.pl-point-title, .pl-choice, .pl-number, .pl-moves .pl-main-button')].filter(e => e.offsetParent);
  return seen.every(e => { const b = e.getBoundingClientRect(); const at = document.elementFromPoint(b.left + b.width / 2, b.bottom - 2);
    return b.top >= 0 && b.bottom <= innerHeight && at && (e.contains(at) || at.contains(e)); });
}"""


def to_piano(page: Any, name: str) -> None:
    page.get_by_label("Piano", exact=True).select_option(label=name)
    page.wait_for_function(
        "n => document.querySelector('.pl-walk .pl-point-step')?.textContent.startsWith(n)",
        arg=name,
        timeout=120_000,
    )


def part(page: Any, name: str, root: str) -> None:
    page.get_by_role("tab", name=name, exact=True).click()
    page.locator(root).wait_for(timeout=120_000)


def answer(page: Any, grade: int) -> str:
    """The better (0) or the worse (1) answer at the point on the screen, then next; the point's title."""
    title: str = page.locator(".pl-point-title").inner_text()
    if page.locator(".pl-choice").count():
        last = page.locator(".pl-choice").count() - 1
        page.locator(".pl-choice").nth(0 if grade == 0 else last).click()
    elif page.get_by_role("button", name="None", exact=True).count():
        page.get_by_role("button", name="None", exact=True).click()
    else:
        page.locator(".pl-number").fill("20")
        page.locator(".pl-number").press("Enter")
    page.wait_for_function(
        "document.querySelector('.pl-status').textContent.startsWith('Saved at')", timeout=120_000
    )
    page.locator(".pl-moves .pl-main-button").click()
    page.wait_for_function(
        "t => document.querySelector('.pl-point-title').textContent !== t", arg=title, timeout=120_000
    )
    return title


def kept(folder: Path) -> dict[str, tuple[dict[str, Any], int]]:
    """Of each piano: the answers by the point's title, and how many photos."""
    with open_casebook(folder) as book:
        titles = {p.id: p.title for p in book.checklist()}
        found = {}
        for piano in book.pianos():
            (visit,) = book.visits(piano.id)
            findings = {titles[f.point]: f for f in book.findings(visit_id=visit.id)}
            found[piano.name] = (findings, len(book.photos(visit_id=visit.id)))
    return found
