"""Windows, moving means and tops, held against scipy.signal, which has them all."""

import numpy as np
import pytest
import scipy.signal

from distort.analysis.anomalies.tops import tops
from distort.analysis.common.convolution import convolved
from signals.windows import blackman_harris, hann

ROUNDING = 1e-12
"""What the order of sums of some hundred numbers of about 1 can change."""


@pytest.mark.parametrize("size", [2, 7, 8, 960, 961])
def test_windows_are_those_of_the_library(size: int) -> None:
    assert hann(size) == pytest.approx(scipy.signal.windows.hann(size, sym=False), abs=ROUNDING)
    assert blackman_harris(size) == pytest.approx(scipy.signal.windows.blackmanharris(size, sym=False), abs=ROUNDING)


def test_hann_windows_half_their_length_apart_add_up_to_one() -> None:
    assert hann(64)[:32] + hann(64)[32:] == pytest.approx(np.ones(32), abs=ROUNDING)


def test_windows_that_are_kept_cannot_be_changed() -> None:
    with pytest.raises(ValueError, match="read-only"):
        hann(32)[0] = 1.0


@pytest.mark.parametrize(("size", "taps"), [(100, 7), (57, 8), (1000, 101), (64, 64), (10, 31)])
def test_moving_sums_are_those_of_the_library_for_real_and_complex_values(size: int, taps: int) -> None:
    """The library centres on the longer of the two, so where the taps are it needs zeros about the values."""
    rng = np.random.default_rng(size)
    values, weights = rng.standard_normal(size) + 1j * rng.standard_normal(size), rng.standard_normal(taps)
    whole = scipy.signal.convolve(values, weights, method="direct")[(taps - 1) // 2 :][:size]
    assert convolved(values, weights) == pytest.approx(whole, abs=ROUNDING)
    assert convolved(np.array(values.real), weights) == pytest.approx(whole.real, abs=ROUNDING)


@pytest.mark.parametrize("seed", range(20))
def test_tops_are_those_of_the_library(seed: int) -> None:
    values = np.cumsum(np.random.default_rng(seed).standard_normal(400))
    values -= np.mean(values)
    expected, _ = scipy.signal.find_peaks(values, height=1.0, prominence=2.0)
    assert expected.size > 3
    assert tops(values, height=1.0, prominence=2.0).tolist() == expected.tolist()


def test_a_shoulder_is_no_top_and_a_flat_one_is_one() -> None:
    assert tops(np.array([0.0, 2.0, 2.0, 3.0, 1.0, 2.0, 2.0, 0.0]), height=1.0, prominence=1.0).tolist() == [3, 5]


def test_neither_end_is_a_top() -> None:
    assert tops(np.array([5.0, 1.0, 2.0, 1.0, 5.0]), height=0.0, prominence=0.5).tolist() == [2]
    assert tops(np.array([5.0]), height=0.0, prominence=0.5).size == 0
