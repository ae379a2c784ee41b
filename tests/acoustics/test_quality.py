"""What is wrong with a recording is heard, said and forbidden; the untouched twin shows none of it.

The recorder's automatic gain here is a model of its own: an envelope follower with its attack and release times,
a ratio and a largest gain, in steps of 1 ms.
"""

import io
from functools import cache

import numpy as np
import pandas as pd
import pytest
import soundfile
from scipy import signal

from pianolab.acoustics import Recorded, Survey, listen
from pianolab.acoustics.columns import resting_with
from pianolab.acoustics.recorder.background import (
    find_dead_channels,
    find_gaps,
    find_hum,
    find_low_pass,
    offset_share,
)
from pianolab.acoustics.recorder.clipping import clipped_share
from pianolab.acoustics.recorder.gain import GainEvidence, hear_gain
from pianolab.acoustics.recorder.quality import RecordingQuality, playback_speed
from pianolab.acoustics.recorder.recorder_states import Impairment, forbid
from pianolab.acoustics.survey_result import rows_of, table_of
from pianolab.errors import BadInput
from pianolab.io import real_notes, string_together
from pianolab.sound_model import ModelledScale, PianoModel, render_scale, room

FIRST, LAST = 42, 68
KEYS = {"first_key": FIRST, "last_key": LAST}


@cache
def played(place: str = "home", *, snr_db: float = 45.0, plain: bool = False) -> ModelledScale:
    model = PianoModel.plain(seed=71) if plain else PianoModel(seed=71)
    return render_scale(model, first_key=FIRST, last_key=LAST, room=room(place), snr_db=snr_db, seed=71)


def riding_gain(
    samples: np.ndarray,
    rate_hz: int,
    *,
    attack_s: float,
    release_s: float,
    ratio: float,
    most_db: float = 24.0,
) -> np.ndarray:
    """The sound after a recorder that holds its level near -20 dB by itself."""
    hop = rate_hz // 1000
    count = len(samples) // hop
    blocks = samples[: count * hop].astype(float).reshape(count, -1)
    level = np.sqrt((blocks**2).mean(axis=1))
    rising, falling = np.exp(-1e-3 / attack_s), np.exp(-1e-3 / release_s)
    follower, now = np.empty(count), level[0]
    for i, own in enumerate(level):
        share = rising if own > now else falling
        now = share * now + (1 - share) * own
        follower[i] = now
    gain = np.minimum((0.1 / np.maximum(follower, 1e-9)) ** (1 - 1 / ratio), 10 ** (most_db / 20))
    smooth = np.interp(np.arange(len(samples)), (np.arange(count) + 0.5) * hop, gain)
    ridden = samples * (smooth if samples.ndim == 1 else smooth[:, None])
    return (0.7 * ridden / np.abs(ridden).max()).astype(np.float32)


RECORDERS = {
    "quick": {"attack_s": 0.003, "release_s": 0.15, "ratio": 3.0},
    "usual": {"attack_s": 0.01, "release_s": 1.0, "ratio": 8.0},
    "slow": {"attack_s": 0.02, "release_s": 3.0, "ratio": 20.0},
}


def stored(samples: np.ndarray, rate_hz: int, *, suffix: str = "VORBIS", squeeze: float = 0.9) -> np.ndarray:
    """The sound after a lossy codec at a low bit rate."""
    container = {"VORBIS": "OGG", "MPEG_LAYER_III": "MP3"}[suffix]
    room_for = io.BytesIO()
    with soundfile.SoundFile(
        room_for, "w", rate_hz, 1, format=container, subtype=suffix, compression_level=squeeze
    ) as file:
        for start in range(0, len(samples), 1 << 16):
            file.write(samples[start : start + (1 << 16)])
    room_for.seek(0)
    return soundfile.read(room_for, dtype="float32")[0]


