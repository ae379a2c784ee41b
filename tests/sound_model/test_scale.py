"""A whole recording: timing, truth, room, noise, seeds."""

import numpy as np
import pytest
from scipy import signal

from pianolab.errors import BadInput
from pianolab.sound_model import (
    KeyFault,
    ModelledScale,
    PianoModel,
    RecordingRoom,
    impulse_response,
    render_scale,
    room,
)
from pianolab.sound_model.room import microphone_noise
from pianolab.units import key_to_hz, power_to_db

RATE_HZ = 16000


def play(model: PianoModel | None = None, **more: object) -> ModelledScale:
    settings: dict[str, object] = {
        "first_key": 40,
        "last_key": 45,
        "hold_s": 0.5,
        "gap_s": 0.25,
        "rate_hz": RATE_HZ,
        "jitter": 0.0,
        **more,
    }
    return render_scale(model or PianoModel(seed=4), **settings)  # type: ignore[arg-type]


@pytest.mark.slow
def test_same_seeds_same_recording() -> None:
    noisy = {"room": room("home"), "snr_db": 40.0, "jitter": 0.05}
    first = play(**noisy)
    assert np.array_equal(first.samples, play(**noisy).samples)
    assert first.truth.equals(play(**noisy).truth)
    other = play(**noisy, seed=2)
    assert other.samples.shape != first.samples.shape or not np.array_equal(other.samples, first.samples)
    other = play(PianoModel(seed=5), **noisy)
    assert not np.array_equal(other.samples, first.samples)
    assert (other.truth["cents"] != first.truth["cents"]).all()


def test_shape_and_level() -> None:
    mono = play(room=room("home"))
    assert mono.samples.dtype == np.float32
    assert np.abs(mono.samples).max() == pytest.approx(10 ** (-3 / 20), rel=1e-5)
    stereo = play(room=RecordingRoom(channels=2))
    assert stereo.samples.shape == (mono.samples.shape[0], 2)
    assert not np.array_equal(stereo.samples[:, 0], stereo.samples[:, 1])


@pytest.mark.slow
def test_skipped_keys_take_no_time_silent_keys_do_repeated_keys_take_more() -> None:
    plain = play()
    assert np.diff(plain.truth["onset_s"]) == pytest.approx(0.75)
    assert plain.seconds == pytest.approx(1.0 + 6 * 0.75 - 0.25 + 2.0, abs=0.001)
    skipped = play(skipped=(42, 43))
    assert skipped.seconds == pytest.approx(plain.seconds - 1.5, abs=0.001)
    assert list(skipped.truth["struck"]) == [True, True, False, False, True, True]
    assert skipped.truth["decay_20_s"].isna().tolist() == [False, False, True, True, False, False]
    silent = play(PianoModel(seed=4, faults=(KeyFault(key=42, kind="silent"),)))
    assert silent.seconds == pytest.approx(plain.seconds)
    assert silent.truth["faults"].tolist() == ["", "", "silent", "", "", ""]
    assert silent.truth["struck"].all()
    assert np.isnan(silent.truth["decay_20_s"][2])
    repeated = play(repeated=(41,))
    assert repeated.seconds == pytest.approx(plain.seconds + 0.75, abs=0.001)
    assert repeated.truth["strikes"].tolist() == [1, 2, 1, 1, 1, 1]
    assert len(repeated.strikes) == 7


def energy_at(scale: ModelledScale, key: int, *, from_s: float, to_s: float) -> float:
    part = scale.samples[round(from_s * RATE_HZ) : round(to_s * RATE_HZ)]
    power = np.abs(np.fft.rfft(part * np.hanning(part.size))) ** 2
    f_hz = np.fft.rfftfreq(part.size, 1 / RATE_HZ)
    return float(power_to_db(power[np.abs(f_hz / key_to_hz(key) - 1) < 0.02].sum()))


