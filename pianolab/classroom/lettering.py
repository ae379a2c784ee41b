"""Letters beside the boxes of a sheet."""

from __future__ import annotations

LETTERS = "abcdefghijklmnop"


def lettered(choices: tuple[str, ...]) -> tuple[str, ...]:
    """Choices with the letters that stand beside their boxes.

    Examples
    --------
    >>> lettered(("same", "different"))
    ('a  same', 'b  different')
    """
    return tuple(f"{letter}  {choice}" for letter, choice in zip(LETTERS, choices, strict=False))
