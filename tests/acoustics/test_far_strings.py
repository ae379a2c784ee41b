"""A string far off shows in all its partials and on one side; what splits a few of them is none.

The modes are laid out here by arithmetic: where strings lie is known, and nothing of it comes from our own listening.
"""

from dataclasses import replace

import numpy as np
import pytest

from pianolab.acoustics import listen
from pianolab.acoustics.strings.choirs import count_strings, unexplained_share
from pianolab.acoustics.strings.far_strings import FarString, far_string, mean_of_far_strings
from pianolab.acoustics.strings.modes import MOST_MODES, Modes
from pianolab.acoustics.strings.unison import KnownOfNotes, measure_unison
from pianolab.sound_model import KeyFault, PianoModel, render_scale, room

KEY, F1_HZ, PARTIALS = 30, 146.8, 12
CENTRE_HZ = F1_HZ * np.arange(1, PARTIALS + 1)[None]


def modes_at(cents: list[list[float]], *, soft_db: float = -6.0) -> Modes:
    """A note whose partials hold modes at these cents from their places, the later ones ``soft_db`` softer."""
    shape = (1, PARTIALS, MOST_MODES)
    f_hz, energy = np.full(shape, np.nan), np.zeros(shape)
    for p, places in enumerate(cents):
        for j, at in enumerate(places):
            f_hz[0, p, j] = CENTRE_HZ[0, p] * 2.0 ** (at / 1200.0)
            energy[0, p, j] = 10.0 ** (j * soft_db / 10.0)
    none = np.full((1, PARTIALS), np.nan)
    amplitude = np.sqrt(energy)[:, :, None, :].astype(complex)
    return Modes(f_hz, np.ones(shape), amplitude, energy, CENTRE_HZ, energy.sum(axis=-1), none, none)


def far_of(cents: list[list[float]]) -> FarString:
    heard = (np.arange(PARTIALS) < len(cents)).astype(float)[None]
    return far_string(modes_at(cents), centre_hz=CENTRE_HZ, weight=heard, key=np.array([KEY]))


@pytest.mark.parametrize("apart", [9.0, -9.0, 24.0])
def test_a_string_that_shows_in_all_partials_is_proven(apart: float) -> None:
    reach = 4 if abs(apart) > 20 else 8
    far = far_of([[0.1 * p, apart] for p in range(reach)])
    assert far.proven[0]
    assert far.cents[0] == pytest.approx(abs(apart), abs=0.5)


def test_a_line_in_three_of_eight_partials_is_no_string() -> None:
    split = {1, 2, 6}
    assert far_of([[0.0, -9.0] if p in split else [0.0] for p in range(8)]).cents[0] == 0.0
    assert far_of([[0.0, -9.0] for _ in range(8)]).proven[0]


def test_lines_on_either_side_are_no_string() -> None:
    """At one distance, but now above and now below: no string does that."""
    assert not far_of([[0.0, 9.0 * (-1) ** p] for p in range(8)]).proven[0]
    assert far_of([[0.0, 9.0] for _ in range(8)]).proven[0]


def test_what_half_of_the_partials_show_is_open() -> None:
    far = far_of([[0.0, 9.0] if p < 4 else [0.0] for p in range(8)])
    assert far.cents[0] == pytest.approx(9.0, abs=0.1)
    assert not far.proven[0]


def test_the_outermost_of_three_strings_are_meant() -> None:
    """The third string's mode lies in reach of more partials than that of the string farthest off."""
    far = far_of([[0.0, 10.0, 30.0] if p < 3 else [0.0, 10.0] for p in range(8)])
    assert far.proven[0]
    assert far.cents[0] == pytest.approx(30.0, abs=0.5)


@pytest.mark.parametrize(("differs", "one_string"), [(1.8, True), (2.4, False)])
def test_a_string_30_cents_off_lies_at_one_distance_in_all_its_partials(
    differs: float, one_string: bool
) -> None:
    """The bridge bends each partial by no more than a cent or two where strings lie so far apart (common practice, no source)."""
    distances = [30.0 + 0.5 * differs * (-1) ** p for p in range(4)]
    assert bool(far_of([[0.0, at] for at in distances]).proven[0]) is one_string


