"""Bounds, noise of means, rounding and limits of a sweep's readings, each by hand."""

import math
from dataclasses import replace

import numpy as np
import pytest
import scipy.special

from distort.analysis.common.grid import midbands_hz
from distort.analysis.common.microphone import MicrophoneResponse
from distort.analysis.common.smoothing import PowerSpectrum
from distort.analysis.common.sound_in_air import delayed_copy_dips_hz, speed_of_sound_m_s
from distort.analysis.multitone.blocks import BlockSpectra, statistics
from distort.analysis.multitone.in_air import blocks_in_air
from distort.analysis.sweep.deconvolution import deconvolve
from distort.analysis.sweep.in_air import noise_in_air, only_covered, orders_in_air
from distort.analysis.sweep.noise import NoiseDensity
from distort.analysis.sweep.orders import mean_of_takes, separate
from distort.analysis.sweep.readings import readings
from distort.analysis.sweep.residual import residual_power, residual_signal
from distort.analysis.sweep.rounding import Rounding, first_crest, step_of
from distort.errors import AnalysisError
from signals import Multitone
from tests.devices.memoryless import sweep_with_harmonics
from tests.test_sweep_rules import HZ, MICROPHONE, RATE, SWEEP, deconvolved, reading

__all__ = ["deconvolved"]


def test_the_levels_of_the_orders_that_were_put_in(deconvolved):
    found = readings(separate(deconvolved, orders=3), noise=None, excitation_hz=HZ, octaves=1 / 12)
    rows = (HZ > 100.0) & (HZ < 1500.0)
    for number, level_db in ((1, 0.0), (2, -20.0), (3, -30.0)):
        np.testing.assert_allclose(10 * np.log10(found[number - 1].power[rows]), level_db, atol=0.02)
    # nothing rings: no leak, and nothing is made good
    np.testing.assert_array_less(found[0].leak[rows], 1e-8)
    assert np.isnan(found[2].leak).all()  # nobody knows of a fourth
    above = SWEEP.fade_out_hz < 3 * HZ
    assert np.isnan(found[2].power[above]).all()
    assert np.isnan(found[2].variance).all()


def test_the_mean_of_takes_is_that_of_their_arrivals(deconvolved):
    """A take that begins 0.4 samples later in its recording adds in phase; turned upside down it cancels."""
    one = separate(deconvolved, orders=2)
    answer = sweep_with_harmonics(SWEEP, {1: 1.0, 2: 0.1, 3: 10.0**-1.5})
    other = separate(deconvolve(np.pad(answer, (6400, 9000)), SWEEP, start=6400.0, orders=4), orders=2)
    both = mean_of_takes([one, other])
    assert both.takes == 2
    assert mean_of_takes([both, one]).takes == 3
    rows = (HZ > 100.0) & (HZ < 2000.0)
    alone, mean = (readings(each, noise=None, excitation_hz=HZ, octaves=1 / 12) for each in (one, both))
    np.testing.assert_allclose(mean[1].power[rows], alone[1].power[rows], rtol=1e-6)
    minus = separate(deconvolve(-np.pad(answer, (6400, 9000)), SWEEP, start=6400.0, orders=4), orders=2)
    cancelled = readings(mean_of_takes([one, minus]), noise=None, excitation_hz=HZ, octaves=1 / 12)
    assert np.max(cancelled[0].power[rows]) < 1e-12
    with pytest.raises(AnalysisError, match="cannot be averaged"):
        mean_of_takes([one, separate(deconvolved, orders=3)])
    with pytest.raises(AnalysisError, match="no take"):
        mean_of_takes([])
    for gate_s in (0.0, -0.1):
        with pytest.raises(AnalysisError, match="must be above 0 ms"):
            separate(deconvolved, orders=1, gate_s=gate_s)


def test_noise_of_the_mean_of_takes_is_so_much_less(deconvolved):
    quiet = NoiseDensity(frequency_hz=np.array([0.0, 6000.0]), density=np.full(2, 1e-12), sample_rate=RATE, seconds=4.0)
    one = separate(deconvolved, orders=1)
    found = [
        readings(each, noise=quiet, excitation_hz=HZ, octaves=1 / 12)[0].noise[120]
        for each in (one, mean_of_takes([one] * 5))
    ]
    assert found[0] / found[1] == pytest.approx(5.0)


def test_at_most_ten_decibels_are_taken_off_as_noise(deconvolved):
    loud = NoiseDensity(frequency_hz=np.array([0.0, 6000.0]), density=np.full(2, 1e-2), sample_rate=RATE, seconds=4.0)
    one = separate(deconvolved, orders=1)
    drowned, plain = (readings(one, noise=noise, excitation_hz=HZ, octaves=1 / 12)[0].power for noise in (loud, None))
    rows = (HZ > 100.0) & (HZ < 4000.0)
    np.testing.assert_allclose(drowned[rows], 0.1 * plain[rows], rtol=1e-6)


