"""How long each key sings: `decay_20_s` over the keys, all instruments in one panel.

Notes hidden by a bad unison have the kind ``masked``; only what was measured is summed up.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from statistics import median

from pianolab.acoustics.survey_result import Survey
from pianolab.figures.column_chart import BOUND_KIND, Measure, Row
from pianolab.figures.key_chart import draw_over_keys
from pianolab.figures.key_plan import KeyPoint, KeySeries
from pianolab.figures.look import Kind
from pianolab.figures.messages import TREBLE_FROM, sings_longest
from pianolab.figures.wording import keys_are, listed
from pianolab.keyboard import note_name


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


def _told(p: KeyPoint) -> bool:
    return p.kind in ("measured", "fault")


def _message(series: Sequence[KeySeries]) -> str:
    return sings_longest(series, _told)


DECAY = Measure(column="decay_20_s", say=_say, words=_words, kind=_kind, message=_message)

plan_decay, draw_decay = DECAY.plan, draw_over_keys