def gain_of(samples: np.ndarray, scale: ModelledScale, *, coded: bool = False) -> GainEvidence:
    truth = scale.truth
    return hear_gain(
        np.atleast_2d(samples),
        rate_hz=scale.rate_hz,
        key=truth["key"].to_numpy(),
        coded=coded,
        onset_s=truth["onset_s"].to_numpy(),
        hold_s=(truth["release_s"] - truth["onset_s"]).to_numpy(),
    )


# Automatic gain


@pytest.mark.slow
@pytest.mark.parametrize("recorder", RECORDERS)
@pytest.mark.parametrize("place", ["dry", "home", "hall"])
def test_automatic_gain_is_heard_in_the_background(place: str, recorder: str) -> None:
    scale = played(place)
    gain = gain_of(riding_gain(scale.samples, scale.rate_hz, **RECORDERS[recorder]), scale)
    assert gain.state == "automatic"
    assert gain.dip_db < -1.0
    assert gain.rise_db > 1.0


@pytest.mark.slow
@pytest.mark.parametrize("place", ["dry", "home", "hall"])
@pytest.mark.parametrize("snr_db", [45.0, 20.0])
def test_a_gain_that_stands_still_is_called_steady(place: str, snr_db: float) -> None:
    scale = played(place, snr_db=snr_db)
    assert gain_of(scale.samples, scale).state == "steady"


@pytest.mark.slow
def test_a_codec_that_drops_noise_near_loud_notes_is_no_automatic_gain() -> None:
    scale = played()
    for squeeze in (0.6, 1.0):
        coded = stored(scale.samples, scale.rate_hz, squeeze=squeeze)
        assert gain_of(coded, scale, coded=True).state != "automatic"
    ridden = riding_gain(scale.samples, scale.rate_hz, **RECORDERS["usual"])
    assert gain_of(stored(ridden, scale.rate_hz), scale, coded=True).state == "automatic"


@pytest.mark.parametrize("recorder", ["quick", "usual"])
def test_without_a_background_the_notes_themselves_tell(recorder: str) -> None:
    scale = played("dry", snr_db=float("inf"))
    clean = gain_of(scale.samples, scale)
    ridden = gain_of(riding_gain(scale.samples, scale.rate_hz, **RECORDERS[recorder]), scale)
    assert clean.state == "unknown", "no background, so nothing shows that the gain stood still"
    assert ridden.state == "automatic"
    if recorder == "usual":  # a gain that falls within 3 ms takes the beginning down with it
        assert ridden.squeeze_db > clean.squeeze_db
    assert ridden.fall_share < clean.fall_share


@pytest.mark.slow
def test_real_notes_are_no_automatic_gain_and_ridden_ones_are() -> None:
    sound, onsets_s = string_together(hold_s=2.5)
    told = {
        "rate_hz": sound.rate_hz,
        "key": np.array(sorted(real_notes())),
        "onset_s": np.array(onsets_s),
        "hold_s": np.full(30, 2.5),
    }
    assert hear_gain(sound.samples.T, **told).state == "unknown"
    ridden = riding_gain(sound.samples, sound.rate_hz, **RECORDERS["usual"])
    assert hear_gain(ridden.T, **told).state == "automatic"


@cache
def heard(recorder: str = "") -> Survey:
    scale = played()
    samples = riding_gain(scale.samples, scale.rate_hz, **RECORDERS[recorder]) if recorder else scale.samples
    return listen(samples, rate_hz=scale.rate_hz, **KEYS)


