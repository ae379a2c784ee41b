"""A map of the keyboard: for every kind of fault a lane over the keys, with what was found and what was not judged."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from pianolab.acoustics.survey_result import FAULTS, Survey
from pianolab.checklist.points import Checklist
from pianolab.errors import BadInput
from pianolab.figures import look, wording
from pianolab.figures.keyboard_drawing import add_lane_words, lanes_figure
from pianolab.figures.look import Theme
from pianolab.figures.sheet import Plan, Sheet, drawing
from pianolab.figures.wording import some_keys
from pianolab.keyboard import is_black, note_name
from pianolab.model import Finding, Piano
from pianolab.show import Row
from pianolab.statements import Statement, statement
from pianolab.words import say

LANE_PX = 38
NOT_JUDGED_ALPHA = {"light": 0.45, "dark": 0.75}
NOT_JUDGED_WORDS = "grey squares: not judged; point at one for the reason"
FAULT_WORDS: dict[str, str] = {
    "silent": "no sound",
    "off_pitch": "off pitch",
    "unison": "one string off",
    "short_sustain": "dies too soon",
    "damper": "damper slow",
    "buzz": "buzz",
    "voicing": "stands out",
}
FAULT_SYMBOL: dict[str, str] = {
    "silent": "x",
    "off_pitch": "diamond",
    "unison": "cross",
    "short_sustain": "triangle-down",
    "damper": "square",
    "buzz": "star",
    "voicing": "triangle-up",
}
SEEN = "by eye and hand"
NO_KEY = "judged on no key"
UNKNOWN = "not recorded, and no finding names a key: unknown"


@dataclass(frozen=True, kw_only=True)
class KeyNote:
    """One mark on the map: a fault found on a key, or a fault that could not be judged there, and why."""

    key: int
    lane: str
    found: bool
    words: str


@dataclass(frozen=True, kw_only=True, repr=False)
class KeyboardPlan(Plan):
    """Marks over the real keyboard of one piano; ``lanes`` from top to bottom, ``tested`` keys judged per lane."""

    first_key: int
    last_key: int
    lanes: tuple[str, ...]
    tested: dict[str, int]
    notes: tuple[KeyNote, ...]
    header = ("key", "note", "what", "found", "words")

    def rows(self) -> list[Row]:
        order = sorted(self.notes, key=lambda n: (n.key, not n.found, n.lane))
        return [
            (n.key, note_name(n.key), n.lane, "found" if n.found else "not judged", n.words) for n in order
        ]

    def lane_name(self, lane: str) -> str:
        return lane


def plan_keyboard(
    piano: Piano,
    *,
    survey: Survey | None = None,
    findings: Sequence[Finding] = (),
    checklist: Checklist | None = None,
) -> KeyboardPlan:
    """Plan of the keyboard map of one piano.

    Parameters
    ----------
    piano : gives the real compass
    survey : faults heard and faults that could not be judged, per key; None where nothing was recorded
    findings : findings that name keys make the lane ``by eye and hand``
    checklist : for the titles of the points; ids are shown where None

    Returns
    -------
    KeyboardPlan; a key without any mark in a lane was tested and nothing was found
    """
    keys = range(piano.first_key, piano.last_key + 1)
    heard = list(_heard(survey)) if survey is not None else []
    seen = list(_seen(findings, checklist))
    notes = tuple(n for n in [*heard, *seen] if n.key in keys)
    lanes = tuple(FAULT_WORDS[f] for f in FAULTS) if survey is not None else ()
    lanes += (SEEN,) if seen else ()
    open_keys = {lane: {n.key for n in notes if n.lane == lane and not n.found} for lane in lanes}
    rows = len(keys) if survey is None else sum(int(r["key"]) in keys for r in survey.key_rows())
    tested = {lane: rows - len(open_keys[lane]) for lane in lanes if lane != SEEN}
    return KeyboardPlan(
        title=say(_message(notes, tested, piano.name)),
        alt=_alt(notes, lanes, tested, len(keys), heard=survey is not None),
        first_key=piano.first_key,
        last_key=piano.last_key,
        lanes=lanes,
        tested=tested,
        notes=notes,
    )


def _message(notes: Sequence[KeyNote], tested: Mapping[str, int], name: str) -> Statement:
    """On which keys something was found, by ear, by eye or by hand."""
    if keys := sorted({n.key for n in notes if n.found}):
        return some_keys("keyboard.some", keys, name=name)
    told = any(tested.values()) or any(n.lane == SEEN for n in notes)
    return statement(f"chart.keyboard.{'none' if told else 'unknown'}", name=name)


def _heard(survey: Survey) -> Iterable[KeyNote]:
    for row in survey.key_rows():
        key, found = int(row["key"]), row["faults"]
        for fault in found:
            if fault not in FAULT_WORDS:
                raise BadInput(f"key {key}", f"fault {fault!r}", "one of " + ", ".join(FAULTS))
            yield KeyNote(key=key, lane=FAULT_WORDS[fault], found=True, words="heard in the recording")
        for fault, reason in _not_judged(row, found).items():
            yield KeyNote(key=key, lane=FAULT_WORDS[fault], found=False, words=reason or "no reason recorded")


def _not_judged(row: Mapping[str, Any], found: Sequence[str]) -> dict[str, str]:
    """Faults that were not judged on a key, with reasons; a key that was not measured was judged for nothing else."""
    status = str(row.get("status") or "unclear")
    silence = {} if status == "measured" else dict.fromkeys(FAULTS, f"key is {status}")
    named = silence | row["not_judged"]
    return {fault: reason for fault, reason in named.items() if fault in FAULT_WORDS and fault not in found}


def _seen(findings: Sequence[Finding], checklist: Checklist | None) -> Iterable[KeyNote]:
    for f in findings:
        title = checklist[f.point].title if checklist is not None and f.point in checklist else f.point
        value = f"grade {f.grade} of 5" if f.grade is not None else ""
        words = ": ".join(filter(None, [title, value, f.note or f.reason]))
        for key in f.keys:
            yield KeyNote(key=key, lane=SEEN, found=f.state == "checked", words=words)


def _alt(
    notes: tuple[KeyNote, ...], lanes: tuple[str, ...], tested: dict[str, int], keys: int, *, heard: bool
) -> str:
    if not lanes:
        return "Nothing was recorded and no finding names a key: the keyboard is unknown, not faultless."
    said = []
    for lane in lanes:
        found = sorted({n.key for n in notes if n.lane == lane and n.found})
        if found:
            few = ", ".join(note_name(k) for k in found[:4]) + (" …" if len(found) > 4 else "")
            said.append(f"{lane} on {len(found)} ({few})")
    none = "none found" if any(tested.values()) or SEEN in lanes else "nothing could be judged"
    text = "Marks on the keyboard: " + (wording.listed(said) if said else none) + "."
    blind = {lane: keys - n for lane, n in tested.items() if n < keys}
    if not heard:
        return text + " Nothing was recorded, so no key was judged by ear."
    if not blind:
        return text + " All keys could be judged for everything."
    text += " Grey means not judged."
    # What no recording of single blows tells would else hide what this one left open.
    never = [lane for lane, n in blind.items() if n == keys]
    text += f" On no key told by this recording: {wording.listed(never)}." if never else ""
    some = {lane: n for lane, n in blind.items() if lane not in never}
    if not some:
        return text
    worst = max(some, key=lambda lane: some[lane])
    return text + f" Left open on up to {some[worst]} of {keys} keys (most for: {worst})."


@drawing
def draw_keyboard(plan: KeyboardPlan, theme: str = "light", *, bare: bool = False) -> Sheet:
    """The plan as a figure: lanes in words over the drawn keyboard."""
    look_of = look.theme_of(theme)
    n = len(plan.lanes)
    grey = not bare and any(not note.found for note in plan.notes)
    fig = lanes_figure(
        plan,
        look_of,
        lanes_px=LANE_PX * n,
        lanes={"range": [n - 0.7, -0.7], "tickvals": list(range(n))},
        bare=bare,
        below=NOT_JUDGED_WORDS if grey else "",
    )
    for i, lane in enumerate(plan.lanes):
        _draw_lane(fig, plan, lane, i, look_of)
    _mark_keys(fig, plan, look_of)
    if not n:
        fig.add_annotation(
            xref="paper",
            x=0,
            xanchor="left",
            yref="paper",
            y=1,
            yanchor="bottom",
            text=UNKNOWN,
            font={"size": 12, "color": look_of.alarm},
        )
    _lane_words(fig, plan, look_of)
    return fig


def _draw_lane(fig: Sheet, plan: KeyboardPlan, lane: str, i: int, theme: Theme) -> None:
    symbol = next((FAULT_SYMBOL[f] for f, words in FAULT_WORDS.items() if words == lane), "circle")
    for found in (False, True):
        notes = [n for n in plan.notes if n.lane == lane and n.found == found]
        if not notes:
            continue
        marker = (
            {
                "symbol": symbol,
                "size": 9,
                "color": look.OKABE_ITO["vermillion"],
                "line": {"color": theme.ink, "width": 1},
            }
            if found
            else {
                "symbol": "square",
                "size": 8,
                "color": look.faded(theme.faint, NOT_JUDGED_ALPHA[theme.name]),
                "line": {"width": 0},
            }
        )
        fig.add(
            "scatter",
            x=[n.key for n in notes],
            y=[i] * len(notes),
            yaxis="y2",
            mode="markers",
            marker=marker,
            name=lane,
            hoverinfo="text",
            hovertext=[
                wording.lines(
                    f"{note_name(n.key)} (key {n.key})", lane if found else f"{lane}: not judged", n.words
                )
                for n in notes
            ],
        )


def _lane_words(fig: Sheet, plan: KeyboardPlan, theme: Theme) -> None:
    """What was found and how much could be judged, in words over every lane."""
    for i, lane in enumerate(plan.lanes):
        found = len({n.key for n in plan.notes if n.lane == lane and n.found})
        judged = f", {plan.tested[lane]} keys judged" if lane in plan.tested else ""
        said = f"{found or 'none'} found{judged}" if found or plan.tested.get(lane, 1) else NO_KEY
        colour = theme.ink if found else theme.muted
        add_lane_words(fig, f"{wording.strong(lane)}  {said}", y=i - 0.2, colour=colour, size=11)
    fig.add("scatter", x=[None], y=[0], yaxis="y2", mode="markers", hoverinfo="skip", showlegend=False)


def _mark_keys(fig: Sheet, plan: KeyboardPlan, theme: Theme) -> None:
    keys = sorted({n.key for n in plan.notes if n.found})
    if not keys:
        return
    fig.add(
        "scatter",
        x=keys,
        y=[0.68 if is_black(k) else 0.18 for k in keys],
        yaxis="y",
        mode="markers",
        hoverinfo="skip",
        showlegend=False,
        marker={
            "symbol": "circle",
            "size": 7,
            "color": look.OKABE_ITO["vermillion"],
            "line": {"color": theme.paper, "width": 1},
        },
    )
