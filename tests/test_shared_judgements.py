"""What tables, figures, page and comparison share: marks, sums, values between frequencies, quantiles."""

import numpy as np
import pytest
import scipy

from distort.analysis.common.caution import caution, near_noise
from distort.analysis.common.log_frequency import over_log_frequency
from distort.analysis.common.statistics import DB_PER_NEPER_OF_POWER, TWO_SIDED_95
from distort.analysis.common.sums import known_sum

NAN = float("nan")


def test_a_reading_is_marked_by_any_floor_that_is_too_near() -> None:
    """By hand: -40 dB stands 10 dB above -50 and 25 dB above -65; what is not known marks nothing."""
    reading = np.array([-40.0, -40.0, -40.0, -40.0, NAN])
    noise = np.array([-50.0, -49.9, NAN, -60.0, -90.0])
    leak = np.array([-65.0, -90.0, NAN, -64.9, -90.0])
    assert caution(reading, (noise, 10.0), (leak, 25.0)).tolist() == [False, True, False, True, False]
    assert not caution(reading).any()


def test_a_reading_without_a_floor_is_near_its_noise() -> None:
    """Nothing tells it from noise; where there is no reading there is nothing to mark."""
    reading = np.array([-40.0, -40.0, -40.0, NAN])
    noise = np.array([-50.0, -49.9, NAN, NAN])
    assert near_noise(reading, noise).tolist() == [False, True, True, False]


def test_a_sum_holds_what_is_known() -> None:
    """By hand: 1 + 2, 2 alone, nothing; infinite is not known either."""
    found = known_sum([[1.0, NAN, NAN, np.inf], [2.0, 2.0, NAN, 3.0]])
    assert found[:2].tolist() == [3.0, 2.0]
    assert np.isnan(found[2])
    assert found[3] == pytest.approx(3.0)
    assert known_sum(np.empty((0, 2))).shape == (2,)
    assert np.isnan(known_sum(np.empty((0, 2)))).all()


def test_between_frequencies_values_are_straight_over_their_logarithm() -> None:
    """By hand: 200 Hz lies half way between 100 and 400 Hz, 800 Hz three quarters of the way from 100 to 1600 Hz."""
    known_hz, values = np.array([100.0, 400.0, 1600.0]), np.array([0.0, 10.0, 30.0])
    assert over_log_frequency(np.array([200.0, 800.0]), known_hz, values) == pytest.approx([5.0, 20.0])
    assert over_log_frequency(np.array([50.0, 3200.0]), known_hz, values).tolist() == [0.0, 30.0]
    assert np.isnan(over_log_frequency(np.array([50.0, 3200.0]), known_hz, values, outside=np.nan)).all()


def test_the_quantile_is_that_of_a_normal_variable() -> None:
    """scipy's normal distribution; seven digits are stated, so half of the last one is what it may be off."""
    assert pytest.approx(scipy.stats.norm.ppf(0.975), abs=5e-7) == TWO_SIDED_95
    assert pytest.approx(10.0 * np.log10(1.0 + 1e-6), rel=1e-6) == DB_PER_NEPER_OF_POWER * 1e-6