@pytest.mark.slow
def test_automatic_gain_forbids_decay_and_says_so() -> None:
    survey = heard("usual")
    measured = survey.table[survey.table["status"] == "measured"]
    assert len(measured) >= 25
    assert set(measured["sustain_trust"]) == {"automatic gain"}
    assert set(measured["sustain_verdict"]) == {""}
    for column in (
        c.name for c in resting_with(["decay_20_s", "late_db_per_s", "release_20_s", "string_db_per_s"])
    ):
        assert (measured[column].isna() | (measured[column] == "")).all(), column
        assert measured["gaps"].str.contains(f"{column}=automatic gain", regex=False).all(), column
    for fault in ("short_sustain", "damper"):
        assert measured["not_judged"].str.contains(f"{fault}=automatic gain", regex=False).all()
        assert not measured["faults"].str.contains(fault).any()
    assert survey.summary.t60_s is None
    assert survey.summary.t60_reason == "automatic gain"
    assert "automatic gain" in survey.summary.impairments
    assert any("switch automatic level off" in w for w in survey.summary.warnings)
    pd.testing.assert_frame_equal(Survey.from_json(survey.to_json()).table, survey.table)


@pytest.mark.slow
def test_automatic_gain_leaves_the_pitch_alone() -> None:
    apart = heard("usual").table["cents"] - heard().table["cents"]
    assert apart.abs().median() < 0.1


def test_an_untouched_recording_shows_none_of_it() -> None:
    survey = heard()
    assert survey.summary.impairments == ()
    assert survey.summary.quality == ()
    assert survey.summary.t60_s is not None
    assert (survey.table["decay_20_bound"] != "").mean() > 0.9
    assert "ok" in set(survey.table["sustain_trust"])
    assert survey.summary.quality_unknown == ("playback speed: no pitch is known to compare with",)


# Low-pass, hum, gaps, offset, clipping


@pytest.mark.parametrize(
    ("suffix", "squeeze"), [("VORBIS", 1.0), ("MPEG_LAYER_III", 0.5), ("MPEG_LAYER_III", 0.99)]
)
def test_a_low_bit_rate_cuts_the_top(suffix: str, squeeze: float) -> None:
    scale = played()
    low_pass_hz = find_low_pass(
        stored(scale.samples, scale.rate_hz, suffix=suffix, squeeze=squeeze)[None], rate_hz=scale.rate_hz
    )
    assert low_pass_hz is not None
    assert 4000 < low_pass_hz < 17000


@pytest.mark.parametrize("edge_hz", [5000, 8000, 12000])
@pytest.mark.parametrize("order", [6, 10])
def test_a_filter_is_found_near_its_edge(edge_hz: int, order: int) -> None:
    scale = played()
    sos = signal.butter(order, edge_hz, fs=scale.rate_hz, output="sos")
    low_pass_hz = find_low_pass(
        signal.sosfilt(sos, scale.samples).astype(np.float32)[None], rate_hz=scale.rate_hz
    )
    assert low_pass_hz is not None
    assert edge_hz * 0.9 < low_pass_hz < edge_hz * 1.9, "25 dB under what is below, 6 to 10 poles further up"


@pytest.mark.slow
@pytest.mark.parametrize("edge_hz", [5000, 8000])
def test_a_filter_is_found_where_notes_ring_through_the_pauses(edge_hz: int) -> None:
    """No pause is quiet in a hall with the pedal down; unfiltered, the same take reaches up."""
    scale = render_scale(
        PianoModel(seed=71, last_damped_key=FIRST - 1),
        first_key=FIRST,
        last_key=LAST,
        room=room("hall"),
        snr_db=45.0,
        seed=71,
    )
    sos = signal.butter(8, edge_hz, fs=scale.rate_hz, output="sos")
    filtered = signal.sosfilt(sos, scale.samples).astype(np.float32)
    low_pass_hz = find_low_pass(filtered[None], rate_hz=scale.rate_hz)
    assert low_pass_hz is not None
    assert edge_hz * 0.9 < low_pass_hz < edge_hz * 1.9, "as above"
    assert find_low_pass(scale.samples[None], rate_hz=scale.rate_hz) is None


@pytest.mark.slow
@pytest.mark.parametrize("place", ["dry", "home", "hall"])
def test_an_untouched_spectrum_reaches_up(place: str) -> None:
    scale = played(place)
    for samples, rate_hz in (
        (scale.samples, scale.rate_hz),
        (signal.resample_poly(scale.samples, 2, 1).astype(np.float32), 2 * scale.rate_hz),
    ):
        assert find_low_pass(samples[None], rate_hz=rate_hz) is None


