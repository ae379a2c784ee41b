"""How a sentence is set: its first letter, its full stop."""

from __future__ import annotations

ENDS = (".", "!", "?", "…")


def upper_first(text: str) -> str:
    """The text with a capital letter in front.

    Examples
    --------
    >>> upper_first("two tunings")
    'Two tunings'
    """
    return text[:1].upper() + text[1:]


def lower_first(text: str) -> str:
    """A sentence as it stands behind a colon: small first letter, no full stop at the end.

    Examples
    --------
    >>> lower_first("The plate is cracked.")
    'the plate is cracked'
    """
    return without_stop(text[:1].lower() + text[1:])


def without_stop(text: str) -> str:
    """A sentence as part of another: no full stop at the end."""
    return text.rstrip(".")


def as_sentence(text: str) -> str:
    """A text that stands by itself: a capital letter in front, a full stop at the end if nothing else ends it.

    Examples
    --------
    >>> as_sentence("no price is asked yet"), as_sentence("Why?"), as_sentence("")
    ('No price is asked yet.', 'Why?', '')
    """
    return with_stop(upper_first(text))


def with_stop(text: str) -> str:
    """A text with a full stop at its end if nothing else ends it; an empty one stays empty."""
    return text if not text or text.endswith(ENDS) else f"{text}."
