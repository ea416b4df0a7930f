"""The noise floor of each order, what is left when it is taken off, and the 95 % interval."""

import numpy as np
import pytest

from distort.analysis.common.grid import OCTAVE_RATIO, grid_hz
from distort.analysis.sweep.sweeps import Reference, Settings, SweepTake, read_sweep, sweep_harmonics
from distort.analysis.sweep.windows import order_window
from distort.errors import AnalysisError
from signals import Sweep
from tests.devices.takes import BEFORE, take

SWEEP = Sweep(drive_dbfs=-6.0)
AMPLITUDE = 10 ** (SWEEP.drive_dbfs / 20)
SIGMA = AMPLITUDE / np.sqrt(2) * 10 ** (-50 / 20)
"""White noise 50 dB below the sweep."""
ORDERS = range(2, 11)
HZ = grid_hz()


def floor_at_one_hertz(order):
    """Power of the deconvolved white noise in the window of an order, per hertz of frequency (closed form).

    |inverse|^2 = 4 f / (L A^2 fs^2), from the sweep's spectrum sqrt(L / f) A fs / 2.
    """
    time_s = np.arange(-SWEEP.sample_rate, SWEEP.sample_rate) / SWEEP.sample_rate
    window = order_window(SWEEP, order).at(time_s)
    return SIGMA**2 * np.sum(window**2) * 4 / (SWEEP.rate_s * AMPLITUDE**2 * SWEEP.sample_rate**2)


def mean_hz(at_hz, octaves):
    """Mean frequency of the smoothing band: what a floor that grows with frequency is smoothed to."""
    half = OCTAVE_RATIO ** (octaves / 2)
    return at_hz * (half + 1 / half) / 2


def ten_db_above_the_floor():
    """A sweep's answer whose order n has an amplitude that grows as the square root of frequency, 10 dB over the
    floor."""
    growth = np.exp(np.arange(SWEEP.n_samples) / (SWEEP.sample_rate * SWEEP.rate_s))
    phase = 2 * np.pi * SWEEP.start_hz * SWEEP.rate_s * (growth - 1) - np.pi / 2
    hz = SWEEP.start_hz * growth
    fade_in = SWEEP.envelope(np.minimum(hz, SWEEP.full_level_hz))
    answer = fade_in * SWEEP.envelope(np.maximum(hz, SWEEP.full_level_hz)) * np.cos(phase)
    for n in ORDERS:
        fade_out = SWEEP.envelope(np.maximum(n * hz, SWEEP.full_level_hz))
        answer += np.sqrt(10 * floor_at_one_hertz(n) * n * hz) * fade_in * fade_out * np.cos(n * phase)
    return AMPLITUDE * answer


def noisy(answer, seed):
    random = np.random.default_rng(seed)
    clean = take(answer)
    silence = SIGMA * random.standard_normal(5 * SWEEP.sample_rate)
    samples = clean.samples + SIGMA * random.standard_normal(clean.samples.size)
    return SweepTake(samples=samples, start=float(BEFORE), silences=(silence,))


@pytest.fixture(scope="module")
def answer():
    return ten_db_above_the_floor()


@pytest.mark.sample
def test_the_floor_is_predicted_from_five_seconds_of_silence(answer):
    """Within 1 dB in at least 95 % of third-octave bands, over all orders and over each, six seeds together."""
    settings = Settings(smoothing_octaves=1 / 3)
    within = {n: [] for n in ORDERS}
    for seed in range(6):
        read = read_sweep([noisy(answer, seed)], SWEEP, settings)
        for n in ORDERS:
            rows = slice(8, np.searchsorted(n * HZ, 18000.0), 8)
            expected = floor_at_one_hertz(n) * mean_hz(n * HZ, 1 / 3)
            within[n] += list(np.abs(10 * np.log10(read.readings[n - 1].noise / expected))[rows] < 1.0)
    for n in ORDERS:
        assert np.mean(within[n]) >= 0.95


def coverage(answer, seeds, points=1000):
    """Power re truth, whether it lies in its interval, and the interval, of `points` seeded readings."""
    settings = Settings(smoothing_octaves=1 / 12)
    ratio, inside, width = [], [], []
    for seed in seeds:
        read = read_sweep([noisy(answer, seed)], SWEEP, settings)
        orders = sweep_harmonics(read, Reference()).orders
        for n in ORDERS:
            rows = (HZ > 24.9) & (n * HZ < 20000.0)
            truth = 10 * floor_at_one_hertz(n) * mean_hz(n * HZ, 1 / 12)
            power = (read.readings[n - 1].power / read.readings[0].power / truth)[rows]
            ratio += list(power)
            width += list(orders[n - 2].uncertainty_db[rows])
            inside += list(np.abs(10 * np.log10(power)) <= orders[n - 2].uncertainty_db[rows])
    chosen = np.random.default_rng(11).choice(len(ratio), points, replace=False)
    return np.array(ratio)[chosen], np.array(inside)[chosen], np.array(width)[chosen]


def check_coverage(ratio, inside, width):
    assert abs(10 * np.log10(np.mean(ratio))) < 0.1
    assert 0.93 <= np.mean(inside) <= 0.97
    ideal = np.quantile(np.abs(10 * np.log10(ratio)), 0.95)  # the constant width that would just hold 95 %
    assert np.median(width) < 1.3 * ideal


def test_readings_ten_db_above_their_floor_lie_in_their_interval(answer):
    """1,000 seeded points: no bias, 93 to 97 % inside, and no wider than 1.3 times what would do."""
    check_coverage(*coverage(answer, range(100, 106)))


@pytest.mark.study
def test_study_of_the_interval(answer):
    """The same over 20,000 points; run with `pytest -m study -s tests/test_noise_floor.py` to see the figures."""
    ratio, inside, width = coverage(answer, range(200, 216), points=20000)
    print(
        f"\nbias {10 * np.log10(np.mean(ratio)):+.3f} dB, inside {np.mean(inside):.4f}, width {np.median(width):.2f} dB"
    )
    check_coverage(ratio, inside, width)


def test_the_mean_of_four_takes_has_a_quarter_of_the_noise(answer):
    reads = [read_sweep([noisy(answer, seed) for seed in range(n)], SWEEP, Settings()) for n in (1, 4)]
    one, four = (sweep_harmonics(read, Reference()).orders[1] for read in reads)
    rows = (HZ > 100.0) & (3 * HZ < 18000.0)
    assert np.median((one.noise_db - four.noise_db)[rows]) == pytest.approx(6.0206, abs=0.1)  # scatter of the silences
    assert np.median(four.uncertainty_db[rows]) < 0.6 * np.median(one.uncertainty_db[rows])


def test_a_reading_at_its_floor_is_written_and_marked():
    """A wire in noise: its false orders are noise alone; they stay on the scale, at most 10 dB under it, and are
    marked."""
    orders = sweep_harmonics(read_sweep([noisy(SWEEP.samples(), 1)], SWEEP, Settings()), Reference()).orders
    for order in orders:
        rows = (HZ > 24.9) & (order.order * HZ < 20000.0)
        assert np.all(np.isfinite(order.relative_db[rows]))
        assert np.all(order.doubtful[rows])


def test_without_silence_there_is_no_floor():
    read = read_sweep([take(SWEEP.samples())], SWEEP, Settings())
    second = sweep_harmonics(read, Reference()).orders[0]
    assert np.all(np.isnan(second.noise_db))
    assert np.all(np.isnan(second.uncertainty_db))
    with pytest.raises(AnalysisError, match="no silence of at least"):
        read_sweep([take(SWEEP.samples(), silences=(np.zeros(100),))], SWEEP, Settings())
