"""Leaving out names, addresses or prices before anything is written."""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, fields, is_dataclass, replace
from datetime import datetime
from decimal import Decimal
from typing import Any, Literal, TypeVar

from pianolab.compare.comparison import Comparison
from pianolab.errors import BadInput
from pianolab.model import Buyer, Comparable, Finding, Piano, load_profiles
from pianolab.report.further import Further
from pianolab.report.photos_and_clips import Picture, provenance_name
from pianolab.statements import Money, Statement, with_changed_values

LEFT_OUT, AMOUNT_LEFT_OUT = "left out", "[amount left out]"
LEAST_WORD, MOST_WORDS, LEAST_PRICE = 4, 4, 100
Change = Callable[[str], str]
LeaveOut = Literal["names", "addresses", "prices"]
CHOICES = ("names", "addresses", "prices")
NOBODY = "this buyer"
T = TypeVar("T")


@dataclass(frozen=True, kw_only=True)
class Content:
    """Everything a page is made of that may hold what somebody wants left out."""

    comparison: Comparison
    findings: dict[str, tuple[Finding, ...]]
    provenance: dict[str, str]
    photos: dict[str, tuple[Picture, ...]] = field(default_factory=dict)
    further: tuple[Further, ...] = ()
    private: tuple[str, ...] = ()


def check_choices(leave_out: Sequence[str]) -> frozenset[str]:
    """The choices as a set; `BadInput` for an unknown one.

    Parameters
    ----------
    leave_out : what to leave out, by name

    Returns
    -------
    frozenset of str
    """
    words = [leave_out] if isinstance(leave_out, str) else leave_out
    strange = [word for word in words if word not in CHOICES]
    if strange or isinstance(leave_out, str):
        got = ", ".join(map(repr, strange)) or f"{leave_out!r} by itself"
        raise BadInput("leave_out", got, "some of " + ", ".join(CHOICES), "A list of words, without blanks.")
    return frozenset(leave_out)


def redact(content: Content, leave_out: Sequence[str]) -> Content:
    """The same content without what shall be left out.

    Names: instruments become ``Piano A``, ``Piano B``, …; sellers, serial numbers, examiners, photos, notes, promises,
    what is ``private``, and the buyer's name and description go. Addresses: they and their parts go, wherever one is written in a
    text. Prices: amounts in texts go (the page leaves out its money sections besides).

    What people wrote themselves (reasons, places, captions) is searched for single words of a name, of an address and
    for bare prices too, in small letters or capitals; the page's own words are not, so that a seller called Key takes
    no keys away, and nobody called May any "may".
    """
    gone = check_choices(leave_out)
    if not gone:
        return content
    pianos = [a.piano for a in content.comparison.assessments]
    findings = {i: tuple(_finding(f, gone) for f in found) for i, found in content.findings.items()}
    everywhere, in_own_words = _edits(content, pianos, gone)
    own = {text: in_own_words(text) for text in _own_words(findings, content.photos)}
    whole = swap({text: made for text, made in own.items() if made != text})

    def edit(value: Any) -> Any:
        if isinstance(value, Money):
            return AMOUNT_LEFT_OUT if "prices" in gone else value
        return everywhere(whole(value))

    photo_lines = {provenance_name(p.name) for p in pianos} if "names" in gone else set()
    comparison = _edited(content.comparison, edit)
    kept = tuple(replace(a, piano=_piano(a.piano, gone)) for a in comparison.assessments)
    comparison = replace(comparison, assessments=kept)
    if "names" in gone:
        comparison = replace(comparison, profile=_nobody(comparison.profile))
    return Content(
        comparison=comparison,
        findings={i: tuple(_edited_finding(f, in_own_words) for f in found) for i, found in findings.items()},
        provenance={edit(k): edit(v) for k, v in content.provenance.items() if k not in photo_lines},
        further=tuple(_edited(f, edit) for f in content.further if not _drops(f, gone)),
        photos={}
        if "names" in gone
        else {i: _photos(given, in_own_words) for i, given in content.photos.items()},
    )


