"""A long heating as it is played: it can be ended early while it sounds."""

import math

import numpy as np
import numpy.typing as npt

from signals.heating import LEAST_PERIODS, Heating
from signals.long_reel import BEFORE, long_reel

FloatArray = npt.NDArray[np.float64]

AHEAD_S = 1.0
"""How much later than now the loud multitone may end at the soonest: nothing is changed that was asked for already."""


class HeatingPlayback:
    """Implements `LongPlayback`."""

    def __init__(self, heating: Heating) -> None:
        self.heating = heating
        reel = long_reel(heating)
        self.begins = reel.starts[BEFORE]
        """Where the stimulus begins in it."""
        self._tail = reel.items[-1].n_samples
        self._before = np.concatenate([item.samples() for item in reel.items[:BEFORE]])
        self._asked = 0

    @property
    def n_samples(self) -> int:
        """Length as it stands."""
        return self.begins + self.heating.n_samples + self._tail

    @property
    def first_sound(self) -> int:
        """Of the chirp."""
        return int(np.flatnonzero(self._before)[0])

    def part(self, first: int, end: int) -> FloatArray:
        """Samples from `first` to before `end`; zeros outside."""
        self._asked = max(self._asked, end)
        found = self.heating.part(first - self.begins, end - self.begins)
        begin, stop = max(first, 0), min(end, self.begins)
        if stop > begin:
            found[begin - first : stop - first] += self._before[begin:stop]
        return found

    def end_loud_soon(self) -> None:
        """Let the loud multitone end with the next whole period, and the pilots follow it."""
        heating = self.heating
        soonest = self._asked + round(AHEAD_S * heating.sample_rate) - self.begins - heating.loud_start
        periods = math.ceil(soonest / heating.tone.period_samples)
        if periods < heating.loud_periods:
            self.heating = heating.ended_after(max(periods, LEAST_PERIODS), pilots=len(heating.pilots_after_s))
