"""The Cramér-Rao bound of the benchmark against published closed form and a simulated best estimator."""

import numpy as np
import pytest
from scipy.optimize import least_squares

from benchmarks.bounds import CENTS_PER_NEPER, first_partial_sd_cents, frequency_sd_hz
from benchmarks.ideal import ideal_scale

RATE_HZ, SECONDS = 2000.0, 0.5
F_HZ, DECAY, NOISE_SD = 217.3, 6.0, 0.02


def tone(p: np.ndarray, t: np.ndarray) -> np.ndarray:
    return p[2] * np.exp(-p[1] * t) * np.cos(2 * np.pi * p[0] * t + p[3])


def simulated_errors(*, runs: int) -> np.ndarray:
    """Errors of the maximum-likelihood frequency (least squares from the truth) in that many noises."""
    rng = np.random.default_rng(12)
    t = np.arange(round(SECONDS * RATE_HZ)) / RATE_HZ
    out = []
    for _ in range(runs):
        true = np.array([F_HZ, DECAY, 1.0, rng.uniform(0, 2 * np.pi)])
        sound = tone(true, t) + NOISE_SD * rng.standard_normal(t.size)
        fit = least_squares(lambda p, s=sound: tone(p, t) - s, true, x_scale=[0.01, 0.1, 0.01, 0.01])
        out.append(fit.x[0] - F_HZ)
    return np.array(out)


def bound_hz() -> float:
    return float(
        frequency_sd_hz(np.array(1.0), np.array(DECAY), noise_sd=NOISE_SD, rate_hz=RATE_HZ, seconds=SECONDS)
    )


def test_the_best_estimator_reaches_the_bound() -> None:
    """400 runs tell a standard deviation to 3.5 %; the best estimator may not be better than the bound either."""
    spread = float(np.std(simulated_errors(runs=400)))
    assert spread == pytest.approx(bound_hz(), rel=0.12)
    assert abs(spread / (2 * bound_hz()) - 1) > 0.12, "a bound wrong by a factor of two would show"
    assert abs(spread / (np.sqrt(2) * bound_hz()) - 1) > 0.12, "and one of a complex tone's power too"


def test_without_decay_it_is_the_published_closed_form() -> None:
    """Rife and Boorstyn 1974 (from memory): var(omega) = 12 s2 / (A^2 T^2 N (N^2 - 1)) for a complex tone in noise
    of variance s2 in each part; a real tone is only one of the parts and has half the information."""
    count, noise_sd, amplitude, rate_hz = 1500, 0.3, 0.7, 1000.0
    of_complex = 12 * noise_sd**2 * rate_hz**2 / (amplitude**2 * count * (count**2 - 1))
    expected_hz = np.sqrt(2 * of_complex) / (2 * np.pi)
    sd_hz = frequency_sd_hz(
        np.array(amplitude), np.array(0.0), noise_sd=noise_sd, rate_hz=rate_hz, seconds=count / rate_hz
    )
    assert float(sd_hz) == pytest.approx(expected_hz, rel=1e-3)


def test_partial_one_from_all_partials() -> None:
    """Monte Carlo: weighted least squares through noisy partials scatters as the joint bound says."""
    rng = np.random.default_rng(5)
    n, b, f1 = np.arange(1, 9), 4e-4, 220.0
    f_hz = n * f1 * np.sqrt((1 + b * n**2) / (1 + b))
    sd_hz = 0.02 * np.sqrt(n)
    found = []
    for _ in range(1500):
        y = np.log(f_hz + sd_hz * rng.standard_normal(8))
        slope = 0.5 * (n**2 / (1 + b * n**2) - 1 / (1 + b))
        design = np.stack([np.ones(8), slope], axis=1) * (f_hz / sd_hz)[:, None]
        offset = y - np.log(n) - 0.5 * np.log((1 + b * n**2) / (1 + b))
        found.append(np.linalg.lstsq(design, offset * f_hz / sd_hz, rcond=None)[0][0])
    assert CENTS_PER_NEPER * np.std(found) == pytest.approx(first_partial_sd_cents(f_hz, b, sd_hz), rel=0.08)


def test_more_noise_means_a_wider_bound_in_proportion() -> None:
    quiet, loud = (ideal_scale(1, snr_db=s, keys=(40, 44)).truth["bound_cents"] for s in (60.0, 40.0))
    assert np.allclose(loud / quiet, 10.0, rtol=0.05)


def test_the_ideal_tone_is_where_the_truth_says() -> None:
    scale = ideal_scale(2, snr_db=60.0, keys=(49, 50))
    row = scale.truth.iloc[0]
    start = round((row["onset_s"] + 0.1) * scale.rate_hz)
    piece = scale.samples[start : start + scale.rate_hz].astype(float)
    power = np.abs(np.fft.rfft(piece * np.hanning(piece.size), 1 << 20)) ** 2
    f = np.fft.rfftfreq(1 << 20, 1 / scale.rate_hz)
    near = np.abs(f - 440) < 10
    assert 1200 * np.log2(f[near][np.argmax(power[near])] / row["f1_hz"]) == pytest.approx(0.0, abs=0.3)