def _edits(content: Content, pianos: Sequence[Piano], gone: frozenset[str]) -> tuple[Change, Change]:
    """What is changed in every text, and what in texts that people wrote themselves."""
    everywhere: list[Change] = []
    own: list[Change] = []
    if "names" in gone:
        pairs = _name_pairs(pianos, content)
        people = set(pairs) - {p.name for p in pianos}
        said = {" ".join(f.promised.split()) for found in content.findings.values() for f in found}
        everywhere.append(swap(dict.fromkeys(said - {""}, LEFT_OUT)))
        everywhere.append(swap(pairs, exact=people))
        own.append(swap(pairs | words_of(people)))
    if "addresses" in gone:
        parts = dict.fromkeys((part for p in pianos for part in address_parts(p.address)), LEFT_OUT)
        everywhere.append(swap({p.address: LEFT_OUT for p in pianos if p.address.strip()}))
        own.append(swap(parts))
    if "prices" in gone:
        codes = {content.comparison.profile.currency, *(p.currency for p in pianos)}
        everywhere.append(lambda text: without_amounts(text, codes))
        bare = dict.fromkeys((form for p in pianos for form in price_forms(p.asking_price)), AMOUNT_LEFT_OUT)
        own.append(swap(bare))
    return one_after_the_other(everywhere), one_after_the_other([*everywhere, *own])


def _own_words(
    findings: Mapping[str, Sequence[Finding]], photos: Mapping[str, Sequence[Picture]]
) -> set[str]:
    said = {t for found in findings.values() for f in found for t in (f.reason, f.place, f.note, f.promised)}
    return {t for t in said | {p.caption for given in photos.values() for p in given} if t.strip()}


def _name_pairs(pianos: Sequence[Piano], content: Content) -> dict[str, str]:
    examiners = {f.examiner for found in content.findings.values() for f in found}
    private = {*examiners, *content.private, *(p.seller for p in pianos), *(p.serial for p in pianos)}
    pairs = {w.strip(): LEFT_OUT for w in private if w.strip()}
    buyer = content.comparison.profile
    pairs |= {} if buyer.name in load_profiles() else {buyer.name: NOBODY}
    return pairs | {p.name: f"Piano {'ABCDEFGH'[i % 8]}" for i, p in enumerate(pianos)}


def _finding(f: Finding, gone: frozenset[str]) -> Finding:
    """What goes as a whole: free text that may name anybody, and who wrote it."""
    return replace(f, examiner="", note="", promised="") if "names" in gone else f


def _edited_finding(f: Finding, edit: Change) -> Finding:
    return replace(
        f, note=edit(f.note), reason=edit(f.reason), place=edit(f.place), promised=edit(f.promised)
    )


def _nobody(profile: Buyer) -> Buyer:
    """A buyer without a name, but for those that come with pianolab: they name nobody."""
    known = profile.name in load_profiles()
    return replace(profile, name=profile.name if known else NOBODY, description="")


def _drops(f: Further, gone: frozenset[str]) -> bool:
    return (f.about_money and "prices" in gone) or (f.names_people and "names" in gone)


def _photos(photos: Sequence[Picture], edit: Change) -> tuple[Picture, ...]:
    return tuple(replace(p, caption=edit(p.caption)) for p in photos)


def _piano(p: Piano, gone: frozenset[str]) -> Piano:
    if "names" in gone:
        p = replace(p, seller="", serial="", note="")
    if "addresses" in gone:
        p = replace(p, address="", note="")
    if "prices" in gone:
        p = replace(p, asking_price=None, note="")
    return p


_KEPT = {
    "chart_of",
    "id",
    "piano_id",
    "source",
    "kind",
    "aspect",
    "currency",
    "confirm_by",
    "how_sure",
    "effort",
    "job",
}


def _edited(value: T, edit: Callable[[Any], Any]) -> T:
    """A copy of a record with every free text and every amount that is said edited; ids and code words stay."""
    out: Any = value
    if isinstance(value, str):
        out = edit(value)
    elif isinstance(value, Comparable):
        out = replace(value, place="", note="")  # the page shows neither
    elif isinstance(value, Statement):
        out = with_changed_values(value, edit)
    elif isinstance(value, tuple):
        out = tuple(_edited(v, edit) for v in value)
    elif is_dataclass(value) and not isinstance(value, type):
        changes = {
            f.name: _edited(getattr(value, f.name), edit) for f in fields(value) if f.name not in _KEPT
        }
        out = replace(value, **changes)
    elif isinstance(value, (Decimal, datetime)):
        out = value
    return out


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