def pitch_between(
    cents: list[float], *, strings: int = 3, heavy_cents: float | None = None
) -> tuple[float, float]:
    """Where the pitch of a note of far strings is taken to be, cents above the lowest, and how open that is, cents.

    The energy lies at ``heavy_cents`` (the modes' mean where none is given): where on the strings the blow fell decides that.
    """
    heard = (np.arange(PARTIALS) < 8).astype(float)[None]
    modes = modes_at([cents] * PARTIALS, soft_db=0.0)
    centroid = np.nanmean(modes.f_hz, axis=-1)
    if heavy_cents is not None:
        centroid = CENTRE_HZ * 2.0 ** (heavy_cents / 1200.0)
    apart = cents[-1] - cents[0]
    mean = mean_of_far_strings(
        replace(modes, centroid_hz=centroid),
        centre_hz=CENTRE_HZ,
        weight=heard,
        far_cents=np.array([apart]),
        strings=np.array([strings]),
    )
    assert np.isnan(mean.hz[0, 8:]).all(), "nothing where no partial is heard"
    at = float(np.median(1200.0 * np.log2(mean.hz[0, :8] / CENTRE_HZ[0, :8])))
    return at, float(mean.open_share[0]) * apart


STRINGS = [[0.0, 0.6, 12.0], [0.0, 3.0, 12.0], [0.0, 6.0, 12.0], [0.0, 11.4, 12.0]]


@pytest.mark.parametrize("cents", STRINGS)
@pytest.mark.parametrize("heavy", [0.3, 0.5, 0.7])
def test_the_pitch_of_three_strings_is_their_mean(cents: list[float], heavy: float) -> None:
    """Each counts alike, whatever the blow gave to it; of two it is midway."""
    at, open_cents = pitch_between(cents, heavy_cents=heavy * cents[-1])
    assert at == pytest.approx(np.mean(cents), abs=0.1)
    assert open_cents < 0.1
    midway_hz = 0.5 * (1.0 + 2.0 ** (12.0 / 1200.0))
    assert pitch_between([0.0, 12.0], strings=2)[0] == pytest.approx(1200.0 * np.log2(midway_hz))


def test_the_energy_would_not_tell_the_mean() -> None:
    """The twin: pitch taken where most of the sound is, or a pair put to one end, misses the mean of the strings."""
    for cents in STRINGS[1:3]:
        heavy, pair_above = 0.7 * cents[-1], 2.0 / 3.0 * cents[-1]
        for wrong in (heavy, pair_above):
            assert abs(wrong - np.mean(cents)) > 1.5


def test_a_third_string_that_hides_leaves_the_pitch_open() -> None:
    """The key is taken to have three strings and shows two modes: it may have two, or a pair at either end."""
    even, even_open = pitch_between([0.0, 12.0], heavy_cents=6.0)
    pair, pair_open = pitch_between([0.0, 12.0], heavy_cents=8.5)
    assert even == pytest.approx(6.0, abs=0.1)
    assert even < pair <= 8.01
    for at, open_cents in ((even, even_open), (pair, pair_open)):
        assert open_cents > 0.5
        assert abs(8.0 - at) <= 3.0 * open_cents
    assert pitch_between([0.0, 12.0], strings=2)[1] < 0.1


def shares(
    first_pair: int, *, one: float, two: float, in_tune: tuple[int, ...] = ()
) -> tuple[np.ndarray, np.ndarray]:
    """Keys 1 to 28 and in which share of its partials each shows two modes; pairs in tune look like one string."""
    key = np.arange(1, 29)
    alone = (key < first_pair) | np.isin(key, in_tune)
    return key, np.where(alone, one, two)


@pytest.mark.parametrize("first_pair", [7, 11, 14])
def test_the_recording_tells_where_single_strings_end(first_pair: int) -> None:
    key, several = shares(first_pair, one=0.1, two=0.8, in_tune=(19,))
    told = count_strings(key, several)
    assert np.array_equal(told.strings == 1, key < first_pair)
    assert set(key[told.open]) <= {first_pair - 1, first_pair}, "and it is open at most beside it"