@pytest.mark.parametrize(
    "keys", [(1, 4, 7), (10, 13, 16, 19), (22, 25, 28, 31), (40, 43, 46), (70, 73, 76, 79)]
)
def test_where_the_partials_of_a_few_notes_end_is_no_edge(keys: tuple[int, ...]) -> None:
    sound, _ = string_together(keys=keys)
    assert find_low_pass(np.ascontiguousarray(sound.samples.T), rate_hz=sound.rate_hz) is None


@pytest.mark.slow
def test_what_a_low_pass_forbids() -> None:
    scale = played()
    sos = signal.butter(10, 5000, fs=scale.rate_hz, output="sos")
    survey = listen(signal.sosfilt(sos, scale.samples).astype(np.float32), rate_hz=scale.rate_hz, **KEYS)
    assert "low-pass" in survey.summary.impairments
    table = survey.table.set_index("key")
    assert table.loc[66, "gaps"].count("=low-pass") >= 2
    assert np.isnan(table.loc[66, "brightness_db"])
    assert "voicing=low-pass" in table.loc[66, "not_judged"]
    assert not np.isnan(table.loc[44, "brightness_db"])


@pytest.mark.parametrize("mains_hz", [50.0, 60.0])
def test_hum_is_found_and_named(mains_hz: float) -> None:
    # Without the board's thumps, which have lines of their own where mains hum has them.
    scale = played(plain=True)
    t = np.arange(len(scale.samples)) / scale.rate_hz
    for level in (3e-4, 3e-3):
        hum = level * sum(np.sin(2 * np.pi * n * mains_hz * t + n) / n for n in (1, 2, 3, 5))
        found = find_hum((scale.samples + hum).astype(np.float32)[None], rate_hz=scale.rate_hz)
        assert found is not None
        assert found.mains_hz == mains_hz
        true_power = level**2 * (1 + 1 / 4 + 1 / 9 + 1 / 25)
        assert 10 * np.log10(found.power / true_power) == pytest.approx(0.0, abs=1.5)


@pytest.mark.slow
def test_no_hum_where_there_is_none() -> None:
    """Also with low keys: G1 lies at 49 Hz and B1 at 61.7 Hz, but they don't go on for ever."""
    for place in ("dry", "home", "hall"):
        scale = played(place)
        assert find_hum(scale.samples[None], rate_hz=scale.rate_hz) is None
    model = PianoModel(seed=72)
    low = render_scale(model, first_key=8, last_key=20, room=room("home"), snr_db=45.0, seed=72)
    assert find_hum(low.samples[None], rate_hz=low.rate_hz) is None


@pytest.mark.slow
def test_gaps_in_sound_and_the_silence_after_a_note() -> None:
    scale = played()
    holed = scale.samples.copy()
    at = [int((t + 0.4) * scale.rate_hz) for t in scale.truth["onset_s"].iloc[[3, 9]]]
    for begin in at:
        holed[begin : begin + 441] = 0.0
    found = find_gaps(holed[None], rate_hz=scale.rate_hz)
    assert [round(begin * scale.rate_hz) for begin, _ in found] == pytest.approx(at, abs=2)
    assert find_gaps(scale.samples[None], rate_hz=scale.rate_hz) == []
    real, _ = string_together(hold_s=1.5)
    assert find_gaps(real.samples.T, rate_hz=real.rate_hz) == []
    silent = played("dry", snr_db=float("inf"))
    assert find_gaps(silent.samples[None], rate_hz=silent.rate_hz) == []