def test_what_no_order_explains_is_left_with_its_power():
    """A steady tone of 440 Hz and amplitude 0.01 besides the sweep: its power re the stimulus's is `a^2 / A^2`. It
    passes for order n while the sweep is at 440 / n Hz, so it is read outside 440 / 5 to 2 x 440 Hz; the orders leave
    nothing."""
    answer = sweep_with_harmonics(SWEEP, {1: 1.0, 2: 0.1, 3: 10.0**-1.5})
    tone = 0.01 * np.sin(2 * np.pi * 440.0 * np.arange(answer.size + 15000) / RATE)
    clean, hummed = (
        deconvolve(np.pad(answer, (6000, 9000)) + extra, SWEEP, start=6000.0, orders=4) for extra in (0.0, tone)
    )
    rows = ((HZ > 50.0) & (HZ < 80.0)) | ((HZ > 960.0) & (HZ < 4000.0))
    given = {"frequency_hz": HZ, "octaves": 1 / 12, "orders": 4}
    without, found = (residual_power(one, **given)[rows] for one in (clean, hummed))
    expected = (0.01 / 10.0 ** (-14.0 / 20.0)) ** 2
    assert np.max(without) < 1e-3 * expected
    np.testing.assert_allclose(10 * np.log10(found / expected), 0.0, atol=0.2)  # a few periods of it each
    heard_twice = MicrophoneResponse(frequency_hz=np.array([10.0, 6000.0]), level_db=np.full(2, 6.0206))
    halved = residual_power(hummed, **given, microphone=heard_twice)[rows]
    np.testing.assert_allclose(halved, found / 4.0, rtol=1e-4)
    assert residual_signal(hummed, orders=4).size == hummed.n_used


def test_a_spectrum_is_straight_between_its_bins():
    """Integrals of a broken line by hand: 1, 3, 2, 5 at 0, 10, 20 and 30 Hz."""
    spectrum = PowerSpectrum(np.array([1.0, 3.0, 2.0, 5.0]), 10.0)
    low, high = np.array([0.0, 5.0, 12.0, 20.0, 15.0]), np.array([30.0, 15.0, 13.0, 30.0, 15.0])
    expected = [
        (20.0 + 25.0 + 35.0) / 30.0,
        (5.0 * 2.5 + 5.0 * 2.75) / 10.0,
        2.75,
        3.5,
        2.5,  # both edges at one place: the value there
    ]
    np.testing.assert_allclose(spectrum.mean(low, high), expected)
    assert np.isnan(spectrum.mean(np.array([25.0]), np.array([30.1]))).all()
    band = spectrum.smoothed(np.array([15.0]), 1.0)
    half = 10.0**0.15
    np.testing.assert_allclose(band, spectrum.mean(np.array([15.0 / half]), np.array([15.0 * half])))


def test_rounding_by_its_series():
    """Bound on order 3 of 5 steps without noise, `2 / (pi^2 sqrt(A)) sum k^-1.5` times the first crest's 1.157; 199
    terms make 2.4707 of the whole sum's 2.6124 (zeta of 1.5)."""
    step = 1e-3
    rounding = Rounding(step=step, noise_rms=0.0)
    terms = sum(k**-1.5 for k in range(1, 200))
    assert terms == pytest.approx(2.612375 * 0.946, rel=1e-3)
    crest = 0.675 * 3 ** (-1 / 3) * math.sqrt(0.5 * math.pi * (3 + 0.81 * 3 ** (1 / 3)))
    assert first_crest(3) == pytest.approx(crest)
    for order in (5, 10, 20):  # the crest itself, by scipy: a little high errs to the safe side
        place = scipy.special.jnp_zeros(order, 1)[0]
        height = scipy.special.jv(order, place) / math.sqrt(2.0 / (math.pi * place))
        assert 1.0 < first_crest(order) / height < 1.06
    drive = 10.0 ** (-6.0 / 20.0)
    expected = (crest * 2.0 / math.pi**2 / math.sqrt(5.0) * terms * step / drive) ** 2
    found = rounding.power(np.array([(5.0 * step / drive) ** 2, 0.0]), order=3, drive_dbfs=-6.0)
    assert found[0] == pytest.approx(expected)
    assert found[1] == pytest.approx((2.0 / math.pi * step / drive) ** 2)  # the most that there can be
    assert rounding.density(48000.0) == pytest.approx(step**2 / 12.0 / 24000.0)
    for noise_steps, left in ((2.9, True), (3.1, False)):
        noisy = Rounding(step=step, noise_rms=noise_steps * step)
        power = noisy.power(np.array([25e-6]), order=3, drive_dbfs=0.0)
        assert np.array_equal(power, [0.0]) != left
    one = Rounding(step=step, noise_rms=0.3 * step)
    weight = sum(k**-1.5 * math.exp(-2.0 * (math.pi * k * 0.3) ** 2) for k in range(1, 200))
    expected = (crest * 2.0 / math.pi**2 / math.sqrt(5.0) * weight * step) ** 2
    assert one.power(np.array([25e-6]), order=3, drive_dbfs=0.0)[0] == pytest.approx(expected)
    assert step_of(np.array([0.5, 0.25, np.nan, 0.3])) == pytest.approx(0.05)


