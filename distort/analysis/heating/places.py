"""Where in a long recording something begins, and what is read of a multitone from there on."""

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from distort.analysis.heating.periods import ChunkRead, read_chunk
from signals import Multitone

FloatArray = npt.NDArray[np.float64]
Part = Callable[[int, int], FloatArray]
"""Samples of the recording from one to before another, `(n,)`, full scale 1."""

MARGIN = 64
"""Samples read on either side of a chunk, for what is read between its samples."""

MARGIN_SHARE = 1e-3
"""Of a chunk, further: more than clocks differ."""


@dataclass(frozen=True, kw_only=True)
class Place:
    """Where in the recording something begins, samples, and the clock by which it was found."""

    start: float
    difference_ppm: float = math.nan
    """Recorder against player; NaN where it is not known."""


def stretch_needed(place: Place, tone: Multitone, periods: int) -> tuple[int, int]:
    """First and end sample of what must have been recorded before `periods` that begin at `place` can be read."""
    n = periods * tone.period_samples
    return math.floor(place.start) - MARGIN, math.ceil(place.start + n * (1.0 + MARGIN_SHARE)) + MARGIN


def read_at(part: Part, tone: Multitone, place: Place, periods: int) -> tuple[ChunkRead, Place]:
    """`periods` of `tone` from `place` on, and where what follows begins. Raises AnalysisError as `read_chunk`."""
    first, end = stretch_needed(place, tone, periods)
    read = read_chunk(
        part(first, end),
        tone,
        start=place.start - first,
        periods=periods,
        difference_ppm=place.difference_ppm,
    )
    return read, Place(start=read.next_start + first, difference_ppm=read.difference_ppm)


def moved(place: Place, samples: float) -> Place:
    """`samples` of the player later."""
    ppm = 0.0 if math.isnan(place.difference_ppm) else place.difference_ppm
    return Place(start=place.start + samples * (1.0 + 1e-6 * ppm), difference_ppm=place.difference_ppm)
