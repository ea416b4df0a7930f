"""A long heating followed chunk by chunk, as it is played or from its file: the powers that its result is made of.

The recording is asked for stretch by stretch and never held.
"""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from distort.analysis.heating.loud_follower import LoudFollower
from distort.analysis.heating.periods import ChunkRead, chunks_of, readable, third_octaves
from distort.analysis.heating.places import Part, Place, moved, read_at
from distort.errors import AnalysisError
from signals.heating import PILOT_PERIODS, PILOT_SETTLING, Heating
from signals.levels import power_to_db

FloatArray = npt.NDArray[np.float64]

STOP_DB = 3.0
"""Change of a third octave at which it ends while it is played: half of the power. A copper coil is 105 K warmer then
(common practice, no source), and has far to go to what its glue stands; a limiter or a deaf microphone ends it as
well."""

DROWNED, HARMLESS_DB = 10.0, 30.0
"""A third octave is left out of a chunk whose noise is so many times the usual one, unless its lines stand so far above
it: the scatter of the estimate alone, of six degrees of freedom at least, reaches ten once in 10^10, and noise so low
scatters a period by 0.2 dB (4.34 sqrt(2 / 10^3))."""


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


def cold_pilot(part: Part, heating: Heating, place: Place) -> tuple[ChunkRead, Place]:
    """What the pilot before the loud multitone says, and where that begins; `place` is that of the stimulus."""
    read, _ = _pilot(part, heating, place)
    return read, moved(Place(start=place.start, difference_ppm=read.difference_ppm), heating.loud_start)


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


def powers_of(part: Part, heating: Heating, place: Place) -> Powers:
    """All of a recording; what something else drowned is NaN. Raises AnalysisError where samples were lost or it was
    cut off."""
    cold, place = cold_pilot(part, heating, place)
    follower = LoudFollower(heating.tone, place)
    nothing = np.full(cold.noise.size, np.nan)
    power, noise = [], []
    for periods in chunks_of(heating.loud_periods):
        read = follower.read(part, periods)
        power.append(np.tile(nothing, (periods, 1)) if read is None else read.power)
        noise.append(nothing if read is None else read.noise)
    usual = np.asarray(np.nanmedian(noise, axis=0))
    for chunk, heard in zip(power, noise, strict=True):
        close = heard > np.mean(chunk, axis=0) * 10.0 ** (-HARMLESS_DB / 10.0)
        chunk[:, (heard > DROWNED * usual) & close] = np.nan
    pilots = tuple(
        _pilot_if_heard(part, heating, moved(follower.place, start - heating.loud_end))
        for start in heating.pilot_starts
    )
    return Powers(cold=cold, loud=np.concatenate(power), noise=usual, pilots=pilots)


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
