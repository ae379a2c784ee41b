"""Plays the screen's part without a browser: sends the events that the JavaScript sends."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from pianolab.model import Finding
from pianolab.widgets import FindingsForm


class Driver:
    """Presses and types in a form; ``line`` is what the form answered last."""

    def __init__(self, form: FindingsForm) -> None:
        self.form = form
        self._n = 0

    def send(self, *, buffers: Sequence[object] = (), **event: Any) -> dict[str, Any]:
        self._n += 1
        self.form._handle_custom_msg({"from": "test", "n": self._n, **event}, list(buffers))
        answer: dict[str, Any] = self.form.answer
        assert (answer["from"], answer["n"]) == ("test", self._n)
        return answer

    def enter(self, do: str, **event: Any) -> dict[str, Any]:
        """An entry at the point on the screen."""
        point = self.point
        return self.send(do=do, point=point["id"], record=point["record"], **event)

    def value(self, value: object) -> dict[str, Any]:
        return self.enter("value", value=value)

    def go(self, point: str) -> None:
        self.send(do="go", point=point)

    @property
    def view(self) -> dict[str, Any]:
        view: dict[str, Any] = self.form.view
        return view

    @property
    def point(self) -> dict[str, Any]:
        point: dict[str, Any] = self.view["point"]
        return point

    @property
    def saved(self) -> tuple[Finding, ...]:
        return self.form.findings
