"""What the demonstration's second visit finds, once the badly tuned instrument is tuned."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from datetime import date
from typing import Any

from pianolab.model import Finding
from pianolab.shipped import shipped


@dataclass(frozen=True, kw_only=True)
class SecondVisit:
    """The condition it belongs to, the sound that is heard, and what was looked at again."""

    condition: str
    sound: str
    day: date
    note: str
    found: dict[str, dict[str, Any]]

    def findings(self, *, visit_id: str, examiner: str) -> tuple[Finding, ...]:
        """The findings at the points that were looked at again."""
        return tuple(self._finding(point, visit_id=visit_id, examiner=examiner) for point in self.found)

    def _finding(self, point: str, *, visit_id: str, examiner: str) -> Finding:
        values: dict[str, Any] = {
            k: tuple(v) if isinstance(v, list) else v for k, v in self.found[point].items()
        }
        return Finding(id=f"{visit_id}-{point}", visit_id=visit_id, point=point, examiner=examiner, **values)


def load_second_visit() -> SecondVisit:
    """The second visit that comes with pianolab (``datasets/scenario/second_visit.toml``).

    Examples
    --------
    >>> load_second_visit().condition
    'masked treble'
    """
    raw = tomllib.loads(shipped("datasets/scenario/second_visit.toml").read_text(encoding="utf-8"))
    return SecondVisit(**raw)
