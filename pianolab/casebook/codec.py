"""Records to JSON text and back, by the types that the record classes declare; nothing gets lost."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import fields, is_dataclass
from datetime import date, datetime
from decimal import Decimal
from functools import cache
from numbers import Integral, Real
from types import NoneType, UnionType
from typing import Any, Literal, Union, get_args, get_origin, get_type_hints

from pianolab.errors import BadInput, CasebookError
from pianolab.model import BuyerProfile, Record

KINDS: dict[str, type[Any]] = {kind.__name__: kind for kind in get_args(Record)}
REFERENCES = {
    "piano_id": "Piano",
    "visit_id": "Visit",
    "recording_id": "Recording",
    "other_piano_id": "Piano",
}
"""Fields that name another record, and its kind."""

LONGEST_ID = 200


def kind_of(record: object) -> str:
    """Kind of a record: the name of its class."""
    kind = type(record).__name__
    if KINDS.get(kind) is not type(record):
        raise BadInput("record", kind, "one of " + ", ".join(KINDS))
    return kind


def id_of(record: Record) -> str:
    """Id of a record; a buyer's profile is known by its name.

    Examples
    --------
    >>> id_of(BuyerProfile(name="first piano"))
    'profile:first piano'
    """
    identity = f"profile:{record.name}" if isinstance(record, BuyerProfile) else record.id
    check_text("id", identity, longest=LONGEST_ID)
    return identity


def check_text(name: str, text: object, *, longest: int) -> str:
    """Text that a database column and a log line can hold."""
    whole = isinstance(text, str) and len(text.strip()) > 0 and len(text) <= longest and "\0" not in text
    if not whole or not _encodable(str(text)):
        raise BadInput(name, repr(text)[:60], f"1 to {longest} characters of plain text")
    return str(text)


def _encodable(text: str) -> bool:
    try:
        text.encode()
    except UnicodeEncodeError:
        return False
    return True


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
    try:
        return json.dumps(_plain(record), allow_nan=False)
    except ValueError:
        name = f"{kind_of(record)} {id_of(record)}"
        raise BadInput(name, "a number that is none (NaN or infinite)", "None where unknown") from None


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
    """The record behind a JSON text.

    Examples
    --------
    >>> from_json("Examiner", '{"id": "1", "name": "Ana", "role": ""}')
    Examiner(id='1', name='Ana', role='')
    """
    if kind not in KINDS:
        raise CasebookError(f"record of kind {kind!r}: unknown to this version of pianolab.")
    try:
        return _build(json.loads(text), KINDS[kind])
    except (ValueError, TypeError, KeyError, AttributeError, ArithmeticError) as error:
        raise CasebookError(
            f"{kind} in the casebook can't be read: {' '.join(str(error).split())}"
        ) from error


def _plain(value: object) -> object:
    if is_dataclass(value) and not isinstance(value, type):
        return {field.name: _plain(getattr(value, field.name)) for field in fields(value)}
    if isinstance(value, dict):
        return {str(key): _plain(item) for key, item in value.items()}
    if isinstance(value, (tuple, list)):
        return [_plain(item) for item in value]
    if isinstance(value, (datetime, date)):
        return value.isoformat()
    if isinstance(value, Decimal):
        return str(value)
    if value is None or isinstance(value, (bool, str)):
        return value
    if isinstance(value, Integral):
        return int(value)
    if isinstance(value, Real):
        return float(value)
    raise BadInput("record", f"a {type(value).__name__}", "text, numbers, dates and tuples of them")


@cache
def _hints(kind: type[Any]) -> dict[str, Any]:
    return get_type_hints(kind)


LEAVES: dict[Any, Callable[[Any], Any]] = {
    float: float, Decimal: Decimal, datetime: datetime.fromisoformat, date: date.fromisoformat,
}  # fmt: skip


def _build(value: Any, hint: Any) -> Any:
    origin, args = get_origin(hint), get_args(hint)
    if origin in (Union, UnionType):
        inner = next(arg for arg in args if arg is not NoneType)
        return None if value is None else _build(value, inner)
    if hint in LEAVES:
        return LEAVES[hint](value)
    if is_dataclass(hint):
        known = _hints(hint)  # type: ignore[arg-type]
        return hint(**{name: _build(item, known[name]) for name, item in value.items()})  # type: ignore[operator]
    if origin is tuple:
        kinds = [args[0]] * len(value) if args[-1] is Ellipsis else args
        return tuple(_build(item, kind) for item, kind in zip(value, kinds, strict=True))
    if origin is dict:
        return {key: _build(item, args[1]) for key, item in value.items()}
    if origin is Literal or hint in (str, int, bool):
        return value
    raise TypeError(f"no way to read {hint}")
