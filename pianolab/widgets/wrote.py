"""A form that says when it has written something, so that what stands beside it can follow."""

from __future__ import annotations

from collections.abc import Callable


class Wrote:
    """Adds `when_written` to a form; the form calls `wrote` after each change that is in the casebook."""

    _acts: tuple[Callable[[], None], ...] = ()

    def when_written(self, act: Callable[[], None]) -> None:
        """Call ``act`` after each change from now on."""
        self._acts = (*self._acts, act)

    def wrote(self) -> None:
        """Say that a change is in the casebook."""
        for act in self._acts:
            act()
