"""What is not the piano is not its fault: each state of the take is heard, said and forbids; its twin shows none.

The states are made here from one modelled scale: by moving its samples, shutting it, or laying sound over it.
"""

from functools import cache

import numpy as np
import pytest
from scipy import ndimage, signal

from pianolab.acoustics import Survey, listen
from pianolab.acoustics.elsewhere import begins_with_blow
from pianolab.acoustics.gate import find_gate
from pianolab.acoustics.wander import hear_wander
from pianolab.sound_model import KeyFault, ModelledScale, PianoModel, render_scale, room

FIRST, LAST = 40, 56
KEYS = {"first_key": FIRST, "last_key": LAST}


@cache
def played(*faults: KeyFault) -> ModelledScale:
    return render_scale(
        PianoModel(seed=71, faults=faults), room=room("dry"), hold_s=1.5, seed=71, snr_db=50.0, **KEYS
    )


@cache
def plainly() -> Survey:
    return heard(played().samples)


def heard(samples: np.ndarray) -> Survey:
    return listen(samples.astype(np.float32), rate_hz=played().rate_hz, **KEYS)


def swaying(samples: np.ndarray, rate_hz: int, *, share: float, turns_per_s: float = 0.8) -> np.ndarray:
    """Speed that sways by ``share`` at most."""
    t = np.arange(len(samples)) / rate_hz
    place = np.arange(len(samples)) + share * rate_hz / (2 * np.pi * turns_per_s) * np.sin(
        2 * np.pi * turns_per_s * t
    )
    return ndimage.map_coordinates(signal.resample_poly(samples, 2, 1), [2 * place], order=5, mode="nearest")


