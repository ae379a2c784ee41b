"""The numbers behind opinions of touch, read once from ``data/touch.toml``."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files


@dataclass(frozen=True, kw_only=True)
class FaultRule:
    """How one scale of faults bears on the aspects, and which checklist point asks for the same."""

    aspects: Mapping[str, float]
    same_as: str = ""


@dataclass(frozen=True, kw_only=True)
class TouchScoring:
    """All settings of `data/touch.toml`; unknown scales count by ``other``."""

    faults: Mapping[str, FaultRule]
    other: FaultRule
    agreement: Mapping[str, float]
    trials: Mapping[str, float]
    taste: Mapping[str, float]

    def rule(self, scale: str) -> FaultRule:
        return self.faults.get(scale, self.other)


@cache
def load_touch_scoring() -> TouchScoring:
    """The settings that come with pianolab.

    Examples
    --------
    >>> load_touch_scoring().rule("evenness").same_as
    'touch-even'
    """
    data = tomllib.loads((files("pianolab.assess") / "data" / "touch.toml").read_text(encoding="utf-8"))
    return TouchScoring(
        faults={name: FaultRule(**raw) for name, raw in data["fault"].items()},
        other=FaultRule(**data["fault_of_other_scale"]),
        agreement=data["agreement"],
        trials=data["trials"],
        taste=data["taste"],
    )