def dead_kinds(heard: np.ndarray, rate_hz: int) -> dict[str, np.ndarray]:
    """What a channel holds whose microphone is off: nothing, an offset, noise, hum, a little of its neighbour."""
    rng = np.random.default_rng(5)
    t, peak = np.arange(len(heard)) / rate_hz, float(np.abs(heard).max())
    return {
        "zeros": np.zeros(len(heard)),
        "offset": np.full(len(heard), 0.02),
        "noise": 0.03 * peak * rng.standard_normal(len(heard)),
        "hum": 0.2 * peak * np.sin(2 * np.pi * 50 * t),
        "leak": 0.003 * heard,
    }


@pytest.mark.parametrize("kind", ["zeros", "offset", "noise", "hum", "leak"])
@pytest.mark.parametrize("place", ["dry", "hall"])
def test_a_dead_channel_is_told_whatever_it_holds(kind: str, place: str) -> None:
    scale = played(place)
    dead = dead_kinds(scale.samples, scale.rate_hz)[kind]
    onset_s = scale.truth["onset_s"].to_numpy()
    for channels, which in (((scale.samples, dead), 2), ((dead, scale.samples), 1)):
        both = np.array(channels, dtype=np.float32)
        assert find_dead_channels(both, rate_hz=scale.rate_hz, onset_s=onset_s) == (which,)


@pytest.mark.parametrize("softer_db", [0.0, 6.0, 20.0])
def test_a_channel_that_is_only_softer_or_noisier_is_not_dead(softer_db: float) -> None:
    scale = played("hall")
    other = dead_kinds(scale.samples, scale.rate_hz)["hum"] + scale.samples * 10 ** (-softer_db / 20)
    both = np.array([scale.samples, other], dtype=np.float32)
    onset_s = scale.truth["onset_s"].to_numpy()
    assert find_dead_channels(both, rate_hz=scale.rate_hz, onset_s=onset_s) == ()
    assert find_dead_channels(both[:1], rate_hz=scale.rate_hz, onset_s=onset_s) == ()


def test_real_notes_show_no_impairment_of_the_recorder() -> None:
    sound, _ = string_together(hold_s=2.5)
    channels = np.ascontiguousarray(sound.samples.T)
    assert find_low_pass(channels, rate_hz=sound.rate_hz) is None
    assert find_hum(channels, rate_hz=sound.rate_hz) is None
    assert offset_share(channels) < 0.001
    onset_s = np.arange(30) * 3.0 + 0.5
    assert len(channels) == 2
    assert find_dead_channels(channels, rate_hz=sound.rate_hz, onset_s=onset_s) == ()
    starts = onset_s * sound.rate_hz
    shares = [clipped_share(channels, begin=int(s), stop=int(s + sound.rate_hz)) for s in starts]
    assert max(shares) == 0.0


def test_clipping_needs_more_than_one_touch_of_the_ceiling() -> None:
    scale = played()
    loud = np.clip(6.0 * scale.samples, -1.0, 1.0)[None]
    begin = int(scale.truth["onset_s"].iloc[3] * scale.rate_hz)
    stop = begin + scale.rate_hz
    assert clipped_share(loud, begin=begin, stop=stop) > 1e-4
    assert clipped_share(scale.samples[None], begin=begin, stop=stop) == 0.0
    slow = 0.9 * np.cos(2 * np.pi * 30.0 * np.arange(96000) / 96000) * np.exp(-np.arange(96000) / 48000)
    assert clipped_share(slow[None].astype(np.float32), begin=0, stop=96000) == 0.0


