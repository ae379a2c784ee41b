"""Claimed faults to be judged by ear: clips of a key and of a sound one beside it, both from the same recording."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from html import escape
from pathlib import Path
from typing import Any

from pianolab.acoustics import Survey
from pianolab.acoustics.survey_result import FAULTS_BY_WEIGHT, rows_of
from pianolab.casebook import Casebook
from pianolab.errors import PianolabError
from pianolab.figures.keyboard_map import FAULT_WORDS
from pianolab.figures.survey_cells import number
from pianolab.io import Sound, read_sound
from pianolab.io.loudness import momentary_lufs
from pianolab.keyboard import note_name
from pianolab.report.photos_and_clips import ClaimClips, Clip
from pianolab.show import Row, Showable, html_figure
from pianolab.workflow.clips import LONGEST_S, Cut, cut_note, equally_loud
from pianolab.workflow.hearing import Heard

MOST_CLAIMS = 4
"""Of one piano, the worst of each kind before the second worst of any."""
FARTHEST_KEYS = 6
"""A sound key further away sounds different for its register."""
LONGEST_WITH_DAMPER_S = 5.0


@dataclass(frozen=True, kw_only=True)
class Measured:
    """What a fault rests on: its column, the words about the value, and the column that says whether it is a bound."""

    column: str
    words: str
    bound: str = ""
    signed: bool = False


RESTS_ON: Mapping[str, Measured] = {
    "short_sustain": Measured(
        column="decay_20_s", words="{} s to fall 20 dB, {} {} s", bound="decay_20_bound"
    ),
    "unison": Measured(column="unison_cents", words="its strings {} cents apart, those of {} {}"),
    "off_pitch": Measured(
        column="off_curve_cents", words="{} cents from this piano's own curve, {} {}", signed=True
    ),
    "damper": Measured(
        column="release_20_s", words="{} s to fall 20 dB once let go, {} {} s", bound="release_bound"
    ),
    "buzz": Measured(column="buzz_db", words="between its partials {} dB over the neighbours, {} {}"),
}
BOUND_WORDS = {">": "at least ", "<": "at most "}


@dataclass(frozen=True, kw_only=True)
class Claim:
    """A key with a fault and the sound key nearest to it; ``words`` say what was found on both."""

    key: int
    beside: int
    fault: str
    words: str


def claims_to_hear(survey: Survey, *, most: int = MOST_CLAIMS) -> tuple[Claim, ...]:
    """The claimed faults that can be heard beside a sound key, worst first, one of a key.

    A key is sound for a claim where nothing was found on it and that very fault was tested on it. A silent key has no
    sound, and a key without a sound one within `FARTHEST_KEYS` nothing to be held against: both are left out.

    Parameters
    ----------
    survey : Survey
    most : of these at most

    Returns
    -------
    tuple of Claim
    """
    rows = {int(r["key"]): r for r in rows_of(survey.table) if r["status"] == "measured"}
    by_kind = [_of_kind(fault, rows) for fault in FAULTS_BY_WEIGHT if fault in RESTS_ON]
    chosen: dict[int, Claim] = {}
    for place in range(max(map(len, by_kind), default=0)):
        for claim in (own[place] for own in by_kind if place < len(own)):
            chosen.setdefault(claim.key, claim)
    return tuple(list(chosen.values())[:most])


def _of_kind(fault: str, rows: Mapping[int, Mapping[str, Any]]) -> list[Claim]:
    """The claims of one fault, worst first."""
    found = [key for key, row in rows.items() if _weightiest(row["faults"]) == fault]
    found.sort(key=lambda key: (_mildness(fault, rows[key]), key))
    claims = []
    for key in found:
        beside = _sound_neighbour(key, fault, rows)
        if beside is not None:
            words = _words(fault, rows[key], rows[beside])
            claims.append(Claim(key=key, beside=beside, fault=fault, words=words))
    return claims


def _weightiest(faults: Sequence[str]) -> str:
    """The fault that a key is told by: a string that slipped pulls the key's pitch with it."""
    return next((f for f in FAULTS_BY_WEIGHT if f in faults), "")


def _sound_neighbour(key: int, fault: str, rows: Mapping[int, Mapping[str, Any]]) -> int | None:
    sound = [k for k, row in rows.items() if not row["faults"] and fault not in row["not_judged"]]
    near = [k for k in sound if abs(k - key) <= FARTHEST_KEYS]
    return min(near, key=lambda k: (abs(k - key), k), default=None)


