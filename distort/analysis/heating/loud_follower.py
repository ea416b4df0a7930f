"""The loud multitone of a long heating, chunk after chunk: a short disturbance is left out, lost samples are refused.

Both spoil the chunk that they fall into. What comes after it tells them apart: a door that slams leaves the lines where
they were, and lost samples shift all of them by one and the same delay, which is whole samples. So a chunk that cannot
be read is held against the next that can: their lines may differ by no more than half a sample.
"""

from dataclasses import dataclass

import numpy as np

from distort.analysis.heating.periods import ChunkRead, readable
from distort.analysis.heating.places import Part, Place, moved, read_at
from distort.errors import AnalysisError
from signals import Multitone

MOST_LEFT_OUT = 2
"""Chunks one after the other, as what disturbs may lie across the border of two. Longer is no short disturbance."""

LOST_SAMPLES = 0.5
"""Fewer than one sample cannot be lost; the clock foretells the place to a tenth, as it is known to 0.1 ppm."""

STRAY_RADIANS = 0.5
"""Half of the lines may not stray further from the common delay: of lines that were shifted far, the phases lie
anywhere, 1.6 in the median (as in `analysis.multitone.clock`)."""

CLOCKS = 5
"""Chunks of which the clock is taken, as their median, where one is not read: that of a chunk which is disturbed a
little may be off."""


@dataclass(frozen=True)
class _Anchor:
    """The last chunk that was read, and where it began."""

    place: Place
    periods: int
    read: ChunkRead


class LoudFollower:
    """Reads chunk after chunk. After the last ones nothing comes that could tell what spoilt them: they are left out.

    place   where the loud multitone begins; afterwards where the next chunk does
    """

    def __init__(self, tone: Multitone, place: Place) -> None:
        self._tone, self.place = tone, place
        self._anchor: _Anchor | None = None
        self._since = 0
        self._clocks: list[float] = []
        self._error: AnalysisError | None = None
        self._left_out = 0
        self.certain_periods = 0
        """Up to the end of the last chunk that was read."""

    def read(self, part: Part, periods: int) -> ChunkRead | None:
        """The next `periods`, at least two; None where something else drowned them.

        Raises AnalysisError for samples that were lost, for a recording that was cut off, for a first chunk that
        cannot be read, to which all is referred, and for a disturbance longer than `MOST_LEFT_OUT` chunks.
        """
        try:
            read, after = read_at(part, self._tone, self.place, periods)
        except AnalysisError as error:
            self._leave_out(periods, error)
            return None
        anchor = self._anchor
        if anchor is not None and 2 * _clear_bands(read) < _clear_bands(anchor.read):
            self._leave_out(periods, AnalysisError("something else is as loud as the multitone for too long"))
            return None
        if anchor is not None and self._left_out and _moved_between(anchor.read, read, self._tone):
            raise AnalysisError(
                f"after {self._since * self._tone.period_s:.0f} s that cannot be read the multitone's lines are not "
                f"where they were: samples were lost. Record it again"
            )
        self.certain_periods += self._since + periods
        self._anchor, self._since = _Anchor(self.place, periods, read), 0
        self._clocks = [*self._clocks[-CLOCKS + 1 :], read.difference_ppm]
        self._error, self._left_out, self.place = None, 0, after
        return read

    def _leave_out(self, periods: int, error: AnalysisError) -> None:
        anchor = self._anchor
        if anchor is None or self._left_out == MOST_LEFT_OUT:
            raise self._error or error
        self._error = self._error or error
        self._left_out += 1
        self._since += periods
        clock = Place(start=anchor.place.start, difference_ppm=float(np.median(self._clocks)))
        self.place = moved(clock, (anchor.periods + self._since) * self._tone.period_samples)


def _clear_bands(read: ChunkRead) -> int:
    """How many third octaves stand clear of the noise: where most do not, nor does the clock that was read there."""
    return int(np.count_nonzero(readable(np.mean(read.power, axis=0), read.noise)))


def _moved_between(before: ChunkRead, after: ChunkRead, tone: Multitone) -> bool:
    """Whether the lines came later or sooner in one chunk than in the other, both re where each should begin.

    Delay by weighted least squares of the turns, weights the amplitudes of the lines.
    """
    cross = after.lines * np.conj(before.lines)
    turns, radians_a_sample = np.angle(cross), 2.0 * np.pi / tone.period_samples * tone.line_bins
    weight = np.abs(cross)
    delay = -float(np.sum(weight * turns * radians_a_sample) / np.sum(weight * np.square(radians_a_sample)))
    stray = np.abs(turns + delay * radians_a_sample)
    return bool(abs(delay) > LOST_SAMPLES or np.median(stray) > STRAY_RADIANS)
