"""Formulas of stimuli that no result shows at once: norms of a multitone, whole periods, the shortest sweep."""

import numpy as np
import pytest
import scipy

from signals import Multitone, SignalError, Sweep
from signals.phases import _log_norm


@pytest.mark.parametrize("power", [4, 8, 16, 32])
def test_a_norm_and_its_gradient_are_those_of_the_wave(power) -> None:
    """`ln (mean |x|^p)^(1/p)` of the wave summed tone by tone, and its differences in steps of 1e-7, which are off by
    some such steps."""
    bins, amplitudes = np.array([3, 4, 7]), np.array([1.0, 0.5, 0.7])
    points = 512
    at = 2.0 * np.pi * np.arange(points) / points

    def norm(phases) -> float:
        wave = sum(a * np.cos(k * at + p) for a, k, p in zip(amplitudes, bins, phases, strict=True))
        return float(np.log(np.mean(np.abs(wave) ** power)) / power)

    phases = np.array([0.3, 2.0, 4.0])
    found, gradient = _log_norm(phases, bins, amplitudes, power, points)
    assert found == pytest.approx(norm(phases), rel=1e-9)
    central = scipy.optimize.approx_fprime(phases, norm, 1e-7)
    np.testing.assert_allclose(gradient, central, atol=1e-5)


def test_a_period_may_be_off_a_whole_sample_by_the_rounding_of_decimals_alone() -> None:
    assert Multitone(period_s=1.0 + 0.9e-6 / 48000.0).period_samples == 48000
    with pytest.raises(SignalError, match="take 1 s"):
        Multitone(period_s=1.0 + 1.1e-5 / 48000.0)


def test_a_sweep_too_short_is_told_how_long_it_must_be() -> None:
    """One turn of the lowest frequency an e-fold: ln(f2 / f1) / f1, 3.0 s from 1 Hz to 20 Hz."""
    with pytest.raises(SignalError, match="it takes at least 3 s"):
        Sweep(start_hz=1.0, full_level_hz=2.0, stop_hz=20.0, seconds=1.0)
    assert Sweep(start_hz=1.0, full_level_hz=2.0, stop_hz=20.0, seconds=3.0).rate_s == 1.0
