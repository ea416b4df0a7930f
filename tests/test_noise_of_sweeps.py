"""Noise of a sweep's readings, term by term: density, windows, averaging, degrees of freedom, against closed forms."""

import math

import numpy as np
import pytest
import scipy

from distort.analysis.common.smoothing import band_width_hz
from distort.analysis.common.welch import welch
from distort.analysis.sweep.deconvolution import inverse_filter
from distort.analysis.sweep.noise import NoiseDensity, deconvolved_noise, noise_density
from distort.analysis.sweep.readings import silence_averages
from distort.analysis.sweep.uncertainty import interval_db, noise_averaging, relative_variance
from distort.analysis.sweep.windows import (
    OrderWindow,
    cut,
    gap_s,
    most_orders,
    order_window,
    require_orders,
    window_energy,
    window_samples,
)
from distort.errors import AnalysisError
from signals import Sweep

RATE = 8000
WINDOW = OrderWindow(order=2, before_s=0.03, after_s=0.05)


def squared_window():
    """Squared window and its times from the arrival, by the window's own formula."""
    time_s = np.arange(-0.03 * RATE, 0.05 * RATE + 1) / RATE
    return time_s, np.square(WINDOW.at(time_s))


@pytest.mark.parametrize(("width_hz", "within"), [(17.0, 0.02), (60.0, 0.005), (400.0, 0.002)])
def test_how_far_smoothing_averages_noise_by_sums_over_time(width_hz, within):
    """The module integrates over frequency. Over time (the triangle's transform is a squared sinc):
    `c = sum w^2 sinc^2(B t) / sum w^2`, `q = sum sum w^2(t) w^2(s) sinc^2(B (t - s)) / (sum w^2)^2`.

    It does so by trapezoids 3 Hz wide, which tell in a narrow band."""
    time_s, energy = squared_window()
    share = energy / energy.sum()
    cross, square = (float(one[0]) for one in noise_averaging(WINDOW, RATE).factors(np.array([width_hz])))
    assert cross == pytest.approx(np.sum(share * np.sinc(width_hz * time_s) ** 2), rel=within)
    apart = np.sinc(width_hz * (time_s[:, None] - time_s[None, :])) ** 2
    assert square == pytest.approx(share @ apart @ share, rel=within)


def test_without_smoothing_noise_is_not_averaged():
    """c = q = 1; one trapezoid, over which the window's correlation falls by 6 and 9 %, leaves half of that."""
    cross, square = noise_averaging(WINDOW, RATE).factors(np.array([0.0]))
    assert cross == pytest.approx(1.0, abs=0.04)
    assert square == pytest.approx(1.0, abs=0.05)


def test_the_variance_of_a_reading_by_hand():
    """`2 S N c + N^2 (q + 1 / m)` over `S^2`, for S = 4, N = 2, c = 0.5, q = 0.25, m = 10."""
    stated = relative_variance(
        np.array([4.0, 0.0]),
        np.array([2.0, 2.0]),
        cross=np.array(0.5),
        square=np.array(0.25),
        silence_averages=np.array(10.0),
    )
    assert stated[0] == pytest.approx((2 * 4 * 2 * 0.5 + 4 * (0.25 + 0.1)) / 16)
    assert np.isnan(stated[1])


def test_the_variance_of_a_reading_by_trials():
    """4,000 readings: mean power of a tone and complex noise over 16 bins, less the noise as 20 others read it.

    For independent bins c = q = 1/16. A variance of 4,000 trials is known to 2.5 %.
    """
    random = np.random.default_rng(1)
    noise = random.standard_normal((4000, 36, 2)) @ np.array([1.0, 1j]) / math.sqrt(2.0)
    signal = math.sqrt(3.0)
    readings = np.mean(np.abs(signal + noise[:, :16]) ** 2, axis=1) - np.mean(np.abs(noise[:, 16:]) ** 2, axis=1)
    stated = relative_variance(
        np.array(3.0),
        np.array(1.0),
        cross=np.array(1 / 16),
        square=np.array(1 / 16),
        silence_averages=np.array(20.0),
    )
    assert np.mean(readings) == pytest.approx(3.0, abs=0.05)
    assert np.var(readings) / 9.0 == pytest.approx(float(stated), rel=0.08)


def test_an_interval_in_db_is_1_96_deviations():
    """`10 lg(1 + x)` is 4.3429 x to first order; 1.959964 deviations hold 95 % of a normal variable (tables)."""
    assert interval_db(np.array(0.01)) == pytest.approx(1.959964 * 4.342945 * 0.1, rel=1e-6)


def test_noise_is_known_as_well_as_its_silence_is_long():
    """T seconds and B Hz hold T B independent readings. 300 silences of 2 s, third octaves: the band's power scatters
    by `1 / (T B)`, which 300 trials tell to 8 %; Welch's overlapping windows lose some per cent of it."""
    random = np.random.default_rng(2)
    found = []
    for _ in range(300):
        noise = noise_density([random.standard_normal(2 * RATE)], sample_rate=RATE)
        inside = (noise.frequency_hz >= 891.0) & (noise.frequency_hz < 1122.0)
        found.append(np.mean(noise.density[inside]))
    scatter = np.var(found) / np.mean(found) ** 2
    assert 1.0 / scatter == pytest.approx(float(silence_averages(2.0, np.array(231.0))), rel=0.25)
    assert silence_averages(2.0, np.array(231.0)) == pytest.approx(2.0 * 231.0)


