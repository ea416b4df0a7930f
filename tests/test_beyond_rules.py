"""What lies beyond the tenth order: which part of the impulse response it is, and what it gives when the sweep is
played through it again: closed forms."""

import math
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from distort.analysis.impulsive.residual import _length, _played, _weights, as_recorded, whitened
from distort.analysis.sweep.beyond import BeyondOrders, beyond_orders
from distort.analysis.sweep.noise import NoiseDensity
from signals import Sweep

RATE = 16000
SWEEP = Sweep(start_hz=20.0, full_level_hz=25.0, stop_hz=7000.0, seconds=3.0, sample_rate=RATE, drive_dbfs=0.0)
LENGTH_S = round(20.0 * 3.0 / math.log(350.0)) / 20.0
"""Seconds in which its frequency rises e-fold: whole periods of 20 Hz."""
FADE_OUT_HZ = 7000.0 * 2.0**-0.1


def rise(position: np.ndarray) -> np.ndarray:
    return 0.5 - 0.5 * np.cos(np.pi * np.clip(position, 0.0, 1.0))


def cut_of(impulse: np.ndarray, arrival: float) -> BeyondOrders:
    kept = SimpleNamespace(sweep=SWEEP)
    return beyond_orders(SimpleNamespace(filter=kept, impulse=impulse, arrival=arrival, drive_dbfs=-7.0))


@pytest.mark.parametrize("arrival", [90000.3, 40000.0])
def test_it_is_what_stands_before_ten_and_a_half_times_the_frequency(arrival):
    """From where 16 kHz sounds while 28 Hz is played, `L ln(16000 / 28)` before the arrival, to `L ln 10.5` before it;
    the response goes round."""
    first = math.floor(arrival - LENGTH_S * math.log(16000.0 / 28.0) * RATE)
    end = math.ceil(arrival - LENGTH_S * math.log(10.5) * RATE)
    found = cut_of(np.ones(100_000), arrival)
    assert found.impulse.size == end - first
    assert found.first_s == pytest.approx((first - arrival) / RATE)
    assert found.drive_dbfs == -7.0
    edge, fade = round(LENGTH_S * math.log(1.08) * RATE), round(0.02 * RATE)
    shape = np.ones(end - first)
    shape[:fade] *= rise(np.arange(fade) / fade)
    shape[-edge:] *= rise(np.arange(edge, 0, -1) / edge)
    np.testing.assert_allclose(found.impulse, shape, atol=1e-6)
    places = cut_of(np.arange(100_000.0), arrival).impulse
    middle = (end - first) // 2
    assert places[middle] == (first + middle) % 100_000


def test_it_is_never_longer_than_the_response():
    """Else the same part would stand in it twice: the later one is kept."""
    found = cut_of(np.ones(30_000), 29_000.0)
    end = math.ceil(29_000.0 - LENGTH_S * math.log(10.5) * RATE)
    assert found.impulse.size == 30_000
    assert found.first_s == pytest.approx((end - 30_000 - 29_000.0) / RATE)


# --- played again -----------------------------------------------------------------------------------------------------


def test_as_much_of_the_sweep_is_played_as_28_to_640_hertz_need():
    first, count, n_fft = _length(SWEEP, 9000)
    assert first == math.floor(LENGTH_S * math.log(28.0 / 20.0) * RATE)
    assert first + count == math.ceil(LENGTH_S * math.log(640.0 / 20.0) * RATE)
    assert count + 9000 <= n_fft < 1.1 * (count + 9000)
    played = np.fft.irfft(_played(SWEEP, 9000, 2000), n_fft)
    samples = SWEEP.samples()
    wanted = np.arange(first + 2000 - 8999, first + 2000 + count)
    inside = (wanted >= 0) & (wanted < samples.size)
    assert not inside[0]
    expected = np.where(inside, samples[np.clip(wanted, 0, samples.size - 1)], 0.0)
    np.testing.assert_allclose(played[: wanted.size], expected, atol=1e-5)
    np.testing.assert_allclose(played[wanted.size :], 0.0, atol=1e-5)