def test_where_single_strings_end_is_left_open_where_it_can_not_be_heard() -> None:
    """The twins: false beats, or a room, in which one string looks like two; and a key between the two kinds."""
    beating = count_strings(*shares(8, one=0.8, two=0.9))
    assert np.array_equal(beating.strings == 1, np.arange(1, 29) <= 10), "then it is what is usual"
    assert np.flatnonzero(beating.open).tolist() == [5, 6, 7, 8, 9]
    key, several = shares(11, one=0.1, two=0.8)
    several[10] = 0.45
    assert count_strings(key, several).open[10]


def unison_of(
    cents: list[float] | list[list[float]],
    *,
    strings: int = 3,
    partials: int = 8,
    heard_s: float = 1.5,
    left: float = 0.0,
    long_room: bool = False,
    soft_db: float = -6.0,
) -> tuple[float, float]:
    """The distance of a note's strings and how sure it is, cents; ``cents`` for all partials, or for each."""
    known = KnownOfNotes(
        far_cents=np.zeros(1),
        far_sd_cents=np.zeros(1),
        far_proven=np.zeros(1, dtype=bool),
        strings=np.array([strings]),
        maybe_two=np.zeros(1, dtype=bool),
        scatter=np.full(1, 0.1),
        heard_s=np.full(1, heard_s),
        unexplained=np.full((1, PARTIALS), left),
    )
    heard = (np.arange(PARTIALS) < partials).astype(float)[None]
    each = cents if isinstance(cents[0], list) else [cents] * PARTIALS
    modes = modes_at(each, soft_db=soft_db)
    unison = measure_unison(modes, known, centre_hz=CENTRE_HZ, weight=heard, prompt_hidden=long_room)
    return float(unison.spread_cents[0]), float(unison.spread_sd[0])


def spread_sd(cents: list[float], **stated: float) -> float:
    return unison_of(cents, **stated)[1]


@pytest.mark.parametrize("strings", [1, 2])
def test_what_lies_far_from_a_single_string_is_not_its_false_beat(strings: int) -> None:
    """Lines at 30 cents, now above and now below, as a codec leaves them; for a pair, the twin, they may be the other string."""
    far = [[0.0, 30.0], [0.0, -45.0], [0.0, 20.0], [0.0, 1.5]] * 2 + [[0.0]] * 4
    spread, sd = unison_of(far, strings=strings)
    assert (spread < 2.0) == (strings == 1)
    assert (sd < 1.0) == (strings == 1)


def test_a_faint_mode_in_a_long_room_may_be_the_room_s() -> None:
    """A mode 21 dB down and 6 cents away: a string whose prompt part is not heard, or the room's. Both are to be held."""
    spread, sd = unison_of([0.0, 6.0], soft_db=-21.0, long_room=True)
    by_moments, sd_by_moments = unison_of([0.0, 6.0], soft_db=-21.0)
    assert by_moments < spread < 6.0
    assert 6.0 - spread <= 2.0 * sd
    assert spread - by_moments <= 2.0 * sd
    assert 6.0 - by_moments > 2.0 * sd_by_moments, "the twin, in which nothing hides the prompt mode"


def test_what_the_modes_leave_unexplained_may_be_a_string() -> None:
    """A tenth of the sound in no mode: strings 8 cents apart could hide in it; a ten thousandth hides nothing."""
    assert spread_sd([0.0, 0.5], left=0.1) > 3.0 * spread_sd([0.0, 0.5], left=1e-4)
    assert spread_sd([0.0, 0.5], left=1e-4) == pytest.approx(spread_sd([0.0, 0.5]), rel=0.05)


