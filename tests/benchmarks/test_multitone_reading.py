"""What the analysis of a multitone costs, against the Fourier transforms that it cannot do without."""

import time
import tracemalloc

import numpy as np
import pytest
import scipy.fft

from distort.analysis.multitone.reading import MultitoneTake, read_multitone
from signals import Multitone
from tests.test_multitone_analysis import MARGIN, cubic

pytestmark = pytest.mark.benchmark


def test_a_minute_costs_at_most_three_times_its_periods_transforms():
    """60 s at 96 kHz, one clock: medians, interleaved. And the memory for 30 periods is that for 14."""
    memory = {}
    for periods in (14, 30):
        tone = Multitone(periods=periods, settling_periods=1, sample_rate=96000)
        take = MultitoneTake(samples=np.pad(cubic(tone.samples()), MARGIN), start=float(MARGIN))
        read_multitone(take, tone)  # windows are kept from here on
        tracemalloc.start()
        read_multitone(take, tone)
        memory[periods] = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
    n = tone.period_samples
    whole, transforms = [], []
    for _ in range(5):
        began = time.process_time()
        for period in range(periods):
            scipy.fft.rfft(take.samples[period * n : (period + 1) * n])
        transforms.append(time.process_time() - began)
        began = time.process_time()
        read_multitone(take, tone)
        whole.append(time.process_time() - began)
    ratio = float(np.median(whole) / np.median(transforms))
    print(
        f"\n60 s at 96 kHz: {np.median(whole):.2f} s, {ratio:.2f} times its periods' transforms; "
        f"{memory[30] / 1e6:.0f} MB for 30 periods, {memory[14] / 1e6:.0f} MB for 14"
    )
    assert memory[30] < 1.05 * memory[14]
    assert ratio < 3.0
