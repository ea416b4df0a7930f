"""The way that fundamental and products go alike: the fundamental of a sweep, as a filter for other signals."""

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
import scipy

from distort.analysis.common.grid import OCTAVE_RATIO, grid_hz
from distort.analysis.common.smoothing import PowerSpectrum
from distort.analysis.sweep.orders import WindowedSpectrum
from distort.analysis.synthesis.kernels import OCTAVES, Step

FloatArray = npt.NDArray[np.float64]
ComplexArray = npt.NDArray[np.complex128]


def impulse_samples(response: WindowedSpectrum, sample_rate: int) -> int:
    """Length of its impulse response, padding included."""
    return round(sample_rate / response.bin_hz)


def path_spectrum(response: WindowedSpectrum, size: int, sample_rate: int) -> ComplexArray:
    """The response on the bins of a transform of `size` samples, which hold its impulse response, phase re arrival."""
    length = impulse_samples(response, sample_rate)
    impulse = scipy.fft.irfft(response.at_arrival(), length)
    placed = np.zeros(size)
    after = length // 2
    placed[:after] = impulse[:after]
    placed[size - (length - after) :] = impulse[after:]  # before the arrival
    return np.asarray(scipy.fft.rfft(placed))


def fundamental_changes(steps: Sequence[Step]) -> list[ComplexArray]:
    """The fundamental of each step re that of the first, over 1/6 octave, on the grid, `(rows,)` each.

    NaN where it is not known; 1 of a sweep of another length, which is not held against the first.
    """
    first, half = steps[0].response, OCTAVE_RATIO ** (OCTAVES / 2.0)
    low_hz, high_hz = grid_hz() / half, grid_hz() * half

    def mean(values: FloatArray) -> FloatArray:
        return PowerSpectrum(values, first.bin_hz).mean(low_hz, high_hz)

    power, before = mean(first.power.power), first.at_arrival()
    changes = []
    for step in steps:
        change = np.ones(grid_hz().size, dtype=np.complex128)
        if step.response.values.shape == before.shape and step.response.bin_hz == first.bin_hz:
            cross = step.response.at_arrival() * np.conj(before)
            with np.errstate(divide="ignore", invalid="ignore"):  # where nothing was played
                change = np.asarray((mean(cross.real) + 1j * mean(cross.imag)) / power)
        changes.append(change)
    return changes
