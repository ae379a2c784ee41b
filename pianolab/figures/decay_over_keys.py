"""How long each key sings: `decay_20_s` over the keys, all instruments in one panel.

Notes hidden by a bad unison have the kind ``masked``; only what was measured is summed up.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from statistics import median

from pianolab.acoustics.results import Survey
from pianolab.figures.key_chart import draw_over_keys
from pianolab.figures.key_plan import KeySeries
from pianolab.figures.look import Kind
from pianolab.figures.measures import BOUND_KIND, Measure, Row
from pianolab.figures.wording import keys_are, listed
from pianolab.keyboard import note_name

TREBLE_FROM = 52


def _kind(row: Row) -> Kind:
    if bound := BOUND_KIND.get(str(row.get("decay_20_bound"))):
        return bound
    return "masked" if str(row.get("sustain_trust") or "") == "masked by unison" else "measured"


def _words(row: Row) -> Sequence[str]:
    trust, verdict = str(row.get("sustain_trust") or ""), str(row.get("sustain_verdict") or "")
    return (f"trust: {trust}" if trust not in ("", "ok") else "", f"verdict: {verdict}" if verdict else "")


def _say(series: Sequence[KeySeries], _: Mapping[str, Survey]) -> str:
    said = sorted((_treble_of(s) for s in series), reverse=True)
    text = f"Typical treble note (from {note_name(TREBLE_FROM)} up) falls 20 dB in: {listed(words for _, words in said)}."
    masked, at_least, at_most = (_count(series, kind) for kind in ("masked", "at least", "at most"))
    short, gaps = _count(series, "fault"), sum(len(s.gaps) for s in series)
    parts = [f"{short} {keys_are(short)} flagged as too short" if short else "No key is flagged as too short"]
    parts += [f"{masked} {keys_are(masked)} hidden by bad unisons"] if masked else []
    parts += [f"{at_least} known only as a lower bound"] if at_least else []
    parts += [f"{at_most} only as an upper bound (the room rings on)"] if at_most else []
    parts += [f"{gaps} without a value"] if gaps else []
    text += f" {listed(parts)}."
    return text


def _count(series: Sequence[KeySeries], kind: Kind) -> int:
    return sum(len(s.values(kind)) for s in series)


def _treble_of(s: KeySeries) -> tuple[float, str]:
    """The middle of what can be judged in the treble, and the words; nothing is summed up from a few keys."""
    values = [p.value for p in s.points if p.key >= TREBLE_FROM and p.kind in ("measured", "fault")]
    keys = sum(k >= TREBLE_FROM for k in (*(p.key for p in s.points), *(g.key for g in s.gaps)))
    if values and 2 * len(values) >= keys:
        return median(values), f"{s.mark.letter} {median(values):.1f} s"
    return -1.0, f"{s.mark.letter} not known (only {len(values)} of {keys} keys can be judged)"


TOP_FROM = 76
"""The top octave and a bit, from C7 up."""
LONGER, ENOUGH_KEYS = 1.1, 6
"""One sings longer where half of the keys that tell both do so by a tenth, and at least six tell; own choice."""


def _message(series: Sequence[KeySeries]) -> str:
    """Which sings longest in the treble, key by key against each of the others; never of one that is hardly known."""
    known = [s for s in series if not s.quiet and _treble_of(s)[0] >= 0.0]
    if len(known) < 2 or len(known) < len([s for s in series if not s.quiet]) / 2:
        return ""
    first = next((s for s in known if all(_longer(s, o, TREBLE_FROM) for o in known if o is not s)), None)
    if first is None:
        return "None clearly sings longest in the treble"
    beaten = any(_longer(o, first, TOP_FROM) for o in known if o is not first)
    unknown = [s.mark.name for s in series if s not in known and not s.quiet]
    return (
        f"{first.mark.name} sings longest in the treble"
        + (", except at the top" if beaten else "")
        + (f"; of {listed(unknown)} it is not known" if unknown else "")
    )


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


DECAY = Measure(column="decay_20_s", say=_say, words=_words, kind=_kind, message=_message)

plan_decay, draw_decay = DECAY.plan, draw_over_keys
