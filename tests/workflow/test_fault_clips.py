"""Claimed faults to be heard: which keys, which neighbours, how loud, and what of it a notebook shows."""

import io
from functools import cache

import numpy as np
import pytest

from pianolab.acoustics import Survey, listen
from pianolab.acoustics.survey_result import rows_of, table_of
from pianolab.errors import BadInput
from pianolab.io import Sound, read_sound, write_sound
from pianolab.io.loudness import momentary_lufs
from pianolab.sound_model import KeyFault, ModelledScale, PianoModel, render_scale
from pianolab.workflow.fault_clips import (
    FARTHEST_KEYS,
    claim_clips,
    claims_to_hear,
    hear_claims,
)

RATE_HZ = 22050
SEEDED = {47: "unison", 50: "damper", 53: "buzz"}


@cache
def scale() -> ModelledScale:
    faults = [KeyFault(key=k, kind=f) for k, f in SEEDED.items() if f != "unison"]
    faults.append(KeyFault(key=47, kind="unison", amount=14.0, strings="one"))
    return render_scale(
        PianoModel(seed=5, faults=tuple(faults)),
        first_key=38,
        last_key=62,
        hold_s=1.6,
        snr_db=50.0,
        rate_hz=RATE_HZ,
        seed=2,
    )


@cache
def survey() -> Survey:
    return listen(scale().samples, rate_hz=RATE_HZ, first_key=38, last_key=62)


def changed(**by_key: dict[str, object]) -> Survey:
    """The survey with cells of some keys (``k47={"faults": ()}``) replaced."""
    rows = [dict(r) | by_key.get(f"k{r['key']}", {}) for r in rows_of(survey().table)]
    return Survey(table=table_of(rows), summary=survey().summary)


@pytest.mark.slow
def test_every_seeded_fault_is_heard_beside_a_sound_key() -> None:
    claims = claims_to_hear(survey())
    assert {c.key: c.fault for c in claims} == SEEDED
    rows = {r["key"]: r for r in rows_of(survey().table)}
    for c in claims:
        assert not rows[c.beside]["faults"]
        assert c.fault not in rows[c.beside]["not_judged"]
        nearer = [k for k in range(38, 63) if 0 < abs(k - c.key) < abs(c.beside - c.key)]
        assert all(rows[k]["faults"] or c.fault in rows[k]["not_judged"] for k in nearer)


@pytest.mark.slow
def test_a_key_that_is_faulty_or_was_not_tested_is_no_example() -> None:
    beside = {c.key: c.beside for c in claims_to_hear(survey())}[50]
    for cells in (
        {"faults": ("buzz",)},
        {"not_judged": {"damper": "no release heard"}},
        {"status": "silent"},
    ):
        other = {c.key: c.beside for c in claims_to_hear(changed(**{f"k{beside}": cells}))}[50]
        assert other != beside
    kept = changed(**{f"k{beside}": {"not_judged": {"voicing": "another matter"}}})
    assert {c.key: c.beside for c in claims_to_hear(kept)}[50] == beside


def test_without_a_sound_key_near_by_nothing_is_played() -> None:
    lone = {
        f"k{k}": {"faults": ("damper",)} for k in range(50 - FARTHEST_KEYS, 51 + FARTHEST_KEYS) if k != 50
    }
    assert 50 not in {c.key for c in claims_to_hear(changed(**lone))}


def test_the_worst_of_each_kind_comes_before_the_second_worst() -> None:
    more = changed(
        k58={"faults": ("unison",), "unison_cents": 30.0},
        k60={"faults": ("unison",), "unison_cents": 5.0},
    )
    claims = claims_to_hear(more, most=9)
    assert [c.key for c in claims] == [58, 50, 53, 47, 60]
    assert [c.key for c in claims_to_hear(more, most=2)] == [58, 50]


def test_a_claim_says_what_both_keys_have_and_bounds_are_told() -> None:
    told = {c.key: c.words for c in claims_to_hear(survey())}
    row = survey().table.set_index("key").loc[47]
    assert told[47].startswith(
        f"G4: one string off; its strings {row['unison_cents']:.1f} cents apart, those of "
    )
    bound = changed(
        k50={"release_20_s": 0.61, "release_bound": ">"}, k49={"release_20_s": 0.1, "release_bound": "<"}
    )
    assert {c.key: c.words for c in claims_to_hear(bound)}[50] == (
        "A#4: damper slow; at least 0.61 s to fall 20 dB once let go, A4 at most 0.10 s"
    )
    unknown = changed(k47={"unison_cents": float("nan")})
    assert {c.key: c.words for c in claims_to_hear(unknown)}[47] == "G4: one string off"


def sound() -> Sound:
    return Sound(
        samples=np.asarray(scale().samples, np.float32).reshape(-1, 1), rate_hz=RATE_HZ, name="scale"
    )


def test_both_clips_are_of_the_recording_and_equally_loud() -> None:
    """Loudness by BS.1770, whose own test tone stands in tests/io/test_loudness.py."""
    pairs = claim_clips(sound(), survey())
    assert [(p.faulty.key, p.sound.key) for p in pairs] == [
        (c.key, c.beside) for c in claims_to_hear(survey())
    ]
    for pair in pairs:
        both = [read_sound(io.BytesIO(c.data)) for c in (pair.faulty, pair.sound)]
        levels = [momentary_lufs(s.samples, rate_hz=s.rate_hz) for s in both]
        assert abs(levels[0] - levels[1]) < 0.7
        assert all(np.abs(s.samples).max() <= 1.0 for s in both)
        assert all(c.mime == "audio/mpeg" and 1.0 < c.seconds < 5.1 for c in (pair.faulty, pair.sound))
        assert sum(len(c.data) for c in (pair.faulty, pair.sound)) < 120_000
    raw = [s for s in scale().strikes if s.key in (pairs[0].faulty.key, pairs[0].sound.key)]
    untouched = [
        momentary_lufs(scale().samples[round(s.onset_s * RATE_HZ) :][: 2 * RATE_HZ], rate_hz=RATE_HZ)
        for s in raw
    ]
    assert abs(untouched[0] - untouched[1]) > 0.7


def test_a_notebook_plays_each_claim_with_two_players(tmp_path) -> None:
    path = tmp_path / "scale.wav"
    write_sound(path, sound().samples, rate_hz=RATE_HZ)
    heard = hear_claims(path, survey(), most=2)
    html = heard._repr_html_()
    assert heard.headline() == "2 of 3 keys with a fault, each beside a sound one"
    assert html.count("<audio controls") == 4
    assert html.count('src="data:audio/mpeg;base64,') == 4
    assert "http" not in html
    healthy = changed(**{f"k{k}": {"faults": ()} for k in SEEDED})
    assert hear_claims(path, healthy).headline() == "no fault is claimed, so there is none to hear"
    with pytest.raises(BadInput):
        hear_claims(tmp_path / "gone.wav", survey())
