"""Statements into words: the only place where `pianolab.statements` become sentences, by templates kept as data."""

from pianolab.words.language import Language, Told, english, load_language, say
from pianolab.words.writing import (
    as_sentence,
    keys_in_words,
    listed,
    lower_first,
    upper_first,
    with_stop,
    without_stop,
)

__all__ = [
    "Language",
    "Told",
    "as_sentence",
    "english",
    "keys_in_words",
    "listed",
    "load_language",
    "lower_first",
    "say",
    "upper_first",
    "with_stop",
    "without_stop",
]
