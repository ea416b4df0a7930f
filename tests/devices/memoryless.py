"""Devices without memory, driven by a sweep: made harmonic by harmonic, so that nothing folds back."""

import numpy as np

from signals.levels import db_to_amplitude
from signals.sweep import Sweep


def sweep_with_harmonics(sweep: Sweep, amplitudes: dict[int, float]) -> np.ndarray:
    """What a device answers to `sweep` when a cosine comes out as the sum of `amplitudes[n] cos(n phase)`.

    For a curve of Chebyshev polynomials this is exact (T_n(cos t) = cos n t) wherever the sweep has its full level;
    each harmonic fades out below half the sample rate exactly as the sweep itself does there.
    """
    growth = np.exp(np.arange(sweep.n_samples) / (sweep.sample_rate * sweep.rate_s))
    phase = 2.0 * np.pi * sweep.start_hz * sweep.rate_s * (growth - 1.0) - np.pi / 2.0
    at_hz = sweep.start_hz * growth
    fades_in = sweep.envelope(np.minimum(at_hz, sweep.full_level_hz))
    answer = np.zeros(sweep.n_samples)
    for n, amplitude in amplitudes.items():
        fades_out = sweep.envelope(np.maximum(n * at_hz, sweep.full_level_hz))
        answer += amplitude * fades_in * fades_out * np.cos(n * phase)
    return db_to_amplitude(sweep.drive_dbfs) * answer
