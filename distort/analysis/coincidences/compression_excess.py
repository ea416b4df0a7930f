"""Changes of compression that stand out at a dip or a peak, and bands in which the output lags the drive as a whole.

At a dip two paths nearly cancel. If one of them changes by a little, their sum changes by more: with paths a > b the
change at the dip is (a + b) / (a - b) times that at the peak, which is the depth of the dip from peak to dip. A change
at the dip within that bound needs no compression there; beyond it the loudspeaker itself compresses in that place.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from distort.analysis.coincidences.contrast import gap_for, rises
from distort.analysis.coincidences.faults import Anomaly
from distort.analysis.coincidences.split import CONTRAST_SHARE, filled_in
from distort.analysis.coincidences.trend import rows_per_octave, scatter_about_trend
from distort.analysis.common.statistics import TWO_SIDED_95

FloatArray = npt.NDArray[np.float64]

LEAST_EXCESS_DB = 0.2
EXCESS_SIGMAS = 4.0
BOUND_FACTOR = 1.25
BOUND_SIGMAS = 3.0

LEAST_ROWS_PER_OCTAVE = 8.0
"""Coarser rows (the lines of most multitones) step over a dip and show its flanks."""

KNEE_SHARE = 0.5
"""Where the flanks differ by more than the excess over this, it is the knee of a limiter or of heating, and no dip."""

PEAK_OCTAVES = 1.3
"""How far from a dip its neighbouring peak is looked for."""

LEAST_BAND_CHANGE_DB = 0.5
LEAST_BAND_OCTAVES = 1.0 / 3.0


@dataclass(frozen=True, kw_only=True, eq=False)
class ChangeCurve:
    """The change of one level against the reference level, `(rows,)` each; NaN: not measurable."""

    quantity: str
    level: float
    frequency_hz: FloatArray
    change_db: FloatArray
    uncertainty_db: FloatArray
    """Half-width of the 95 % interval."""


@dataclass(frozen=True, kw_only=True)
class Excess:
    """What a change curve does at one anomaly."""

    frequency_hz: float
    excess_db: float
    """Against the flanks; negative: more compression here."""
    sigma_db: float
    change_db: float
    bound_db: float
    """Largest change that two weak paths explain; 0 at a peak, where paths add."""

    @property
    def own(self) -> bool:
        """Beyond what a sum of two paths explains."""
        return abs(self.change_db) > self.bound_db + BOUND_SIGMAS * self.sigma_db


@dataclass(frozen=True, kw_only=True)
class Band:
    """A stretch of the axis in which the output lags."""

    low_hz: float
    high_hz: float
    worst_hz: float
    change_db: float
    sigma_db: float


def excess_at(
    curve: ChangeCurve, response_db: FloatArray, anomaly: Anomaly, *, calm: npt.NDArray[np.bool_]
) -> Excess | None:
    """What stands out at the anomaly; None where nothing does.

    response_db, calm   `(rows,)` on the rows of the curve: the response, and which rows lie at no anomaly
    """
    f = curve.frequency_hz
    if rows_per_octave(f) < LEAST_ROWS_PER_OCTAVE:
        return None
    risen = rises(f, np.array([curve.change_db]), gap_octaves=gap_for(anomaly.width_octaves))[0]
    row = int(np.argmin(np.abs(np.log(f / anomaly.frequency_hz))))
    if not np.isfinite(risen[row]) or abs(np.log2(f[row] / anomaly.frequency_hz)) > 0.5 / rows_per_octave(f) + 1e-9:
        return None
    counted_db = np.where(calm, curve.change_db, np.nan)
    scatter_db = CONTRAST_SHARE * filled_in(scatter_about_trend(f, counted_db), np.isfinite(counted_db))
    sigma_db = float(np.hypot(scatter_db[row], np.nan_to_num(curve.uncertainty_db[row]) / TWO_SIDED_95))
    step_db = _step_db(curve, row, gap_for(anomaly.width_octaves))
    if abs(risen[row]) < max(LEAST_EXCESS_DB, EXCESS_SIGMAS * sigma_db, KNEE_SHARE * step_db):
        return None
    return Excess(
        frequency_hz=float(f[row]),
        excess_db=float(risen[row]),
        sigma_db=sigma_db,
        change_db=float(curve.change_db[row]),
        bound_db=_bound_db(curve, response_db, row) if anomaly.kind == "dip" else 0.0,
    )


def _step_db(curve: ChangeCurve, row: int, gap_octaves: float) -> float:
    """How far the change differs between the inner ends of the two flanks."""
    at = np.log(curve.frequency_hz[row]) + np.log(2.0) * gap_octaves * np.array([-1.0, 1.0])
    known = np.isfinite(curve.change_db)
    below, above = np.interp(at, np.log(curve.frequency_hz[known]), curve.change_db[known])
    return float(abs(above - below))


def _bound_db(curve: ChangeCurve, response_db: FloatArray, row: int) -> float:
    near = np.abs(np.log2(curve.frequency_hz / curve.frequency_hz[row])) <= PEAK_OCTAVES
    level = np.where(near & np.isfinite(curve.change_db), response_db, np.nan)
    if not np.any(np.isfinite(level)):
        return 0.0
    peak = int(np.nanargmax(level))
    depth_db = float(level[peak] - response_db[row])
    return float(BOUND_FACTOR * abs(curve.change_db[peak]) * 10.0 ** (depth_db / 20.0))


def lagging_bands(curve: ChangeCurve, *, lowest_valid_hz: float) -> list[Band]:
    """Stretches of a third of an octave or more in which the output lags by half a decibel or more."""
    f = curve.frequency_hz
    sigma = np.nan_to_num(curve.uncertainty_db) / TWO_SIDED_95
    with np.errstate(invalid="ignore"):
        low = (curve.change_db <= -np.maximum(LEAST_BAND_CHANGE_DB, EXCESS_SIGMAS * sigma)) & (f >= lowest_valid_hz)
    edges = np.flatnonzero(np.diff(np.concatenate([[False], low, [False]]).astype(np.int8)))
    bands = []
    for first, end in zip(edges[::2], edges[1::2], strict=True):
        if np.log2(f[end - 1] / f[first]) < LEAST_BAND_OCTAVES:
            continue
        worst = first + int(np.argmin(curve.change_db[first:end]))
        bands.append(
            Band(
                low_hz=float(f[first]),
                high_hz=float(f[end - 1]),
                worst_hz=float(f[worst]),
                change_db=float(curve.change_db[worst]),
                sigma_db=float(sigma[worst]),
            )
        )
    return bands
