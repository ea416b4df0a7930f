"""Separated orders against devices whose harmonics are known in closed form; 10 s sweep from 10 Hz, double
precision."""

import math

import numpy as np
import pytest
from scipy.signal import lfilter

from distort.analysis.sweep.sweeps import Reference, Settings, read_sweep, sweep_harmonics, sweep_response
from distort.errors import AnalysisError
from signals import Sweep
from tests.devices.memoryless import sweep_with_harmonics
from tests.devices.takes import FAINT, take

SWEEP = Sweep(drive_dbfs=-6.0)


def analyse(answer, *, sweep=SWEEP, orders=10):
    read = read_sweep([take(answer)], sweep, Settings(orders=orders))
    return sweep_harmonics(read, Reference()), sweep_response(read, Reference())


@pytest.fixture(scope="module")
def wire():
    return analyse(SWEEP.samples())


def test_wire_has_a_flat_response(wire):
    """A wire's response is 0 dB re its drive. From 25 Hz to 20 kHz within 0.02 dB; it reaches 0.001."""
    _, response = wire
    hz = response.frequency_hz
    assert np.max(np.abs(response.level_db - SWEEP.drive_dbfs)[hz > 24.9]) < 0.002
    assert np.max(np.abs(response.phase_deg)[hz > 24.9]) < 0.1  # band edge at 17 Hz still turns it by 0.06 degrees


def test_wire_has_no_harmonics(wire):
    """False orders of a wire: the second below -130 dB, higher ones below -160 dB, from 20 Hz."""
    harmonics, _ = wire
    assert np.nanmax(harmonics.orders[0].relative_db) < -130.0
    for order in harmonics.orders[1:]:
        assert np.nanmax(order.relative_db) < -160.0


def test_wire_has_no_residual(wire):
    """Nothing is left above 25 Hz but the ringing of the band edge, at -80 dB near 30 Hz and far less above."""
    harmonics, _ = wire
    hz = harmonics.frequency_hz
    assert np.max(harmonics.residual_db[hz > 24.9]) < -75.0
    assert np.max(harmonics.residual_db[hz > 100.0]) < -100.0


def test_chebyshev_device_gives_back_each_harmonic():
    """T_n(cos t) = cos n t: orders 2 to 10 at -40 to -95 dB together, each within 0.01 dB wherever n f <= 20 kHz."""
    amplitudes = {n: 10 ** (-(40 + (n - 2) * 55 / 8) / 20) for n in range(2, 11)}
    harmonics, response = analyse(sweep_with_harmonics(SWEEP, {1: 1.0, **amplitudes}))
    hz = harmonics.frequency_hz
    assert np.max(np.abs(response.level_db - SWEEP.drive_dbfs)[hz > 24.9]) < 0.02
    for order in harmonics.orders:
        below = order.order * hz <= 20000.0
        assert np.max(np.abs(order.relative_db - 20 * np.log10(amplitudes[order.order]))[below]) < 0.01
        assert np.all(np.isnan(order.relative_db[order.order * hz > 22000.0]))
    total = 10 * math.log10(sum(a * a for a in amplitudes.values()))
    everything = harmonics.thd_orders == 9
    assert np.max(np.abs(harmonics.thd_db - total)[everything]) < 0.01
    assert harmonics.thd_orders[-1] == 0
    assert math.isnan(harmonics.thd_db[-1])


CLIPPED = {
    # share of the peak: b1, b3, b5, THD re the fundamental, level of the fundamental in dB
    0.9: (0.962614, 0.0316346, -0.0220177, 0.0421993, -0.330957),
    math.sqrt(0.5): (0.818310, 0.106103, -0.0212207, 0.134196, -1.741644),
    0.5: (0.608998, 0.137832, 0.0275664, 0.232938, -4.307686),
}


def clipped_sine(share, n):
    """Fourier coefficient of a sine clipped at `share` of its peak (closed form, by integrating its three parts)."""
    theta = math.asin(share)
    if n == 1:
        return 2 / math.pi * (theta + share * math.sqrt(1 - share**2))
    inner = math.sin((n - 1) * theta) / (n - 1) - math.sin((n + 1) * theta) / (n + 1)
    return 2 / math.pi * inner + 4 * share / (math.pi * n) * math.cos(n * theta)