def test_noise_is_no_string() -> None:
    """The same tenth is left of a line that hardly stands out of the noise, and of one far over it, the twin."""
    modes = replace(modes_at([[0.0, 0.5]] * PARTIALS), fit_db=np.full((1, PARTIALS), 10.0))
    faint, loud = (
        unexplained_share(modes, np.full((1, PARTIALS), db), key=np.array([KEY]), heard_s=np.full(1, 1.5))
        for db in (13.0, 45.0)
    )
    assert np.all(faint < 0.02)
    assert loud == pytest.approx(0.1, rel=0.02)


def test_a_unison_is_less_sure_from_one_partial_or_a_short_look() -> None:
    """Partials that agree leave little open; one has none to agree with, and a tenth of a second tells no two strings apart."""
    assert spread_sd([0.0, 3.0], partials=1) > 2.0 * spread_sd([0.0, 3.0])
    assert spread_sd([0.0, 3.0], heard_s=0.1) > 1.3 * spread_sd([0.0, 3.0])
    assert spread_sd([0.0, 3.0], partials=PARTIALS, heard_s=0.1) > 1.3 * spread_sd(
        [0.0, 3.0], partials=PARTIALS
    )


@pytest.mark.parametrize("proven", [True, False])
def test_strings_that_are_seen_apart_say_their_distance(proven: bool) -> None:
    """Two lines 12 cents apart, of a key that has three strings: from the moments of the sum, the twin, they seem wider."""
    known = KnownOfNotes(
        far_cents=np.full(1, 12.0),
        far_sd_cents=np.full(1, 0.05),
        far_proven=np.full(1, proven),
        strings=np.array([3]),
        maybe_two=np.zeros(1, dtype=bool),
        scatter=np.full(1, 0.1),
        heard_s=np.full(1, 1.5),
        unexplained=np.zeros((1, PARTIALS)),
    )
    heard = (np.arange(PARTIALS) < 8).astype(float)[None]
    modes = modes_at([[0.0, 12.0]] * PARTIALS, soft_db=0.0)
    unison = measure_unison(modes, known, centre_hz=CENTRE_HZ, weight=heard, prompt_hidden=False)
    off = abs(unison.spread_cents[0] - 12.0)
    assert (off < 0.1) == proven
    assert (unison.spread_sd[0] < 0.2) == proven


@pytest.mark.slow
def test_a_slipped_string_of_a_whole_scale_is_found_with_its_distance() -> None:
    """Truth: the strings that the model was told to have; the twin has none far off."""
    slipped = (KeyFault(kind="off_pitch", key=33, amount=18.0, strings="one"),)
    for faults in (slipped, ()):
        scale = render_scale(
            PianoModel(seed=74, faults=faults),
            room=room("dry"),
            hold_s=2.0,
            seed=74,
            first_key=28,
            last_key=38,
        )
        table = listen(scale.samples, rate_hz=scale.rate_hz, first_key=28, last_key=38).table.set_index("key")
        true = scale.truth.set_index("key")["unison_cents"]
        assert (true[33] > 15.0) == bool(faults)
        assert abs(table["unison_cents"][33] - true[33]) < 1.0
        assert ("unison" in table["faults"][33]) == bool(faults)


@pytest.mark.parametrize(
    ("shown_in", "long_room", "hides"), [(1, True, True), (1, False, False), (8, True, False)]
)
def test_one_mode_in_a_long_room_says_nothing_of_the_strings(
    shown_in: int, long_room: bool, hides: bool
) -> None:
    modes = modes_at([[0.0, 3.0] if p < shown_in else [0.0] for p in range(8)])
    heard = (np.arange(PARTIALS) < 8).astype(float)[None]
    known = KnownOfNotes(
        far_cents=np.zeros(1),
        far_sd_cents=np.zeros(1),
        far_proven=np.zeros(1, dtype=bool),
        strings=np.array([3]),
        maybe_two=np.zeros(1, dtype=bool),
        scatter=np.full(1, 0.3),
        heard_s=np.full(1, 1.5),
        unexplained=np.zeros((1, PARTIALS)),
    )
    unison = measure_unison(modes, known, centre_hz=CENTRE_HZ, weight=heard, prompt_hidden=long_room)
    assert bool(unison.room_hides[0]) == hides
