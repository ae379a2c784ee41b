"""The instrument's keyboard as drawn: where each key lies, keys in words, and a still picture of it."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from pianolab.errors import BadInput
from pianolab.html import templates
from pianolab.keyboard import is_black, key_of, note_name
from pianolab.words import keys_in_words

MarkShape = Literal["triangle", "circle", "cross"]

BLACK_WIDTH = 0.6
"""Width of a black key in widths of a white key; about what keyboards have [practice]."""

BLACK_SHIFT = {"C#": -0.1, "D#": 0.1, "F#": -0.13, "G#": 0.0, "A#": 0.13}
"""How far a black key sits beside the gap below it, in widths of a white key [practice]."""


@dataclass(frozen=True, kw_only=True)
class DrawnKey:
    """One key's place on the drawing; ``left`` and ``width`` in widths of a white key."""

    key: int
    note: str
    black: bool
    left: float
    width: float


@dataclass(frozen=True, kw_only=True)
class KeyMark:
    """Something known of one key: its shape says the kind, its text says what.

    ``triangle`` was seen or felt, ``circle`` was heard by the survey, ``cross`` gives no sound.
    """

    shape: MarkShape
    text: str


Marks = Mapping[int, Sequence[KeyMark]]


def keyboard_layout(first_key: int, last_key: int) -> tuple[DrawnKey, ...]:
    """Where every key of a keyboard lies, from the left.

    Parameters
    ----------
    first_key, last_key : int; key numbers, A4 = 49

    Returns
    -------
    tuple of DrawnKey, one per key in order

    Examples
    --------
    >>> keys = keyboard_layout(1, 88)
    >>> len(keys), sum(not k.black for k in keys), keys[1].note
    (88, 52, 'A#0')
    """
    drawn, whites = [], 0
    for key in range(first_key, last_key + 1):
        note, black = note_name(key), is_black(key)
        left = max(0.0, whites + BLACK_SHIFT[note[:2]] - BLACK_WIDTH / 2) if black else float(whites)
        drawn.append(
            DrawnKey(
                key=key, note=note, black=black, left=round(left, 3), width=BLACK_WIDTH if black else 1.0
            )
        )
        whites += not black
    return tuple(drawn)


def read_keys(text: str, *, first_key: int = 1, last_key: int = 88) -> tuple[int, ...]:
    """Keys from words: note names or key numbers, singly or as ranges, with commas, spaces or "and" between.

    Raises
    ------
    BadInput
        Where a word is no key, a range runs backwards, or the instrument has no such key.

    Examples
    --------
    >>> read_keys("C4, 49, F#5-G#5"), read_keys("C4 and F#5 to G#5")
    ((40, 49, 58, 59, 60), (40, 58, 59, 60))
    """
    found: set[int] = set()
    apart = re.sub(r"\s*[-–]\s*|\s+to\s+", "-", re.sub(r"\s+and\s+", ", ", text.strip()))
    for word in re.split(r"[,;\s]+", apart):
        if not word:
            continue
        ends = (
            [_one_key(w, of=word) for w in word.split("-")] if not re.fullmatch(r"-\d", word) else [int(word)]
        )
        if len(ends) > 2 or ends[0] > ends[-1]:
            raise BadInput("keys", repr(word), "the lower key first, as in C4-E4")
        if ends[0] < first_key or ends[-1] > last_key:
            raise BadInput(
                "keys",
                repr(word),
                f"keys from {note_name(first_key)} to {note_name(last_key)}, as this piano has",
            )
        found.update(range(ends[0], ends[-1] + 1))
    return tuple(sorted(found))


def _one_key(word: str, *, of: str) -> int:
    if re.fullmatch(r"\d{1,3}", word):
        return int(word)
    try:
        return key_of(word)
    except BadInput:
        raise BadInput("keys", repr(of), "note names or key numbers such as C4, 49 or F5-A5") from None


def keyboard_twin(
    *,
    first_key: int,
    last_key: int,
    chosen: Iterable[int] = (),
    marks: Marks | None = None,
    facts: Mapping[int, Sequence[str]] | None = None,
    title: str = "Keyboard",
) -> str:
    """A still picture of the keyboard with its marks, and the same in words below it.

    Parameters
    ----------
    first_key, last_key : int; the instrument's real compass
    chosen : keys shown as chosen
    marks : what is known of keys, by key number
    facts : lines of what was measured, by key number; they stand folded below
    title : str; escaped like every other text

    Returns
    -------
    str, HTML: one ``figure`` with an SVG and a list

    Examples
    --------
    >>> html = keyboard_twin(first_key=1, last_key=88, marks={40: [KeyMark(shape="cross", text="no <sound>")]})
    >>> "no &lt;sound&gt;" in html
    True
    """
    marks, picked = marks or {}, set(chosen)
    layout = keyboard_layout(first_key, last_key)
    made = templates("pianolab.report").get_template("keyboard_twin.html.j2")
    return made.render(
        title=title,
        first=note_name(first_key),
        last=note_name(last_key),
        wide=18 * sum(not k.black for k in layout),
        keys=[(k, _fill(k, chosen=k.key in picked)) for k in sorted(layout, key=lambda k: k.black)],
        signs=[_sign(k, m) for k in layout for m in list(marks.get(k.key, ()))[:1]],
        chosen=keys_in_words(picked, most=None) if picked else "",
        marked=[(key, "; ".join(m.text for m in marks[key])) for key in sorted(marks) if marks[key]],
        facts=[(key, "; ".join(texts)) for key, texts in sorted((facts or {}).items())],
        note_name=note_name,
    )


def _fill(key: DrawnKey, *, chosen: bool) -> str:
    if key.black:
        return "#0072B2" if chosen else "#2b2824"
    return "#9fd0ee" if chosen else "#fdfcf9"


def _sign(key: DrawnKey, mark: KeyMark) -> tuple[MarkShape, float, int]:
    """The shape of a mark, and where on its key it stands."""
    return mark.shape, round((key.left + key.width / 2) * 18, 1), 50 if key.black else 86