def test_short_silences_and_narrow_bands_count_as_one_reading_at_least():
    """A block of 0.4 s, and one bin of it, 2.5 Hz."""
    assert silence_averages(0.0, np.array([0.1, 25.0])).tolist() == [1.0, 10.0]
    assert silence_averages(4.0, np.array([0.1, 25.0])) == pytest.approx([10.0, 100.0])


def test_the_density_of_white_noise_is_two_variances_over_the_rate():
    """One-sided: `2 s^2 / fs`. 60 s hold 60 * 3000 readings between 500 and 3500 Hz: 0.3 %; an offset is no noise."""
    noise = 5.0 + 0.2 * np.random.default_rng(3).standard_normal(60 * RATE)
    found = noise_density([noise], sample_rate=RATE)
    inside = (found.frequency_hz > 500.0) & (found.frequency_hz < 3500.0)
    assert np.mean(found.density[inside]) == pytest.approx(2.0 * 0.04 / RATE, rel=0.01)
    assert found.frequency_hz[1] == pytest.approx(2.5)  # blocks of 0.4 s
    assert found.density[0] < found.density[5]
    assert found.seconds == 60.0


@pytest.mark.parametrize(("n", "block", "rate"), [(20000, 3200, 8000), (3200, 3200, 8000), (9999, 4411, 11027)])
def test_the_density_is_that_of_a_library(n, block, rate):
    """scipy.signal.welch: whole blocks, one block, an odd block. Rounding of sums of thousands leaves 1e-12 of them."""
    noise = 3.0 + np.random.default_rng(5).standard_normal(n)
    frequency_hz, density = welch(noise, rate, block=block)
    expected_hz, expected = scipy.signal.welch(noise, rate, nperseg=block, detrend="constant")
    np.testing.assert_allclose(frequency_hz, expected_hz, rtol=1e-14)
    np.testing.assert_allclose(density, expected, rtol=1e-9, atol=1e-12 * np.max(expected))
    other = scipy.signal.windows.blackmanharris(block, sym=False)
    _, density = welch(noise, rate, block=block, window=other)
    _, expected = scipy.signal.welch(noise, rate, other, noverlap=block // 2, detrend="constant")
    np.testing.assert_allclose(density, expected, rtol=1e-9, atol=1e-12 * np.max(expected))


def test_silences_count_by_their_length_and_those_under_a_block_not_at_all():
    """1 s of variance 1 and 3 s of variance 4: (1 + 12) / 4. Exactly 0.4 s is a block, one sample less is none."""
    random = np.random.default_rng(4)
    one, other = random.standard_normal(RATE), 2.0 * random.standard_normal(3 * RATE)
    found = noise_density([one, other, 100.0 * np.ones(3199)], sample_rate=RATE)
    assert found.seconds == 4.0
    alone = [noise_density([each], sample_rate=RATE).density for each in (one, other)]
    np.testing.assert_allclose(found.density, (alone[0] + 3.0 * alone[1]) / 4.0, rtol=1e-12)
    assert noise_density([one[:3200]], sample_rate=RATE).seconds == 0.4
    with pytest.raises(AnalysisError, match=r"no silence of at least 0\.4 s"):
        noise_density([one[:3199]], sample_rate=RATE)


SHORT = Sweep(seconds=1.0, sample_rate=RATE, start_hz=20.0, full_level_hz=30.0, stop_hz=3600.0, drive_dbfs=-12.0)


def test_noise_behind_the_deconvolution_is_its_density_times_the_inverse():
    """White noise of variance s^2 and a window of energy E leave `s^2 E |inverse|^2`, over the power of the drive: per
    unit of E, from a density of `2 s^2 / fs` between whose points it is straight."""
    kept = inverse_filter(Sweep(**{**vars_of(SHORT), "drive_dbfs": 0.0}), 16000)
    grid = np.array([0.0, 1000.0, 4000.0])
    noise = NoiseDensity(
        frequency_hz=grid, density=2.0 * 0.01 / RATE * (1.0 + grid / 1000.0), sample_rate=RATE, seconds=1
    )
    found = deconvolved_noise(noise, kept, drive_dbfs=-12.0)
    bins = np.array([200, 1000, 5000])  # 100, 500 and 2500 Hz
    expected = 0.01 * (1.0 + bins * 0.5 / 1000.0) * np.abs(kept.inverse[bins]) ** 2 * 10.0**1.2
    assert found.bin_hz == 0.5
    np.testing.assert_allclose(found.power[bins], expected, rtol=1e-12)
    # the inverse of the sweep itself: |X| = sqrt(L / f) fs / 2 in samples (stationary phase), ripple of the fades 3 %
    expected = 2.0 * math.sqrt(500.0 / SHORT.rate_s) / RATE
    assert np.median(np.abs(kept.inverse[900:1100])) == pytest.approx(expected, rel=0.03)


def vars_of(sweep: Sweep) -> dict[str, float]:
    return {name: getattr(sweep, name) for name in Sweep.__dataclass_fields__}


def test_gaps_between_the_orders():
    """`L ln((n + 1) / n)`, and `L ln 2` behind the fundamental."""
    assert gap_s(SHORT, 0) == pytest.approx(SHORT.rate_s * math.log(2.0))
    for order in (1, 2, 9):
        assert gap_s(SHORT, order) == pytest.approx(SHORT.advance_s(order + 1) - SHORT.advance_s(order))


@pytest.mark.parametrize("seconds", [0.8, 1.6, 3.0, 10.0])
def test_orders_are_told_apart_that_stand_30_ms_from_the_next(seconds):
    sweep = Sweep(seconds=seconds)
    most = most_orders(sweep)
    assert gap_s(sweep, most) >= 0.03 if most else True
    assert gap_s(sweep, most + 1) < 0.03
    if most:
        require_orders(sweep, most)
    with pytest.raises(AnalysisError, match=rf"\(at most {most}\)") as told:
        require_orders(sweep, most + 1)
    # what is said to be long enough is, and a sweep with one turn of 10 Hz less is not: 0.77 s
    enough = float(str(told.value).partition("play one of at least ")[2].partition(" s")[0])
    require_orders(Sweep(seconds=enough), most + 1)
    with pytest.raises(AnalysisError, match="cannot be told apart"):
        require_orders(Sweep(seconds=enough - 0.8), most + 1)
    with pytest.raises(AnalysisError, match="at least one order"):
        require_orders(sweep, 0)


def test_windows_of_the_default_sweep_in_periods_of_what_they_measure():
    """As the methods state them, at 20 Hz: 8 (order 1) to 11 periods (order 10) before, 11, 22 and 16 behind. With
    `gap(n) = L ln((n + 1) / n)`: 0.45 n gap(n) and 0.6 n gap(n - 1) times 20 Hz."""
    rate_s = Sweep().rate_s
    for order, before, after in ((1, 8, 11), (2, None, 22), (10, 11, 16)):
        window = order_window(Sweep(), order)
        previous = math.log(2.0) if order == 1 else math.log(order / (order - 1))
        assert window.before_s == pytest.approx(0.45 * rate_s * math.log((order + 1) / order))
        assert window.after_s == pytest.approx(0.6 * rate_s * previous)
        assert before is None or round(20.0 * order * window.before_s) == before
        assert round(20.0 * order * window.after_s) == after
    assert order_window(Sweep(), 2, gate_s=0.02).after_s == 0.02
    assert order_window(Sweep(), 2, gate_s=9.0).after_s == order_window(Sweep(), 2).after_s


def test_a_window_is_flat_about_the_arrival_and_falls_as_raised_cosines():
    """Half way up its edges it is 1/2: edges of 0.7 of the time before and 0.5 of that after."""
    time_s = np.array([-0.03, -0.65 * 0.03, -0.3 * 0.03, 0.0, 0.5 * 0.05, 0.75 * 0.05, 0.05])
    np.testing.assert_allclose(WINDOW.at(time_s), [0.0, 0.5, 1.0, 1.0, 1.0, 0.5, 0.0], atol=1e-12)
    before, shape = window_samples(WINDOW, RATE)
    assert (before, shape.size) == (240, 240 + 400 + 1)
    assert shape[before] == 1.0
    # raised cosines hold 3/8 of their length as energy
    assert window_energy(WINDOW, RATE) == pytest.approx(
        RATE * (0.03 * (0.3 + 0.7 * 0.375) + 0.05 * (0.5 + 0.5 * 0.375)), rel=1e-3
    )


def test_a_window_is_laid_where_the_order_arrives_also_across_the_end():
    impulse = np.arange(1000.0)
    _, shape = window_samples(WINDOW, RATE)
    middle = cut(impulse, WINDOW, arrival=300.3, sample_rate=RATE)
    np.testing.assert_array_equal(middle.samples, impulse[60:701] * shape)
    assert middle.first_s == pytest.approx((60 - 300.3) / RATE)
    for arrival in (-20.0, 980.0):  # the same place of a circle of 1000
        wrapped = cut(impulse, WINDOW, arrival=arrival, sample_rate=RATE)
        np.testing.assert_array_equal(wrapped.samples, np.arange(740.0, 1381.0) % 1000 * shape)
        assert wrapped.first_s == pytest.approx(-240 / RATE)
    at_the_end = cut(impulse, WINDOW, arrival=599.0, sample_rate=RATE)
    np.testing.assert_array_equal(at_the_end.samples, impulse[359:] * shape)


def test_bands_about_a_frequency_are_as_wide_as_their_octaves_say():
    """Third octave at 1 kHz: 891.2509 to 1122.0185 Hz (IEC 61260-1)."""
    assert band_width_hz(np.array(1000.0), 1 / 3) == pytest.approx(1122.0185 - 891.2509, abs=1e-3)
