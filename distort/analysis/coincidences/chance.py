"""How probable it is by chance alone that a rise and an anomaly line up as well as these do.

Both curves are taken against their own trend and over their own local scatter, so that neither a shared slope nor
roughness at one end of the axis counts. How well they line up at a row is the harmonic mean of the two (near the
smaller one, and without the ties of a minimum); how well a pair does, the sum of its cube over the rows: three dips
that meet three rises count for more than one that does. One curve is then shifted against the other round the common
band, row by row: the share of shifts that do as well is the probability. Over a report, all curves are shifted
together by the same share of their band, and the smallest probability of all pairs is noted at every shift (Westfall
and Young, Resampling-Based Multiple Testing, 1993, from memory): that keeps what the orders and levels of one
loudspeaker have in common, where a count of pairs would ask for too much.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from distort.analysis.coincidences.trend import over_own_scatter

FloatArray = npt.NDArray[np.float64]

SHIFTS = 400
"""Of a whole report, including none at all."""

LEAST_ROWS = 16
"""Fewer rows that both curves share say nothing."""

LEAST_SCATTER_DB = 0.02


@dataclass(frozen=True, kw_only=True, eq=False)
class Pair:
    """A distortion curve and the response on the same rows of excitation frequency; NaN where either has no reading."""

    rise: FloatArray
    """Standardised, `(rows,)`: of `standardised`."""
    anomaly: FloatArray
    """Standardised and without its sign, `(rows,)`, read at the excitation frequency or n times it."""


def standardised(frequency_hz: FloatArray, level_db: FloatArray) -> FloatArray:
    """A curve `(rows,)` less its trend, over its local scatter."""
    return over_own_scatter(frequency_hz, level_db, least_db=LEAST_SCATTER_DB)


class Chance:
    """The probabilities of all pairs of one report."""

    def __init__(self, pairs: Sequence[Pair]) -> None:
        self._pairs = [_Shifted(pair) for pair in pairs]
        tested = [one.probabilities for one in self._pairs if one.probabilities is not None]
        self._smallest = np.sort(np.min(tested, axis=0)) if tested else np.ones(1)

    def pair(self, index: int) -> float | None:
        """Probability of pair `index` alone; None where the two curves share too little."""
        probabilities = self._pairs[index].probabilities
        return None if probabilities is None else float(probabilities[0])

    def of_report(self, probability: float) -> float:
        """How often the best pair of a report of independent curves reaches `probability`."""
        return float(np.searchsorted(self._smallest, probability + 1e-12, side="right") / self._smallest.size)


def _together(rise: FloatArray, anomaly: FloatArray) -> FloatArray:
    """Cube of the harmonic mean of the two, 0 where either is not above 0.

    The cube is high enough that ripple adds little to what stands out (own choice).
    """
    a, b = np.maximum(rise, 0.0), np.maximum(anomaly, 0.0)
    mean = a * b / (a + b + 1e-9)
    return np.asarray(8.0 * mean * mean * mean)


class _Shifted:
    """One pair at every shift."""

    def __init__(self, pair: Pair) -> None:
        known = np.isfinite(pair.rise) & np.isfinite(pair.anomaly)
        self.probabilities: FloatArray | None = None
        """At SHIFTS shifts, the first of them none."""
        rows = int(np.sum(known))
        if rows < LEAST_ROWS:
            return
        rise, anomaly = pair.rise[known], pair.anomaly[known]
        index = (np.arange(rows)[None, :] + np.arange(rows)[:, None]) % rows
        lined_up = np.sum(_together(rise[None, :], anomaly[index]), axis=1)
        ordered = np.sort(lined_up)
        probability = 1.0 - np.searchsorted(ordered, lined_up * (1.0 - 1e-12), side="left") / rows
        self.probabilities = probability[np.floor(np.arange(SHIFTS) * (rows / SHIFTS)).astype(np.int64)]