@pytest.mark.parametrize("whole", [0.0, 0.4])
def test_a_single_sample_of_the_response_is_the_sweep_itself_so_much_sooner(whole):
    """3 dB below full scale, at `L ln 20` before the arrival: `sin(2 pi f1 L (exp(t / L) - 1))` at 20 times the
    frequency, 0.6 kHz to the fade-out. While it is between 800 Hz and 5 kHz the edges of the band, single precision and
    the ends of the piece leave 1 %."""
    n_before = round(LENGTH_S * math.log(25.0) * RATE)
    place = n_before - round(LENGTH_S * math.log(20.0) * RATE)
    impulse = np.zeros(n_before, dtype=np.float32)
    impulse[place] = 1.0
    beyond = BeyondOrders(sweep=SWEEP, impulse=impulse, first_s=-(n_before - whole) / RATE, drive_dbfs=-3.0)
    found = as_recorded(beyond)
    time_s = found.first_s + np.arange(found.samples.size) / RATE
    since_s = time_s - (beyond.first_s + place / RATE)
    phase = 2.0 * np.pi * 20.0 * LENGTH_S * np.expm1(since_s / LENGTH_S)
    hz = 20.0 * np.exp(since_s / LENGTH_S)
    rows = (hz > 800.0) & (hz < 5000.0)
    assert np.count_nonzero(rows) > 5000
    np.testing.assert_allclose(found.samples[rows], 10.0 ** (-3.0 / 20.0) * np.sin(phase)[rows], atol=0.01)
    assert time_s[0] == pytest.approx(LENGTH_S * math.log(28.0 / 20.0), abs=1.0 / RATE)
    below = (hz > 565.0) & (hz < 590.0)
    assert np.max(np.abs(found.samples[below])) < 0.05


# --- the band and the noise -------------------------------------------------------------------------------------------

N_FFT = 16000


def test_the_band_reaches_from_600_hertz_to_the_fade_out():
    """Its edges within a tenth: half at the geometric middle."""
    found = _weights(None, SWEEP, N_FFT)
    hz = np.arange(N_FFT // 2 + 1.0)
    assert found.size == hz.size
    low = np.log(np.maximum(hz, 1.0) / 600.0) / math.log(1.1)
    high = np.log(FADE_OUT_HZ / np.maximum(hz, 1.0)) / math.log(1.1)
    np.testing.assert_allclose(found, rise(low) * rise(high), atol=1e-6)
    wide = replace(SWEEP, sample_rate=48000, stop_hz=20000.0)
    assert _weights(None, wide, 48000)[[600, 660, 14500, 16000]] == pytest.approx([0.0, 1.0, 1.0, 0.0], abs=1e-3)


def test_noise_is_divided_by_what_it_is_about_each_frequency():
    """Density 1 and 3 by turns: no less than the mean of 2 is taken for it, so 2 and 3; the silence would have the
    share (1/2 + 1) / 2 of that, so it is taken for 3/4 of it. Outside 0.6 kHz to the fade-out nothing counts."""
    hz = np.arange(0.0, 8001.0, 2.5)
    density = np.where(np.arange(hz.size) % 2, 3.0, 1.0)
    outside = (hz <= 600.0) | (hz >= FADE_OUT_HZ)
    density[outside] = 2.0
    noise = NoiseDensity(frequency_hz=hz, density=density, sample_rate=RATE, seconds=1.0)
    found = _weights(noise, SWEEP, N_FFT)
    even, odd = hz[800], hz[2 * 401 + 1]  # 2000 Hz, where it is 1, and 2007.5 Hz, where it is 3
    assert (density[800], density[803], even, odd) == (1.0, 3.0, 2000.0, 2007.5)
    assert found[2000] == pytest.approx(1.0 / math.sqrt(0.75 * 2.0), rel=0.01)
    between = 0.2 * 1.0 / math.sqrt(1.5) + 0.8 * 1.0 / math.sqrt(
        0.75 * 3.0
    )  # 2007 Hz, straight between 2005 and 2007.5
    assert found[2007] == pytest.approx(between, rel=0.01)
    assert found[500] == 0.0


def test_what_is_whitened_has_one_per_hertz():
    """Noise of density 1e-6 is divided by 1e-3."""
    hz = np.arange(0.0, 8001.0, 2.5)
    noise = NoiseDensity(frequency_hz=hz, density=np.full(hz.size, 1e-6), sample_rate=RATE, seconds=1.0)
    beyond = BeyondOrders(
        sweep=SWEEP,
        impulse=np.random.default_rng(1).standard_normal(9000).astype(np.float32),
        first_s=-9000 / RATE,
        drive_dbfs=-3.0,
    )
    plain, white = as_recorded(beyond), whitened(beyond, noise)
    np.testing.assert_allclose(white.samples, 1e3 * plain.samples, rtol=1e-3, atol=1e-6 * np.max(white.samples))
    assert white.first_s == plain.first_s
