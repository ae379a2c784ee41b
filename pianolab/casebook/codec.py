"""Records to JSON text and back; nothing gets lost. The record classes themselves see to types and ranges."""

from __future__ import annotations

import json
import re
from dataclasses import MISSING, fields, is_dataclass
from datetime import date
from decimal import Decimal
from typing import Any, get_args

from pianolab.errors import BadInput, CasebookError
from pianolab.model import Buyer, Finding, Record
from pianolab.model.door import Refused
from pianolab.model.quantities import CONTROLS, LONGEST_NAME
from pianolab.model.records import VALUES

EARLIER = {"Buyer": "BuyerProfile"}
"""Classes whose records casebooks know by the name they had first."""
KINDS: dict[str, type[Any]] = {EARLIER.get(kind.__name__, kind.__name__): kind for kind in get_args(Record)}
NAMES: dict[type[Any], str] = {kind: name for name, kind in KINDS.items()}
"""By what name a casebook keeps the records of a class."""
REFERENCES = {
    "piano_id": "Piano",
    "visit_id": "Visit",
    "recording_id": "Recording",
    "other_piano_id": "Piano",
}
"""Fields that name another record, and its kind."""

UNFIT = re.compile(f"[{CONTROLS}]")
UNREADABLE = "\N{REPLACEMENT CHARACTER}"


def kind_of(record: object) -> str:
    """Kind of a record: the name by which casebooks keep its class."""
    kind = NAMES.get(type(record))
    if kind is None:
        known = ", ".join(known.__name__ for known in NAMES)
        raise BadInput("record", type(record).__name__, f"one of {known}")
    return kind


def class_name(kind: str) -> str:
    """The name of the class whose records a casebook keeps by the name ``kind``.

    Examples
    --------
    >>> class_name("BuyerProfile"), class_name("Piano")
    ('Buyer', 'Piano')
    """
    return KINDS[kind].__name__ if kind in KINDS else kind


def id_of(record: Record) -> str:
    """Id of a record; a buyer's profile is known by its name.

    Examples
    --------
    >>> id_of(Buyer(name="first piano"))
    'profile:first piano'
    """
    return f"profile:{record.name}" if isinstance(record, Buyer) else record.id


def check_text(name: str, text: object, *, longest: int) -> str:
    """Text that a database column and a log line can hold."""
    if not isinstance(text, str) or not 0 < len(text.strip()) <= len(text) <= longest or UNFIT.search(text):
        raise BadInput(name, repr(text)[:60], f"1 to {longest} characters of plain text")
    return text


def references_of(record: Record) -> dict[str, str | None]:
    """The other records that a record belongs to, by field.

    Examples
    --------
    >>> from pianolab.model import Photo
    >>> references_of(Photo(id="p", visit_id="v", media="m.jpg"))
    {'piano_id': None, 'visit_id': 'v', 'recording_id': None, 'other_piano_id': None}
    """
    return {name: getattr(record, name, None) for name in REFERENCES}


def to_json(record: Record) -> str:
    """A record as JSON text in ASCII, keys in the order of the class.

    Examples
    --------
    >>> from pianolab.model import Examiner
    >>> to_json(Examiner(id="1", name="Ana"))
    '{"id": "1", "name": "Ana", "role": ""}'
    """
    kind_of(record)
    return json.dumps(_plain(record), allow_nan=False)


def differing(one: str | None, other: str | None) -> tuple[str, str]:
    """Two versions of a record as JSON, only the fields in which they differ; ``removed`` for none.

    Examples
    --------
    >>> differing('{"id": "1", "grade": 2}', '{"id": "1", "grade": 3}')
    ('{"grade": 2}', '{"grade": 3}')
    """
    if one is None or other is None:
        return one or "removed", other or "removed"
    left, right = json.loads(one), json.loads(other)
    names = [name for name in left | right if left.get(name) != right.get(name)]
    return tuple(json.dumps({n: v[n] for n in names if n in v}) for v in (left, right))  # type: ignore[return-value]


def from_json(kind: str, text: str) -> Any:
    """The record behind a JSON text; what was kept before a rule was made and breaks it reads as `recall` says.

    Examples
    --------
    >>> from_json("Examiner", '{"id": "1", "name": "Ana", "role": ""}')
    Examiner(id='1', name='Ana', role='')
    """
    return recall(kind, text)[0]


def recall(kind: str, text: str) -> tuple[Any, tuple[str, ...]]:
    """The record behind a JSON text, and what of it can't be used any more, in words.

    A casebook stays readable though the rules for records have become stricter since it was written: signs that
    no text holds are replaced, and a value out of its range is unknown again. The casebook itself keeps its text.

    Examples
    --------
    >>> visit, troubles = recall("Visit", '{"id": "v", "piano_id": "p", "day": "2026-03-14", "humidity_percent": 900}')
    >>> visit.humidity_percent, troubles
    (None, ('Visit, humidity_percent: got 900, need 0 to 100 %.',))
    """
    if kind not in KINDS:
        raise CasebookError(f"record of kind {kind!r}: unknown to this version of pianolab.")
    try:
        values = _with_purpose(kind, json.loads(text))
        troubles: list[str] = []
        while True:
            try:
                return KINDS[kind](**values), tuple(troubles)
            except Refused as refused:
                values = _usable(KINDS[kind], values, refused)
                troubles.append(str(refused))
    except (ValueError, TypeError, RecursionError) as error:
        line = " ".join(str(error).split())
        raise CasebookError(f"{kind} in the casebook can't be read: {line}") from error


PEDAL_NOTES = frozenset(("left pedal", "left pedal held", "left pedal down", "with the left pedal"))
"""Whole notes that marked a recording with the left pedal before recordings had a purpose."""


def _with_purpose(kind: str, values: Any) -> Any:
    """The values of a recording that was kept before recordings had a purpose: its note told it."""
    if kind != "Recording" or not isinstance(values, dict) or "purpose" in values:
        return values
    told = str(values.get("note") or "").strip().rstrip(".").casefold()
    return {**values, "purpose": "left pedal" if told in PEDAL_NOTES else "take"}


def _usable(kind: type[Any], values: dict[str, Any], refused: Refused) -> dict[str, Any]:
    """The values without what was refused: text without unfit signs, then in one line, then left out."""
    name = refused.field
    if name not in values:
        raise refused
    value = values[name]
    plain = _plain_text(value)
    if plain != value:
        return {**values, name: plain}
    if isinstance(value, str) and (line := " ".join(value.split())[:LONGEST_NAME].strip()) not in ("", value):
        return {**values, name: line}
    default = kind.__dataclass_fields__[name].default
    if default is MISSING or (default not in (None, ()) and kind is not Buyer):
        raise refused
    rest = {field: content for field, content in values.items() if field != name}
    if kind is Finding and name in VALUES and not any(rest.get(other) is not None for other in VALUES):
        return {**rest, "state": "not checked", "reason": str(refused)}
    return rest


def _plain_text(value: Any) -> Any:
    if isinstance(value, str):
        return UNFIT.sub(UNREADABLE, value)
    if isinstance(value, list):
        return [_plain_text(item) for item in value]
    if isinstance(value, dict):
        return {_plain_text(name): _plain_text(item) for name, item in value.items()}
    return value


def _plain(value: object) -> object:
    if is_dataclass(value):
        return {field.name: _plain(getattr(value, field.name)) for field in fields(value)}
    if isinstance(value, dict):
        return {key: _plain(item) for key, item in value.items()}
    if isinstance(value, tuple):
        return [_plain(item) for item in value]
    if isinstance(value, date):
        return value.isoformat()
    return str(value) if isinstance(value, Decimal) else value
