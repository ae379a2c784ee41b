"""Which takes the bench has: lists of recipes, each a few words from which `build` makes one take.

A recipe is small, picklable and the same for ever, so that its result can be kept. Sources are imported when a take
is made: one whose tool is missing leaves its family out and nothing else.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass, field, replace
from importlib import import_module
from itertools import product
from typing import Any

import numpy as np
import pandas as pd

from benchmarks.takes import TRUTH_COLUMNS, NoteSource, Press, Take

SEEDS = {"open": 1000, "held-out": 5000, "latest": 8000}
"""First seed of the drawn pianos: open ones may be looked at, held-out ones only measured; the latest were drawn when all
before had been looked at."""
WIDE = {
    "wide model": ("model", 60),
    "wide plain": ("plain", 40),
    "wide second": ("second", 20),
    "wide third": ("third", 80),
}
DRY_SHARE, T60_S, SNR_DB = 1 / 3, (0.15, 2.0), (10.0, 50.0)
LEVELS, CHANNELS, HOLDS_S, ROOMS = (
    (1, 7, 10, 13),
    ("left", "right", "stereo", "mono"),
    (2.0, 3.0, 5.0),
    (None, "home", "hall"),
)
EVERY = 7
"""Of the real takes every seventh: 7 shares no factor with the number of choices, so each comes up equally often."""


@dataclass(frozen=True, kw_only=True)
class Recipe:
    """How to make one take. ``maker`` names the source, ``options`` are its keywords, ``play`` those of the playing,
    ``chain`` what a recorder does to it; takes of the same ``piano`` are compared with each other."""

    family: str
    case: str
    name: str
    maker: str
    seed: int = 1
    options: Mapping[str, Any] = field(default_factory=dict)
    play: Mapping[str, Any] = field(default_factory=dict)
    chain: str = ""
    piano: str = ""

    def words(self) -> dict[str, Any]:
        """Everything, as plain data."""
        return asdict(self)


# -- sources -------------------------------------------------------------------------------------------------------


def _drawn(module: str, name: str) -> Callable[[Recipe], NoteSource]:
    def make(recipe: Recipe) -> NoteSource:
        return getattr(import_module(f"benchmarks.{module}"), name)(recipe.seed, **recipe.options)

    return make


def _made(module: str, name: str) -> Callable[[Recipe], NoteSource]:
    def make(recipe: Recipe) -> NoteSource:
        return getattr(import_module(f"benchmarks.{module}"), name)(**recipe.options)

    return make


MODULES = {
    "model": "wide_model",
    "second": "wide_second",
    "third": "third_generator",
    "plain": "wide_plain",
    "real": "real_notes",
    "soundfont": "soundfonts",
}
"""The module of `benchmarks` behind each maker of single notes."""
SOURCES: dict[str, Callable[[Recipe], NoteSource]] = {
    "model": _drawn("wide_model", "draw_model"),
    "second": _drawn("wide_second", "draw_second"),
    "third": _drawn("third_generator", "draw_third"),
    "plain": _drawn("wide_plain", "draw_plain"),
    "real": _made("real_notes", "RealPiano"),
    "soundfont": _made("soundfonts", "SoundfontPiano"),
}


def blank_truth(first_key: int, last_key: int) -> pd.DataFrame:
    """Truth of which nothing is known."""
    frame = pd.DataFrame(np.nan, index=range(first_key, last_key + 1), columns=list(TRUTH_COLUMNS))
    frame["key"], frame["faults"] = frame.index, ""
    return frame.reset_index(drop=True)


def shipped_notes(recipe: Recipe) -> Take:
    """The 30 real notes that come with the library, strung together: nothing to download."""
    from pianolab.io.real_notes import real_notes, string_together

    hold_s = recipe.options["hold_s"]
    sound, onsets_s = string_together(hold_s=hold_s)
    presses = tuple(
        Press(key=k, onset_s=t, release_s=t + hold_s) for k, t in zip(real_notes(), onsets_s, strict=True)
    )
    channel = recipe.options["channel"]
    samples = sound.samples if channel == "stereo" else sound.samples[:, 0 if channel == "left" else 1]
    return Take(
        family=recipe.family,
        case=recipe.case,
        name=recipe.name,
        samples=samples,
        rate_hz=sound.rate_hz,
        presses=presses,
        truth=blank_truth(1, 88),
    )


def narrow_model(recipe: Recipe) -> Take:
    """The library's own modelled piano as its demo and class use it, drawn narrowly."""
    from pianolab.sound_model import PianoModel, render_scale, room

    wanted = dict(recipe.options)
    place = room(wanted.pop("room", "dry"))
    scale = render_scale(PianoModel(seed=recipe.seed), room=place, seed=recipe.seed, **wanted)
    truth = scale.truth.assign(strings=scale.truth["strings"])[list(TRUTH_COLUMNS)]
    presses = tuple(
        Press(key=s.key, onset_s=s.onset_s, release_s=s.release_s, sounds="silent" not in faults)
        for s in scale.strikes
        for faults in truth.loc[truth["key"] == s.key, "faults"]
    )
    return Take(
        family=recipe.family,
        case=recipe.case,
        name=recipe.name,
        samples=scale.samples,
        rate_hz=scale.rate_hz,
        presses=presses,
        truth=truth,
        first_key=int(truth["key"].min()),
        last_key=int(truth["key"].max()),
        t60_s=scale.t60_s,
        knows=frozenset({"pitch", "inharmonicity", "unison", "decay", "faults"}),
    )


WHOLE: dict[str, Callable[[Recipe], Take]] = {"shipped": shipped_notes, "narrow": narrow_model}


