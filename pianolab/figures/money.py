"""Amounts in words; the one function that writes them stands in `pianolab.show`."""

from pianolab.show import NOT_KNOWN as UNKNOWN
from pianolab.show import about, money

__all__ = ["UNKNOWN", "about", "money"]
