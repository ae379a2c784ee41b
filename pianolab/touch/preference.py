"""Which of two pianos would you rather play? Trials of pairs put together, uncertain as they are."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pianolab.assess.agreement import load_touch_scoring
from pianolab.errors import BadInput
from pianolab.model import TouchTrial
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
