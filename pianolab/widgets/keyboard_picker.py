"""The instrument's keyboard in the notebook: choose keys, see what is known of each."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

import anywidget
import traitlets

from pianolab.checklist.points import Checklist
from pianolab.errors import PianolabError
from pianolab.model import Finding, Piano
from pianolab.report.twin_keyboard import KeyMark, MarkShape, keyboard_twin, keys_in_words, read_keys
from pianolab.report.twins import finding_in_words
from pianolab.widgets.findings_form import browser_code
from pianolab.widgets.walk_view import keyboard_view

if TYPE_CHECKING:
    from pianolab.acoustics import Survey

KeyMarks = dict[int, tuple[KeyMark, ...]]


def key_marks(
    *, findings: Iterable[Finding] = (), survey: Survey | None = None, checklist: Checklist | None = None
) -> KeyMarks:
    """What is known of single keys, by key number: findings that name keys, and what the survey heard.

    A finding that says the point is sound makes no mark; one that was not checked makes none either.

    Parameters
    ----------
    findings : findings of the visit; only those with ``keys`` count
    survey : the measured survey, or None where nothing was recorded
    checklist : gives the points' titles and scales; without it a point shows by its id
    """
    marks: dict[int, list[KeyMark]] = {}
    for finding in findings:
        if finding.state == "checked" and not _is_sound(finding, checklist):
            point = checklist[finding.point] if checklist is not None and finding.point in checklist else None
            title = point.title if point else finding.point
            text = f"{title}: {finding_in_words(finding, point=point)}" + (
                f", {finding.note}" if finding.note else ""
            )
            for key in finding.keys:
                marks.setdefault(key, []).append(KeyMark(shape="triangle", text=text))
    for key, faults in _heard(survey):
        shape: MarkShape = "cross" if "silent" in faults else "circle"
        words = ", ".join(f.replace("_", " ") for f in faults)
        marks.setdefault(key, []).append(KeyMark(shape=shape, text=f"heard: {words}"))
    return {key: tuple(found) for key, found in sorted(marks.items())}


def _is_sound(finding: Finding, checklist: Checklist | None) -> bool:
    if finding.grade is not None:
        return finding.grade == 5
    if finding.answer is not None and checklist is not None and finding.point in checklist:
        return checklist[finding.point].good_answer is finding.answer
    return finding.count == 0


def _heard(survey: Survey | None) -> list[tuple[int, list[str]]]:
    if survey is None:
        return []
    table = survey.table
    return [
        (int(key), [f for f in str(faults).split(";") if f])
        for key, faults in zip(table["key"], table["faults"], strict=True)
        if str(faults)
    ]


class KeyboardPicker(anywidget.AnyWidget):
    """The piano's own keyboard: touch or arrow keys choose keys, marks show what was found and heard.

    ``chosen`` holds the chosen keys as a tuple and can be observed or set.

    Parameters
    ----------
    piano : Piano; its compass is drawn
    findings, survey, checklist : what is known, as in `key_marks`
    chosen : keys chosen at the start

    Raises
    ------
    BadInput
        Where a chosen key is not on this keyboard.

    Examples
    --------
    >>> picker = KeyboardPicker(Piano(name="the one upstairs"), chosen=(40, 44))
    >>> picker.chosen
    (40, 44)
    """

    _esm = browser_code("page.js", "keyboard.js", "picker.js")
    _css = browser_code("page.css", "keyboard.css", "picker.css")
    title = traitlets.Unicode().tag(sync=True)
    keyboard = traitlets.Dict().tag(sync=True)
    marks = traitlets.Dict().tag(sync=True)
    chosen = traitlets.Tuple().tag(sync=True)

    def __init__(
        self,
        piano: Piano,
        *,
        findings: Iterable[Finding] = (),
        survey: Survey | None = None,
        checklist: Checklist | None = None,
        chosen: Iterable[int] = (),
    ) -> None:
        self._piano = piano
        self._marks = key_marks(findings=findings, survey=survey, checklist=checklist)
        super().__init__(
            title=piano.name,
            keyboard=keyboard_view(piano.first_key, piano.last_key),
            marks={
                str(k): [{"shape": m.shape, "text": m.text} for m in found]
                for k, found in self._marks.items()
            },
            chosen=self._on_this_piano(chosen),
        )

    def __repr__(self) -> str:
        return f"<KeyboardPicker {self.title}: {keys_in_words(self.chosen) or 'no key'} chosen>"

    def _on_this_piano(self, keys: Iterable[int]) -> tuple[int, ...]:
        words = ", ".join(str(k) for k in keys)
        return read_keys(words, first_key=self._piano.first_key, last_key=self._piano.last_key)

    @traitlets.validate("chosen")
    def _check_chosen(self, proposal: Any) -> tuple[int, ...]:
        try:
            return self._on_this_piano(proposal["value"])
        except PianolabError as error:
            raise traitlets.TraitError(str(error)) from error

    def to_html(self) -> str:
        """A still picture of the keyboard, escaped, with the marks in words below it."""
        return keyboard_twin(
            first_key=self._piano.first_key,
            last_key=self._piano.last_key,
            chosen=self.chosen,
            marks=self._marks,
            title=self.title,
        )

    def _repr_mimebundle_(self, **kwargs: Any) -> Any:
        bundle = super()._repr_mimebundle_(**kwargs)
        if bundle:
            bundle[0]["text/html"] = self.to_html()
        return bundle
