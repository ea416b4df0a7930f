"""What the analysis of a sweep costs, against the Fourier transforms that it cannot do without.

`pytest -m benchmark -s tests/benchmarks` prints the figures. Times are ratios of medians, measured in turn in one run,
because the machine's own speed drifts.
"""

import statistics
import time
import tracemalloc

import numpy as np
import pytest
import scipy.fft

from distort.analysis.sweep.deconvolution import deconvolve, inverse_filter, padded_length
from distort.analysis.sweep.orders import separate
from distort.analysis.sweep.sweeps import Settings, SweepTake, read_sweep
from signals import Sweep

pytestmark = pytest.mark.benchmark

SWEEP = Sweep(drive_dbfs=-6.0)
ROUNDS = 31


@pytest.fixture(scope="module")
def recording():
    """10 s of sweep, half a second before, two seconds after, and a little noise."""
    random = np.random.default_rng(1)
    samples = np.concatenate([np.zeros(24000), SWEEP.samples(), np.zeros(96000)])
    return samples + 1e-5 * random.standard_normal(samples.size)


def timed(action):
    started = time.perf_counter()
    action()
    return time.perf_counter() - started


def test_ten_orders_against_one_pair_of_transforms(recording):
    """Target: 2.2 times one forward and one inverse real FFT of the padded length, the inverse filter cached."""
    used = deconvolve(recording, SWEEP, start=24000.0).n_used
    n_fft = padded_length(used, SWEEP, 10)
    padded = np.pad(recording[:used], (0, n_fft - used))

    def pair():
        scipy.fft.irfft(scipy.fft.rfft(padded), n_fft)

    def ten_orders():
        separate(deconvolve(recording, SWEEP, start=24000.0), orders=10)

    ten_orders()
    pairs, orders = [], []
    for _ in range(ROUNDS):
        pairs.append(timed(pair))
        orders.append(timed(ten_orders))
    ratio = statistics.median(orders) / statistics.median(pairs)
    print(
        f"\nten orders {1e3 * statistics.median(orders):.1f} ms, pair of {n_fft} points "
        f"{1e3 * statistics.median(pairs):.1f} ms, ratio {ratio:.2f} (target 2.2)"
    )


def test_whole_reading_against_one_pair_of_transforms(recording):
    """Noise, decay, leak, interval and residual on top: no target; it shows where the time goes."""
    silence = 1e-5 * np.random.default_rng(2).standard_normal(4 * SWEEP.sample_rate)
    take = SweepTake(samples=recording, start=24000.0, silences=(silence,))
    read_sweep([take], SWEEP, Settings())
    whole = statistics.median(timed(lambda: read_sweep([take], SWEEP, Settings())) for _ in range(ROUNDS))
    print(f"\nwhole reading {1e3 * whole:.1f} ms")


def test_peak_memory_against_the_recording(recording):
    """At most 10 times the recording as float64, the filter that is made on the way included; counted, not timed."""
    silence = 1e-5 * np.random.default_rng(2).standard_normal(4 * SWEEP.sample_rate)
    take = SweepTake(samples=recording, start=24000.0, silences=(silence,))
    read_sweep([take], SWEEP, Settings())  # so that what the libraries load when first used is not counted
    inverse_filter.cache_clear()
    tracemalloc.start()
    try:
        read_sweep([take], SWEEP, Settings())
        _, peak = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    print(f"\npeak {peak / 1e6:.1f} MB, {peak / recording.nbytes:.1f} times the recording (at most 10)")
    assert peak < 10 * recording.nbytes
