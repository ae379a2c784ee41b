"""Numbers as people type them into a form: with a comma, with blanks, with the unit behind."""

from __future__ import annotations

import re
import unicodedata

THOUSANDS = re.compile(r"\d{1,3}([.,' \u2009\u00a0]\d{3})+")


def number_text(text: str, *units: str) -> str | None:
    """What was typed as a number that a record reads, or as it stands where it is none; None where nothing was.

    Parameters
    ----------
    text : what was typed
    units : words that may stand behind the number, such as ``cm``

    Examples
    --------
    >>> number_text(" 1,5 years", "years"), number_text("148cm", "cm"), number_text("  ")
    ('1.5', '148', None)
    """
    bare = text.strip()
    for unit in units:
        bare = re.sub(rf"\s*{re.escape(unit)}\.?$", "", bare, flags=re.IGNORECASE)
    return bare.replace(",", ".") or None


def money_text(text: str, currency: str) -> str | None:
    """A sum as typed; three figures behind a point or a comma are thousands, as prices are written.

    Examples
    --------
    >>> money_text("2.400", "EUR"), money_text("2,400.50", "EUR"), money_text("EUR 900,-", "EUR"), money_text("€ 12,5", "EUR")
    ('2400', '2400.50', '900', '12.5')
    """
    text = "".join(sign for sign in text if unicodedata.category(sign) != "Sc")
    bare = re.sub(
        rf"^\s*{currency}|{currency}$|[,.]?[-\u2013]+$", "", text.strip(), flags=re.IGNORECASE
    ).strip()
    whole, _, rest = bare.rpartition(".") if re.search(r"\.\d{1,2}$", bare) else (bare, "", "")
    if not rest and re.search(r",\d{1,2}$", bare):
        whole, _, rest = bare.rpartition(",")
    if THOUSANDS.fullmatch(whole):
        whole = re.sub(r"\D", "", whole)
    return (f"{whole}.{rest}" if rest else whole) or None