def test_keys_sound_where_the_truth_says() -> None:
    scale = play(jitter=0.2, skipped=(43,))
    for row in scale.truth[scale.truth["struck"]].itertuples():
        held = {"from_s": row.onset_s + 0.05, "to_s": row.release_s}
        own = energy_at(scale, row.key, **held)
        others = [energy_at(scale, k, **held) for k in range(38, 48) if abs(k - row.key) > 1]
        assert own > max(others) + 20
        before = slice(round((row.onset_s - 0.02) * RATE_HZ), round(row.onset_s * RATE_HZ))
        after = slice(round(row.onset_s * RATE_HZ), round((row.onset_s + 0.02) * RATE_HZ))
        assert np.abs(scale.samples[after]).max() > 5.0 * np.abs(scale.samples[before]).max()


def test_jitter_moves_strikes() -> None:
    assert np.diff(play(jitter=0.2).truth["onset_s"]).std() > 0.03
    assert np.diff(play().truth["onset_s"]).std() < 1e-9


@pytest.mark.slow
def test_truth_of_pitch_is_the_mean_of_the_strings() -> None:
    fault = KeyFault(key=42, kind="off_pitch", amount=-21.0, strings="one")
    good, bad = PianoModel(seed=4), PianoModel(seed=4, faults=(fault,))
    moved = play(bad).truth["cents"] - play(good).truth["cents"]
    assert moved[2] == pytest.approx(-7.0, abs=0.05)
    assert np.abs(moved.drop(2)).max() == 0.0
    assert play(bad).truth["unison_cents"][2] > 20.0
    assert play(good).truth["unison_cents"][2] < 2.0


def test_offset_of_the_whole_piano() -> None:
    flat = play(PianoModel(seed=4, offset_cents=-60.0)).truth["cents"]
    assert (flat - play().truth["cents"]).tolist() == pytest.approx([-60.0] * 6)


def test_wider_and_narrower_keyboards() -> None:
    wide = render_scale(PianoModel(first_key=-8, last_key=-6), hold_s=0.3, rate_hz=16000)
    assert list(wide.truth["note"]) == ["C0", "C#0", "D0"]
    top = render_scale(PianoModel(first_key=97, last_key=99), hold_s=0.3)
    assert np.abs(top.samples).max() > 0.5
    assert not top.truth["damped"].any()


@pytest.mark.parametrize(("snr_db", "hum_hz"), [(40.0, 0.0), (20.0, 50.0)])
def test_noise_has_the_level_it_says(snr_db: float, hum_hz: float) -> None:
    scale = play(snr_db=snr_db, hum_hz=hum_hz, lead_in_s=4.0)
    noise = np.mean(scale.samples[: round(3.9 * RATE_HZ)].astype(float) ** 2)
    held = [
        scale.samples[round(s.onset_s * RATE_HZ) : round(s.release_s * RATE_HZ)].astype(float) ** 2
        for s in scale.strikes
    ]
    extra = 10 * np.log10(1.1) if hum_hz else 0.0
    found = power_to_db(np.mean(np.concatenate(held)) / noise)
    assert found == pytest.approx(snr_db - extra, abs=0.3)
    assert np.mean(play(lead_in_s=4.0).samples[: 3 * RATE_HZ] ** 2) == 0.0


def test_noise_falls_towards_the_treble_but_not_as_fast_as_pink() -> None:
    noise = microphone_noise(1 << 19, rate_hz=44100, rng=np.random.default_rng(1))
    f_hz, power = signal.welch(noise, fs=44100, nperseg=8192)
    at = {f: power_to_db(power[(f_hz > f / 1.2) & (f_hz < f * 1.2)].mean()) for f in (60, 240, 960, 15000)}
    assert 3.0 < at[60] - at[240] < 7.0
    assert 2.0 < at[240] - at[960] < 7.0
    assert at[60] - at[15000] < 25.0


def reverberation_s(response: np.ndarray, rate_hz: int, centre_hz: float) -> float:
    """T20 of one octave by backward integration (ISO 3382)."""
    edges = (centre_hz / np.sqrt(2), centre_hz * np.sqrt(2))
    band = signal.sosfiltfilt(signal.butter(4, edges, "bandpass", fs=rate_hz, output="sos"), response)
    level = power_to_db(np.cumsum(band[::-1] ** 2)[::-1])
    level = level - level[0]
    t = np.arange(level.size) / rate_hz
    use = (level < -5) & (level > -25)
    return float(-60.0 / np.polyfit(t[use], level[use], 1)[0])


