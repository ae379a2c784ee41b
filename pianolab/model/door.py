"""The door of every record: each field is brought into its type and range where the record is made.

A record class derives from `Checked`; its annotations say what a field may be (`pianolab.model.quantities`).
Whatever comes in, the record that results holds plain values of those types, or there is none: ``BadInput`` in one
line names record, field, what came, what is needed and the likely cause.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from dataclasses import MISSING, dataclass, fields, is_dataclass
from datetime import date, datetime
from decimal import Decimal
from functools import cache
from types import NoneType, UnionType
from typing import Annotated, Any, ClassVar, Literal, Union, get_args, get_origin, get_type_hints

import msgspec

from pianolab.errors import BadInput
from pianolab.show import Fields

LONGEST_SHOWN = 60
SHOWN_AS_TYPED = (str, bytes, bool, int, float, Decimal, date, NoneType, tuple, list, dict)


class Refused(BadInput):
    """A record that can't be made; ``path`` leads to what is to blame, and is empty where fields don't go together."""

    def __init__(self, record: str, path: tuple[str, ...], got: str, need: str, hint: str = "") -> None:
        super().__init__(", ".join((record, *path)), got, need, hint)
        self.path, self.got, self.need, self.hint = path, got, need, hint

    def _render_traceback_(self) -> list[str]:
        return [f"BadInput: {self}"]

    @property
    def field(self) -> str:
        """The field of the record that is to blame, or empty."""
        return self.path[0] if self.path else ""


class _Unfit(Exception):
    """One value, somewhere inside a field, that is not what its place asks for."""

    def __init__(self, got: str, need: str, hint: str, *path: str) -> None:
        super().__init__(need)
        self.got, self.need, self.hint, self.path = got, need, hint, path


@dataclass(frozen=True, kw_only=True)
class Kind:
    """What a field may be, read off its annotation once."""

    whole: Any
    base: Any
    inner: tuple[Kind, ...]
    optional: bool
    quick: bool
    """Whether msgspec alone can say that a value is right."""

    need: str
    hint: str
    holds: Callable[[Any], bool] | None
    mends: Callable[[Any], Any] | None


class Checked(Fields):
    """Base of all records: a frozen dataclass whose fields hold what their annotations say, or that isn't made.

    A subclass names in ``known_by`` the field by which a line of refusal calls it, and in `_together` what its
    fields must be to each other.

    Examples
    --------
    >>> from pianolab.model import Finding
    >>> Finding(visit_id="v", point="lid", grade=4.0).grade
    4
    >>> Finding(visit_id="v", point="lid", grade=4.5)
    Traceback (most recent call last):
    ...
    pianolab.model.door.Refused: Finding 'lid', grade: got 4.5, need 1 (failed) to 5 (sound).
    """

    known_by: ClassVar[str] = ""

    def __post_init__(self) -> None:
        own: Any = type(self)
        right = _right_at_once(self, own)
        for name, kind in kinds_of(own).items():
            given = getattr(self, name)
            taken = None if right is None else getattr(right, name)
            if right is None or not _passes(taken, kind):
                taken = self._brought(name, given, kind)
            if taken is not given:
                object.__setattr__(self, name, taken)
        self._together()

    def _brought(self, name: str, given: object, kind: Kind) -> Any:
        try:
            return _slowly(given, kind)
        except _Unfit as unfit:
            path = (name, *unfit.path)
            raise Refused(self._called(), path, unfit.got, unfit.need, unfit.hint) from None

    def _together(self) -> None:
        """What the fields must be to each other; each by itself is right already."""

    def _refuse(self, field: str, got: str, need: str, hint: str = "") -> Refused:
        return Refused(self._called(), (field,) if field else (), got, need, hint)

    def _called(self) -> str:
        own = getattr(self, self.known_by, "") if self.known_by else ""
        kind = type(self).__name__
        return f"{kind} {shown(own)}" if isinstance(own, str) and own else kind


def shown(value: object) -> str:
    """A value as one line shows it: as it would be typed, cut where it is long; never what can't be printed.

    Examples
    --------
    >>> shown("a\\ud800"), shown(object())
    ("'a\\\\ud800'", 'a object')
    """
    if isinstance(value, type) or not isinstance(value, SHOWN_AS_TYPED):
        return f"a {type(value).__name__}"
    try:
        text = str(value) if isinstance(value, Decimal) else repr(value)
    except Exception:  # of an object inside a list, or an integer of too many figures
        return f"a {type(value).__name__} that can't be shown"
    return text if len(text) <= LONGEST_SHOWN else f"{text[:LONGEST_SHOWN]}…"


@cache
def kinds_of(record: Any) -> dict[str, Kind]:
    """What each field of a record class may be, by name."""
    hints = get_type_hints(record, include_extras=True)
    return {field.name: _kind(hints[field.name]) for field in fields(record)}


def _kind(hint: Any) -> Kind:
    whole, optional, meta = hint, False, msgspec.Meta()
    if get_origin(hint) in (Union, UnionType):
        optional = True
        hint = next(arg for arg in get_args(hint) if arg is not NoneType)
    if get_origin(hint) is Annotated:
        hint, meta = hint.__origin__, next(m for m in hint.__metadata__ if isinstance(m, msgspec.Meta))
    origin = get_origin(hint) or hint
    inner = get_args(hint) if origin in (tuple, dict) else ()
    kinds = tuple(_kind(arg) for arg in inner if arg is not Ellipsis)
    more = meta.extra or {}
    return Kind(
        whole=whole,
        base=origin,
        inner=kinds,
        optional=optional,
        need=meta.description or _need(hint),
        quick=not is_dataclass(origin) and all(k.quick and k.holds is None for k in kinds),
        hint=more.get("hint", ""),
        holds=more.get("holds"),
        mends=more.get("mends"),
    )


PLAIN_NEEDS = {str: "text", int: "a whole number", float: "a number", bool: "True or False"}


def _need(hint: Any) -> str:
    """What is needed where the annotation has no words of its own."""
    origin, args = get_origin(hint), get_args(hint)
    if origin is Literal:
        return "one of " + ", ".join(args)
    if origin is tuple:
        return "a list" if Ellipsis in args else f"{len(args)} values"
    if origin is dict:
        return "a table of names and values"
    return PLAIN_NEEDS.get(hint, f"a {hint.__name__}")


@cache
def _mirror(record: Any) -> type[Any]:
    """The fields of a record class as msgspec reads them fastest; what it can't judge alone is left out of it."""
    kinds = kinds_of(record).items()
    return msgspec.defstruct(
        record.__name__, [(name, kind.whole if kind.quick else Any) for name, kind in kinds]
    )


