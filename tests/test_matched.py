"""Matched filters on signals whose place is known."""

import numpy as np
import pytest

from distort.recording.alignment.matched import deconvolve, summit
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