def test_a_microphone_is_straight_over_log_frequency_and_held_beyond_its_ends():
    middle = math.sqrt(100.0 * 1000.0)
    assert MICROPHONE.at([100.0, middle, 1000.0]) == pytest.approx([0.0, 3.0, 6.0])
    assert np.isnan(MICROPHONE.at([99.0, 5001.0])).all()
    assert MICROPHONE.covers([100.0 * (1 - 1e-10), 5000.0 * (1 + 1e-10)]).all()
    assert not MICROPHONE.covers([100.0 * (1 - 1e-8), 5000.0 * (1 + 1e-8)]).any()
    assert MICROPHONE.amplitude([1.0, 1000.0, 9000.0]) == pytest.approx([1.0, 10**0.3, 10**-0.3])
    assert MICROPHONE.complex_amplitude([1000.0])[0] == pytest.approx(10**0.3 * 1j)
    assert replace(MICROPHONE, phase_deg=None).complex_amplitude([1000.0])[0] == pytest.approx(10**0.3)


def test_a_microphone_is_taken_out_at_the_frequency_in_the_air(deconvolved):
    """Order n sounds at n f. Noise is heard through it as well; readings beyond its range are none."""
    one = separate(deconvolved, orders=2)
    aired = orders_in_air(one, MICROPHONE)
    for before, after in (
        *zip(one.spectra, aired.spectra, strict=True),
        *zip(one.fundamental_in, aired.fundamental_in, strict=True),
        *zip(one.fundamental_leak, aired.fundamental_leak, strict=True),
    ):
        at = round(700.0 / before.bin_hz)
        assert after.values[at] == pytest.approx(before.values[at] / MICROPHONE.complex_amplitude(at * before.bin_hz))
    noise = NoiseDensity(frequency_hz=np.array([100.0, 1000.0]), density=np.ones(2), sample_rate=RATE, seconds=1.0)
    np.testing.assert_allclose(noise_in_air(noise, MICROPHONE).density, [1.0, 10**-0.6])
    first, second = only_covered([reading(1.0), reading(2.0, noise=1.0, leak=1.0, variance=1.0)], HZ, MICROPHONE)
    np.testing.assert_array_equal(np.isfinite(first.power), (HZ >= 100.0) & (HZ <= 5000.0))
    known = (2 * HZ >= 100.0) & (2 * HZ <= 5000.0)
    for column, value in ((second.power, 2.0), (second.noise, 1.0), (second.leak, 1.0), (second.variance, 1.0)):
        np.testing.assert_array_equal(column, np.where(known, value, np.nan))


def test_a_microphone_is_taken_out_of_a_multitones_bins_and_halves():
    tone = Multitone(low_hz=200.0, high_hz=4000.0, period_s=0.5, sample_rate=10000, lines_per_decade=6.0)
    bins = tone.period_samples // 2 + 1
    spectra = BlockSpectra(
        mean=np.ones(bins, dtype=complex),
        scatter_noise=np.ones(bins),
        between_noise=np.ones(bins - 1),
        beside=np.zeros((5, 2, 7, 0), dtype=complex),
        statistics=statistics(16),
    )
    found = blocks_in_air(spectra, tone, MICROPHONE)
    hz = np.arange(bins) / 0.5
    np.testing.assert_allclose(found.mean, 1.0 / MICROPHONE.complex_amplitude(hz))
    np.testing.assert_allclose(found.scatter_noise, 1.0 / MICROPHONE.amplitude(hz) ** 2)
    np.testing.assert_allclose(found.between_noise, 1.0 / MICROPHONE.amplitude(hz[:-1] + 1.0) ** 2)


def test_midbands_lie_between_the_frequencies_asked_for():
    """IEC 61260-1, base ten: octaves from 31.6 Hz to 15.85 kHz, third octaves from 19.95 Hz to 19.95 kHz."""
    octaves, thirds = midbands_hz(bands_per_octave=1), midbands_hz(bands_per_octave=3)
    np.testing.assert_allclose(octaves, 1000.0 * 10.0 ** (0.3 * np.arange(-5, 5)))
    np.testing.assert_allclose(thirds, 1000.0 * 10.0 ** (0.1 * np.arange(-17, 14)))
    np.testing.assert_allclose(midbands_hz(bands_per_octave=1, from_hz=500.0, to_hz=502.0), [501.1872], rtol=1e-6)


def test_speed_of_sound_where_people_measure():
    """-40 to 60 degrees Celsius; 343.2 m/s at 20. A path of 1 m is half a wave at 171.6, 514.8, 858 Hz."""
    assert speed_of_sound_m_s(-40.0) == pytest.approx(331.3 * math.sqrt(233.15 / 273.15))
    assert speed_of_sound_m_s(60.0) == pytest.approx(331.3 * math.sqrt(333.15 / 273.15))
    for beyond in (-40.1, 60.1):
        with pytest.raises(ValueError, match=r"outside -40 \.\.\. 60"):
            speed_of_sound_m_s(beyond)
    assert delayed_copy_dips_hz(1.0) == pytest.approx((171.6, 514.8, 858.0), abs=0.2)
    assert len(delayed_copy_dips_hz(1.0, count=5)) == 5
