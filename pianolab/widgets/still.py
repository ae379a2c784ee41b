"""What every widget shows where no kernel runs: its still, escaped twin."""

from __future__ import annotations

from typing import Any


class StillTwin:
    """Adds the widget's ``to_html`` to what a notebook keeps of it; stands before the widget's class among the bases."""

    def to_html(self) -> str:
        """The widget as a still, escaped page part."""
        raise NotImplementedError

    def _repr_mimebundle_(self, **kwargs: Any) -> Any:
        bundle = super()._repr_mimebundle_(**kwargs)  # type: ignore[misc]
        shown = bundle[0] if isinstance(bundle, tuple) else bundle
        if shown:
            shown["text/html"] = self.to_html()
        return bundle
