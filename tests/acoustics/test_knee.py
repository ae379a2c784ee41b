"""A limiter that rounds off what is loud is heard and forbids what it spoils; what it leaves alone stays shown.

The limiter is a hyperbolic tangent, whose power series begins x - x³/3 (calculus): the bend to be found is 1/3, somewhat
more where the next terms count. Twins: the same scale as it was, cut off flat, or with a gain of its own for each note.
"""

from functools import cache

import numpy as np
import pytest

from pianolab.acoustics import Survey, listen
from pianolab.acoustics.recorder.knee import Knee, hear_knee, peaks
from pianolab.sound_model import ModelledScale, PianoModel, render_scale, room

KEYS = {"first_key": 52, "last_key": 68}


@cache
def played() -> ModelledScale:
    """One that is struck about evenly, at a highest sample of 1."""
    return render_scale(PianoModel(seed=72), room=room("home"), hold_s=1.2, seed=72, snr_db=45.0, **KEYS)


def loud() -> np.ndarray:
    return played().samples / np.abs(played().samples).max()


def knee_of(samples: np.ndarray) -> Knee:
    scale, truth = played(), played().truth
    return hear_knee(
        samples[None].astype(np.float32),
        rate_hz=scale.rate_hz,
        key=truth["key"].to_numpy(),
        onset_s=truth["onset_s"].to_numpy(),
        hold_s=(truth["release_s"] - truth["onset_s"]).to_numpy(),
        f1_hz=truth["f1_hz"].to_numpy(),
        inharmonicity=truth["inharmonicity"].to_numpy(),
    )


@pytest.mark.parametrize("over_db", [0.0, 3.0, 6.0])
def test_the_bend_of_a_hyperbolic_tangent_is_a_third(over_db: float) -> None:
    knee = knee_of(np.tanh(10 ** (over_db / 20) * loud()))
    assert knee.heard
    assert 0.26 < knee.bend < 0.45


def test_a_bend_is_told_at_any_level_of_the_file() -> None:
    """Turned down by half afterwards the same curve has four times the bend."""
    bent = np.tanh(1.4 * loud())
    assert knee_of(0.5 * bent).bend == pytest.approx(4.0 * knee_of(bent).bend, rel=0.01)


@pytest.mark.parametrize(
    "changed",
    [
        lambda x: x,
        lambda x: np.clip(2.0 * x, -1.0, 1.0),
        lambda x: x * (1.0 + 0.5 * np.sin(np.arange(len(x)) / 9000.0)),
        lambda x: x + 0.01 * np.random.default_rng(1).standard_normal(len(x)),
    ],
    ids=["as it is", "cut off flat", "a gain that sways", "noise"],
)
def test_what_is_no_limiter_is_not_taken_for_one(changed) -> None:
    assert not knee_of(changed(loud())).heard


def test_a_bend_the_other_way_is_no_limiter() -> None:
    assert not knee_of(loud() + loud() ** 3 / 3.0).heard


@cache
def heard(over_db: float | None) -> Survey:
    samples = 0.9 * loud() if over_db is None else np.tanh(10 ** (over_db / 20) * loud())
    return listen(samples.astype(np.float32), rate_hz=played().rate_hz, **KEYS)


@pytest.mark.slow
def test_what_a_limiter_forbids_and_what_stays() -> None:
    plain, soft = heard(None), heard(6.0)
    assert "soft clipping" not in plain.summary.impairments
    assert "soft clipping" in soft.summary.impairments
    spoilt = soft.table["not_judged"].str.contains("short_sustain=soft clipping", regex=False)
    assert spoilt.mean() > 0.8
    for column in ("decay_20_s", "early_db_per_s", "brightness_db", "buzz_db"):
        assert soft.table.loc[spoilt, column].isna().all()
    assert (soft.table.loc[spoilt, "sustain_trust"] == "clipped").all()
    for column in ("cents", "inharmonicity", "unison_cents"):
        moved = (soft.table[column] - plain.table[column]).abs() / soft.table[f"{column}_sd"]
        assert (moved < 2.0).all(), f"{column} is shown, so it must be as it was within what is stated"


def test_a_time_shown_in_spite_of_a_limiter_is_as_it_was_within_what_is_stated() -> None:
    """At a level where only some notes are squeezed the others keep their times."""
    at = -6.0
    scale = played()
    samples = np.tanh(10 ** (at / 20) * loud()).astype(np.float32)
    plain, soft = heard(None).table, heard(at).table
    shown = (soft["decay_20_bound"] == "=") & (plain["decay_20_bound"] == "=")
    off = ((soft["decay_20_s"] - plain["decay_20_s"]) / soft["decay_20_s_sd"])[shown].abs()
    assert (off < 2.0).all()
    assert shown.sum() >= 3
    squeezed = knee_of(samples).squeezed(
        peaks(samples[None], rate_hz=scale.rate_hz, onset_s=scale.truth["onset_s"].to_numpy())
    )
    assert squeezed.max() > 0.03, "the loudest are squeezed"
    assert knee_of(samples).squeezed(np.array([0.1]))[0] < 0.01, "what is soft is not"
