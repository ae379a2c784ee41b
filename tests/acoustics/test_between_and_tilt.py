"""What lies between the partials, and the tilt of a key's spectrum, on spectra written down by hand."""

from __future__ import annotations

import numpy as np
import pytest

from pianolab.acoustics.judging.buzz import Between, between_partials_db, over_neighbours
from pianolab.acoustics.judging.voicing import least_heard_power, spectral_tilt

RATE_HZ, SIZE = 44100, 22050
KEYS = np.arange(40, 61)


def spectrum(rng: np.random.Generator, *, f_hz: np.ndarray, noise: float, buzz: float) -> np.ndarray:
    """White noise and a broad buzz as exponential powers around their means, and lines of power 1."""
    power = (noise + buzz) * rng.exponential(size=SIZE // 2 + 1)
    power[np.round(f_hz * SIZE / RATE_HZ).astype(int)] = 1.0
    return power.astype(np.float32)


def between(*, noise: float, buzz: float) -> Between:
    f_hz = 440.0 * np.arange(1, 41)
    rng = np.random.default_rng(3)
    own = spectrum(rng, f_hz=f_hz, noise=noise, buzz=buzz)
    flat = np.full(SIZE // 2 + 1, noise)
    return between_partials_db(own[None], f_hz=f_hz[None], noise_power=flat[None], rate_hz=RATE_HZ, size=SIZE)


class TestBetween:
    def test_a_buzz_is_heard_at_its_level(self) -> None:
        found = between(noise=1e-8, buzz=1e-6)
        # Power of the band from 1.2 to 9 kHz at one bin per 2 Hz, over the lines' own.
        band = 1e-6 * (9000 - 1200) / (RATE_HZ / SIZE)
        assert found.heard[0]
        assert found.db[0] == pytest.approx(10 * np.log10(band) - found.tone_db[0], abs=0.5)

    def test_noise_alone_is_only_a_bound(self) -> None:
        found = between(noise=1e-6, buzz=0.0)
        assert not found.heard[0]
        assert found.db[0] == found.least_db[0]

    def test_a_weak_tone_beside_a_hiding_noise_does_not_stand_out(self) -> None:
        level = np.where(np.arange(21) % 2 == 0, -50.0, -40.0)
        hidden = Between(level, least_db=level, tone_db=-level - 60.0)
        assert not hidden.heard.any()
        over = over_neighbours(hidden, key=KEYS)
        assert over.bounded.all()
        assert np.nanmax(np.abs(over.plain_db)) == 0.0
        assert np.nanmax(over.db) == 10.0

    def test_a_ringing_knock_is_told_from_a_buzz(self) -> None:
        tone = np.zeros(21)
        tone[10] = -20.0
        knock = Between(-50.0 - tone, least_db=np.full(21, -90.0), tone_db=tone)
        over = over_neighbours(knock, key=KEYS)
        assert over.db[10] == 20.0
        assert over.plain_db[10] == 0.0
        buzz = Between(np.where(np.arange(21) == 10, -30.0, -50.0), np.full(21, -90.0), np.zeros(21))
        over = over_neighbours(buzz, key=KEYS)
        assert over.db[10] == over.plain_db[10] == 20.0


def tilts(*, dull: int | None, noise_db: float, told: bool) -> np.ndarray:
    """Spectra falling 6 dB a partial with 1 dB of scatter; partials of a dull key from the fourth up 40 dB weaker."""
    rng, n = np.random.default_rng(8), np.arange(1, 13)
    level = -6.0 * n + rng.normal(0, 1.0, (len(KEYS), 12))
    level[dull == KEYS, 3:] -= 40.0
    f_hz = 261.6 * 2.0 ** ((KEYS[:, None] - 40) / 12) * n * (1 + 2e-4 * n**2)
    over = level - noise_db
    power = np.where(over > 10.0, 10.0 ** (level / 10.0), 0.0)
    at_most = least_heard_power(power, np.where(over > 10.0, over, 0.0), f_hz)
    return spectral_tilt(
        power, f_hz, key=KEYS, t60_s=0.4, at_most=at_most if told else np.full_like(power, np.nan)
    ).tilt


class TestTilt:
    def test_partials_that_drown_tell_that_a_key_is_dull(self) -> None:
        # The dull key shows its first three partials, its neighbours eight.
        found = tilts(dull=50, noise_db=-61.0, told=True)
        assert np.nanargmin(found) == 10
        assert found[10] < -2.0

    def test_without_them_it_is_hardly_seen(self) -> None:
        left_out = tilts(dull=50, noise_db=-61.0, told=False)
        assert left_out[10] > tilts(dull=50, noise_db=-61.0, told=True)[10] + 1.0

    def test_an_even_piano_has_no_outlier(self) -> None:
        assert np.nanmax(np.abs(tilts(dull=None, noise_db=-61.0, told=True))) < 1.0