def _mildness(fault: str, row: Mapping[str, Any]) -> float:
    """The less, the worse; what has no number comes last."""
    value = number(row[RESTS_ON[fault].column])
    if value is None:
        return float("inf")
    return value if fault == "short_sustain" else -abs(value)


def _words(fault: str, row: Mapping[str, Any], beside: Mapping[str, Any]) -> str:
    m = RESTS_ON[fault]
    own, other = _value(m, row), _value(m, beside)
    said = f"{note_name(int(row['key']))}: {FAULT_WORDS[fault]}"
    if not own or not other:
        return said
    return f"{said}; {m.words.format(own, note_name(int(beside['key'])), other)}"


def _value(m: Measured, row: Mapping[str, Any]) -> str:
    value = number(row[m.column])
    if value is None:
        return ""
    digits = 2 if m.column.endswith("_s") else 1
    sign = "+" if m.signed else ""
    return f"{BOUND_WORDS.get(str(row.get(m.bound, '')), '')}{value:{sign}.{digits}f}"


def claim_clips(sound: Sound, survey: Survey, *, most: int = MOST_CLAIMS) -> tuple[ClaimClips, ...]:
    """A pair of clips for each claim; both are made equally loud at their loudest, or a note that dies soon would be
    turned up for it."""
    made = []
    for claim in claims_to_hear(survey, most=most):
        longest_s = LONGEST_WITH_DAMPER_S if claim.fault == "damper" else LONGEST_S
        cuts = [cut_note(sound, survey, key=k, longest_s=longest_s) for k in (claim.key, claim.beside)]
        faulty, beside = equally_loud(cuts, level_db=_loudest_db)
        made.append(ClaimClips(claim=claim.words, faulty=faulty, sound=beside))
    return tuple(made)


def _loudest_db(cut: Cut) -> float:
    return momentary_lufs(cut.samples, rate_hz=cut.rate_hz)


def claims_of(casebook: Casebook, heard: Mapping[str, Heard]) -> dict[str, tuple[ClaimClips, ...]]:
    """The pairs of every instrument whose recording can be read and has a claim to hear."""
    made = {}
    for i, h in heard.items():
        if not claims_to_hear(h.own, most=1):
            continue
        try:
            sound = read_sound(casebook.media_path(h.recording.media))
        except PianolabError:  # the survey is there, the sound is gone
            continue
        made[i] = claim_clips(sound, h.own)
    return made


@dataclass(frozen=True, kw_only=True, repr=False)
class HeardClaims(Showable):
    """Claimed faults of one recording as a notebook plays them: each key with the sound one beside it."""

    pairs: tuple[ClaimClips, ...]
    faulty_keys: int
    header = ("claim", "key", "beside it")

    def headline(self) -> str:
        if not self.faulty_keys:
            return "no fault is claimed, so there is none to hear"
        return f"{len(self.pairs)} of {self.faulty_keys} keys with a fault, each beside a sound one"

    def rows(self) -> list[Row]:
        return [(p.claim, p.faulty.label, p.sound.label) for p in self.pairs]

    def _repr_html_(self) -> str:
        items = "".join(
            f"<li>{escape(p.claim)}<br>{player(p.faulty)} {player(p.sound)}</li>" for p in self.pairs
        )
        return html_figure(self.headline(), f'<ol style="margin:0">{items}</ol>')


def player(clip: Clip) -> str:
    """A clip as a notebook plays it, with its label."""
    label = escape(clip.label, quote=True)
    return (
        f'<label style="display:inline-block;margin-right:1em">{label} '
        f'<audio controls preload="none" src="{clip.uri}" aria-label="{label}"></audio></label>'
    )


def hear_claims(recording: str | Path, survey: Survey, *, most: int = MOST_CLAIMS) -> HeardClaims:
    """Play what a survey claims: each faulty key beside a sound one of the same recording, worst first.

    Parameters
    ----------
    recording : the sound file that was listened to
    survey : what was heard in it
    most : so many keys at most

    Returns
    -------
    HeardClaims; shows itself with players in a notebook

    Raises
    ------
    BadInput
        no such file, or not a sound
    """
    faulty = [r for r in rows_of(survey.table) if r["faults"]]
    pairs: Sequence[ClaimClips] = ()
    if claims_to_hear(survey, most=1):
        pairs = claim_clips(read_sound(recording), survey, most=most)
    return HeardClaims(pairs=tuple(pairs), faulty_keys=len(faulty))
