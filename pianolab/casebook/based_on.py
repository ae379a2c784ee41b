"""What becomes of an edit when another has changed the record since it was read: merged field by field, or asked.

A three-way merge: a field that one side left alone takes the other's value. Fields that say one thing together
(a value and its state, a price and its currency) count as one.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, fields, is_dataclass
from typing import Any, TypeVar

from pianolab.casebook.codec import Record
from pianolab.errors import BadInput, CasebookError
from pianolab.model.door import shown
from pianolab.model.records import VALUES
from pianolab.show import Fields

R = TypeVar("R", bound=Record)
Path = tuple[str, ...]
"""A field, or what lies inside it: ``("seller",)``, ``("weights", "tone")``, ``("home_room", "length_m")``."""

ONE_STATEMENT: Mapping[str, tuple[tuple[str, ...], ...]] = {
    "Finding": (("state", "reason", *VALUES),),
    "Piano": (("asking_price", "currency"),),
    "Comparable": (("price", "currency", "sold"),),
    "Buyer": (("budget", "currency", "moving_cost"),),
    "TouchTrial": (("piano_id", "other_piano_id"),),
}
"""Fields that mean nothing each by itself."""

STAMPED = ("at",)
"""What each writer sets anew; the later writer's stands and is no conflict."""

GONE = "nothing"


@dataclass(frozen=True, kw_only=True)
class FieldClash(Fields):
    """One field, or fields that say one thing together, as read, as entered by this writer and by the other."""

    names: tuple[str, ...]
    was: tuple[Any, ...]
    yours: tuple[Any, ...]
    theirs: tuple[Any, ...]


class Clash(CasebookError):
    """An edit and another's, both of the same field since it was read: nothing is changed, somebody has to choose.

    Attributes
    ----------
    yours : the record as this writer wanted it
    theirs : the record as the casebook has it now; None where it was removed
    fields : tuple of `FieldClash`, what both changed
    by : str, who entered what the casebook has now
    """

    def __init__(
        self, yours: Record, *, was: Record, theirs: Record | None, fields: tuple[FieldClash, ...], by: str
    ) -> None:
        self.yours: Any = yours
        self.was: Any = was
        self.theirs: Any = theirs
        self.fields, self.by = fields, by
        if theirs is None:
            got = f"an entry from you, and meanwhile removed by {by}"
        else:
            got = f"{_said(fields, 'yours')} from you and meanwhile {_said(fields, 'theirs')} from {by}"
        where = ", ".join((yours._called(), *(name for field in fields for name in field.names)))
        super().__init__(
            f"{where}: got {got}, need one of the two. Nothing was changed; agree on one and enter it."
        )

    def entered_by(self, by: str) -> Clash:
        """The same, with the name of who entered the other's values."""
        return Clash(self.yours, was=self.was, theirs=self.theirs, fields=self.fields, by=by)

    def settled(self, *, mine: bool) -> Any:
        """The record with this writer's values where both changed, or with the other's; all else merged.

        Raises
        ------
        BadInput
            values that don't go together, or a record that isn't there any more
        """
        if self.theirs is None:
            raise BadInput(self.yours._called(), f"a record removed by {self.by}", "one that is there")
        side = "yours" if mine else "theirs"
        chosen = {
            path: getattr(f, side)[i] for f in self.fields for i, path in enumerate(map(_path, f.names))
        }
        return _rebuilt(self.yours, {**_merge(self.yours, self.was, self.theirs)[0], **chosen})


def merged(yours: R, *, was: R, theirs: R, by: str) -> R:
    """This writer's record and the other's, each based on ``was``, as one.

    Parameters
    ----------
    yours : the record as this writer wants it
    was : the record as this writer read it
    theirs : the record as it is now
    by : str, who entered ``theirs``

    Raises
    ------
    Clash
        a field that both changed to different values, or changes that no record can hold together

    Examples
    --------
    >>> from dataclasses import replace
    >>> from pianolab.model import Piano
    >>> was = Piano(name="A")
    >>> both = merged(replace(was, seller="M"), was=was, theirs=replace(was, year=1950), by="Ben")
    >>> both.seller, both.year
    ('M', 1950)
    """
    values, clashes = _merge(yours, was, theirs)
    if not clashes:
        try:
            return _rebuilt(yours, values)
        except BadInput:
            clashes = tuple(_clash((path,), yours, was, theirs) for path in _changed(was, yours, theirs))
    raise Clash(yours, was=was, theirs=theirs, fields=clashes, by=by)


def _merge(yours: Any, was: Any, theirs: Any) -> tuple[dict[Path, Any], tuple[FieldClash, ...]]:
    mine, before, other = _parts(yours), _parts(was), _parts(theirs)
    values, clashes = dict(other), []
    for group in _groups(type(yours).__name__, {**before, **other, **mine}):
        m, b, o = ([side.get(path, GONE) for path in group] for side in (mine, before, other))
        if m in (b, o):
            continue
        if o == b or group[0][0] in STAMPED:
            values |= dict(zip(group, m, strict=True))
        else:
            clashes.append(_clash(group, yours, was, theirs))
    return values, tuple(clashes)


def _changed(was: Any, *sides: Any) -> list[Path]:
    before = _parts(was)
    parts = [_parts(side) for side in sides]
    return [path for path in before if any(side.get(path, GONE) != before[path] for side in parts)]


def _clash(group: tuple[Path, ...], yours: Any, was: Any, theirs: Any) -> FieldClash:
    sides = (_parts(record) for record in (was, yours, theirs))
    before, mine, other = (tuple(side.get(path, GONE) for path in group) for side in sides)
    # Of fields that say one thing together, those in which the sides differ tell it.
    keep = [i for i in range(len(group)) if mine[i] != other[i]] or list(range(len(group)))
    return FieldClash(
        names=tuple(".".join(group[i]) for i in keep),
        was=tuple(before[i] for i in keep),
        yours=tuple(mine[i] for i in keep),
        theirs=tuple(other[i] for i in keep),
    )


def _groups(kind: str, paths: Iterable[Path]) -> list[tuple[Path, ...]]:
    together = ONE_STATEMENT.get(kind, ())
    found: dict[object, list[Path]] = {}
    for path in paths:
        group = next((names for names in together if path[0] in names), path)
        found.setdefault(group, []).append(path)
    return [tuple(group) for group in found.values()]


def _parts(record: Any) -> dict[Path, Any]:
    """A record as its values, those inside of tables and of records within it each by itself."""
    parts: dict[Path, Any] = {}
    for field in fields(record):
        value = getattr(record, field.name)
        if is_dataclass(value):
            parts |= {(field.name, *path): item for path, item in _parts(value).items()}
        elif isinstance(value, dict):
            parts |= {(field.name, str(name)): item for name, item in value.items()}
        else:
            parts[field.name,] = value
    return parts


def _path(name: str) -> Path:
    field, dot, inner = name.partition(".")
    return (field, inner) if dot else (field,)


def _rebuilt(like: Any, parts: Mapping[Path, Any]) -> Any:
    values: dict[str, Any] = {}
    for field in fields(like):
        own = getattr(like, field.name)
        if is_dataclass(own) or isinstance(own, dict):
            values[field.name] = {p[1]: v for p, v in parts.items() if p[0] == field.name and v is not GONE}
        else:
            values[field.name] = parts[field.name,]
    return type(like)(**values)


def _said(clashes: tuple[FieldClash, ...], side: str) -> str:
    return ", ".join(shown(value) for field in clashes for value in getattr(field, side))
