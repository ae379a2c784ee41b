"""Marking keys on the drawn keyboard: each mark is a finding in the casebook as it is made."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace
from datetime import UTC, datetime
from typing import TYPE_CHECKING

from pianolab.checklist.points import Checklist, Point
from pianolab.errors import BadInput
from pianolab.model import Finding

if TYPE_CHECKING:
    from pianolab.casebook import Casebook


class KeyMarking:
    """One examiner's marks on the keys of one visit's piano.

    All marks of one kind are one finding: its keys, and their number as its count. A count that was entered
    by hand and is larger stays; it may hold keys that nobody has named yet.
    """

    def __init__(
        self,
        casebook: Casebook,
        visit_id: str,
        *,
        checklist: Checklist,
        examiner: str,
        now: Callable[[], datetime] = lambda: datetime.now(UTC),
    ) -> None:
        self.casebook, self.visit_id, self.examiner = casebook, visit_id, examiner
        self.checklist = checklist
        self.points = tuple(p for p in checklist if p.mark)
        self._now = now

    def own(self, point: Point) -> Finding | None:
        """The finding that holds this examiner's marks of one kind."""
        found = [
            f
            for f in self.casebook.findings(visit_id=self.visit_id)
            if (f.point, f.examiner, f.place) == (point.id, self.examiner, "")
        ]
        return found[-1] if found else None

    def marked(self) -> dict[str, list[int]]:
        """Keys with each mark, by the point's id; this examiner's own."""
        found = {p.id: self.own(p) for p in self.points}
        return {i: list(f.keys) for i, f in found.items() if f is not None and f.state == "checked"}

    def set(self, point_id: object, keys: Iterable[int], *, on: bool) -> str:
        """Mark keys, or take the mark off them; the line that says what was saved."""
        point = next((p for p in self.points if p.id == point_id), None)
        if point is None:
            raise BadInput("mark", repr(point_id)[:40], "one of the marks shown")
        chosen = set(keys)
        if not chosen:
            raise BadInput(point.mark, "no key", "at least one chosen key")
        before = self.own(point)
        had = set(before.keys) if before is not None else set()
        has = had | chosen if on else had - chosen
        if before is not None and before.state == "checked" and has == had:
            return "Already saved"
        self._write(point, before, tuple(sorted(has)))
        return "Saved"

    def _write(self, point: Point, before: Finding | None, keys: tuple[int, ...]) -> None:
        with self.casebook.editing(by=self.examiner or "unnamed examiner", checklist=self.checklist) as edit:
            if before is None:
                edit.add(
                    Finding(
                        visit_id=self.visit_id,
                        point=point.id,
                        count=len(keys),
                        keys=keys,
                        examiner=self.examiner,
                        at=self._now(),
                    )
                )
                return
            count = before.count if before.count is not None else 0
            by_hand = count if count > len(before.keys) else 0
            if not keys and not by_hand:
                # No key marked says nothing about the others: "none found" is entered in the walk.
                edit.remove(before.id, was=before)
                return
            after = replace(
                before, keys=keys, count=max(by_hand, len(keys)), state="checked", reason="", at=self._now()
            )
            edit.change(after, was=before)
