"""Figures as the page carries them: drawn twice (light and dark) as JSON, with words and a table beside."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from copy import deepcopy
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
        self,
        plan: Plan,
        draw: Drawing[...],
        *,
        marks: Sequence[Mark] = (),
        wide: bool = False,
        title: str = "",
        extra: bool = False,
        table: bool = True,
        **more: Any,
    ) -> Chart:
        """Draws a plan in both themes and files it under the next number."""
        sheets = {str(name): draw.sheet(plan, name, bare=True, **more) for name in THEMES}
        drawn: dict[str, dict[str, Any]] = {
            name: {"data": s.data, "layout": s.layout} for name, s in sheets.items()
        }
        chart = Chart(
            id=f"chart-{len(self.charts) + 1}",
            title=title or plan.title,
            alt=plan.alt,
            takeaway=plan.takeaway,
            extra=extra,
            data=for_script(in_two_themes(drawn["light"], drawn["dark"])),
            height=int(drawn["light"]["layout"]["height"]),
            header=tuple(plan.header) if table else (),
            rows=tuple(format_row(plan.header, row) for row in plan.rows()) if table else (),
            marks=tuple(marks) if not isinstance(plan, KeyPlan) or plan.arrange == "overlay" else (),
            kinds=tuple((k, KIND_WORDS[k]) for k in plan.kinds) if isinstance(plan, KeyPlan) else (),
            wide=wide,
        )
        self.charts.append(chart)
        return chart


def in_two_themes(light: Any, dark: Any) -> dict[str, Any]:
    """A drawing as it is in light, and what differs in dark: the place, as keys and numbers from the outside in, and what stands there.

    Numbers are rounded to five figures, which no screen can show apart.

    Examples
    --------
    >>> in_two_themes({"a": [1, 2.000001]}, {"a": [1, 3]})
    {'light': {'a': [1, 2.0]}, 'dark': [[['a', 1], 3]]}
    """
    light, dark = _rounded(light), _rounded(dark)
    return {"light": light, "dark": list(_changes(light, dark, ()))}


def _rounded(value: Any) -> Any:
    if isinstance(value, float):
        return float(f"{value:.5g}")
    if isinstance(value, Mapping):
        return {k: _rounded(v) for k, v in value.items()}
    return [_rounded(v) for v in value] if isinstance(value, (list, tuple)) else value


def _changes(old: Any, new: Any, at: tuple[str | int, ...]) -> Iterator[list[Any]]:
    if old == new:
        return
    inside: Iterable[tuple[Any, Any, Any]] = ()
    if isinstance(old, dict) and isinstance(new, dict) and list(old) == list(new):
        inside = ((k, old[k], new[k]) for k in old)
    elif isinstance(old, list) and isinstance(new, list) and len(old) == len(new) and at:
        inside = ((n, *pair) for n, pair in enumerate(zip(old, new, strict=True)))
    else:
        yield [list(at), new]
    for key, was, now in inside:
        yield from _changes(was, now, (*at, key))


def in_dark(data: Mapping[str, Any]) -> dict[str, Any]:
    """The drawing as it is in dark, as the page's script puts it together.

    Examples
    --------
    >>> in_dark(in_two_themes({"a": [1, 2]}, {"a": [1, 3]}))
    {'a': [1, 3]}
    """
    whole: dict[str, Any] = deepcopy(data["light"])
    for at, value in data["dark"]:
        place: Any = whole
        for step in at[:-1]:
            place = place[step]
        place[at[-1]] = value
    return whole


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