def gated(samples: np.ndarray, rate_hz: int, *, under_db: float, close_s: float = 0.05) -> np.ndarray:
    """Shut within ``close_s`` where the level lies ``under_db`` below the loudest."""
    power = ndimage.uniform_filter1d(samples.astype(float) ** 2, rate_hz // 100)
    is_open = power > power.max() * 10 ** (-under_db / 10)
    last = np.maximum.accumulate(np.where(is_open, np.arange(len(samples)), -(10**9)))
    return samples * np.clip(1 - (np.arange(len(samples)) - last) / rate_hz / close_s, 0, 1)


def wander_of(samples: np.ndarray) -> object:
    scale = played()
    truth = scale.truth
    f1_hz = truth["f1_hz"].to_numpy()
    n = np.arange(1, 7)
    b = truth["inharmonicity"].to_numpy()[:, None]
    partial_hz = f1_hz[:, None] * n * np.sqrt((1 + b * n**2) / (1 + b))
    return hear_wander(
        samples[None].astype(np.float32), rate_hz=scale.rate_hz, onset_s=truth["onset_s"].to_numpy(),
        hold_s=(truth["release_s"] - truth["onset_s"]).to_numpy(), partial_hz=partial_hz,
    )  # fmt: skip


@pytest.mark.parametrize("share", [0.001, 0.003, 0.01])
def test_a_speed_that_sways_is_measured(share: float) -> None:
    """The root mean square of a sine is its peak over the root of 2; within a note less of it is seen."""
    scale = played()
    wander = wander_of(swaying(scale.samples, scale.rate_hz, share=share))
    peak_cents = 1200 * np.log2(1 + share)
    assert wander.heard
    assert 0.4 < wander.together_cents / (peak_cents / np.sqrt(2)) < 1.2


def test_a_steady_speed_wrong_or_right_is_no_wander() -> None:
    scale = played()
    assert not wander_of(scale.samples).heard
    assert not wander_of(swaying(scale.samples, scale.rate_hz, share=0.0001)).heard


def test_what_a_wander_forbids() -> None:
    scale = played()
    survey = heard(swaying(scale.samples, scale.rate_hz, share=0.003))
    assert "speed wander" in survey.summary.impairments
    table = survey.table
    assert table["cents"].isna().all()
    assert table["unison_cents"].isna().all()
    assert table["not_judged"].str.contains("unison=speed wander").all()
    assert not table["faults"].str.contains("unison|off_pitch").any()
    assert table["decay_20_s"].notna().any(), "times are not what a wander spoils"
    assert "speed wander" not in plainly().summary.impairments
    assert plainly().table["cents"].notna().all()


@pytest.mark.parametrize(("under_db", "close_s"), [(25.0, 0.02), (30.0, 0.05), (35.0, 0.05)])
def test_a_gate_is_found_at_its_level(under_db: float, close_s: float) -> None:
    scale = played()
    power = ndimage.uniform_filter1d(scale.samples.astype(float) ** 2, scale.rate_hz // 100)
    gate = find_gate(
        gated(scale.samples, scale.rate_hz, under_db=under_db, close_s=close_s)[None].astype(np.float32),
        rate_hz=scale.rate_hz, notes=LAST - FIRST + 1,
    )  # fmt: skip
    assert gate is not None
    assert gate.level_db == pytest.approx(10 * np.log10(power.max()) - under_db, abs=3.0)


def test_dampers_and_noise_are_no_gate() -> None:
    scale = played()
    notes = LAST - FIRST + 1
    assert find_gate(scale.samples[None], rate_hz=scale.rate_hz, notes=notes) is None
    faded = scale.samples.copy()
    for release_s, onset_s in zip(scale.truth["release_s"], scale.truth["onset_s"].iloc[1:], strict=False):
        # Cut by hand 60 ms after the release: the notes end at levels of their own.
        faded[int((release_s + 0.06) * scale.rate_hz) : int(onset_s * scale.rate_hz)] = 0.0
    assert find_gate(faded[None], rate_hz=scale.rate_hz, notes=notes) is None


def test_what_a_gate_forbids() -> None:
    scale = played()
    survey = heard(gated(scale.samples, scale.rate_hz, under_db=30.0))
    assert "noise gate" in survey.summary.impairments
    assert survey.table["not_judged"].str.contains("damper=noise gate").all()
    assert survey.table["release_20_s"].isna().all()
    assert not survey.table["faults"].str.contains("short_sustain|damper|buzz").any()
    assert "noise gate" not in plainly().summary.impairments
    assert not plainly().table["not_judged"].str.contains("noise gate").any()


def hiss_at(at_s: list[float], length_s: float, *, level: float) -> np.ndarray:
    """The scale with a hiss of 1.5 to 6 kHz at some times."""
    scale = played()
    rng = np.random.default_rng(5)
    out = scale.samples.astype(float).copy()
    sos = signal.butter(2, [1500.0, 6000.0], "bandpass", fs=scale.rate_hz, output="sos")
    for begin_s in at_s:
        size = round(length_s * scale.rate_hz)
        sound = signal.sosfilt(sos, rng.standard_normal(size)) * np.hanning(size)
        begin = round(begin_s * scale.rate_hz)
        out[begin : begin + size] += level * sound
    return out


def test_a_hiss_that_does_not_begin_with_the_blow_is_no_buzz_of_the_key() -> None:
    scale = played()
    onset_s = scale.truth.set_index("key")["onset_s"]
    survey = heard(hiss_at([onset_s[45] + 0.25, onset_s[50] + 0.25], 0.7, level=0.02))
    table = survey.table.set_index("key")
    assert "sounds from elsewhere" in survey.summary.impairments
    for key in (45, 50):
        assert "buzz" not in table.loc[key, "faults"]
        assert "buzz=sounds from elsewhere" in table.loc[key, "not_judged"]
    assert "sounds from elsewhere" not in plainly().summary.impairments


def test_a_buzz_of_the_key_stays_one() -> None:
    survey = heard(played(KeyFault(kind="buzz", key=48, amount=-30.0)).samples)
    table = survey.table.set_index("key")
    assert "buzz" in table.loc[48, "faults"]
    assert "sounds from elsewhere" not in survey.summary.impairments


def test_begins_with_the_blow() -> None:
    fading = -40.0 - 3.0 * np.arange(8.0)
    assert begins_with_blow(-75.0, fading)
    assert not begins_with_blow(-41.0, fading), "it was there before"
    later = fading.copy()
    later[4] = -38.0
    assert not begins_with_blow(-75.0, later), "it came again"


def test_voicing_is_never_a_fault_and_says_why() -> None:
    table = plainly().table
    assert not table["faults"].str.contains("voicing").any()
    assert table["not_judged"].str.contains("voicing=").all()
    assert table["brightness_dev"].notna().any()


def test_a_take_too_soft_says_so() -> None:
    scale = played()
    rng = np.random.default_rng(3)
    noise = 10 ** (-70 / 20) * rng.standard_normal(len(scale.samples))
    quiet = scale.samples * (10 ** (-40 / 20) / np.abs(scale.samples).max())
    assert "too soft" in heard(quiet + noise).summary.impairments
    assert "too soft" not in heard(10 * quiet + noise).summary.impairments
