"""Several players' opinions of touch: taste apart from fault, agreement, preferences, drift, who suits whom.

Taste has no good end and never counts for or against a piano; faults are evidence like any other. What one player
said on two visits is shown side by side and never averaged.
"""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Literal

from pianolab.assess.agreement import Agreement, agreement, load_touch_scoring
from pianolab.assess.touch_evidence import touch_evidence
from pianolab.checklist import TouchScales
from pianolab.errors import BadInput
from pianolab.model import Piano, TouchOpinion, TouchTrial, Visit
from pianolab.show import Row, Showable
from pianolab.statements import Statement, statement
from pianolab.touch.preference import Fit, Preferences, Wish, fits_of, preferences
from pianolab.words import say

__all__ = ["TouchAnswer", "TouchChange", "TouchView", "touch_evidence", "touch_view"]

Kind = Literal["taste", "fault", "liking"]
LIKING = "liking"


@dataclass(frozen=True, kw_only=True)
class TouchAnswer:
    """What players last said of one piano on one scale; ``ends`` are the anchor sentences of 1 and 5."""

    piano: str
    scale: str
    kind: Kind
    said: tuple[tuple[str, int], ...]
    ends: tuple[str, str]

    @property
    def spread(self) -> tuple[int, int]:
        places = [place for _, place in self.said]
        return min(places), max(places)


@dataclass(frozen=True, kw_only=True)
class TouchChange:
    """One player's answer that moved between two visits to the same piano."""

    player: str
    piano: str
    scale: str
    kind: Kind
    first_day: date
    first: int
    last_day: date
    last: int

    @property
    def says(self) -> Statement:
        """Both places with their days, and what may be behind it."""
        return statement(
            "players.moved",
            player=self.player,
            scale=self.scale.lower(),
            piano=self.piano,
            first=self.first,
            first_day=self.first_day.isoformat(),
            last=self.last,
            last_day=self.last_day.isoformat(),
            why=statement(f"players.{self.kind} moved"),
        )

    @property
    def sentence(self) -> str:
        return say(self.says)


@dataclass(frozen=True, kw_only=True, repr=False)
class TouchView(Showable):
    """All that players said of touch, put together without hiding who said what.

    ``answers`` hold each player's latest place on each scale, ``agreements`` one entry for each scale and for
    all faults and all tastes together, ``drifts`` what moved between visits, ``preferences`` trials of pairs (all
    players first, then each), ``fits`` how each piano suits ``player``, best first.
    """

    player: str
    answers: tuple[TouchAnswer, ...]
    agreements: tuple[Agreement, ...]
    drifts: tuple[TouchChange, ...]
    preferences: tuple[Preferences, ...]
    fits: tuple[Fit, ...]
    header = ("about", "scale", "said", "in words")

    @property
    def sentences(self) -> tuple[str, ...]:
        """What may be concluded, in plain sentences, the surest first."""
        if not self.answers and not self.fits and not any(p.trials for p in self.preferences):
            return ("Nobody has said anything about touch yet.",)
        said = [f.sentence for f in self.fits]
        said += [f"{a.what}: {a.words}." for a in self.agreements if a.together]
        said += [f"Of two pianos played in turn, {p.who}: {p.words}." for p in self.preferences if p.trials]
        return (*said, *(d.sentence for d in self.drifts))

    def headline(self) -> str:
        players = {player for a in self.answers for player, _ in a.said}
        pianos = {a.piano for a in self.answers}
        return f"touch: {len(players)} players on {len(pianos)} pianos; {self.sentences[0]}"

    def rows(self) -> list[Row]:
        rows: list[Row] = [
            (a.piano, a.scale, ", ".join(f"{p} {v}" for p, v in a.said), _between(a)) for a in self.answers
        ]
        rows += [("players together", a.what, a.alpha, a.words) for a in self.agreements]
        rows += [("played in turn", p.who, f"{p.trials} trials", p.words) for p in self.preferences]
        rows += [(d.piano, d.scale, f"{d.player} {d.first}, then {d.last}", d.sentence) for d in self.drifts]
        return rows + [(f.piano, f"for {self.player}", f.liking, f.sentence) for f in self.fits]


def _between(answer: TouchAnswer) -> str:
    low, high = answer.spread
    if answer.kind == "fault":
        return (
            answer.ends[1]
            if low == high == 5
            else f"grades {low} to {high}"
            if low != high
            else f"grade {low}"
        )
    return f"1: {answer.ends[0]} 5: {answer.ends[1]}"


