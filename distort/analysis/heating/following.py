"""A long heating followed chunk by chunk, as it is played or from its file: the powers that its result is made of.

The recording is asked for stretch by stretch and never held.
"""

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from distort.analysis.heating.periods import ChunkRead, chunks_of, read_chunk, third_octaves
from distort.errors import AnalysisError
from signals import Multitone
from signals.heating import PILOT_PERIODS, PILOT_SETTLING, Heating
from signals.levels import power_to_db

FloatArray = npt.NDArray[np.float64]
Part = Callable[[int, int], FloatArray]
"""Samples of the recording from one to before another, `(n,)`, full scale 1."""

READABLE_ABOVE_NOISE_DB = 15.0
"""A third octave is read where its lines stand so far above what is not the same from period to period: noise so low
scatters the mean of four periods of one line by 0.55 dB (8.69 sqrt(1 / (2 10^1.5)) / 2)."""

STOP_DB = 3.0
"""Change of a third octave at which it ends while it is played: half of the power. A copper coil is 105 K warmer then
(common practice, no source), and has far to go to what its glue stands; a limiter or a deaf microphone ends it as
well."""

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


@dataclass(frozen=True, kw_only=True)
class Powers:
    """What was read of a heating, powers of the lines per third octave, full scale 1."""

    cold: ChunkRead
    """Of the pilot before it."""
    loud: FloatArray
    """`(periods, bands)`."""
    noise: FloatArray
    """Of the loud one, `(bands,)`."""
    pilots: tuple[ChunkRead, ...]
    """After it, in the order of the stimulus."""


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


def cold_pilot(part: Part, heating: Heating, place: Place) -> tuple[ChunkRead, Place]:
    """What the pilot before the loud multitone says, and where that begins; `place` is that of the stimulus."""
    read, _ = _pilot(part, heating, place)
    return read, moved(Place(start=place.start, difference_ppm=read.difference_ppm), heating.loud_start)


def moved(place: Place, samples: float) -> Place:
    """`samples` of the player later."""
    ppm = 0.0 if math.isnan(place.difference_ppm) else place.difference_ppm
    return Place(start=place.start + samples * (1.0 + 1e-6 * ppm), difference_ppm=place.difference_ppm)


def _pilot(part: Part, heating: Heating, place: Place) -> tuple[ChunkRead, Place]:
    settled = moved(place, PILOT_SETTLING * heating.tone.period_samples)
    return read_at(part, heating.pilot, settled, PILOT_PERIODS)


def _pilot_if_heard(part: Part, heating: Heating, place: Place) -> ChunkRead:
    """A pilot after it; NaN where something else drowned its lines, which costs minutes of a recording nothing more."""
    try:
        return _pilot(part, heating, place)[0]
    except AnalysisError:
        nothing = np.full(third_octaves(heating.tone)[0].size, np.nan)
        return ChunkRead(power=nothing[None, :], noise=nothing, next_start=math.nan, difference_ppm=math.nan)


def loud_chunks(part: Part, heating: Heating, place: Place) -> Iterator[tuple[ChunkRead, Place]]:
    """Every chunk of the loud multitone, and where what follows begins; `place` is where it begins itself."""
    for periods in chunks_of(heating.loud_periods):
        read, place = read_at(part, heating.tone, place, periods)
        yield read, place


def powers_of(part: Part, heating: Heating, place: Place) -> Powers:
    """All of a recording. Raises AnalysisError where samples were lost or it was cut off."""
    cold, place = cold_pilot(part, heating, place)
    loud, noise = [], []
    for read, after in loud_chunks(part, heating, place):
        loud.append(read.power)
        noise.append(read.noise)
        place = after
    pilots = tuple(
        _pilot_if_heard(part, heating, moved(place, start - heating.loud_end)) for start in heating.pilot_starts
    )
    return Powers(cold=cold, loud=np.concatenate(loud), noise=np.mean(noise, axis=0), pilots=pilots)


def largest_change_db(reference: FloatArray, read: ChunkRead) -> tuple[float, int] | None:
    """How far a chunk has moved from `reference` `(bands,)`, dB, where that is most, and in which band; None where no
    band stands clear of noise in both."""
    power = np.mean(read.power, axis=0)
    clear = readable(power, read.noise) & readable(reference, read.noise)
    if not np.any(clear):
        return None
    change_db = np.where(clear, power_to_db(power / np.where(reference > 0, reference, np.nan)), 0.0)
    most = int(np.argmax(np.abs(change_db)))
    return float(change_db[most]), most


def readable(power: FloatArray, noise: FloatArray) -> npt.NDArray[np.bool_]:
    """Whether `power` stands clear of `noise`."""
    return np.asarray((power > 0.0) & (power > noise * 10.0 ** (READABLE_ABOVE_NOISE_DB / 10.0)))
