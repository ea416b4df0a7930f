"""What no separated order explains: noise, buzzes, rattles, codecs, orders beyond the last one."""

import math

import numpy as np
import numpy.typing as npt
import scipy

from distort.analysis.common.grid import OCTAVE_RATIO
from distort.analysis.common.microphone import MicrophoneResponse
from distort.analysis.sweep.deconvolution import Deconvolved
from distort.analysis.sweep.windows import gap_s, order_window
from signals.tapers import rise

FloatArray = npt.NDArray[np.float64]

LEAST_OCTAVES = 1.0 / 12.0
"""The residual is averaged over at least the time in which the sweep passes this much."""

CLOSING_SHARE = 0.95
"""Everything up to this share of `L ln 2` after the arrival counts as the fundamental's own decay; half the excitation
frequency (a subharmonic) arrives just after it."""


def residual_signal(
    deconvolved: Deconvolved, *, orders: int, microphone: MicrophoneResponse | None = None
) -> FloatArray:
    """The recording less everything from the highest separated order to the end of the fundamental's decay.

    The impulse response is emptied from where the window of order `orders` opens to 0.95 L ln 2 after the fundamental,
    and what remains is played through the sweep again: `(n_used,)`, within the sweep's pass band, per
    amplitude of the stimulus. The level of `microphone` is taken out at every frequency; its phase plays no part.
    """
    kept, sweep = deconvolved.filter, deconvolved.filter.sweep
    before_s = sweep.advance_s(orders) + order_window(sweep, orders).before_s
    after_s = CLOSING_SHARE * gap_s(sweep, 0)
    first = math.floor(deconvolved.arrival - before_s * sweep.sample_rate)
    time_s = (
        np.arange(first, math.ceil(deconvolved.arrival + after_s * sweep.sample_rate)) - deconvolved.arrival
    ) / sweep.sample_rate
    emptied = np.ones(time_s.size)
    opening_s, closing_s = 0.5 * order_window(sweep, orders).before_s, 0.25 * after_s
    opening, closing = time_s < opening_s - before_s, time_s > after_s - closing_s  # 1 in between
    emptied[opening] = rise((time_s[opening] + before_s) / opening_s)
    emptied[closing] *= rise((after_s - time_s[closing]) / closing_s)
    rest = np.roll(deconvolved.impulse, -first)
    rest[: emptied.size] *= 1.0 - emptied
    rest = np.roll(rest, first)
    spectrum = scipy.fft.rfft(rest, overwrite_x=True)
    spectrum *= kept.spectrum
    if microphone is not None:
        spectrum /= microphone.amplitude(np.arange(spectrum.size) * kept.bin_hz)
    return np.asarray(scipy.fft.irfft(spectrum, kept.n_fft, overwrite_x=True)[: deconvolved.n_used])


def residual_power(
    deconvolved: Deconvolved,
    *,
    frequency_hz: FloatArray,
    octaves: float,
    orders: int,
    microphone: MicrophoneResponse | None = None,
) -> FloatArray:
    """Power of the residual while the sweep passes each frequency, per squared amplitude of the stimulus, `(rows,)`.

    `octaves`: it is averaged over the time that the sweep takes for them (at least a twelfth). It compares with the
    power of the orders as readings state it: a tone of amplitude a has the mean square a^2 / 2.
    """
    sweep = deconvolved.filter.sweep
    running = np.concatenate(
        [[0.0], np.cumsum(np.square(residual_signal(deconvolved, orders=orders, microphone=microphone)))]
    )
    half = OCTAVE_RATIO ** (max(octaves, LEAST_OCTAVES) / 2.0)

    def sample(at_hz: FloatArray) -> npt.NDArray[np.int64]:
        place = np.rint(deconvolved.arrival + sweep.time_s(at_hz) * sweep.sample_rate).astype(np.int64)
        return np.clip(place, 0, running.size - 1)

    low, high = sample(frequency_hz / half), sample(frequency_hz * half)
    mean = (running[high] - running[low]) / np.maximum(high - low, 1)  # rows beyond the sweep hold nothing
    return np.asarray(np.maximum(mean, 0.0) / 0.5)
