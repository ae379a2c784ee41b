"""Figures as the page carries them: drawn twice (light and dark) as JSON, with words and a table beside."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from pianolab.figures.key_plan import KeyPlan
from pianolab.figures.look import KIND_WORDS, THEMES, Mark
from pianolab.figures.plans import Plan
from pianolab.figures.sheet import Drawing
from pianolab.show import format_row


@dataclass(frozen=True, kw_only=True)
class Chart:
    """One chart of the page; ``wide`` ones scroll sideways on a phone, ``extra`` ones are left out of the print."""

    id: str
    title: str
    alt: str
    takeaway: str
    data: str
    height: int
    header: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    marks: tuple[Mark, ...] = ()
    kinds: tuple[tuple[str, str], ...] = ()
    wide: bool = False
    extra: bool = False


@dataclass
class ChartBook:
    """Numbers the charts of one page and keeps them in order."""

    charts: list[Chart] = field(default_factory=list)

    def add(
        self, plan: Plan, draw: Drawing[...], *, marks: Sequence[Mark] = (), wide: bool = False, title: str = "", extra: bool = False,
        table: bool = True, **more: Any,
    ) -> Chart:  # fmt: skip
        """Draws a plan in both themes and files it under the next number."""
        sheets = {str(name): draw.sheet(plan, name, bare=True, **more) for name in THEMES}
        drawn: dict[str, dict[str, Any]] = {
            name: {"data": s.data, "layout": s.layout} for name, s in sheets.items()
        }
        chart = Chart(
            id=f"chart-{len(self.charts) + 1}", title=title or plan.title, alt=plan.alt, takeaway=plan.takeaway,
            extra=extra, data=for_script(drawn), height=int(drawn["light"]["layout"]["height"]), header=tuple(plan.header) if table else (),
            rows=tuple(format_row(plan.header, row) for row in plan.rows()) if table else (), marks=tuple(marks) if not isinstance(plan, KeyPlan) or plan.arrange == "overlay" else (),
            kinds=tuple((k, KIND_WORDS[k]) for k in plan.kinds) if isinstance(plan, KeyPlan) else (), wide=wide,
        )  # fmt: skip
        self.charts.append(chart)
        return chart


def for_script(data: Any) -> str:
    """JSON that is safe inside a script element: no ``<``, ``>`` or ``&`` stays as it is.

    Examples
    --------
    >>> for_script({"a": "</script>"})
    '{"a":"\\\\u003c/script\\\\u003e"}'
    """
    text = json.dumps(data, ensure_ascii=False, separators=(",", ":"), allow_nan=False)
    for char in "<>&\u2028\u2029":
        text = text.replace(char, f"\\u{ord(char):04x}")
    return text
