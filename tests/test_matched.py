"""Matched filters on signals whose place is known."""

import numpy as np
import pytest

from distort.recording.alignment.matched import Lags, _band_weight, deconvolve, summit
from signals import Sweep

SWEEP = Sweep(seconds=0.5, drive_dbfs=-12.0)
BAND = (SWEEP.full_level_hz / SWEEP.sample_rate, SWEEP.fade_out_hz / SWEEP.sample_rate)


@pytest.mark.parametrize("lag", [600, 1234, 4200])
def test_a_short_circle_gives_the_lags_of_a_long_one(lag: int) -> None:
    """Where all of the signal lies within the recording, what lies before must not fold onto it: the second order,
    which leads by a tenth of a second, does in a circle that is too short. 1e-3 of the peak is the regularisation,
    which differs with the grid of frequencies."""
    signal = SWEEP.samples()
    random = np.random.default_rng(3)
    recording = 1e-3 * random.standard_normal(signal.size + 4800)
    recording[lag : lag + signal.size] += signal + 0.3 * signal**2
    long, short = (deconvolve(recording, signal, band=BAND, whole=whole) for whole in (False, True))
    assert (short.first, short.values.size) == (0, 4801)
    peak = long.at(lag)
    np.testing.assert_allclose(short.values / peak, long.between(0, 4801).values / peak, atol=1e-3)
    assert summit(short, short.highest()) == pytest.approx(lag, abs=1e-3)


def test_a_bands_edges_take_a_fifth_of_it_below_and_a_twentieth_above() -> None:
    """Over the logarithm of frequency: of four octaves 0.8 and 0.2; half way up in the middle of those."""
    at = [0.0, 0.009, 0.01, 0.01 * 2.0**0.4, 0.01 * 2.0**0.8, 0.05, 0.16 / 2.0**0.2, 0.16 / 2.0**0.1, 0.16, 0.2]
    expected = [0.0, 0.0, 0.0, 0.5, 1.0, 1.0, 1.0, 0.5, 0.0, 0.0]
    np.testing.assert_allclose(_band_weight(np.array(at), (0.01, 0.16)), expected, atol=1e-12)


@pytest.mark.parametrize(
    ("first", "end", "values", "at"),
    [(-9, 19, 4, 10), (-9, 9, 0, 10), (11, 13, 2, 11), (13, 11, 0, 13), (14, 20, 0, 14)],
)
def test_a_part_of_an_output_keeps_its_lags(first: int, end: int, values: int, at: int) -> None:
    part = Lags(np.arange(4.0), 10).between(first, end)
    assert part.values.size == values
    assert part.first == at
    assert part.values.tolist() == [float(lag - 10) for lag in range(at, at + values)]
