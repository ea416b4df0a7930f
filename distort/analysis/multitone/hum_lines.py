"""Steady sounds in a recording's silence: mains hum, a fan's whine, a converter's idle tone.

A multitone's period of 1 or 2 s holds a whole number of turns of 50 or 60 Hz. Hum then repeats with the period and
looks like distortion, not like noise. The silence beside the multitone holds the same hum and none of the distortion.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import scipy

from distort.analysis.common.welch import welch

FloatArray = npt.NDArray[np.float64]

SHORTEST_S = 1.0
"""Silence shorter than this does not tell a tone from noise 1 Hz beside it."""

AROUND_HZ = 8.0
"""A tone stands out of the median of so much to either side."""

STANDS_OUT = 14.0
"""Power re that median. Of noise (two periodograms, median 0.84 of the mean) a bin passes it once in ten million."""

SKIRT_BINS = 2
"""A Hann window's main lobe reaches so far to either side."""


@dataclass(frozen=True, kw_only=True)
class SteadySounds:
    """Tones that stand in the silence, `(tones,)` each."""

    frequency_hz: FloatArray
    power: FloatArray
    """Mean square, full scale = 1 (a full-scale sine: 1/2)."""


def hum_lines(silences: Sequence[FloatArray], *, sample_rate: int) -> SteadySounds:
    """Tones in `silences` (each `(samples,)`), their frequency by a parabola through the peak's logarithm.

    None are found when no silence is a second long: what is not heard is not taken off.
    """
    long_enough = [one for one in silences if one.size >= SHORTEST_S * sample_rate]
    if not long_enough:
        return SteadySounds(frequency_hz=np.zeros(0), power=np.zeros(0))
    length = min(one.size for one in long_enough)
    spectra = [welch(one, sample_rate, block=length)[1] for one in long_enough]
    density, step_hz = np.mean(spectra, axis=0), sample_rate / length
    around = 2 * round(AROUND_HZ / step_hz) + 1
    background = scipy.ndimage.median_filter(density, size=around, mode="nearest")
    highest = scipy.ndimage.maximum_filter1d(density, 2 * SKIRT_BINS + 1)
    peaks = np.flatnonzero((density == highest) & (density > STANDS_OUT * background))
    peaks = peaks[(peaks > SKIRT_BINS) & (peaks < density.size - SKIRT_BINS - 1)]
    lobe = peaks[:, None] + np.arange(-SKIRT_BINS, SKIRT_BINS + 1)
    power = np.sum(density[lobe] - background[lobe], axis=1) * step_hz
    below, top, above = (np.log(np.maximum(density[peaks + side], np.finfo(float).tiny)) for side in (-1, 0, 1))
    bend = below - 2.0 * top + above
    shift = np.where(bend < 0, 0.5 * (below - above) / np.where(bend < 0, bend, 1.0), 0.0)
    return SteadySounds(frequency_hz=np.asarray((peaks + shift) * step_hz), power=np.maximum(power, 0.0))
