"""The noise of a recording, read in its silences, and how much of it ends up in the window of an order."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from distort.analysis.common.smoothing import PowerSpectrum
from distort.analysis.common.welch import welch
from distort.analysis.sweep.deconvolution import InverseFilter
from distort.errors import AnalysisError
from signals.levels import db_to_power

FloatArray = npt.NDArray[np.float64]

BLOCK_S = 0.4
"""Length of a Welch block: 2.5 Hz apart, and enough blocks in a second or two of silence."""


@dataclass(frozen=True)
class NoiseDensity:
    """One-sided power spectral density of a recording's noise, full scale squared per hertz."""

    frequency_hz: FloatArray
    density: FloatArray
    sample_rate: int
    seconds: float
    """How much silence it was read from, of all takes together; decides how far it can be trusted."""


def noise_density(silences: Sequence[FloatArray], *, sample_rate: int) -> NoiseDensity:
    """Welch's estimate over all `silences` together (each `(samples,)`, full scale = 1), in blocks of 0.4 s.

    Raises AnalysisError when none is as long as a block.
    """
    return mean_density(silence_densities(silences, sample_rate=sample_rate))


def silence_densities(silences: Sequence[FloatArray], *, sample_rate: int) -> tuple[NoiseDensity, ...]:
    """That of each; silences shorter than a block are left out."""
    block = round(BLOCK_S * sample_rate)
    return tuple(
        NoiseDensity(
            *welch(silence, sample_rate, block=block), sample_rate=sample_rate, seconds=silence.size / sample_rate
        )
        for silence in silences
        if silence.size >= block
    )


def mean_density(densities: Sequence[NoiseDensity]) -> NoiseDensity:
    """The mean of several at one sample rate, by how long each was read. Raises AnalysisError for none."""
    if not densities:
        raise AnalysisError(f"no silence of at least {BLOCK_S:g} s was recorded, so there is no noise floor")
    seconds = [one.seconds for one in densities]
    mean = np.average([one.density for one in densities], axis=0, weights=seconds)
    return replace(densities[0], density=np.asarray(mean), seconds=sum(seconds))


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