def _right_at_once(record: Checked, own: Any) -> Any:
    """All fields in one call: the usual case, a record whose values are right already. None where one isn't."""
    try:
        return msgspec.convert(record, _mirror(own), from_attributes=True)
    except (msgspec.ValidationError, ValueError, OverflowError):  # halves of characters, endless numbers
        return None


def _passes(value: Any, kind: Kind) -> bool:
    """Whether a value that msgspec has let through is right, as to what msgspec doesn't know of."""
    if value is None or not kind.quick:
        return kind.quick
    return (kind.holds is None or kind.holds(value)) and (kind.base is not str or type(value) is str)


def _unfit(value: object, kind: Kind) -> _Unfit:
    return _Unfit(shown(value), kind.need, kind.hint)


def _slowly(value: Any, kind: Kind) -> Any:
    """A value brought into its type piece by piece, so that the very piece that doesn't fit is named."""
    if value is None and kind.optional:
        return None
    if hasattr(value, "tolist") and not isinstance(value, type):
        value = value.tolist()  # numbers and arrays of numpy, which is not loaded for it
    if is_dataclass(kind.base):
        return _record(value, kind)
    if kind.base is dict:
        return _table(value, kind)
    if kind.base is tuple:
        return _list(value, kind)
    return _single(value, kind)


def _record(value: Any, kind: Kind) -> Any:
    if isinstance(value, kind.base):
        return value
    if not isinstance(value, Mapping):
        raise _unfit(value, kind)
    known = [field.name for field in fields(kind.base)]
    if strange := [name for name in value if name not in known]:
        raise _Unfit(shown(strange[0]), "one of " + ", ".join(known), "Misspelt?")
    needed = [f.name for f in fields(kind.base) if f.default is MISSING and f.default_factory is MISSING]
    if missing := [name for name in needed if name not in value]:
        raise _Unfit("no " + ", ".join(missing), "all of " + ", ".join(needed), "")
    try:
        return kind.base(**value)
    except Refused as refused:
        raise _Unfit(refused.got, refused.need, refused.hint, *refused.path) from None


def _table(value: Any, kind: Kind) -> Any:
    if not isinstance(value, Mapping):
        raise _unfit(value, kind)
    taken = {}
    for key, item in value.items():
        name = _single(key, kind.inner[0])
        taken[name] = _within(name, item, kind.inner[1])
    return taken


def _list(value: Any, kind: Kind) -> Any:
    if isinstance(value, (str, bytes, Mapping)) or not isinstance(value, Collection):
        raise _unfit(value, kind)
    inner = kind.inner * len(value) if len(kind.inner) == 1 else kind.inner
    if len(value) != len(inner):
        raise _unfit(value, kind)
    return tuple(_slowly(item, each) for item, each in zip(value, inner, strict=True))


def _within(name: object, value: Any, kind: Kind) -> Any:
    try:
        return _slowly(value, kind)
    except _Unfit as unfit:
        raise _Unfit(unfit.got, unfit.need, unfit.hint, str(name), *unfit.path) from None


def _single(value: Any, kind: Kind) -> Any:
    try:
        mended = _mended(value, kind)
        # A number is no moment, so what msgspec reads leniently there is left to the strict reading.
        taken = msgspec.convert(mended, kind.whole, strict=kind.base is datetime)
    except (msgspec.ValidationError, ValueError, OverflowError):
        raise _unfit(value, kind) from None
    if kind.holds is not None and not kind.holds(taken):
        raise _unfit(value, kind)
    return taken


def _mended(value: Any, kind: Kind) -> Any:
    """What is meant beyond doubt: blanks around a number, a moment where a day is asked, a number as a name."""
    if kind.base is str:
        text = str(value) if type(value) is int else value
        if not isinstance(text, str):
            return text
        text = str(text).replace("\r\n", "\n").replace("\r", "\n")
        return kind.mends(text) if kind.mends else text
    if isinstance(value, str) and get_origin(kind.whole) is not Literal:
        value = value.strip()
        return datetime.fromisoformat(value) if kind.base is datetime else value
    if kind.base is date and isinstance(value, datetime):
        return value.date()
    if kind.base is float and type(value) is int:
        # A whole number beyond every float is an OverflowError here in any version of msgspec.
        return float(value)
    return value
