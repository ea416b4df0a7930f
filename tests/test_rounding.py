"""The bound on what rounding adds to an order, against the staircase itself, rounded period by period."""

import numpy as np
import pytest

from distort.analysis.sweep.rounding import Rounding, step_of


def rounded_orders(amplitude: float, *, offset: float, sigma: float) -> np.ndarray:
    """Amplitude of each order of what rounding adds to a cosine of `amplitude` steps about `offset`; mean over noise.

    The mean over Gaussian noise of `sigma` steps is taken by weights on a grid, not by chance.
    """
    phase = 2.0 * np.pi * np.arange(1 << 13) / (1 << 13)
    wave = amplitude * np.cos(phase) + offset
    moved = np.linspace(-6.0, 6.0, 61) * sigma if sigma else np.zeros(1)
    weights = np.exp(-0.5 * np.square(moved / sigma)) if sigma else np.ones(1)
    mean = sum(w * (np.rint(wave + o) - o) for w, o in zip(weights / weights.sum(), moved, strict=True))
    return np.abs(np.fft.rfft(mean - wave)) / (1 << 12)


@pytest.mark.parametrize("sigma", [0.0, 0.2])
@pytest.mark.parametrize("order", [2, 3, 10, 20])
def test_no_order_passes_the_bound_and_some_come_near_it(sigma, order) -> None:
    """Odd orders within 6 dB of the bound, even ones within 9: more would call good readings doubtful.

    Even orders need an offset; a quarter of a step gives them the most of k = 1, and nothing of k = 2, which the bound
    counts. Amplitudes of half to 40 steps.
    """
    step = 2.0**-15
    rounding = Rounding(step=step, noise_rms=sigma * step)
    amplitudes = np.geomspace(0.5, 40.0, 80)
    bound = np.sqrt(rounding.power(np.square(amplitudes * step), order=order, drive_dbfs=0.0)) / step
    offset = 0.25 if order % 2 == 0 else 0.0
    largest = np.array([rounded_orders(a, offset=offset, sigma=sigma)[order] for a in amplitudes])
    assert np.max(largest / bound) < 1.0
    assert np.max(largest / bound) > (0.35 if order % 2 == 0 else 0.5)


def test_noise_of_a_step_leaves_nothing_and_floating_point_has_no_steps() -> None:
    """exp(-4 pi^2) in power re no noise: -171 dB."""
    power = np.array([1e-4])
    plain = Rounding(step=1e-4, noise_rms=0.0).power(power, order=2, drive_dbfs=-20.0)
    noisy = Rounding(step=1e-4, noise_rms=1e-4).power(power, order=2, drive_dbfs=-20.0)
    assert 10.0 * np.log10(noisy / plain) < -171.0
    assert Rounding(step=1e-300, noise_rms=1.0).power(power, order=2, drive_dbfs=-20.0)[0] == 0.0
    assert Rounding(step=0.0, noise_rms=0.0).power(power, order=2, drive_dbfs=-20.0)[0] == 0.0


def test_the_step_is_that_of_the_format() -> None:
    samples = np.random.default_rng(1).standard_normal(20000) * 0.01
    for bits in (16, 24):
        assert step_of(np.rint(samples * 2.0 ** (bits - 1)) / 2.0 ** (bits - 1)) == 2.0 ** (1 - bits)
    assert step_of(samples) < 1e-9
    assert step_of(np.zeros(10)) == 0.0
