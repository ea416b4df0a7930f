"""Numbers that every part of the analysis shares: edges of bands and grids, a recording between its samples, sums."""

import math
from dataclasses import replace

import numpy as np
import pytest
import scipy

from distort.analysis.common import interpolation
from distort.analysis.common.a_weighting import a_weighting_db
from distort.analysis.common.burst_limits import BurstLimits, order_name
from distort.analysis.common.grid import ROWS_PER_OCTAVE, band_edges_hz, grid_hz, midbands_hz
from distort.analysis.common.interpolation import values_at
from distort.analysis.common.near_field import highest_near_field_hz
from distort.analysis.common.operating_limit import Limits
from distort.analysis.common.smoothing import PowerSpectrum, band_width_hz
from distort.analysis.common.sound_in_air import half_wave, quarter_wave, speed_of_sound_m_s
from distort.analysis.common.statistics import ONE_SIDED_95
from tests.report_examples import harmonics


def test_a_band_of_bursts_ends_at_half_of_its_power_or_where_the_staircase_says():
    """-10, -15, -20, -20 and from the sixth order on -30 dB; nothing else is limited unless somebody says so."""
    limits = BurstLimits()
    assert limits.compression_db == 3.0
    assert limits.of_orders([2, 3, 4, 5, 6, 7, 12]) == [-10.0, -15.0, -20.0, -20.0, -30.0, -30.0, -30.0]
    assert BurstLimits(orders_db=(-12.0,)).of_orders([2, 3]) == [-12.0, -12.0]
    assert limits.of_orders([3]) == [-15.0]
    assert {limits.ceiling_db_peak, limits.max_drive_dbfs, limits.microphone_db_peak} == {math.inf}
    assert limits.input_peak_dbfs == math.inf
    assert order_name(3) == "h3"


def test_multitones_and_music_are_held_against_these_limits():
    """3 dB in a third octave, 2 dB broadly, 0.9 of coherence (after AES75, from memory), a tenth of the amplitude."""
    assert Limits() == Limits(change_db=3.0, broad_change_db=2.0, coherence=0.9, distortion_percent=10.0)


def test_the_floor_of_thd_is_the_sum_of_the_orders_floors():
    """Nine orders at -90 dB: 9.54 dB more; of no order nothing is known."""
    np.testing.assert_allclose(harmonics(noise_db=-90.0, orders=10).thd_noise_db[100], -90.0 + 10.0 * math.log10(9.0))
    np.testing.assert_allclose(harmonics(noise_db=-80.0, orders=2).thd_noise_db[100], -80.0)
    none = replace(harmonics(orders=2), orders=())
    assert none.thd_noise_db.shape == none.frequency_hz.shape
    assert np.isnan(none.thd_noise_db).all()


# --- the grid ---------------------------------------------------------------------------------------------------------


def test_rows_of_the_grid():
    """`1000 x 10^(x / 80)` from -136 to 104: 24 in a base-ten octave."""
    np.testing.assert_allclose(grid_hz(), 1000.0 * 10.0 ** (np.arange(-136, 105) / 80.0))
    assert grid_hz()[ROWS_PER_OCTAVE] == pytest.approx(grid_hz()[0] * 10.0**0.3)


def test_ninths_of_an_octave_lie_between_19_hertz_and_21_kilohertz():
    """Where nothing else is asked for; 21.54 kHz and 18.5 Hz are outside."""
    np.testing.assert_allclose(midbands_hz(bands_per_octave=9), 1000.0 * 10.0 ** (np.arange(-51, 40) / 30.0))
    within = midbands_hz(bands_per_octave=9, from_hz=1900.0, to_hz=2170.0)
    np.testing.assert_allclose(within, 1000.0 * 10.0 ** (np.arange(9, 11) / 30.0))
    with pytest.raises(ValueError, match="odd"):
        midbands_hz(bands_per_octave=2)


@pytest.mark.parametrize("bands", [1, 3])
def test_edges_of_bands_meet(bands):
    low, high = band_edges_hz([1000.0, 1000.0 * 10.0 ** (0.3 / bands)], bands_per_octave=bands)
    assert low[0] == pytest.approx(1000.0 * 10.0 ** (-0.15 / bands))
    assert high[0] == pytest.approx(low[1])


def test_a_band_is_as_wide_as_its_edges_lie_apart():
    low, high = 500.0 * 10.0**-0.05, 500.0 * 10.0**0.05
    assert band_width_hz(np.array([500.0]), 1.0 / 3.0)[0] == pytest.approx(high - low)


# --- smoothing --------------------------------------------------------------------------------------------------------


def test_a_spectrum_is_read_up_to_its_last_bin_and_down_to_nothing():
    """1, 3, 2, 5 at 0, 10, 20, 30 Hz: a band that ends there is whole; of no width the value counts, also there."""
    spectrum = PowerSpectrum(np.array([1.0, 3.0, 2.0, 5.0]), 10.0)
    low, high = np.array([20.0, 30.0, 0.0, 0.0, 7.5]), np.array([30.0, 30.0, 0.0, 10.0, 7.5])
    np.testing.assert_allclose(spectrum.mean(low, high), [3.5, 5.0, 1.0, 2.0, 2.5])
    np.testing.assert_allclose(spectrum.smoothed(np.array([10.0, 15.0]), 0.0), [3.0, 2.5])
    found = spectrum.mean(np.array([25.0, 25.0]), np.array([29.0, 31.0]))
    assert found[0] == pytest.approx(2.0 + 0.3 * 7.0)
    assert np.isnan(found[1])


