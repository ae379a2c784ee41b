"""Charts over the keys with words of their own: unisons, tuning, brightness, decay, dampers.

Unisons: the band of what is usual ends where the summary begins to call them wide. Tuning: the distance is taken from
each instrument's own curve, so that a piano that is flat as a whole doesn't look like 88 faults; its offset as a whole is
said in the text alternative. Brightness: above the line a key is brighter than its neighbours, below it duller; 3 robust
deviations and more are worth listening to. Decay: notes hidden by a bad unison have the kind ``masked``; only what was
measured is summed up.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from statistics import median

from pianolab.acoustics.judging.tuning_need import wide_cents
from pianolab.acoustics.survey_result import Survey
from pianolab.figures.column_chart import BOUND_KIND, Measure, Row
from pianolab.figures.key_chart import draw_over_keys
from pianolab.figures.key_plan import KeyPoint, KeySeries
from pianolab.figures.look import Kind
from pianolab.figures.survey_cells import number
from pianolab.figures.wording import TREBLE_FROM, keys_are, listed, marked_message, signed, sings_longest
from pianolab.keyboard import note_name, usual_strings, usually_damped


def _unison_words(row: Row) -> Sequence[str]:
    beat, partial = number(row.get("beat_hz")), number(row.get("beat_partial"))
    where = f" in partial {partial:.0f}" if partial is not None else ""
    false_beat = usual_strings(int(row["key"])) == 1 and (number(row["unison_cents"]) or 0.0) > wide_cents()
    return (
        "" if beat is None else f"slowest clear beat {beat:.2f} Hz{where}",
        "usually a single string: a false beat" if false_beat else "",
    )


def _unison_say(series: Sequence[KeySeries], _: Mapping[str, Survey]) -> str:
    said = []
    for s in series:
        values = s.values()
        over = sum(v > wide_cents() for v in values)
        typical = f"{median(values):.1f} cents" if values else "not known"
        said.append(
            f"{s.mark.letter} {typical} ({over} of {len(values)} measured keys over {wide_cents():g} cents)"
        )
    return f"Typical distance of a key's strings: {listed(said)}. Up to {wide_cents():g} cents is usual some weeks after a tuning."


def _unison_message(series: Sequence[KeySeries]) -> str:
    return marked_message(series, "unison", marked=lambda p: p.value > wide_cents())


UNISON = Measure(column="unison_cents", say=_unison_say, words=_unison_words, message=_unison_message)

plan_unison, draw_unison = UNISON.plan, draw_over_keys


def _tuning_words(row: Row) -> Sequence[str]:
    cents = number(row.get("cents"))
    return () if cents is None else (f"{signed(cents, digits=1)} cents from equal temperament",)


def _tuning_say(series: Sequence[KeySeries], surveys: Mapping[str, Survey]) -> str:
    said = []
    for s, survey in zip(series, surveys.values(), strict=True):
        sizes = [abs(v) for v in s.values()]
        typical = f"{median(sizes):.1f} cents" if sizes else "not known"
        offset = survey.summary.offset_cents
        whole = f"{signed(offset)} cents" if offset is not None else "not known"
        off = len(s.values("fault"))
        out = f", {off} off pitch" if off else ""
        said.append(f"{s.mark.letter} {typical} (as a whole {whole} from A4{out})")
    return f"Typical distance of a key from the instrument's own curve: {listed(said)}."


def _tuning_message(series: Sequence[KeySeries]) -> str:
    low, high = TUNING.chart.usual or (0.0, 0.0)
    return marked_message(series, "tuning", marked=lambda p: p.kind == "fault" or not low <= p.value <= high)


TUNING = Measure(column="off_curve_cents", say=_tuning_say, words=_tuning_words, message=_tuning_message)

plan_tuning, draw_tuning = TUNING.plan, draw_over_keys


def _brightness_words(row: Row) -> Sequence[str]:
    db, sd = number(row.get("brightness_db")), number(row.get("brightness_db_sd"))
    spread = f" ± {sd:.1f}" if sd is not None else ""
    return () if db is None else (f"brightness {db:.1f}{spread} dB",)


def _brightness_say(series: Sequence[KeySeries], _: Mapping[str, Survey]) -> str:
    far = BRIGHTNESS.chart.usual or (0.0, 0.0)
    said = []
    for s in series:
        out = sum(not far[0] < v < far[1] for v in s.values())
        said.append(f"{s.mark.letter} {out or 'none'} of {len(s.points)} measured keys")
    text = f"Keys whose tone stands out from their neighbours' by {far[1]:g} spreads or more: {listed(said)}."
    return f"{text} Whether their hammers are the cause is not told from one blow."


def _brightness_message(series: Sequence[KeySeries]) -> str:
    low, high = BRIGHTNESS.chart.usual or (0.0, 0.0)
    return marked_message(series, "brightness", marked=lambda p: not low < p.value < high)


BRIGHTNESS = Measure(
    column="brightness_dev", say=_brightness_say, words=_brightness_words, message=_brightness_message
)

plan_brightness, draw_brightness = BRIGHTNESS.plan, draw_over_keys


def _kind(row: Row) -> Kind:
    if bound := BOUND_KIND.get(str(row.get("decay_20_bound"))):
        return bound
    return "masked" if str(row.get("sustain_trust") or "") == "masked by unison" else "measured"


def _decay_words(row: Row) -> Sequence[str]:
    trust, verdict = str(row.get("sustain_trust") or ""), str(row.get("sustain_verdict") or "")
    return (f"trust: {trust}" if trust not in ("", "ok") else "", f"verdict: {verdict}" if verdict else "")


def _decay_say(series: Sequence[KeySeries], _: Mapping[str, Survey]) -> str:
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


def _decay_message(series: Sequence[KeySeries]) -> str:
    return sings_longest(series, _told)


DECAY = Measure(column="decay_20_s", say=_decay_say, words=_decay_words, kind=_kind, message=_decay_message)

plan_decay, draw_decay = DECAY.plan, draw_over_keys


def _damper_kind(row: Row) -> Kind:
    """A damper that was flagged is flagged, whatever bound its time has."""
    if "damper" in row["faults"]:
        return "fault"
    return BOUND_KIND.get(str(row.get("release_bound") or "="), "measured")


def _damper_words(row: Row) -> Sequence[str]:
    return ("keys this high have no damper",) if usually_damped(int(row["key"])) is False else ()


def _damper_say(series: Sequence[KeySeries], _: Mapping[str, Survey]) -> str:
    said = []
    for s in series:
        values = s.values("measured", "fault")
        typical = f"{median(values):.2f} s" if values else "not known"
        slow = len(s.values("fault"))
        said.append(f"{s.mark.letter} {typical}" + (f" ({slow} {keys_are(slow)} too slow)" if slow else ""))
    return f"Typical time to stop a key once it is let go: {listed(said)}. The highest keys have no damper."


def _damper_message(series: Sequence[KeySeries]) -> str:
    return marked_message(
        series,
        "damper",
        marked=lambda p: p.kind == "fault",
        asked=lambda p: usually_damped(p.key) is not False,
    )


DAMPER = Measure(
    column="release_20_s", say=_damper_say, words=_damper_words, kind=_damper_kind, message=_damper_message
)

plan_damper, draw_damper = DAMPER.plan, draw_over_keys