def touch_view(
    opinions: Sequence[TouchOpinion],
    trials: Sequence[TouchTrial] = (),
    *,
    scales: TouchScales,
    pianos: Sequence[Piano],
    visits: Sequence[Visit],
    player: str = "",
    wish: Wish | None = None,
    seed: int = 0,
) -> TouchView:
    """Put together what players said of touch on several pianos.

    Parameters
    ----------
    opinions, trials : as recorded, in any order
    scales : the described scales (`pianolab.checklist.load_touch_scales`)
    pianos, visits : those the records belong to
    player : for whom pianos should suit; empty: nobody in particular
    wish : wanted place for each scale of taste, a number or low and high, such as a profile's ``touch_taste``;
        None or empty: read out of the pianos that this player likes, if there are enough
    seed : int, for resampling; the same seed gives the same result

    Raises
    ------
    BadInput
        For an opinion of an unknown visit, a trial of an unknown piano, or a wish on a scale that isn't there.

    Examples
    --------
    >>> from datetime import date
    >>> from pianolab.checklist import load_touch_scales
    >>> piano = Piano(name="Mill Lane grand")
    >>> visit = Visit(piano_id=piano.id, day=date(2026, 3, 1))
    >>> said = TouchOpinion(visit_id=visit.id, player="Ada", taste={"weight": 2}, liking=5)
    >>> view = touch_view([said], scales=load_touch_scales(), pianos=[piano], visits=[visit], player="Ada")
    >>> view.fits[0].sentence
    'Mill Lane grand: Ada would gladly play it every day.'
    """
    names = {p.id: p.name for p in pianos}
    seen = _by_piano(opinions, names, visits)
    latest = {(piano, who): said[-1][1] for (piano, who), said in seen.items()}
    if unknown := set(wish or {}) - {s.id for s in scales.taste}:
        raise BadInput("wish", sorted(unknown), "scales of taste: " + ", ".join(s.id for s in scales.taste))
    together = preferences(trials, names, seed=seed)
    players = sorted({t.player for t in trials})
    single = [
        preferences([t for t in trials if t.player == who], names, who=who, seed=seed) for who in players
    ]
    own = next((p for p in single if p.who == player), None)
    by_name: dict[str, dict[str, TouchOpinion]] = {}
    for (piano, who), o in latest.items():
        by_name.setdefault(names[piano], {})[who] = o
    return TouchView(
        player=player,
        answers=_answers(latest, scales, names),
        agreements=_agreements(latest, scales, seed),
        drifts=_drifts(seen, scales, names),
        preferences=(together, *single) if len(players) > 1 else tuple(single) or (together,),
        fits=fits_of(player, by_name, scales=scales, wish=wish, own=own) if player else (),
    )


Seen = dict[tuple[str, str], list[tuple[date, TouchOpinion]]]


def _by_piano(opinions: Sequence[TouchOpinion], names: Mapping[str, str], visits: Sequence[Visit]) -> Seen:
    """All opinions by piano and player, oldest first."""
    of_visit = {v.id: v for v in visits}
    seen: Seen = {}
    for o in opinions:
        visit = of_visit.get(o.visit_id)
        if visit is None or visit.piano_id not in names:
            raise BadInput(f"opinion of {o.player}", f"visit {o.visit_id!r}", "a visit to one of the pianos")
        seen.setdefault((visit.piano_id, o.player), []).append((visit.day, o))
    for said in seen.values():
        said.sort(key=lambda s: (s[0], s[1].at.isoformat() if s[1].at else "", s[1].id))
    return dict(sorted(seen.items()))


Scale = tuple[str, str, Kind, tuple[str, str]]


def _scales(scales: TouchScales) -> list[Scale]:
    """Id, name, kind and ends of every scale."""
    taste: list[Scale] = [(s.id, s.name, "taste", (s.low, s.high)) for s in scales.taste]
    faults: list[Scale] = [(s.id, s.name, "fault", (s.anchors[-1], s.anchors[0])) for s in scales.faults]
    return [*taste, *faults, (LIKING, "Liking", "liking", (scales.liking.low, scales.liking.high))]


def _place(o: TouchOpinion, scale: str, kind: Kind) -> int | None:
    return o.liking if kind == "liking" else (o.taste if kind == "taste" else o.faults).get(scale)


def _judged(
    latest: Mapping[tuple[str, str], TouchOpinion], scale: str, kind: Kind
) -> dict[Hashable, dict[str, int]]:
    judged: dict[Hashable, dict[str, int]] = {}
    for (piano, who), o in latest.items():
        place = _place(o, scale, kind)
        if place is not None:
            judged.setdefault(piano, {})[who] = place
    return judged


def _answers(
    latest: Mapping[tuple[str, str], TouchOpinion], scales: TouchScales, names: Mapping[str, str]
) -> tuple[TouchAnswer, ...]:
    found = []
    for scale, title, kind, ends in _scales(scales):
        for piano, said in _judged(latest, scale, kind).items():
            answer = TouchAnswer(
                piano=names[str(piano)], scale=title, kind=kind, said=tuple(sorted(said.items())), ends=ends
            )
            found.append(answer)
    return tuple(sorted(found, key=lambda a: a.piano))


def _agreements(
    latest: Mapping[tuple[str, str], TouchOpinion], scales: TouchScales, seed: int
) -> tuple[Agreement, ...]:
    found: list[Agreement] = []
    whole: dict[str, dict[Hashable, dict[str, int]]] = {"taste": {}, "fault": {}, "liking": {}}
    pianos: dict[Hashable, Hashable] = {}
    for scale, title, kind, _ in _scales(scales):
        judged = _judged(latest, scale, kind)
        if judged:
            found.append(agreement(judged, what=title, seed=seed))
        for piano, said in judged.items():
            whole[kind][piano, scale] = said
            pianos[piano, scale] = piano
    for kind, what in (("taste", "All tastes"), ("fault", "All faults")):
        if whole[kind]:
            found.insert(0, agreement(whole[kind], what=what, together=pianos, seed=seed))
    return tuple(found)


def _drifts(seen: Seen, scales: TouchScales, names: Mapping[str, str]) -> tuple[TouchChange, ...]:
    least = load_touch_scoring().taste["drift_from"]
    found = []
    for (piano, who), said in seen.items():
        for scale, title, kind, _ in _scales(scales):
            places = [(day, _place(o, scale, kind)) for day, o in said]
            told = [(day, place) for day, place in places if place is not None]
            if len(told) > 1 and told[0][0] < told[-1][0] and abs(told[-1][1] - told[0][1]) >= least:
                (first_day, first), (last_day, last) = told[0], told[-1]
                drift = TouchChange(
                    player=who,
                    piano=names[piano],
                    scale=title,
                    kind=kind,
                    first_day=first_day,
                    first=first,
                    last_day=last_day,
                    last=last,
                )
                found.append(drift)
    return tuple(found)