# --- between samples --------------------------------------------------------------------------------------------------


def tone(share: float, at: np.ndarray) -> np.ndarray:
    """Of half the sample rate."""
    return np.cos(np.pi * share * at + 0.3)


@pytest.mark.parametrize("share", [0.05, 0.5, 0.9, 0.926])
def test_a_tone_is_read_between_samples(share):
    """A Kaiser window of 14.5 has ripple of 1e-7 up to 0.927 of half the rate (Oppenheim and Schafer 7.6, from memory);
    twice that is let pass, a window a tenth steeper has 50 times as much there."""
    at = np.arange(100.0, 900.0) + 0.4 * np.sin(np.arange(800) / 90.0)
    found = values_at(tone(share, np.arange(1000.0)), at)
    np.testing.assert_allclose(found, tone(share, at), atol=2e-7)


def test_a_single_value_and_whole_blocks_are_read_as_well(monkeypatch):
    samples = tone(0.3, np.arange(700.0))
    for at in (300.0, 300.25, 300.5, 300.75):
        np.testing.assert_allclose(values_at(samples, np.array([at])), tone(0.3, np.array([at])), atol=2e-7)
    monkeypatch.setattr(interpolation, "BLOCK", 50)
    at = np.arange(200.0, 350.0) + 0.2
    np.testing.assert_allclose(values_at(samples, at), tone(0.3, at), atol=2e-7)
    assert values_at(samples, np.zeros(0)).size == 0


def test_beside_a_recording_there_is_nothing():
    """A single sample is the kernel itself: 1 where it stands, 0 at whole distances, and at 64.5 samples and more."""
    samples = np.zeros(10)
    samples[0] = samples[9] = 1.0
    found = values_at(samples, np.arange(-80.0, 90.0))
    expected = np.zeros(170)
    expected[80] = expected[89] = 1.0
    np.testing.assert_allclose(found, expected, atol=1e-9)
    assert not values_at(samples, np.arange(200.0, 210.0) + 0.3).any()
    assert not values_at(samples, np.arange(-210.0, -200.0) + 0.3).any()
    half = values_at(samples[:1], np.array([0.4]))
    offset = 0.4 / 64.5
    kaiser = np.i0(14.5 * math.sqrt(1.0 - offset**2)) / np.i0(14.5)
    assert half[0] == pytest.approx(np.sinc(0.4) * kaiser, abs=1e-9)


# --- weighting, lengths, quantiles ------------------------------------------------------------------------------------


def test_a_weighting_of_exact_frequencies():
    """Its formula at 1 kHz is 0 within a thousandth; far below the poles it falls by 80 dB a decade, far above by 40
    (four zeros, six poles)."""
    assert a_weighting_db(1000.0) == pytest.approx(0.0, abs=1e-3)
    assert a_weighting_db(0.01) - a_weighting_db(0.1) == pytest.approx(-80.0, abs=0.01)
    assert a_weighting_db(1e7) - a_weighting_db(1e6) == pytest.approx(-40.0, abs=0.01)
    # table of IEC 61672-1, one decimal (from memory)
    for hz, db in ((31.5, -39.4), (100.0, -19.1), (1e4, -2.5), (2e4, -9.3)):
        exact_hz = 1000.0 * 10.0 ** (round(10.0 * math.log10(hz / 1000.0)) / 10.0)
        assert a_weighting_db(exact_hz) == pytest.approx(db, abs=0.06)


def test_waves_and_near_fields_at_20_degrees():
    """331.3 sqrt(1 + 20 / 273.15) m/s; half a wave c / 2f, a quarter c / 4f; ka = 1 at c / (2 pi a)."""
    speed = 331.3 * math.sqrt(293.15 / 273.15)
    assert speed_of_sound_m_s(20.0) == pytest.approx(speed)
    assert half_wave(100.0) == pytest.approx(speed / 200.0)
    assert quarter_wave(100.0) == pytest.approx(speed / 400.0)
    assert highest_near_field_hz(0.05) == pytest.approx(speed / (2.0 * math.pi * 0.05))
    assert highest_near_field_hz(None) == pytest.approx(speed / (2.0 * math.pi * 0.2))
    assert highest_near_field_hz(0.05, 0.0) == pytest.approx(331.3 / (2.0 * math.pi * 0.05))
    for wrong in (0.0, -0.1):
        with pytest.raises(ValueError, match="above 0"):
            highest_near_field_hz(wrong)


def test_the_one_sided_quantile_is_that_of_a_normal_variable():
    """Seven digits are stated."""
    assert pytest.approx(scipy.stats.norm.ppf(0.95), abs=5e-7) == ONE_SIDED_95
