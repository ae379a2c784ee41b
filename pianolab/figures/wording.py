"""The words of a chart: the one sentence that it shows of the keys, and text in the form that plotly takes.

Markup is taken literally, long lines are broken; lists are `pianolab.words.listed`.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from html import escape
from statistics import median

from pianolab.figures.key_plan import KeyPoint, KeySeries
from pianolab.keyboard import register_of
from pianolab.statements import Statement, statement
from pianolab.words import listed as listed
from pianolab.words import say

ENOUGH, FEW = 0.5, 3
"""From this share of its keys on an instrument is said something of, and up to so many keys are named; own choice."""
TREBLE_FROM, TOP_FROM = 52, 76
"""The treble, and the top octave and a bit (from C7 up)."""
LONGER, ENOUGH_KEYS = 1.1, 6
"""One sings longer where half of the keys that tell both do so by a tenth, and at least six tell; own choice."""
Judge = Callable[[KeyPoint], bool]


def known_share(s: KeySeries, *, first_key: int = 1, tells: Judge = lambda _: True) -> float:
    """The share of an instrument's keys from one key up that tell something."""
    points = [p for p in s.points if p.key >= first_key]
    keys = len(points) + sum(g.key >= first_key for g in s.gaps)
    return sum(tells(p) for p in points) / keys if keys else 0.0


def marked_message(
    series: Sequence[KeySeries], about: str, *, marked: Judge, asked: Judge = lambda _: True
) -> str:
    """On which instrument most keys are marked, and where; or that none is; or that nothing is known.

    Parameters
    ----------
    series : the instruments of a chart
    about : names the words, such as ``unison``
    marked : what counts
    asked : keys of which an answer can be asked (a treble key has no damper)
    """
    series = [s for s in series if not s.quiet]
    known = [s for s in series if _known_enough(s, asked)]
    unknown = [s.mark.name for s in series if s not in known]
    if not known:
        return say(statement(f"chart.{about}.unknown"))
    counts = {s.mark.name: [p.key for p in s.points if marked(p)] for s in known}
    return say(_and_unknown(_marked(about, counts), unknown))


def _known_enough(s: KeySeries, asked: Judge) -> bool:
    gaps = [g for g in s.gaps if asked(KeyPoint(key=g.key, value=0.0, kind="measured"))]
    told = sum(asked(p) for p in s.points)
    return told > 0 and told >= ENOUGH * (told + len(gaps))


def _marked(about: str, keys_of: dict[str, list[int]]) -> Statement:
    name = max(keys_of, key=lambda n: len(keys_of[n]))
    keys = keys_of[name]
    if not keys:
        return statement(f"chart.{about}.none")
    which = "most" if any(k for n, k in keys_of.items() if n != name) else "only"
    return some_keys(f"{about}.{which}", keys, name=name)


def some_keys(about: str, keys: Sequence[int], *, name: str) -> Statement:
    """What is said of some keys of an instrument: which they are where they are few, else how many and where most are."""
    if len(keys) <= FEW:
        return statement(f"chart.{about} at", name=name, keys=tuple(sorted(keys)))
    if place := place_of(keys):
        return statement(f"chart.{about} in", name=name, count=len(keys), register=place)
    return statement(f"chart.{about}", name=name, count=len(keys))


def place_of(keys: Sequence[int]) -> str:
    """The register that most of some keys belong to; empty where they stand all over the keyboard.

    Examples
    --------
    >>> place_of([60, 61, 20]), place_of([60, 20])
    ('treble', '')
    """
    where = [register_of(k) for k in keys]
    most = max(sorted(set(where)), key=where.count, default="")
    return most if 2 * where.count(most) > len(keys) else ""


def _and_unknown(message: Statement, unknown: Sequence[str]) -> Statement:
    return statement("chart.not known of", message=message, unknown=tuple(unknown)) if unknown else message


def sings_longest(series: Sequence[KeySeries], tells: Judge) -> str:
    """Which sings longest in the treble, key by key against each of the others; never of one that is hardly known."""
    series = [s for s in series if not s.quiet]
    known = [s for s in series if known_share(s, first_key=TREBLE_FROM, tells=tells) >= ENOUGH]
    if len(series) < 2:
        return ""
    unknown = [s.mark.name for s in series if s not in known]
    if len(known) < 2 or len(known) < ENOUGH * len(series):
        return say(statement("chart.decay.unknown"))
    first = next((s for s in known if all(_longer(s, o, TREBLE_FROM) for o in known if o is not s)), None)
    if first is None:
        return say(_and_unknown(statement("chart.decay.none"), unknown))
    beaten = any(_longer(o, first, TOP_FROM) for o in known if o is not first)
    kind = "chart.decay.first but at the top" if beaten else "chart.decay.first"
    return say(_and_unknown(statement(kind, name=first.mark.name), unknown))


def _longer(s: KeySeries, other: KeySeries, first_key: int) -> bool:
    """Whether an instrument's keys sing longer than the same keys of another, taking bounds by their unfavourable side."""
    theirs = {p.key: p for p in other.points}
    ratios = []
    for p in s.points:
        o = theirs.get(p.key)
        if p.key < first_key or o is None or p.kind not in ("measured", "fault", "at least"):
            continue
        if o.kind in ("measured", "fault", "at most") or (o.kind == "at least" and o.value >= p.value):
            ratios.append(p.value / o.value)
    return len(ratios) >= ENOUGH_KEYS and median(ratios) >= LONGER


HOVER_CHARS = 48
"""How long a line of a hover may be, so that it fits beside the pointer on a small screen."""


def plain(text: object) -> str:
    """Text as plotly shall show it: its own markup taken literally."""
    return escape(str(text), quote=False)


def strong(text: object) -> str:
    """Text in bold as plotly shows it, its own markup taken literally.

    Examples
    --------
    >>> strong("A < B")
    '<b>A &lt; B</b>'
    """
    return f"<b>{plain(text)}</b>"


def lines(*parts: str) -> str:
    """Hover text from its lines, empty ones left out; each is taken literally, and long ones are broken.

    Examples
    --------
    >>> lines("A4", "", "1 < 2")
    'A4<br>1 &lt; 2'
    >>> lines("not heard, because these keys were not played in the recording")
    'not heard, because these keys were not played in<br>the recording'
    """
    return "<br>".join(
        plain(p) if len(p) <= HOVER_CHARS else wrapped(p, width=HOVER_CHARS) for p in parts if p
    )


def wrapped(text: str, *, width: int) -> str:
    """Text broken into lines of about ``width`` characters for an axis or a label.

    Examples
    --------
    >>> wrapped("tune and record again", width=10)
    'tune and<br>record<br>again'
    """
    out: list[str] = []
    for word in text.split():
        if out and len(out[-1]) + 1 + len(word) <= width:
            out[-1] += " " + word
        else:
            out.append(word)
    return "<br>".join(plain(line) for line in out)


def keys_are(n: int) -> str:
    """The verb for a number of keys.

    Examples
    --------
    >>> keys_are(1), keys_are(2)
    ('key is', 'keys are')
    """
    return "key is" if n == 1 else "keys are"


def signed(value: float, *, digits: int = 0) -> str:
    """A number with its sign, the minus as a printer sets it.

    Examples
    --------
    >>> signed(-3.26, digits=1), signed(4.0)
    ('−3.3', '+4')
    """
    return f"{value:+.{digits}f}".replace("-", "−")
