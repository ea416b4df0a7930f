"""What no separated order explains: noise, buzzes, rattles, codecs, orders beyond the last one."""

import numpy as np
import numpy.typing as npt
import scipy.fft

from distort.analysis.deconvolution import Deconvolved
from distort.analysis.grid import OCTAVE_RATIO
from distort.analysis.windows import gap_s, order_window
from signals.tapers import rise

FloatArray = npt.NDArray[np.float64]

LEAST_OCTAVES = 1.0 / 12.0
"""The residual is averaged over at least the time in which the sweep passes this much."""

CLOSING_SHARE = 0.95
"""Everything up to this share of `L ln 2` after the arrival counts as the fundamental's own decay; half the excitation
frequency (a subharmonic) arrives just after it."""


def residual_signal(deconvolved: Deconvolved, *, orders: int) -> FloatArray:
    """The recording less everything from the highest separated order's arrival to the end of the fundamental's decay.

    The impulse response is emptied from where the window of order `orders` opens to 0.95 L ln 2 after the fundamental,
    and what remains is played through the sweep again: `(n_used,)`, within the sweep's pass band.
    """
    kept, sweep = deconvolved.filter, deconvolved.filter.sweep
    opening = order_window(sweep, orders)
    closing_s = CLOSING_SHARE * gap_s(sweep, 0)
    time_s = _time_from_arrival_s(deconvolved)
    first = -sweep.advance_s(orders)
    emptied = rise((time_s - first + opening.before_s) / (0.5 * opening.before_s)) * rise(
        (closing_s - time_s) / (0.25 * closing_s)
    )
    spectrum = scipy.fft.rfft(deconvolved.impulse * (1.0 - emptied))
    spectrum *= kept.spectrum
    return np.asarray(scipy.fft.irfft(spectrum, kept.n_fft)[: deconvolved.n_used])


def _time_from_arrival_s(deconvolved: Deconvolved) -> FloatArray:
    """Time of every sample of the circular impulse response, the latest part of it counted as before the arrival."""
    kept = deconvolved.filter
    index = np.arange(kept.n_fft)
    before = index >= deconvolved.n_used
    return np.asarray((index - np.where(before, kept.n_fft, 0) - deconvolved.arrival) / kept.sweep.sample_rate)


def residual_power(
    deconvolved: Deconvolved, fundamental: FloatArray, *, frequency_hz: FloatArray, octaves: float, orders: int
) -> FloatArray:
    """Power of the residual re the fundamental, `(rows,)`, while the sweep passes each frequency.

    fundamental   its power per squared amplitude of the stimulus, `(rows,)`
    octaves       the residual is averaged over the time that the sweep takes for them (at least a twelfth)
    """
    sweep = deconvolved.filter.sweep
    squared = np.square(residual_signal(deconvolved, orders=orders))
    running = np.concatenate([[0.0], np.cumsum(squared)])
    half = OCTAVE_RATIO ** (max(octaves, LEAST_OCTAVES) / 2.0)

    def sample(at_hz: FloatArray) -> FloatArray:
        return np.clip(deconvolved.arrival + sweep.time_s(at_hz) * sweep.sample_rate, 0, squared.size)

    low, high = sample(frequency_hz / half), sample(frequency_hz * half)
    mean = (np.interp(high, np.arange(running.size), running) - np.interp(low, np.arange(running.size), running)) / (
        high - low
    )
    amplitude = 10.0 ** (sweep.drive_dbfs / 20.0)
    return np.asarray(np.maximum(mean, 0.0) / (0.5 * amplitude**2 * fundamental))
