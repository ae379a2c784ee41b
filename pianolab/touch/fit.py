"""Which pianos suit one player's taste: what was liked, what was wished for, what was preferred."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from pianolab.assess.agreement import load_touch_scoring
from pianolab.checklist import TouchScales
from pianolab.model import TouchOpinion
from pianolab.statements import Statement, statement
from pianolab.touch.preference import Preferences
from pianolab.words import say

Wish = Mapping[str, "float | tuple[float, float]"]
"""Wanted place on scales of taste: a number, or low and high."""


@dataclass(frozen=True, kw_only=True)
class Fit:
    """How one piano suits one player. ``distance`` is the mean distance from the wish, in places of the scales.

    ``off`` says where it differs; ``favourite`` is the chance to be the favourite in this player's trials.
    ``felt_by`` are the other players whose places stand in where this player hasn't tried it.
    """

    piano: str
    player: str
    liking: int | None
    distance: float | None
    off: tuple[Statement, ...]
    favourite: float | None
    felt_by: tuple[str, ...] = ()

    @property
    def misses(self) -> tuple[str, ...]:
        return tuple(say(miss) for miss in self.off)

    @property
    def says(self) -> Statement:
        """How it suits: by the liking, by the wish, by trials, as far as each is known."""
        parts: list[Statement] = []
        if self.liking is not None:
            parts.append(statement(f"players.liking {self.liking}", player=self.player))
        if self.distance is not None:
            parts.append(self._touch(self.distance))
        if self.favourite is not None:
            parts.append(statement("players.in trials", chance=self.favourite))
        parts = parts or [statement("players.fit not known", player=self.player)]
        near = self.distance is not None and self.distance <= load_touch_scoring().taste["near"]
        against = near and self.liking is not None and self.liking <= 2
        kind = "players.fit, contradicting" if against else "players.fit"
        return statement(kind, piano=self.piano, parts=tuple(parts))

    def _touch(self, distance: float) -> Statement:
        kind = f"players.touch{' felt' if self.felt_by else ''}{', misses' if self.off else ''}"
        return statement(kind, how=_how_near(distance), felt_by=self.felt_by, misses=self.off)

    @property
    def sentence(self) -> str:
        return say(self.says)


def _how_near(distance: float) -> Statement:
    limits = load_touch_scoring().taste
    if distance <= limits["near"]:
        return statement("players.near")
    return statement("players.far" if distance >= limits["far"] else "players.nearly")


def fits_of(
    player: str,
    said: Mapping[str, Mapping[str, TouchOpinion]],
    *,
    scales: TouchScales,
    wish: Wish | None,
    own: Preferences | None,
) -> tuple[Fit, ...]:
    """The pianos that a player has tried, those that suit best first; with a wish also those others tried.

    ``said`` are the latest opinions, by the piano's name and the player; without a ``wish`` it is read out of
    the pianos this player likes, each piano judged by the others so that none is its own measure.
    """
    chances = {p.name: p.favourite for p in own.liked} if own is not None else {}
    mine = {name: by[player] for name, by in said.items() if player in by}
    names = {**mine, **chances, **(said if wish else {})}
    fits = []
    for name in names:
        wanted = _ranges(wish) if wish else wish_from({n: o for n, o in mine.items() if n != name})
        felt = {player: mine[name]} if name in mine else dict(said.get(name, {}))
        fits.append(_fit(player, name, felt, scales, wanted, chances.get(name)))
    return tuple(sorted(fits, key=_order))


def _order(fit: Fit) -> tuple[float, float, float, str]:
    return (
        -(fit.liking if fit.liking is not None else 3),
        -(fit.favourite or 0.0),
        fit.distance if fit.distance is not None else 9.0,
        fit.piano,
    )


def _fit(
    player: str,
    name: str,
    felt: Mapping[str, TouchOpinion],
    scales: TouchScales,
    wanted: Mapping[str, tuple[float, float]],
    favourite: float | None,
) -> Fit:
    off: dict[str, float] = {}
    misses = []
    for s in scales.taste:
        places = [o.taste[s.id] for o in felt.values() if s.id in o.taste and s.id in wanted]
        if places:
            away = [_away(p, wanted[s.id]) for p in places]
            off[s.id] = sum(away) / len(away)
            if min(away) >= 1.0:
                way = "less" if max(places) < wanted[s.id][0] else "more"
                misses.append(statement(f"players.{way}", s.id, scale=s.name.lower()))
    return Fit(
        piano=name,
        player=player,
        liking=felt[player].liking if player in felt else None,
        distance=sum(off.values()) / len(off) if off else None,
        off=tuple(misses),
        favourite=favourite,
        felt_by=() if player in felt or not off else tuple(sorted(felt)),
    )


def wish_from(opinions: Mapping[str, TouchOpinion]) -> dict[str, tuple[float, float]]:
    """The places that a player's liked pianos take on each scale; empty where too few are liked.

    Examples
    --------
    >>> liked = [TouchOpinion(visit_id=v, player="Ada", taste={"weight": w}, liking=5) for v, w in (("a", 2), ("b", 3))]
    >>> wish_from({o.visit_id: o for o in liked})
    {'weight': (2.0, 3.0)}
    """
    limits = load_touch_scoring().taste
    liked = [o for o in opinions.values() if o.liking is not None and o.liking >= limits["liked_from"]]
    places: dict[str, list[int]] = {}
    for o in liked:
        for scale, place in o.taste.items():
            places.setdefault(scale, []).append(place)
    return {
        scale: (float(min(p)), float(max(p)))
        for scale, p in places.items()
        if len(p) >= limits["least_liked"]
    }


def _ranges(wish: Wish) -> dict[str, tuple[float, float]]:
    return {
        s: (float(w[0]), float(w[1])) if isinstance(w, tuple) else (float(w), float(w))
        for s, w in wish.items()
    }


def _away(place: int, wanted: tuple[float, float]) -> float:
    return max(wanted[0] - place, place - wanted[1], 0.0)
