"""Level of a multitone per third octave, period by period, on the player's clock: one stretch of a long recording.

A long recording is read in chunks of some periods, each on the player's clock for itself (`analysis.multitone.clock`):
a clock that drifts over half an hour is followed, and no more than a chunk is ever held.
"""

from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt
import scipy

from distort.analysis.common.grid import band_edges_hz, midbands_hz
from distort.analysis.multitone.clock import on_players_clock
from signals import Multitone

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]
ComplexArray = npt.NDArray[np.complex128]

CHUNK_PERIODS = 4
"""Read together. A clock is found from two, and four tell its rate well enough to say where the next chunk begins."""

LEAST_CHUNK = 2

READABLE_ABOVE_NOISE_DB = 15.0
"""A third octave is read where its lines stand so far above what is not the same from period to period: noise so low
scatters the mean of four periods of one line by 0.55 dB (8.69 sqrt(1 / (2 10^1.5)) / 2)."""


@dataclass(frozen=True, kw_only=True)
class ChunkRead:
    """What a chunk says."""

    power: FloatArray
    """Of the lines of each third octave in each period, `(periods, bands)`, full scale 1."""
    noise: FloatArray
    """Of that what is not the same from one period to the next, `(bands,)`: half the power of their difference."""
    next_start: float
    """Where the period after it begins, samples from the chunk's first."""
    difference_ppm: float
    """Recorder against player."""
    lines: ComplexArray = field(default_factory=lambda: np.zeros(0, dtype=np.complex128))
    """Spectrum at the lines, mean of the periods, its phase that of a period which begins where the chunk does."""


def third_octaves(tone: Multitone) -> tuple[FloatArray, BoolArray]:
    """Mid-bands of the third octaves that hold lines of `tone`, `(bands,)`, and which lines each holds, `(bands,
    lines)`."""
    every_hz = midbands_hz(bands_per_octave=3)
    low_hz, high_hz = band_edges_hz(every_hz, bands_per_octave=3)
    line_hz = tone.line_hz
    held = (line_hz >= low_hz[:, None]) & (line_hz < high_hz[:, None])
    kept = held.any(axis=1)
    return every_hz[kept], held[kept]


def read_chunk(samples: FloatArray, tone: Multitone, *, start: float, periods: int, difference_ppm: float) -> ChunkRead:
    """Levels in `periods` whole periods of `tone`, at least two, the first of which begins at sample `start` of
    `samples` `(n,)`.

    difference_ppm   recorder against player as far as it is known; NaN: not at all

    Raises AnalysisError when the samples do not hold them, or the lines do not keep one common clock: lost samples.
    """
    shaped = replace(tone, settling_periods=0, periods=periods)
    steady = on_players_clock(samples, shaped, start=start, clock_difference_ppm=difference_ppm)
    n = tone.period_samples
    folded = steady.samples[steady.first : steady.first + periods * n].reshape(periods, n)
    spectra = scipy.fft.rfft(folded, axis=1)[:, tone.line_bins]
    _, held = third_octaves(tone)
    late = np.exp((-2j * np.pi / n * steady.late_samples) * tone.line_bins)
    return ChunkRead(
        lines=np.asarray(np.mean(spectra, axis=0) * late),
        power=np.asarray(2.0 * np.square(np.abs(spectra) / n) @ held.T),
        noise=np.asarray(np.mean(np.square(np.abs(np.diff(spectra, axis=0)) / n), axis=0) @ held.T),
        next_start=start + periods * n * (1.0 + 1e-6 * steady.difference_ppm),
        difference_ppm=steady.difference_ppm,
    )


def chunks_of(periods: int) -> list[int]:
    """How many periods each chunk of `periods` holds; one that would be left over alone joins the last."""
    sizes = [CHUNK_PERIODS] * (periods // CHUNK_PERIODS)
    left = periods % CHUNK_PERIODS
    if left >= LEAST_CHUNK or not sizes:
        sizes.append(left)
    elif left:
        sizes[-1] += left
    return sizes


def readable(power: FloatArray, noise: FloatArray) -> BoolArray:
    """Whether `power` stands clear of `noise`."""
    return np.asarray((power > 0.0) & (power > noise * 10.0 ** (READABLE_ABOVE_NOISE_DB / 10.0)))