@pytest.mark.slow
def test_many_things_at_once_reach_the_summary_with_what_they_forbid() -> None:
    scale = played()
    t = np.arange(len(scale.samples)) / scale.rate_hz
    hum = 0.004 * sum(np.sin(2 * np.pi * 50 * n * t) / n for n in (1, 2, 3))
    samples = np.clip(5.0 * (scale.samples + hum) + 0.04, -1.0, 1.0).astype(np.float32)
    begin = int((scale.truth["onset_s"].iloc[5] + 0.5) * scale.rate_hz)
    samples[begin : begin + 500] = 0.0
    known = Recorded(lossy=True, expected_offset_cents=-30.0)
    survey = listen(samples, rate_hz=scale.rate_hz, recorded=known, **KEYS)
    said = survey.summary
    assert set(said.impairments) >= {
        "clipped",
        "hum",
        "gaps in the recording",
        "offset",
        "lossy",
        "wrong speed",
    }
    assert "automatic gain" not in said.impairments
    assert set(said.quality) <= set(said.warnings)
    assert len(said.quality) == len(said.impairments)
    table = survey.table.set_index("key")
    holed = table.loc[FIRST + 5]
    assert "decay_20_s=" in holed["gaps"]
    assert holed["sustain_trust"] in ("noisy", "clipped")
    clipped = table.loc[list(said.clipped_keys)]
    assert clipped["decay_20_s"].isna().all()
    assert clipped["gaps"].str.contains("decay_20_s=").all()
    # What stands first in the list of impairments is the reason: a clipped key's is the clipping.
    why = "clipped" if FIRST in said.clipped_keys else "hum"
    assert f"buzz={why}" in table.loc[FIRST, "not_judged"]


# Wrong speed


def test_speed_against_a_known_clock() -> None:
    assert playback_speed(-3.0, expected_offset_cents=-1.0)[1] == "right"
    off_cents, likely = playback_speed(46.7, expected_offset_cents=0.0)
    assert off_cents == pytest.approx(146.7, abs=0.1)
    assert "44.1 kHz read as one of 48" in likely
    assert playback_speed(-25.0, expected_offset_cents=0.0) == (-25.0, "")


# The table


def test_forbidding_keeps_what_is_not_forbidden() -> None:
    table = heard().table
    rows = rows_of(table)
    pd.testing.assert_frame_equal(table_of(forbid(rows, [])), table)
    worse = Impairment(name="worse", says="", columns=("cents",), keys=(50,), faults=("unison",))
    milder = Impairment(name="milder", says="", columns=("cents", "buzz_db"), keys=(50, 51))
    out = table_of(forbid(rows, [worse, milder])).set_index("key")
    assert np.isnan(out.loc[50, "cents"])
    assert np.isnan(out.loc[50, "f1_hz"]), "read from the same lines of the spectrum, so spoiled with it"
    assert "cents=worse" in out.loc[50, "gaps"]
    assert "buzz_db=milder" in out.loc[50, "gaps"]
    assert "unison=worse" in out.loc[50, "not_judged"]
    assert "cents=milder" in out.loc[51, "gaps"]
    same = [k for k in range(FIRST, LAST + 1) if k not in (50, 51)]
    before = table.set_index("key").loc[same]
    pd.testing.assert_frame_equal(out.loc[same], before)


def test_an_impairment_names_the_fields_of_the_summary_that_it_empties() -> None:
    gain = gain_of(played().samples, played())
    ridden = Impairment(name="automatic gain", says="", summary=("t60_s",))
    hum = Impairment(name="hum", says="")
    assert (
        RecordingQuality(impairments=(hum, ridden), unknown=(), gain=gain).withholds("t60_s")
        == "automatic gain"
    )
    assert RecordingQuality(impairments=(hum,), unknown=(), gain=gain).withholds("t60_s") == ""


def test_what_spoils_the_time_of_the_room_says_nothing_about_the_room() -> None:
    """The sentence on a long room would stand on the very time that is withheld."""
    said = heard("usual").summary
    assert said.t60_s is None
    assert "reverberation" not in said.impairments


@pytest.mark.parametrize("off_cents", [601.0, -1e9, float("nan"), float("inf")])
def test_a_piano_no_one_would_play_is_a_slip_of_the_pen(off_cents: float) -> None:
    with pytest.raises(BadInput, match=r"how far the piano is from A4: .* need -600 to 600"):
        Recorded(expected_offset_cents=off_cents)
    assert Recorded(expected_offset_cents=600.0).expected_offset_cents == 600.0