@pytest.mark.first(1)
@pytest.mark.parametrize("share", CLIPPED)
def test_clipped_sine_against_its_fourier_series(share):
    """Coefficients computed independently to six digits; the device is their series up to half the sample rate."""
    b1, b3, b5, thd, level = CLIPPED[share]
    assert [clipped_sine(share, n) for n in (1, 3, 5)] == pytest.approx([b1, b3, b5], abs=6e-7)
    # sin(n p) with p = q + 90 degrees is cos(n q) times (-1)^((n-1)/2) for odd n
    series = {n: clipped_sine(share, n) * (-1) ** ((n - 1) // 2) for n in range(1, 60, 2)}

    harmonics, response = analyse(sweep_with_harmonics(SWEEP, series), orders=30)
    row = int(np.argmin(np.abs(harmonics.frequency_hz - 100.0)))
    assert response.level_db[row] - SWEEP.drive_dbfs == pytest.approx(level, abs=0.01)
    for n, expected in ((3, b3), (5, b5)):
        assert harmonics.orders[n - 2].relative_db[row] == pytest.approx(20 * math.log10(abs(expected) / b1), abs=0.01)
    # thirty orders hold all but this much of the whole (their own series, closed form)
    missing = sum(clipped_sine(share, n) ** 2 for n in range(31, 4000, 2)) / b1**2
    assert harmonics.thd_percent[row] / 100 == pytest.approx(math.sqrt(thd**2 - missing), rel=0.0012)  # 0.01 dB
    re_total = thd / math.sqrt(1 + thd**2)
    assert harmonics.thd_total_percent[row] / 100 == pytest.approx(re_total, rel=0.02)  # the missing orders


@pytest.mark.parametrize(("a3", "a5"), [(-0.2, 0.0), (-0.1, 0.02), (0.05, 0.01)])
def test_cubic_and_quintic_against_their_closed_forms(a3, a5):
    """y = x + a3 x^3 + a5 x^5 at amplitude A: gain 1 + 3/4 a3 A^2 + 5/8 a5 A^4; third a3 A^3/4 + 5/16 a5 A^5; fifth
    a5 A^5 / 16 (multiple-angle formulas)."""
    amplitude = 10 ** (SWEEP.drive_dbfs / 20)
    gain = 1 + 0.75 * a3 * amplitude**2 + 0.625 * a5 * amplitude**4
    third = a3 * amplitude**2 / 4 + 0.3125 * a5 * amplitude**4
    fifth = a5 * amplitude**4 / 16
    harmonics, response = analyse(sweep_with_harmonics(SWEEP, {1: gain, 3: third, 5: fifth}))
    hz = harmonics.frequency_hz
    rows = (hz > 24.9) & (5 * hz < 20000.0)
    assert response.level_db[rows] - SWEEP.drive_dbfs == pytest.approx(20 * math.log10(gain), abs=0.01)
    assert harmonics.orders[1].relative_db[rows] == pytest.approx(20 * math.log10(abs(third / gain)), abs=0.01)
    if fifth:
        assert harmonics.orders[3].relative_db[rows] == pytest.approx(20 * math.log10(fifth / gain), abs=0.01)
    assert np.nanmax(harmonics.orders[0].relative_db) < -120.0  # an odd curve has no even order


@pytest.mark.parametrize("turned_db", [0.0, 6.0])
def test_equivalent_input_is_re_the_input_and_not_re_the_compressed_fundamental(turned_db):
    """y = x - 0.2 x^3 at amplitude A (its fundamental loses up to 1.4 dB), heard through a path that rises: third order
    re the input 0.05 A^2, whatever path and compression are, over the gain 1 - 0.15 A1^2 of the lowest level A1, by
    which the path is known. A volume that was turned counts like a drive."""
    quiet, loud = (Sweep(drive_dbfs=drive_dbfs) for drive_dbfs in (-20.0, -1.0 - turned_db))
    reads, gains = [], []
    for sweep, volume_db in ((quiet, 0.0), (loud, turned_db)):
        amplitude = 10 ** ((sweep.drive_dbfs + volume_db) / 20)
        gains.append(1 - 0.15 * amplitude**2)
        products = {1: gains[-1], 3: 0.05 * amplitude**2}
        heard = lfilter([1.0, -0.7], [1.0], 10 ** (volume_db / 20) * sweep_with_harmonics(sweep, products))
        reads.append(read_sweep([take(heard)], sweep, Settings(orders=3)))
    linear = sweep_response(reads[0], Reference())
    driven_db = loud.drive_dbfs - quiet.drive_dbfs + turned_db
    loudest = sweep_harmonics(reads[1], Reference(), linear=linear, driven_db=driven_db)
    rows = (loudest.frequency_hz > 30.0) & (3 * loudest.frequency_hz < 16000.0)
    wanted_db = 20 * math.log10(0.05 * amplitude**2 / gains[0])
    # rows lie 0.3 dB apart on the path's slope; re the compressed fundamental it would read 1.2 dB more
    assert loudest.orders[1].equivalent_input_db[rows] == pytest.approx(wanted_db, abs=0.02)
    assert np.all(np.isnan(sweep_harmonics(reads[1], Reference()).orders[1].equivalent_input_db))


def test_equivalent_input_does_not_take_the_protection_of_the_drive_for_the_path():
    """y = x + a x^2 behind a drive that falls by 24 dB an octave below 60 Hz: D_2 = a A / 2 with A as played at f, and
    since the path is flat I_2 is the same."""
    sweep = Sweep(drive_dbfs=-6.0, lowest_hz=60.0)
    samples = sweep.samples()
    read = read_sweep([take(samples + 0.1 * np.square(samples))], sweep, Settings())
    second = sweep_harmonics(read, Reference(), linear=sweep_response(read, Reference())).orders[0]
    hz = sweep_response(read, Reference()).frequency_hz
    rows = (hz > 24.9) & (hz < 9000.0)
    played_db = -6.0 + np.minimum(24.0 * np.log2(hz / 60.0), 0.0)
    wanted_db = 20 * math.log10(0.05) + played_db
    # windows and smoothing round the knee by up to 0.47 dB; with the protection taken for the path it is 24 dB
    assert second.equivalent_input_db[rows] == pytest.approx(wanted_db[rows], abs=0.6)


def test_orders_below_one_period_of_the_gate_are_marked():
    """A gate of 8 ms holds one period of 125 Hz: below it the fundamental, and what is stated re it, does not hold."""
    answer = sweep_with_harmonics(SWEEP, {1: 1.0, 2: 0.01})
    read = read_sweep([take(answer, silences=FAINT)], SWEEP, Settings(orders=3, gate_s=0.008))
    harmonics = sweep_harmonics(read, Reference())
    second = harmonics.orders[0]
    assert np.all(second.doubtful[harmonics.frequency_hz < 124.9])
    clear = (harmonics.frequency_hz > 125.1) & (harmonics.frequency_hz < 10000.0)
    assert not np.any(second.doubtful[clear])


def test_too_many_orders_say_how_long_a_sweep_would_do():
    short = Sweep(seconds=1.0, drive_dbfs=-6.0)
    with pytest.raises(AnalysisError, match=r"at most 2\): play one of at least 3\.1 s"):
        read_sweep([take(short.samples())], short, Settings())
    read_sweep([take(short.samples())], short, Settings(orders=2))
    long_enough = Sweep(seconds=3.1, drive_dbfs=-6.0)
    read_sweep([take(long_enough.samples())], long_enough, Settings())


def test_takes_are_averaged_and_must_be_alike():
    read = read_sweep([take(SWEEP.samples()), take(SWEEP.samples())], SWEEP, Settings())
    assert read.separated.takes == 2
    assert sweep_response(read, Reference()).level_db[100] == pytest.approx(-6.0, abs=0.001)
    with pytest.raises(AnalysisError, match="no recording"):
        read_sweep([], SWEEP, Settings())
    with pytest.raises(AnalysisError, match="record all of it"):
        read_sweep([take(SWEEP.samples()[:-20000], after=100)], SWEEP, Settings())
