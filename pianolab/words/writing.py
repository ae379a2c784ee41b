"""How a sentence is set: its first letter, its full stop, and its lists, keys with neighbours drawn together."""

from __future__ import annotations

from collections.abc import Iterable

from pianolab.keyboard import note_name
from pianolab.show import LOCALE

LEAST_RUN = 3
"""From so many neighbours on keys are named by the first and the last of them."""
TO, MORE, NONE = "{first} to {last}", "{count} more", "none"
ENDS = (".", "!", "?", "…")


def upper_first(text: str) -> str:
    """The text with a capital letter in front.

    Parameters
    ----------
    text : words

    Returns
    -------
    str

    Examples
    --------
    >>> upper_first("two tunings")
    'Two tunings'
    """
    return text[:1].upper() + text[1:]


def lower_first(text: str) -> str:
    """A sentence as it stands behind a colon: small first letter, no full stop at the end.

    Parameters
    ----------
    text : a sentence

    Returns
    -------
    str

    Examples
    --------
    >>> lower_first("The plate is cracked.")
    'the plate is cracked'
    """
    return without_stop(text[:1].lower() + text[1:])


def without_stop(text: str) -> str:
    """A sentence as part of another: no full stop at the end.

    Parameters
    ----------
    text : a sentence

    Returns
    -------
    str
    """
    return text.rstrip(".")


def as_sentence(text: str) -> str:
    """A text that stands by itself: a capital letter in front, a full stop at the end if nothing else ends it.

    Parameters
    ----------
    text : words

    Returns
    -------
    str

    Examples
    --------
    >>> as_sentence("no price is asked yet"), as_sentence("Why?"), as_sentence("")
    ('No price is asked yet.', 'Why?', '')
    """
    return with_stop(upper_first(text))


def with_stop(text: str) -> str:
    """A text with a full stop at its end if nothing else ends it; an empty one stays empty.

    Parameters
    ----------
    text : words

    Returns
    -------
    str
    """
    return text if not text or text.endswith(ENDS) else f"{text}."


def listed(things: Iterable[object], *, locale: str = LOCALE) -> str:
    """Things as a sentence lists them, empty ones left out.

    Parameters
    ----------
    things : words, or what ``str`` makes words of
    locale : language and country, for the word in front of the last

    Returns
    -------
    str

    Examples
    --------
    >>> listed(["A", "B", "C"]), listed(["A", "", "B"]), listed([])
    ('A, B and C', 'A and B', '')
    >>> listed(["A", "B"], locale="de_DE")
    'A und B'
    """
    from babel.lists import format_list

    return str(format_list([str(t) for t in things if str(t)], locale=locale))


def keys_in_words(
    keys: Iterable[int],
    *,
    most: int | None = 8,
    numbers: bool = False,
    none: str = "",
    locale: str = LOCALE,
    to: str = TO,
    more: str = MORE,
) -> str:
    """Keys by their note names, three or more neighbours drawn together.

    Parameters
    ----------
    keys : key numbers, in any order
    most : how many names or stretches are written out before the rest is counted; None: all
    numbers : whether key numbers stand beside the names
    none : what to say where there is no key
    locale, to, more : how a language lists things, writes a stretch and counts the rest

    Examples
    --------
    >>> keys_in_words((50, 49)), keys_in_words([40, 49, 50, 51, 52]), keys_in_words([], none="none")
    ('A4 and A#4', 'C4 and A4 to C5', 'none')
    >>> keys_in_words((1, 4, 7, 10, 13, 16), most=4), keys_in_words([1, 2, 3, 49], numbers=True)
    ('A0, C1, D#1, F#1 and 2 more', 'A0 to B0 (1 to 3) and A4 (49)')
    """
    parts = _parts(keys)
    shown = parts if most is None else parts[:most]
    names = [_named(part, numbers=numbers, to=to) for part in shown]
    left = sum(len(part) for part in parts[len(shown) :])
    names += [more.format(count=left)] if left else []
    return listed(names, locale=locale) or none


def _parts(keys: Iterable[int]) -> list[list[int]]:
    """Single keys, and stretches of neighbours that are worth drawing together."""
    runs: list[list[int]] = []
    for key in sorted(set(keys)):
        if runs and key == runs[-1][-1] + 1:
            runs[-1].append(key)
        else:
            runs.append([key])
    return [part for run in runs for part in ([run] if len(run) >= LEAST_RUN else [[k] for k in run])]


def _named(part: list[int], *, numbers: bool, to: str) -> str:
    first, last = part[0], part[-1]
    if first == last:
        return f"{note_name(first)} ({first})" if numbers else note_name(first)
    names = to.format(first=note_name(first), last=note_name(last))
    return f"{names} ({to.format(first=first, last=last)})" if numbers else names
