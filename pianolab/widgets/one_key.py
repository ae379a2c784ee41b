"""One key of the drawn keyboard: what is known of it, marks that become findings, its sound."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from pianolab.acoustics.survey_result import rows_of
from pianolab.checklist.points import Checklist, Point
from pianolab.errors import BadInput
from pianolab.io import clip_bytes, read_blocks
from pianolab.keyboard import note_name
from pianolab.model import Finding
from pianolab.report.photos_and_clips import faded, note_span_s
from pianolab.report.twin_keyboard import KeyMark, MarkShape
from pianolab.report.twins import finding_in_words, note_in_words

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from pianolab.acoustics import Survey
    from pianolab.casebook import Casebook
    from pianolab.io.write import EncodedClip

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
            point = checklist.get(finding.point) if checklist is not None else None
            title = point.title if point else finding.point
            beside = note_in_words(finding)
            text = f"{title}: {finding_in_words(finding, point=point)}" + (f", {beside}" if beside else "")
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
    return [(int(row["key"]), list(row["faults"])) for row in rows_of(survey.table) if row["faults"]]


def measured_lines(survey: Survey | None) -> dict[int, list[str]]:
    """What the recording says of each key, a few short lines; what could not be judged is said too."""
    if survey is None:
        return {}
    return {int(row["key"]): _lines(row) for row in rows_of(survey.table)}


def _lines(row: Mapping[Any, Any]) -> list[str]:
    if row.get("status") != "measured":
        return [f"recording: {row.get('status', 'not heard')}"]
    lines = [line for line in (_tuning(row), _sustain(row)) if line]
    unjudged = [f"{fault.replace('_', ' ')}: {why}" for fault, why in row["not_judged"].items()]
    faults = [f.replace("_", " ") for f in row["faults"]]
    none = f"no fault heard; {len(unjudged)} could not be judged" if unjudged else "no fault heard"
    lines.append(f"heard: {', '.join(faults)}" if faults else none)
    return [*lines, *([f"not judged: {', '.join(unjudged)}"] if unjudged else [])]


def _tuning(row: Mapping[Any, Any]) -> str:
    cents, unison = _number(row.get("off_curve_cents")), _number(row.get("unison_cents"))
    return ", ".join(
        text
        for text in (
            f"{cents:+.1f} cents from this piano's own curve" if cents is not None else "",
            f"strings {unison:.1f} cents apart" if unison is not None else "",
        )
        if text
    )


def _sustain(row: Mapping[Any, Any]) -> str:
    decay_s = _number(row.get("decay_20_s"))
    if decay_s is None:
        return ""
    bound = row.get("decay_20_bound")
    if bound == "<":
        return f"falls 20 dB in at most {math.ceil(10.0 * decay_s - 1e-9) / 10.0:.1f} s: the room rings on"
    if bound == ">":
        return f"falls 20 dB in at least {math.floor(10.0 * decay_s + 1e-9) / 10.0:.1f} s"
    return f"falls 20 dB in {decay_s:.1f} s"


def _number(value: object) -> float | None:
    if not isinstance(value, (int, float)) or not math.isfinite(value):
        return None
    return float(value)


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


LONGEST_S = 4.0
BLOCK_S = 5.0


def key_clip(path: Path, survey: Survey, *, key: int) -> EncodedClip:
    """A short compressed clip of one key, from just before the blow to just after the release.

    Parameters
    ----------
    path : the recording
    survey : what was heard in it
    key : key number, A4 = 49

    Raises
    ------
    BadInput
        where the recording does not hold that key
    """
    samples, rate_hz = _part(path, *note_span_s(survey, key=key, longest_s=LONGEST_S))
    if not len(samples):
        raise BadInput(note_name(key), "a recording that ends before it", "the recording the survey is of")
    return clip_bytes(faded(samples, rate_hz=rate_hz), rate_hz=rate_hz, format="mp3")


def _part(path: Path, start_s: float, stop_s: float) -> tuple[NDArray[np.float32], int]:
    """Only the blocks around the note are kept in memory; at most two channels."""
    kept, at_s, rate_hz = [], 0.0, 0
    for block in read_blocks(path, block_s=BLOCK_S):
        rate_hz = block.rate_hz
        begin = max(0, round((start_s - at_s) * rate_hz))
        end = min(len(block.samples), round((stop_s - at_s) * rate_hz))
        if begin < end:
            kept.append(np.array(block.samples[begin:end, :2], np.float32))
        at_s += len(block.samples) / rate_hz
        if at_s >= stop_s:
            break
    return (np.concatenate(kept) if kept else np.zeros((0, 1), np.float32)), rate_hz
