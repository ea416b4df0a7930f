"""What stands out of a response's trend, before its kind is looked at."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from distort.analysis.anomalies.tops import tops
from distort.analysis.anomalies.trend import Detrended, detrended

FloatArray = npt.NDArray[np.float64]

LEAST_DB = 2.0
"""Smaller dips and peaks are not listed: no one would look at them (own choice)."""

LEAST_SCATTERS = 3.6
"""A dip or a peak stands this many times the scatter of its neighbourhood out of the trend: in 9 of 10 responses of
ripple alone nothing does (measured on random ripple of 1/12 to 1/4 octave)."""

MOST_SCATTER_DB = 1.5
"""A comb scatters because it is made of dips: what stands so far out of the trend is one in any company."""

EDGE_OCTAVES = 1.0 / 6.0
"""Nothing is called a dip this near to the ends of the band: half of it would be guessed."""

LEAST_BESIDE_DB = 4.0
"""What only a trend without the others shows is at least this large: that trend rests on fewer rows (own choice)."""

REACH_BESIDE = 2.0 ** (1.0 / 24.0)
"""A row more than its half height must be free of the others: a slope that is cut off has no top."""


@dataclass(frozen=True)
class Found:
    """A dip or a peak before it is looked at closely; frequencies in Hz."""

    dip: bool
    centre_hz: float
    deviation_db: float
    low_hz: float
    high_hz: float


def all_outstanding(against: Detrended, held: FloatArray) -> list[Found]:
    """What stands out of the trend, and what stands out of a trend that does not follow those: a dip of 10 dB pulls the
    trend down at another one an octave above it."""
    found = _outstanding(against)
    if not found:
        return found
    f = against.frequency_hz
    apart = np.ones(f.size, dtype=np.bool_)
    for one in found:
        reach = one.high_hz / one.low_hz  # its width at half height, to either side: twice what half height holds
        apart &= (f < one.centre_hz / reach) | (f > one.centre_hz * reach)
    without = detrended(f, np.where(apart, held, np.nan))
    more = [
        one
        for one in _outstanding(without)
        if abs(one.deviation_db) >= LEAST_BESIDE_DB
        and np.all(apart[(f >= one.low_hz / REACH_BESIDE) & (f <= one.high_hz * REACH_BESIDE)])
    ]
    return sorted([*found, *more], key=lambda one: one.centre_hz)


def _outstanding(against: Detrended) -> list[Found]:
    """Dips and peaks, from the lowest frequency up."""
    f, known = against.frequency_hz, np.flatnonzero(np.isfinite(against.deviation_db))
    if known.size == 0:
        return []
    edge = 2.0**EDGE_OCTAVES
    found = []
    values = np.nan_to_num(scatters(against))
    for dip in (True, False):
        upward = -values if dip else values
        for top in tops(upward, height=LEAST_SCATTERS, prominence=0.6 * LEAST_SCATTERS):
            if f[top] < f[known[0]] * edge or f[top] > f[known[-1]] / edge:
                continue
            low_hz, high_hz = half_width(against, int(top))
            found.append(Found(dip, float(f[top]), float(against.deviation_db[top]), low_hz, high_hz))
    return sorted(found, key=lambda one: one.centre_hz)


def scatters(against: Detrended) -> FloatArray:
    """Deviation over the scatter of its neighbourhood, `(rows,)`, signed; a comb counts as calm."""
    scatter = np.clip(against.scatter_db, LEAST_DB / LEAST_SCATTERS, MOST_SCATTER_DB)
    return np.asarray(against.deviation_db / scatter)


def half_width(against: Detrended, row: int) -> tuple[float, float]:
    """Where half of the deviation at `row` is left, on either side, Hz."""
    share = np.nan_to_num(against.deviation_db) / against.deviation_db[row]
    log_hz = np.log(against.frequency_hz)
    ends = []
    for step, last in ((-1, 0), (1, share.size - 1)):
        at = row
        while at != last and share[at] > 0.5:
            at += step
        before = at - step
        part = 0.0 if at == row or share[before] == share[at] else (share[before] - 0.5) / (share[before] - share[at])
        ends.append(float(np.exp(log_hz[before] + np.clip(part, 0.0, 1.0) * (log_hz[at] - log_hz[before]))))
    return ends[0], ends[1]
