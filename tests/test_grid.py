"""The frequency grid, the bands of IEC 61260-1, and smoothing over them."""

import numpy as np
import pyfar as pf
import pytest

from distort.analysis.common.grid import band_edges_hz, grid_hz, midbands_hz
from distort.analysis.common.smoothing import PowerSpectrum


def test_grid_runs_from_19_953_hz_to_19_953_khz_in_24ths_of_an_octave():
    grid = grid_hz()
    assert grid.size == 241
    assert grid[0] == pytest.approx(19.952623, abs=1e-6)  # the digits of 1000 x 10^-1.7
    assert grid[-1] == pytest.approx(19952.623, abs=1e-3)
    assert 1000.0 in grid
    assert np.allclose(np.diff(np.log10(grid)), 1 / 80, atol=1e-12)


def test_edges_of_the_bands_at_1_khz():
    """IEC 61260-1: third octave 891.2509 to 1122.0185 Hz, octave 707.9458 to 1412.5375 Hz."""
    assert np.array(band_edges_hz(1000.0, bands_per_octave=3)) == pytest.approx([891.2509, 1122.0185], abs=5e-5)
    assert np.array(band_edges_hz(1000.0, bands_per_octave=1)) == pytest.approx([707.9458, 1412.5375], abs=5e-5)


def test_midbands_agree_with_pyfar():
    """pyfar.constants.fractional_octave_frequencies_exact gives the exact mid-bands of IEC 61260-1."""
    for bands in (1, 3):
        exact = pf.constants.fractional_octave_frequencies_exact(bands, (20, 20000))[0]
        ours = midbands_hz(bands_per_octave=bands, from_hz=exact[0] * 0.99, to_hz=exact[-1] * 1.01)
        assert ours == pytest.approx(exact, rel=1e-9)  # both closed forms
    with pytest.raises(ValueError, match="odd"):
        midbands_hz(bands_per_octave=2)


def test_smoothing_is_the_mean_power_of_the_band():
    """Mean of a power that is straight in frequency: its value in the middle of the band (closed form)."""
    bin_hz = 0.7
    hz = np.arange(40000) * bin_hz
    power = 3.0 + 0.2 * hz
    at_hz = np.array([20.0, 333.3, 5000.0])
    half = 10 ** (0.3 / 24)
    middle = at_hz * (half + 1 / half) / 2
    spectrum = PowerSpectrum(power, bin_hz)
    smooth = spectrum.smoothed(at_hz, 1 / 12)
    assert smooth == pytest.approx(3.0 + 0.2 * middle, rel=1e-9)  # rounding of the running sum
    assert spectrum.smoothed(at_hz, 0.0) == pytest.approx(3.0 + 0.2 * at_hz, rel=1e-12)


def test_a_band_beyond_the_spectrum_is_not_measurable():
    mean = PowerSpectrum(np.ones(11), 1.0).mean(np.array([5.0, 9.0]), np.array([6.0, 10.5]))
    assert mean[0] == pytest.approx(1.0)
    assert np.isnan(mean[1])
