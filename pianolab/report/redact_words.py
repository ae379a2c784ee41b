"""What names, addresses and prices look like in a text, and how they are taken out of it."""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from decimal import Decimal

LEFT_OUT, AMOUNT_LEFT_OUT = "left out", "[amount left out]"
LEAST_WORD, MOST_WORDS, LEAST_PRICE = 4, 4, 100

Change = Callable[[str], str]


def one_after_the_other(changes: Sequence[Change]) -> Change:
    def change(text: str) -> str:
        for c in changes:
            text = c(text)
        return text

    return change


def words_of(names: Iterable[str]) -> dict[str, str]:
    """Single words of short names: four letters or more with a capital in front, or with a digit, so that no "the" goes.

    Examples
    --------
    >>> words_of(["Marta Quill of Mill"])
    {'Marta': 'left out', 'Quill': 'left out', 'Mill': 'left out'}
    """
    words = (w for name in names if len(name.split()) <= MOST_WORDS for w in re.findall(r"\w+", name))
    return {
        w: LEFT_OUT for w in words if len(w) >= LEAST_WORD and (w[0].isupper() or any(c.isdigit() for c in w))
    }


def address_parts(address: str) -> list[str]:
    """An address, its lines, and each without its numbers.

    Examples
    --------
    >>> address_parts("12 Lime Row, Linz")
    ['12 Lime Row, Linz', '12 Lime Row', 'Lime Row', 'Linz']
    """
    lines = [part.strip() for part in re.split(r"[,;\n]", address)]
    bare = [re.sub(r"\b\d+\w?\b", "", part).strip(" .-") for part in lines]
    found = [address.strip(), *(w for pair in zip(lines, bare, strict=True) for w in pair)]
    return list(dict.fromkeys(w for w in found if len(w) >= LEAST_WORD))


def price_forms(price: Decimal | None) -> list[str]:
    """How somebody may have written a price without its unit.

    Examples
    --------
    >>> price_forms(Decimal("1700"))[:3]
    ['1700', '1,700', '1.700']
    """
    if price is None or price < LEAST_PRICE:
        return []
    grouped = f"{price:,.0f}"
    marks = (",", ".", "'", "’", " ", "\u00a0", "\u202f")
    return list(dict.fromkeys([f"{price:.0f}", *(grouped.replace(",", m) for m in marks)]))


def swap(pairs: Mapping[str, str], *, exact: Collection[str] = ()) -> Change:
    """Puts other words in the place of these, longest first, as whole words; ``exact`` ones only as they are written.

    Examples
    --------
    >>> swap({"May": "left out", "Mill Lane": "Piano A"}, exact=["May"])("May says the mill lane may buzz")
    'left out says the Piano A may buzz'
    """
    words = sorted((w for w in pairs if w), key=len, reverse=True)
    if not words:
        return lambda text: text
    lower = {w.casefold(): pairs[w] for w in words}
    pattern = re.compile("|".join(_alternative(w, exact=w in exact) for w in words), re.IGNORECASE)
    return lambda text: pattern.sub(lambda m: lower.get(m.group().casefold(), LEFT_OUT), text)


def _alternative(word: str, *, exact: bool) -> str:
    own = f"(?-i:{re.escape(word)})" if exact else re.escape(word)
    return rf"(?<!\w){own}(?!\w)" if word[0].isalnum() and word[-1].isalnum() else own


def without_amounts(text: str, codes: set[str]) -> str:
    unit = "|".join([*map(re.escape, codes), "[€$£¥₣]"])
    amount = r"\d[\d.,'’\u00a0\u202f ]*\d|\d"
    span = rf"(?:{amount})(?:\s*(?:to|–|-|and)\s*(?:{unit})?\s*(?:{amount}))?"
    return re.sub(rf"(?:{unit})\s*(?:{span})|(?:{span})\s*(?:{unit})", AMOUNT_LEFT_OUT, text)