@pytest.mark.parametrize("name", ["home", "hall", "dull", "bright"])
def test_room_has_the_reverberation_it_says(name: str) -> None:
    place = room(name)
    assert place is not None
    found = [
        np.mean(
            [
                reverberation_s(impulse_response(place, rate_hz=32000, seed=s)[1:, 0], 32000, f)
                for f in (500, 1000)
            ]
        )
        for s in range(8)
    ]
    assert np.mean(found) == pytest.approx(place.t60_s, rel=0.06)
    assert np.mean(found) != pytest.approx(1.3 * place.t60_s, rel=0.06)


def test_direct_sound_over_reverberation() -> None:
    response = impulse_response(RecordingRoom(drr_db=-4.0), rate_hz=16000, seed=3)[:, 0]
    assert power_to_db(response[0] ** 2 / np.sum(response[1:] ** 2)) == pytest.approx(-4.0, abs=1e-6)


def test_dull_room_takes_the_treble() -> None:
    def tilt_db(place: RecordingRoom) -> float:
        spectrum = np.abs(np.fft.rfft(impulse_response(place, rate_hz=44100, seed=1)[:, 0], 1 << 16)) ** 2
        f_hz = np.fft.rfftfreq(1 << 16, 1 / 44100)
        low, high = (spectrum[(f_hz > f / 1.4) & (f_hz < 1.4 * f)].mean() for f in (350.0, 8000.0))
        return float(power_to_db(high / low))

    assert tilt_db(RecordingRoom(treble_db=9.0)) - tilt_db(RecordingRoom()) == pytest.approx(-9.0, abs=0.8)


def test_room_keeps_the_sound_going() -> None:
    plain = PianoModel.plain(seed=4)
    dry, wet = play(plain), play(plain, room=room("hall"))
    tail = slice(
        round((dry.strikes[-1].release_s + 0.4) * RATE_HZ), round((dry.strikes[-1].release_s + 0.6) * RATE_HZ)
    )
    assert (
        power_to_db(np.mean(wet.samples[tail] ** 2.0)) > power_to_db(np.mean(dry.samples[tail] ** 2.0)) + 20
    )
    assert dry.t60_s is None
    assert wet.t60_s == 1.1


def test_headline_and_rows() -> None:
    scale = play()
    assert "6 strikes" in repr(scale)
    assert scale.to_frame().loc[2, "note"] == "no room"


@pytest.mark.parametrize(
    ("settings", "words"),
    [
        ({"first_key": 50, "last_key": 45}, "first_key: got 50"),
        ({"last_key": 95}, "last_key: got 95, need a key of this piano, 1 to 88"),
        ({"hold_s": 0.0}, r"hold_s: got 0\.0"),
        ({"gap_s": -1.0}, r"gap_s: got -1\.0"),
        ({"rate_hz": 4000}, "rate_hz: got 4000"),
        ({"snr_db": float("nan")}, "snr_db: got nan"),
        ({"jitter": 2.0}, r"jitter: got 2\.0"),
        ({"skipped": tuple(range(40, 46))}, "skipped: got every key"),
    ],
)
def test_impossible_recordings_are_refused(settings: dict[str, object], words: str) -> None:
    with pytest.raises(BadInput, match=words):
        play(**settings)


def test_impossible_rooms_are_refused() -> None:
    with pytest.raises(BadInput, match=r"t60_s: got 0\.0"):
        RecordingRoom(t60_s=0.0)
    with pytest.raises(BadInput, match="room: got 'cave', need one of dry, home, hall, dull, bright"):
        room("cave")


def test_a_room_is_the_same_room_at_another_rate_of_samples() -> None:
    """What comes back at once (before 40 ms) has the same share of all that comes back."""

    def early_share(rate_hz: int) -> float:
        found = [
            impulse_response(RecordingRoom(t60_s=0.6), rate_hz=rate_hz, seed=s)[1:, 0] ** 2 for s in range(6)
        ]
        return float(np.mean([np.sum(r[: round(0.04 * rate_hz)]) / np.sum(r) for r in found]))

    assert 0.4 < early_share(8000) < 0.8
    assert early_share(32000) == pytest.approx(early_share(8000), abs=0.08)
