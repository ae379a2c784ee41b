"""Which piano suits whom: preference out of trials of pairs, uncertain as it is, and how near each comes to a wish."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pianolab.assess.agreement import load_touch_scoring
from pianolab.checklist import TouchScales
from pianolab.errors import BadInput
from pianolab.model import TouchOpinion, TouchTrial
from pianolab.show import Row, Showable
from pianolab.statements import Statement, statement
from pianolab.units import FloatArray
from pianolab.words import say


@dataclass(frozen=True, kw_only=True)
class Liked:
    """One piano in the trials: log-strength with its standard deviation, and the chance of being the favourite."""

    piano_id: str
    name: str
    strength: float
    sd: float
    favourite: float
    preferred: int
    tried: int


@dataclass(frozen=True, kw_only=True, repr=False)
class Preferences(Showable):
    """Pianos by how gladly they were preferred, dearest first, for one player or for several together.

    ``groups`` are pianos linked by trials; between two groups only the assumption holds that pianos mostly
    differ little. ``says`` tells what may be concluded.
    """

    who: str
    trials: int
    liked: tuple[Liked, ...]
    groups: tuple[tuple[str, ...], ...]
    says: Statement
    header = ("piano", "log-strength", "sd", "chance to be the favourite", "preferred", "of trials")

    @property
    def words(self) -> str:
        return say(self.says)

    def headline(self) -> str:
        return f"{self.who}: {self.words}"

    def rows(self) -> list[Row]:
        return [(p.name, p.strength, p.sd, p.favourite, p.preferred, p.tried) for p in self.liked]


def preferences(
    trials: Sequence[TouchTrial], names: dict[str, str], *, who: str = "all players", seed: int = 0
) -> Preferences:
    """Preferences out of trials of two pianos each, by the model of Bradley and Terry.

    Parameters
    ----------
    trials : who would rather play which of two
    names : the name of each piano by its id; those nobody tried are left out
    who : whose trials these are, for the words
    seed : int, for the chance of being the favourite

    Raises
    ------
    BadInput
        For a trial of a piano that ``names`` doesn't have.

    Notes
    -----
    The chance that i is preferred to j is 1 / (1 + exp(s_j - s_i)) [bradley1952]. Strengths are the most
    probable ones under a normal prior of mean 0 (``prior_sd`` in ``data/touch.toml``), so that few, one-sided
    or unlinked trials stay finite and uncertain; their spread is that of the normal curve at the peak.

    Examples
    --------
    >>> once = [TouchTrial(player="Ada", piano_id="a", other_piano_id="b")]
    >>> result = preferences(once, {"a": "Mill Lane", "b": "Dock Road"})
    >>> result.liked[0].name, result.words
    ('Mill Lane', 'too few trials to name a favourite (1)')
    """
    for trial in trials:
        for piano_id in (trial.piano_id, trial.other_piano_id):
            if piano_id not in names:
                raise BadInput("trial", f"a piano with id {piano_id!r}", "pianos of this casebook")
    ids = sorted({i for t in trials for i in (t.piano_id, t.other_piano_id)})
    if not ids:
        return Preferences(who=who, trials=0, liked=(), groups=(), says=statement("players.no pairs"))
    pairs = sorted((ids.index(t.piano_id), ids.index(t.other_piano_id)) for t in trials)
    mean, cov = strengths(len(ids), pairs)
    favourite = _chance_of_first(mean, cov, seed=seed)
    order = sorted(range(len(ids)), key=lambda i: (-mean[i], names[ids[i]]))
    liked = tuple(
        Liked(
            piano_id=ids[i],
            name=names[ids[i]],
            strength=float(mean[i]),
            sd=float(np.sqrt(cov[i, i])),
            favourite=float(favourite[i]),
            preferred=sum(w == i for w, _ in pairs),
            tried=sum(i in pair for pair in pairs),
        )
        for i in order
    )
    groups = tuple(tuple(names[ids[i]] for i in group) for group in _groups(len(ids), pairs))
    says = _says(liked, groups, len(trials))
    return Preferences(who=who, trials=len(trials), liked=liked, groups=groups, says=says)


def strengths(
    count: int, pairs: Sequence[tuple[int, int]], *, prior_sd: float | None = None
) -> tuple[FloatArray, FloatArray]:
    """Log-strengths, shape (count,), and their covariance out of pairs (preferred, other).

    Examples
    --------
    >>> mean, cov = strengths(2, [(0, 1)] * 3)
    >>> bool(mean[0] > 0 > mean[1]), cov.shape
    (True, (2, 2))
    """
    import choix

    sd = load_touch_scoring().trials["prior_sd"] if prior_sd is None else prior_sd
    # The library adds alpha * |s|² to the negative log-likelihood, half of what its documentation says:
    # a prior of standard deviation sd is alpha = 1 / (2 sd²).
    mean = np.asarray(choix.opt_pairwise(count, list(pairs), alpha=0.5 / sd**2, tol=1e-9), dtype=float)
    bend = np.eye(count) / sd**2
    for i, j in pairs:
        chance = 1.0 / (1.0 + np.exp(mean[j] - mean[i]))
        bend[np.ix_((i, j), (i, j))] += chance * (1.0 - chance) * np.array([[1.0, -1.0], [-1.0, 1.0]])
    return mean, np.asarray(np.linalg.inv(bend), dtype=float)


def _chance_of_first(mean: FloatArray, cov: FloatArray, *, seed: int) -> FloatArray:
    draws = int(load_touch_scoring().trials["draws"])
    cases = np.random.default_rng(seed).multivariate_normal(mean, cov, size=draws, method="cholesky")
    return np.bincount(np.argmax(cases, axis=1), minlength=len(mean)) / draws


def _groups(count: int, pairs: Sequence[tuple[int, int]]) -> list[list[int]]:
    """Pianos that are linked by trials, directly or over others."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    rows, columns = (np.array([p[k] for p in pairs]) for k in (0, 1))
    links = coo_array((np.ones(len(pairs)), (rows, columns)), shape=(count, count))
    number, label = connected_components(links, directed=False)
    labels: NDArray[np.int_] = np.asarray(label)
    return [[int(i) for i in np.flatnonzero(labels == g)] for g in range(number)]


def _says(liked: tuple[Liked, ...], groups: tuple[tuple[str, ...], ...], trials: int) -> Statement:
    limits = load_touch_scoring().trials
    if len(groups) > 1:
        return statement("players.not linked", groups=tuple(" with ".join(group) for group in groups))
    if trials < limits["least_trials"]:
        return statement("players.too few trials", count=trials)
    first = max(liked, key=lambda p: p.favourite)
    kind = "players.favourite" if first.favourite >= limits["favourite_from"] else "players.no favourite"
    return statement(kind, first.piano_id, name=first.name, chance=first.favourite)


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
