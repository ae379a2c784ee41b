"""Two recordings of one piano, days apart, from either generator, with the truth of what moved in between.

Between the visits the weather moves the whole instrument along a smooth line (with a step where the bass bridge
ends), the recorder's clock differs by some 40 ppm, the player strikes every key anew, and the microphone stands
elsewhere in the same room. Some keys have one string that slipped, some have slipped as a whole.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from benchmarks import second_generator, shoebox
from pianolab.sound_model import PianoModel, render_scale
from pianolab.sound_model import room as room_named
from pianolab.units import shift_cents

BRIDGE_ENDS_KEY = 28
Floats = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True, eq=False)
class TwoVisits:
    """Both recordings, and by key the cents by which one string (``one``) or all strings (``whole``) slipped."""

    first: NDArray[np.float32]
    second: NDArray[np.float32]
    rate_hz: int
    keys: tuple[int, int]
    one: Mapping[int, float]
    whole: Mapping[int, float]
    weather_cents: Mapping[int, float]


@dataclass(frozen=True, kw_only=True)
class SlippedPiano(PianoModel):
    """A modelled piano at a later day: weather by key, and what slipped (key -> string, cents)."""

    weather: Mapping[int, float] = field(default_factory=dict)
    one: Mapping[int, tuple[int, float]] = field(default_factory=dict)
    whole: Mapping[int, float] = field(default_factory=dict)

    def strings(self, key: int) -> Floats:
        hz = np.array(super().strings(key))
        cents = np.full(len(hz), self.weather.get(key, 0.0) + self.whole.get(key, 0.0))
        if key in self.one:
            string, by = self.one[key]
            cents[string % len(hz)] += by
        return np.asarray(shift_cents(hz, cents))


def weather_cents(seed: int) -> dict[int, float]:
    """What the weather did to every key: most in the tenor, another amount on the bass bridge, up to some 5 cents."""
    rng = np.random.default_rng([seed, 40])
    key = np.arange(1, 89)
    hump = np.exp(-0.5 * ((key - rng.uniform(30, 45)) / rng.uniform(12, 22)) ** 2)
    line = rng.normal(0, 2.5) * hump + rng.normal(0, 1.0) + rng.normal(0, 0.6) * (key - 44) / 44
    line = line - np.where(key <= BRIDGE_ENDS_KEY, rng.uniform(0.2, 0.6) * hump * rng.normal(0, 2.5), 0.0)
    clock = CLOCK_CENTS * rng.standard_normal()
    return {int(k): float(c) for k, c in zip(key, line + clock, strict=True)}


CLOCK_CENTS = 0.07
"""40 ppm between two recorders' clocks (from memory: 20 to 50 ppm)."""


def slipped_keys(
    seed: int, keys: tuple[int, int], *, every: int = 5
) -> tuple[list[int], np.random.Generator]:
    """One key of every few, at a place drawn within each group."""
    rng = np.random.default_rng([seed, 41])
    starts = range(keys[0], keys[1] - every + 2, every)
    return [int(s + rng.integers(every)) for s in starts], rng


def two_visits(
    seed: int,
    *,
    maker: str,
    keys: tuple[int, int] = (30, 60),
    room: str = "home",
    snr_db: float = 45.0,
    slip_cents: float = -1.0,
    all_strings: bool = False,
) -> TwoVisits:
    """Two recordings of one piano.

    Parameters
    ----------
    seed : piano, weather, players and rooms
    maker : ``model`` (the library's own) or ``second`` (finite differences)
    keys : first and last key played
    room, snr_db : as in `second_generator.build_scale`
    slip_cents : how far one string (or, with ``all_strings``, the key) went in one key of five
    """
    at, rng = slipped_keys(seed, keys)
    whole = dict.fromkeys(at, slip_cents) if all_strings else {}
    one = {} if all_strings else {k: (int(rng.integers(6)), slip_cents) for k in at}
    weather = weather_cents(seed)
    make = _model_pair if maker == "model" else _second_pair
    first, second = make(seed, keys, weather, one, whole, room, snr_db)
    return TwoVisits(
        first=first,
        second=second,
        rate_hz=44100,
        keys=keys,
        one={k: c for k, (_s, c) in one.items()},
        whole=whole,
        weather_cents=weather,
    )


def _model_pair(
    seed: int,
    keys: tuple[int, int],
    weather: Mapping[int, float],
    one: Mapping[int, tuple[int, float]],
    whole: Mapping[int, float],
    room: str,
    snr_db: float,
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    rng = np.random.default_rng([seed, 42])
    place = room_named(room)
    pianos = (SlippedPiano.plain(seed=seed, unison_spread_cents=0.6),) * 2
    pianos = (pianos[0], replace(pianos[0], weather=weather, one=one, whole=whole))
    sounds = []
    for day, piano in enumerate(pianos):
        here = place and replace(place, drr_db=place.drr_db + rng.uniform(-1.5, 1.5))
        made = render_scale(
            piano,
            first_key=keys[0],
            last_key=keys[1],
            room=here,
            snr_db=snr_db,
            seed=1000 * seed + day,
            peak_db=-3.0 - 3.0 * day,
        )
        sounds.append(made.samples)
    return sounds[0], sounds[1]


def _second_pair(
    seed: int,
    keys: tuple[int, int],
    weather: Mapping[int, float],
    one: Mapping[int, tuple[int, float]],
    whole: Mapping[int, float],
    room: str,
    snr_db: float,
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """The same instrument (its design, board and strings), struck again with other force, heard from elsewhere."""
    gen = second_generator
    piano = gen.make_instrument(seed)
    after = {
        k: tuple(
            f * 2 ** ((weather[k] + whole.get(k, 0.0) + _of_string(one, k, s, len(hz))) / 1200)
            for s, f in enumerate(hz)
        )
        for k, hz in piano.strings_hz.items()
    }
    sounds = []
    for day, strings_hz in enumerate((piano.strings_hz, after)):
        rng = np.random.default_rng([seed, 43, day])
        force = {k: 10 ** (rng.normal(0, 1.5) / 20) for k in piano.designs}
        blown = {k: replace(d, hammer_m_per_s=d.hammer_m_per_s * force[k]) for k, d in piano.designs.items()}
        struck, end_s = gen.play_scale(
            replace(piano, designs=blown, strings_hz=strings_hz), range(keys[0], keys[1] + 1)
        )
        struck = [replace(s, dry=s.dry * force[s.plan.design.key]) for s in struck]
        dry = gen.mixed(struck, piano.board, end_s, 1000 * seed + day)
        sound = shoebox.in_room(dry[0], _same_room(room, seed, rng))
        sounds.append(gen.with_noise(sound, struck, snr_db=snr_db, rng=rng))
    return sounds[0], sounds[1]


def _of_string(one: Mapping[int, tuple[int, float]], key: int, string: int, count: int) -> float:
    if key not in one or one[key][0] % count != string:
        return 0.0
    return one[key][1]


def _same_room(room: str, seed: int, rng: np.random.Generator) -> Floats:
    """The room of the seed, the microphone up to half a metre away from where it stood."""
    if room == "dry":
        return np.ones(1)
    box = shoebox.room_of(room, np.random.default_rng([seed, 5]))
    moved = tuple(
        (
            x + float(rng.uniform(-0.3, 0.3)),
            y + float(rng.uniform(-0.3, 0.3)),
            z + float(rng.uniform(-0.1, 0.1)),
        )
        for x, y, z in box.microphones_m
    )
    box = replace(box, microphones_m=moved)
    return shoebox.impulse_response(box, 0, rate_hz=second_generator.RATE_HZ, rng=rng)
