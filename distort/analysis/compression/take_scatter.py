"""How far takes of one level scatter beyond what noise explains.

Two takes alone say next to nothing about their spread (Student's factor is 12.7); pooled over a ladder of four levels
they do (2.8). So the variance of a take is pooled over all levels that have takes, and averaged over an octave about
each row: what makes takes differ (temperature, a player's level, a microphone that moved) is smooth over frequency.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import scipy

from distort.analysis.common.statistics import DB_PER_NEPER_OF_POWER

FloatArray = npt.NDArray[np.float64]

HALF_OCTAVE = float(np.sqrt(2.0))


@dataclass(frozen=True, kw_only=True)
class TakeScatter:
    """The pooled scatter."""

    excess: FloatArray
    """`(rows,)`: variance of one take beyond noise, dB squared; 0 where there are no takes."""
    freedom: int
    """Degrees of freedom behind it: the sum of (takes - 1) over the levels."""

    def half_width_db(self, *takes: int) -> FloatArray:
        """Half-width of the 95 % interval that the scatter leaves on the difference of means of so many takes."""
        if self.freedom == 0:
            return np.zeros_like(self.excess)
        factor = float(scipy.stats.t.ppf(0.975, self.freedom))
        return np.asarray(factor * np.sqrt(self.excess * sum(1.0 / count for count in takes)))


def take_scatter(frequency_hz: FloatArray, levels: Sequence[tuple[FloatArray | None, FloatArray]]) -> TakeScatter:
    """Pool the scatter of all levels.

    frequency_hz   `(rows,)`, ascending
    levels         of each: the level of every take alone in dB, `(takes, rows)` (None or one row: no takes), and the
                   variance that noise gives the mean of them, relative to the squared power, `(rows,)`
    """
    taken = [(takes_db, noise) for takes_db, noise in levels if takes_db is not None and takes_db.shape[0] > 1]
    freedom = sum(takes_db.shape[0] - 1 for takes_db, _ in taken)
    pooled = np.zeros(frequency_hz.size)
    for takes_db, noise in taken:
        count = takes_db.shape[0]
        of_one_take = count * np.nan_to_num(noise) * DB_PER_NEPER_OF_POWER**2
        pooled += (count - 1) / freedom * (np.var(takes_db, axis=0, ddof=1) - of_one_take)
    return TakeScatter(excess=np.maximum(_octave_mean(frequency_hz, pooled), 0.0), freedom=freedom)


def _octave_mean(frequency_hz: FloatArray, values: FloatArray) -> FloatArray:
    """Mean over the rows within half an octave of each row that have a value; 0 where none has."""
    first = np.searchsorted(frequency_hz, frequency_hz / HALF_OCTAVE)
    end = np.searchsorted(frequency_hz, frequency_hz * HALF_OCTAVE, side="right")
    running = np.concatenate([[0.0], np.cumsum(np.nan_to_num(values))])
    counted = np.concatenate([[0], np.cumsum(np.isfinite(values))])
    return np.asarray((running[end] - running[first]) / np.maximum(counted[end] - counted[first], 1))
