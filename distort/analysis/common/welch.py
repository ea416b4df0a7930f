"""The power spectral density of noise, from blocks of it: Welch (IEEE Trans. Audio Electroacoust. 15(2), 1967).

    S(f) = 2 / (fs sum w^2) mean over blocks of |rfft(w (x - mean of x))|^2

w is a window, as a rule a Hann window that goes on from block to block. At 0 Hz and at half the sample rate, which have
no negative counterpart, there is no 2. Blocks overlap by half.
"""

from functools import lru_cache

import numpy as np
import numpy.typing as npt
import scipy

FloatArray = npt.NDArray[np.float64]


def welch(
    samples: FloatArray, sample_rate: int, *, block: int, window: FloatArray | None = None
) -> tuple[FloatArray, FloatArray]:
    """Frequencies and one-sided density per hertz, `(block // 2 + 1,)` each, of `samples` `(n,)`.

    block    samples of a block, no more than n
    window   another than Hann's, `(block,)`

    As `scipy.signal.welch` has it (which `tests/test_noise_of_sweeps.py` holds it against), in a third of the time.
    """
    window = _hann(block) if window is None else window
    blocks = np.lib.stride_tricks.sliding_window_view(samples, block)[:: block - block // 2]
    spectra = scipy.fft.rfft((blocks - np.mean(blocks, axis=1, keepdims=True)) * window, axis=1, overwrite_x=True)
    density = np.mean(np.square(spectra.real) + np.square(spectra.imag), axis=0) / sample_rate
    density /= np.sum(np.square(window))
    density[1 : (block + 1) // 2] *= 2.0
    return np.asarray(np.arange(block // 2 + 1) * (sample_rate / block), dtype=np.float64), np.asarray(density)


@lru_cache(maxsize=8)
def _hann(block: int) -> FloatArray:
    window = 0.5 - 0.5 * np.cos(2.0 * np.pi * np.arange(block) / block)
    window.setflags(write=False)
    return np.asarray(window)