def build(recipe: Recipe) -> Take:
    """The take of a recipe."""
    if recipe.maker in WHOLE:
        take = WHOLE[recipe.maker](recipe)
    else:
        from benchmarks.playing import play

        source = SOURCES[recipe.maker](recipe)
        take = play(source, family=recipe.family, name=recipe.name, seed=recipe.seed, **recipe.play)
    if recipe.chain:
        take = chains()[recipe.chain](take, recipe.seed)
    return replace(take, family=recipe.family, case=recipe.case, name=recipe.name)


def chains() -> Mapping[str, Callable[[Take, int], Take]]:
    """What recorders and surroundings do to a take, by name."""
    from benchmarks.telephones import CHAINS

    return CHAINS


# -- lists -----------------------------------------------------------------------------------------------------------


def drawn_place(seed: int) -> dict[str, float | None]:
    """Room and noise of a drawn piano: a third dry, else T60 evenly over its logarithm; noise evenly in dB."""
    rng = np.random.default_rng([seed, 77])
    dry = rng.random() < DRY_SHARE
    t60_s = round(float(np.exp(rng.uniform(*np.log(T60_S)))), 2)
    return {"room": None if dry else t60_s, "snr_db": round(float(rng.uniform(*SNR_DB)), 1)}


def wide(family: str, *, seeds: str = "open", count: int | None = None) -> list[Recipe]:
    """Drawn pianos of one generator, healthy and seeded in turn."""
    maker, usual = WIDE[family]
    out = []
    for seed in range(SEEDS[seeds], SEEDS[seeds] + (count or usual)):
        # Sources draw the odd seeds wider than the even ones: two healthy pianos, one of each, then two seeded.
        healthy = seed % 4 < 2
        out.append(
            Recipe(
                family=family,
                case="healthy" if healthy else "seeded",
                name=str(seed),
                maker=maker,
                seed=seed,
                options={"healthy": healthy},
                play=drawn_place(seed),
            )
        )
    return out


def _real(level: int, channel: str, between: bool, **play: Any) -> dict[str, Any]:
    return {
        "maker": "real",
        "options": {"level": level, "channel": channel, "between": between},
        "play": play,
    }


def real(*, seeds: str = "open") -> list[Recipe]:
    """One real piano at several dynamics, channels, holds and places, thinned by a fixed rule."""
    every = list(product(LEVELS, CHANNELS, HOLDS_S, (False, True), ROOMS))
    out = []
    for level, channel, hold_s, between, room in every[SEEDS[seeds] % EVERY :: EVERY]:
        name = f"level {level} {channel} {hold_s:g} s {'all keys' if between else 'thirds'}"
        parts = _real(level, channel, between, hold_s=hold_s, room=room)
        out.append(Recipe(family="real", case=room or "as it is", name=name, **parts))
    return out


def repeats(**_: str) -> list[Recipe]:
    """The same real piano again, other levels and channels: values must agree within what they state."""
    return [
        Recipe(
            family="repeats",
            case="as it is",
            name=f"level {level} {channel}",
            piano="real",
            **_real(level, channel, False, hold_s=3.0, room=None),
        )
        for level, channel in product((7, 10, 13), ("left", "right", "stereo"))
    ]


def soundfont(**_: str) -> list[Recipe]:
    """Every soundfont's first two piano programs."""
    from benchmarks.soundfonts import FONTS

    return [
        Recipe(
            family="soundfont",
            case=str(font),
            name=f"program {program}",
            maker="soundfont",
            options={"font": font, "program": program},
        )
        for font, program in product(FONTS, (0, 1))
    ]


def plain_sources(seeds: str) -> dict[str, dict[str, Any]]:
    """Three instruments that should be read without trouble when they are played plainly; even seeds are drawn mildly."""
    seed = SEEDS[seeds] + 500
    return {
        "real": _real(10, "left", True, hold_s=2.0),
        "third": {"maker": "third", "seed": seed, "options": {"healthy": True}, "play": {}},
        "model": {"maker": "model", "seed": seed, "options": {"healthy": True}, "play": {}},
    }


def playing(*, seeds: str = "open") -> list[Recipe]:
    """Every way of playing."""
    from benchmarks.playing import CASES

    return [
        Recipe(family="playing", case=case, name=name, **parts | {"play": {**parts["play"], "case": case}})
        for case in CASES
        for name, parts in plain_sources(seeds).items()
    ]


def telephone(*, seeds: str = "open") -> list[Recipe]:
    """Every recorder and every disturbance."""
    sources = plain_sources(seeds)
    return [
        Recipe(family="telephone", case=chain, name=name, chain=chain, **sources[name])
        for chain in chains()
        for name in ("real", "model")
    ]


def narrow(*, seeds: str = "open") -> list[Recipe]:
    """The library's own model, narrowly drawn, in three rooms."""
    first = SEEDS[seeds]
    return [
        Recipe(
            family="narrow",
            case=place,
            name=str(seed),
            maker="narrow",
            seed=seed,
            options={"room": place, "snr_db": 45.0},
        )
        for place in ("dry", "home", "hall")
        for seed in range(first, first + 2)
    ]


def shipped(**_: str) -> list[Recipe]:
    """The library's 30 real notes."""
    return [
        Recipe(
            family="shipped",
            case=channel,
            name=f"{hold_s:g} s",
            maker="shipped",
            options={"hold_s": hold_s, "channel": channel},
        )
        for hold_s in (2.0, 4.0)
        for channel in ("left", "stereo")
    ]


FAMILIES: dict[str, Callable[..., list[Recipe]]] = {
    **{name: lambda *, seeds="open", name=name: wide(name, seeds=seeds) for name in WIDE},
    "narrow": narrow,
    "shipped": shipped,
    "real": real,
    "repeats": repeats,
    "soundfont": soundfont,
    "playing": playing,
    "telephone": telephone,
}
