"""The residual in step with the sweep: 24 parts of every cycle, the cycles of a sixth octave together.

The sweep's phase is `2 pi f1 L (exp(t / L) - 1)`, so its cycle k begins at `t = L ln(1 + k / (f1 L))`.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from distort.analysis.impulsive.residual import Residual, bandwidth_hz
from distort.analysis.sweep.deconvolution import BAND_FULL_HZ_RE_FADE_IN
from signals.sweep import Sweep

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]
BoolArray = npt.NDArray[np.bool_]

PARTS = 24
"""Of a cycle: 0.7 ms at 60 Hz, about as long as a strike rings."""

PER_DECADE = 20
"""Sixth octaves: 10^(1/20) each, 31.6 to 562 Hz."""
LOWEST, HIGHEST = -30, -5
"""Their middles are `1000 x 10^(k/20)` Hz."""

LEAST_CYCLES = 3
"""In a band: fewer show nothing that repeats."""

LEAST_VALUES = 1.0
"""Independent values that a part of a cycle holds at least, `1.6 B / (24 f)`: of fewer nothing is left to average."""

EFFECTIVE = 1.6
"""Independent values a second and hertz of the squared residual: 2, less what the band's smooth edges take."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Bands:
    """Which cycles make which sixth octave; `(bands,)` each."""

    frequency_hz: FloatArray
    first: IntArray
    """Cycles from `first` up to `end`, counted from the start of the sweep."""
    end: IntArray
    values: FloatArray
    """Independent values in a part of one cycle."""


@lru_cache(maxsize=8)
def bands_of(sweep: Sweep) -> Bands:
    """The bands in which a sweep can show anything."""
    middle_hz = 1000.0 * 10.0 ** (np.arange(LOWEST, HIGHEST + 1) / PER_DECADE)
    edge = 10.0 ** (0.5 / PER_DECADE)
    turns = sweep.rate_s * (middle_hz / edge - sweep.start_hz)  # phase in cycles is L (f - f1)
    ends = sweep.rate_s * (middle_hz * edge - sweep.start_hz)
    first, end = np.ceil(turns).astype(np.int64), np.floor(ends).astype(np.int64)
    values = EFFECTIVE * bandwidth_hz(sweep, middle_hz) / (PARTS * middle_hz)
    lowest_hz = max(BAND_FULL_HZ_RE_FADE_IN * sweep.full_level_hz, sweep.lowest_hz or 0.0)
    shown = (end - first >= LEAST_CYCLES) & (values >= LEAST_VALUES) & (middle_hz > lowest_hz)
    return Bands(frequency_hz=middle_hz[shown], first=first[shown], end=end[shown], values=values[shown])


def begins_s(sweep: Sweep, cycle: npt.ArrayLike) -> FloatArray:
    """When a cycle begins, seconds into the sweep; fractions of cycles are allowed (any shape)."""
    return np.asarray(sweep.rate_s * np.log1p(np.asarray(cycle, dtype=np.float64) / (sweep.start_hz * sweep.rate_s)))


def part_powers(residual: Residual, bands: Bands) -> tuple[FloatArray, int]:
    """Mean square of every part of every cycle, `(cycles, PARTS)`, and the number of the first cycle."""
    sweep = residual.sweep
    if bands.first.size == 0:
        return np.zeros((0, PARTS)), 0
    first, end = int(bands.first[0]), int(bands.end[-1])
    edges_s = begins_s(sweep, np.arange(first * PARTS, end * PARTS + 1) / PARTS)
    place = (edges_s - residual.first_s) * sweep.sample_rate
    running = np.concatenate([[0.0], np.cumsum(np.square(residual.samples))])
    energy = np.diff(np.interp(place, np.arange(running.size), running))
    return (energy / np.diff(place)).reshape(-1, PARTS), first
