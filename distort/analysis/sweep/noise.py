"""The noise of a recording, read in its silences, and how much of it ends up in the window of an order."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import scipy

from distort.analysis.common.smoothing import PowerSpectrum
from distort.analysis.sweep.deconvolution import InverseFilter
from distort.errors import AnalysisError
from signals.levels import db_to_power

FloatArray = npt.NDArray[np.float64]

BLOCK_S = 0.4
"""Length of a Welch block: 2.5 Hz apart, and enough blocks in a second or two of silence."""


@dataclass(frozen=True, kw_only=True)
class NoiseDensity:
    """One-sided power spectral density of a recording's noise, full scale squared per hertz."""

    frequency_hz: FloatArray
    density: FloatArray
    sample_rate: int
    seconds: float
    """How much silence it was read from, of all takes together; decides how far it can be trusted."""


def noise_density(silences: Sequence[FloatArray], *, sample_rate: int) -> NoiseDensity:
    """Welch's estimate over all `silences` together (each `(samples,)`, full scale = 1).

    Blocks of 0.4 s under a Hann window, half overlapping, each freed of its offset (Welch, IEEE Trans. Audio
    Electroacoust. 15(2), 1967). Silences shorter than a block are left out.
    Raises AnalysisError when none is long enough.
    """
    block = round(BLOCK_S * sample_rate)
    long_enough = [silence for silence in silences if silence.size >= block]
    if not long_enough:
        raise AnalysisError(f"no silence of at least {BLOCK_S:g} s was recorded, so there is no noise floor")
    spectra, weights = [], []
    for silence in long_enough:
        frequency_hz, density = scipy.signal.welch(silence, sample_rate, nperseg=block, detrend="constant")
        spectra.append(density)
        weights.append(silence.size)
    return NoiseDensity(
        frequency_hz=np.asarray(frequency_hz),
        density=np.asarray(np.average(spectra, axis=0, weights=weights)),
        sample_rate=sample_rate,
        seconds=sum(weights) / sample_rate,
    )


def deconvolved_noise(noise: NoiseDensity, kept: InverseFilter, *, drive_dbfs: float) -> PowerSpectrum:
    """Power per unit of window energy that the noise has after deconvolution, on the bins of the filter.

    Like the recording it is divided by the amplitude of a sweep at `drive_dbfs`; `kept` is of the sweep at 0 dBFS.

    White noise of variance s^2 has the density 2 s^2 / fs, and in a window w the power s^2 sum(w^2); the deconvolution
    multiplies it by |inverse|^2. So: density x fs / 2 x |inverse|^2.
    """
    frequency_hz = np.arange(kept.inverse.size) * kept.bin_hz
    density = np.interp(frequency_hz, noise.frequency_hz, noise.density)
    per_stimulus = noise.sample_rate / 2.0 / float(db_to_power(drive_dbfs))
    return PowerSpectrum(density * per_stimulus * kept.inverse_power, kept.bin_hz)
