"""A room as exponentially decaying Gaussian noise behind one direct sound, and its paths in the frequency domain."""

import numpy as np
import scipy.fft

SAMPLE_RATE = 48000


def room(*, rt60_s: float, direct_to_reverberant_db: float, seed: int) -> np.ndarray:
    """Impulse response: direct sound 1 at time 0, then noise that falls 60 dB in `rt60_s`, of the energy stated."""
    random = np.random.default_rng(seed)
    time_s = np.arange(int(1.5 * rt60_s * SAMPLE_RATE)) / SAMPLE_RATE
    tail = random.standard_normal(time_s.size) * 10 ** (-3 * time_s / rt60_s)
    tail[: int(0.002 * SAMPLE_RATE)] = 0.0
    tail *= 10 ** (-direct_to_reverberant_db / 20) / np.sqrt(np.sum(tail**2))
    tail[0] = 1.0
    return tail


def through(signal: np.ndarray, path: np.ndarray) -> np.ndarray:
    """Linear convolution."""
    n = int(scipy.fft.next_fast_len(signal.size + path.size, real=True))
    return scipy.fft.irfft(scipy.fft.rfft(signal, n) * scipy.fft.rfft(path, n), n)
