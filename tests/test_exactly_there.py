"""What holds exactly at a limit: the numbers here are given, not measured, so that they can meet it."""

import numpy as np
import pytest

from distort.analysis.common.quantities import harmonic
from distort.analysis.common.smoothing import PowerSpectrum
from distort.analysis.common.sound_in_air import half_wave, speed_of_sound_m_s
from distort.analysis.comparison.significance import BROAD_OCTAVES, Curve, compare, holm
from distort.analysis.compression.coil_heating import coil_change_db, coil_rise_k
from distort.analysis.compression.operating_range import band_words, distortion_limits
from distort.analysis.compression.sweep_lag import needed_seconds
from distort.analysis.multitone.settling import Settling, SettlingFit
from signals import Multitone, SignalError, Sweep
from signals.checks import require_within_full_scale

LEVELS = np.array([76.0, 86.0, 96.0, 102.0])


def test_a_peak_that_rounding_put_above_full_scale_may_be_played():
    require_within_full_scale(1e-9)
    require_within_full_scale(-300.0)
    with pytest.raises(SignalError):
        require_within_full_scale(1.0001e-9)


def test_lines_may_stand_at_the_ends_of_their_grid():
    """51 / 0.5 s = 102 Hz and 4999 / 0.5 s = 9998 Hz are odd bins themselves."""
    tone = Multitone(low_hz=102.0, high_hz=9998.0, lines_per_decade=1 / np.log10(9998.0 / 102.0), period_s=0.5)
    assert tone.line_bins.tolist() == [51, 4999]
    assert tone.line_hz.tolist() == [102.0, 9998.0]


def test_a_fade_in_that_ends_where_the_fade_out_begins_is_none():
    fade_out_hz = Sweep(stop_hz=16000.0, fade_out_octaves=1.0).fade_out_hz
    assert fade_out_hz == 8000.0
    Sweep(stop_hz=16000.0, fade_out_octaves=1.0, full_level_hz=7999.0)
    for full_level_hz in (8000.0, 10.0):
        with pytest.raises(SignalError, match="start_hz < full_level_hz"):
            Sweep(stop_hz=16000.0, fade_out_octaves=1.0, full_level_hz=full_level_hz)


def test_a_change_as_large_as_its_uncertainty_is_linear():
    words = band_words(np.array([0.0, -0.5, 0.5, -0.5]), np.full(4, 0.5), drive_dbfs=LEVELS)
    assert words[1:] == ("linear", "linear", "linear")
    # a rise of exactly a fifth of the drive, surely known, is no limiting: 1 dB of 5
    drive = np.array([0.0, 5.0, 10.0, 15.0])
    words = band_words(np.array([0.0, -4.0, -8.0, -12.0]), np.zeros(4), drive_dbfs=drive)
    assert words[1:] == ("gradual compression",) * 3


def test_distortion_that_meets_a_limit_keeps_it_and_ten_decibels_over_noise_is_enough():
    """10 % is -20 dB exactly."""
    _, ten = distortion_limits(LEVELS, np.array([-40.0, -30.0, -20.0, -20.0]))
    assert ten.verdict == "kept to the last"
    _, ten = distortion_limits(LEVELS, np.array([-40.0, -30.0, -20.0, -10.0]), noise_db=np.full(4, -20.0))
    assert ten.verdict == "found"


def test_a_tenth_of_a_decibel_of_lag_is_accepted():
    assert needed_seconds(0.1, duration_s=10.0) == 10.0
    assert needed_seconds(0.1000001, duration_s=10.0) == 11.0


def test_a_depth_as_large_as_its_uncertainty_does_not_stand_out():
    heard = Settling(low_hz=20.0, high_hz=200.0, depth_db=0.1, uncertainty_db=0.25, time_constant_s=1.0)

    def settled(whole_db: float) -> SettlingFit:
        return SettlingFit(settling=heard, whole_db=whole_db, end_db=0.0, residual_db=0.0)

    assert not settled(0.25).significant
    assert settled(-0.26).significant


def test_a_band_that_ends_with_the_spectrum_is_read():
    found = PowerSpectrum(np.array([1.0, 2.0, 4.0]), 10.0).mean(np.array([10.0]), np.array([20.0]))
    assert found[0] == pytest.approx(3.0)


def test_temperatures_and_lengths_at_the_ends_of_their_range():
    assert speed_of_sound_m_s(-40.0) < speed_of_sound_m_s(60.0)
    for value in (0.0, -1.0, np.inf):
        with pytest.raises(ValueError, match="must be above 0"):
            half_wave(value)


def test_a_coil_that_has_no_resistance_left_is_refused():
    """1 + 0.00393 (T - 20) is 0 at -234.453 degrees Celsius."""
    cold_c = 20.0 - 1.0 / 0.00393
    for start_c in (cold_c, cold_c - 1.0):
        with pytest.raises(ValueError, match="copper law"):
            coil_change_db(0.0, start_c=start_c)
    coil_change_db(0.0, start_c=cold_c + 1.0)
    with pytest.raises(ValueError, match="copper law"):
        coil_change_db(-300.0)
    assert coil_rise_k(0.0) == 0.0
    assert coil_change_db(10.0, other_share=0.0) < 0.0


def curve(value_db: float) -> Curve:
    return Curve(
        quantity=harmonic(2), level_db_spl=86.0, octaves=BROAD_OCTAVES, frequency_hz=np.array([100.0]),
        value_db=np.array([value_db]), noise_variance=np.array([1e-6]), noise_freedom=np.array([np.inf]),
        replicates_db=None, clear=np.array([True]),
    )  # fmt: skip


def test_a_difference_as_large_as_the_least_that_is_named_is_named():
    (one,) = compare([curve(0.0)], [curve(0.5)])
    assert one.significant.all()
    assert holm([np.array([0.05])], 0.05)[0].all()
    assert holm([np.array([0.025, 0.05])], 0.05)[0].all()
