"""The drill player of the notebook: plays sounds, takes an answer by key or click, and only then tells the truth.

Nothing of a task is in the widget's state: question, choices and sounds go to the page as messages, and what
is true leaves the kernel with the reply to an answer.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Protocol

import anywidget

from pianolab.errors import PianolabError
from pianolab.html import items, paragraphs
from pianolab.widgets.findings_form import browser_code
from pianolab.widgets.form_parts import StillTwin

EncodedSound = tuple[str, bytes, str]
"""Label, bytes, media type."""

TROUBLE = (PianolabError, OSError)
"""What may go wrong while a task is made or an answer kept, and be over when it is tried again."""


class Reply(Protocol):
    """What is said after an answer."""

    @property
    def right(self) -> bool | None: ...
    @property
    def headline(self) -> str: ...
    @property
    def explanation(self) -> str: ...
    @property
    def answer(self) -> str: ...
    @property
    def credit(self) -> str: ...
    @property
    def begins(self) -> tuple[float, float]: ...
    @property
    def counts(self) -> Sequence[int] | None: ...
    @property
    def curves(self) -> Sequence[Mapping[str, Any]]: ...
    @property
    def chart_words(self) -> str: ...
    @property
    def sound(self) -> EncodedSound | None: ...


class Tasks(Protocol):
    """Tasks one after another; `view` must hold nothing of what is true."""

    @property
    def finished(self) -> bool: ...
    def view(self) -> dict[str, Any]: ...
    def sounds(self) -> list[EncodedSound]: ...
    def take(self, choice: str) -> Any: ...
    def next(self) -> None: ...


class DrillPlayer(StillTwin, anywidget.AnyWidget):
    """Plays the tasks of a sitting; answers by keyboard alone or by clicks.

    Keys: A, B, C play the sounds, 1 to 0 and then D to H answer, arrows go through the answers, N goes on, W plays the
    sound without the fault.

    Parameters
    ----------
    tasks : a sitting, such as `pianolab.classroom.DrillSitting`

    Notes
    -----
    An answer is kept before the page shows what is true. What goes wrong is said in one line on the page.
    """

    _esm = browser_code("page.js", "drill.js")
    _css = browser_code("page.css", "drill.css")

    def __init__(self, tasks: Tasks) -> None:
        self._tasks = tasks
        self._told: dict[str, Any] | None = None
        self._told_sound: EncodedSound | None = None
        super().__init__()
        self.on_msg(self._on_message)

    def __repr__(self) -> str:
        try:
            view = self._tasks.view()
        except TROUBLE as error:
            return f"<DrillPlayer: {error}>"
        return f"<DrillPlayer {view['lesson']}, task {view['number']} of {view['count']}>"

    def _on_message(self, _widget: Any, content: Any, _buffers: Any) -> None:
        self.receive(content)

    def receive(self, event: Any) -> None:
        """Take one event of the page: ``hello``, ``answer`` with the place of a choice, or ``next``."""
        said = event.get("said") if isinstance(event, dict) else None
        try:
            if said == "answer":
                self._answer(event)
            elif said == "next" and self._told is not None:
                self._told, self._told_sound = None, None
                self._tasks.next()
                self._show()
            elif said in ("hello", "next"):
                self._show()
        except TROUBLE as error:
            self.send({"says": "trouble", "line": str(error)})

    def _answer(self, event: dict[str, Any]) -> None:
        view = self._tasks.view()
        place = event.get("choice")
        late = self._told is not None or event.get("number") != view["number"]
        if late or type(place) is not int or not 0 <= place < len(view["choices"]):
            self._show()
            return
        reply: Reply = self._tasks.take(view["choices"][place])
        self._keep_told(reply, chosen=place)
        self._tell()

    def _keep_told(self, reply: Reply, *, chosen: int) -> None:
        self._told = {
            "right": reply.right,
            "headline": reply.headline,
            "explanation": reply.explanation,
            "chart_words": reply.chart_words,
            "curves": [
                {**curve, "x": list(curve["x"]), "level_db": list(curve["level_db"])}
                for curve in reply.curves
            ],
            "chosen": chosen,
            "answer": reply.answer,
            "credit": reply.credit,
            "begins": reply.begins[0],
            "without_begins": reply.begins[1],
            "counts": None if reply.counts is None else list(reply.counts),
        }
        self._told_sound = reply.sound

    def _show(self) -> None:
        """Send the present task with its sounds, and what was told about it where it is answered."""
        sounds = self._tasks.sounds()
        kinds = [{"label": label, "mime": mime} for label, _, mime in sounds]
        self.send(
            {"says": "task", "view": self._tasks.view(), "sounds": kinds},
            buffers=[data for _, data, _ in sounds],
        )
        # Tasks to talk about afterwards tell at once what others have answered.
        talk = getattr(self._tasks, "told", None)
        if talk is not None and self._told is None and not self._tasks.finished:
            self._keep_told(talk(), chosen=-1)
        if self._told is not None:
            self._tell()

    def _tell(self) -> None:
        sound = self._told_sound
        extra = {"label": sound[0], "mime": sound[2]} if sound else None
        self.send({"says": "told", **(self._told or {}), "sound": extra}, buffers=[sound[1]] if sound else [])

    def to_html(self) -> str:
        """A still picture: the question and its choices, no more; where the task can't be made, why."""
        try:
            view = self._tasks.view()
        except TROUBLE as error:
            return f"<section>{paragraphs([str(error)])}</section>"
        question = view["question"] or view.get("closing") or "All tasks are answered."
        return f"<section>{paragraphs([question])}<ol>{items(view['choices'])}</ol></section>"
