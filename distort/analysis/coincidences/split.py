"""A rise of distortion split into what makes it: R = F + X + S, exactly and in dB.

D = P - P1 with P the product at n f and P1 the fundamental, so the rise of D is the rise of P plus the dip of P1 (F).
Of the rise of P the way out accounts for X = alpha times the rise of the linear response at n f; the rest, S, is what
the source makes more of here. alpha is 1 where the product leaves by the way of the fundamental and 0 where not: the
regression of P on the response at n f away from this place says which.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from distort.analysis.coincidences.contrast import rises
from distort.analysis.coincidences.trend import scatter_about_trend
from distort.analysis.coincidences.way_out import OWN_WAY, UNKNOWN_WAY, Way, way_out
from distort.analysis.common.statistics import TWO_SIDED_95

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

CLEAR_DB = 10.0
"""An order nearer to its floor than this says nothing about causes."""

CONTRAST_SHARE = 1.5
"""Scatter of a rise over that of its curve about the trend (measured on ripple of 1/12 to 1/4 octave)."""

LEAST_CALM_ROWS = 40


@dataclass(frozen=True, kw_only=True, eq=False)
class DistortionCurve:
    """One distortion curve at one level, `(rows,)` each, rows evenly spaced in log frequency; NaN: not measurable."""

    quantity: str
    level: float
    order: int | None
    """n; None for a curve that holds several (THD, multitone): its way out is not known."""
    frequency_hz: FloatArray
    """Of the excitation."""
    relative_db: FloatArray
    """Re the fundamental (or the lines of the same band), noise removed."""
    noise_db: FloatArray
    """Noise that was taken off, same reference; NaN: unknown."""
    floor_db: FloatArray
    """What a reading must stand 10 dB above to be believed: noise, or 15 dB over what leaks from the next order; NaN
    where the noise is not known."""
    uncertainty_db: FloatArray
    fundamental_db: FloatArray


@dataclass(frozen=True, kw_only=True)
class Split:
    """One rise and its parts, dB; X and S once for each alpha that is plausible."""

    frequency_hz: float
    rise_db: float
    raw_rise_db: float
    """Of the reading before noise was taken off."""
    fundamental_db: float
    product_db: float
    """A: rise of the product's own level."""
    response_there_db: float
    """Rise of the linear response at n f; 0 where n is not known."""
    margin_db: float
    """Over the floor, at the place; NaN where no floor is known."""
    rise_scatter_db: float
    """Standard deviation of this curve about its own trend, round about."""
    source_scatter_db: tuple[float, float]
    """Of S, for alpha 0 and 1."""
    way: Way


@dataclass(frozen=True, kw_only=True, eq=False)
class Roughness:
    """Standard deviations of the rises of a curve, `(rows,)` each, as its calm rows show them."""

    raw_db: FloatArray
    source_db: tuple[FloatArray, FloatArray]
    """Of what the source makes, for alpha 0 and 1."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Rises:
    """The rises of one distortion curve at every row, for one width of dip, `(rows,)` each; NaN: too few readings."""

    relative_db: FloatArray
    raw_db: FloatArray
    fundamental_db: FloatArray
    product_db: FloatArray
    there_db: FloatArray
    """Of the linear response at n f; 0 where n is not known."""
    roughness: Roughness


def way_out_db(curve: DistortionCurve, response_hz: FloatArray, response_db: FloatArray) -> FloatArray:
    """The linear response at n f, on the rows of the curve `(rows,)`; 0 where n is not known, NaN beyond its ends."""
    if curve.order is None:
        return np.zeros_like(curve.frequency_hz)
    known = np.isfinite(response_db)
    at = np.log(curve.order * curve.frequency_hz)
    return np.asarray(np.interp(at, np.log(response_hz[known]), response_db[known], left=np.nan, right=np.nan))


@dataclass(frozen=True, kw_only=True, eq=False)
class Parts:
    """The curves that a distortion curve is split into, `(rows,)` each."""

    raw_db: FloatArray
    """Before noise was taken off, re the fundamental."""
    product_db: FloatArray
    there_db: FloatArray
    """The linear response at n f; 0 where n is not known."""
    roughness: Roughness


def parts_of(
    curve: DistortionCurve, response_hz: FloatArray, response_db: FloatArray, *, calm: BoolArray | None = None
) -> Parts:
    """What a curve is made of.

    response_hz, response_db   `(points,)`: the linear response, of the lowest level
    calm                       `(rows,)`: rows whose roughness counts for the reading; None: all
    """
    product_db = curve.relative_db + curve.fundamental_db
    noise = np.nan_to_num(10.0 ** (curve.noise_db / 10.0))
    raw_db = 10.0 * np.log10(10.0 ** (curve.relative_db / 10.0) + noise)
    there_db = way_out_db(curve, response_hz, response_db)
    error_db = np.nan_to_num(curve.uncertainty_db) / TWO_SIDED_95
    if calm is None or np.sum(calm & np.isfinite(raw_db)) < LEAST_CALM_ROWS:
        calm = np.ones(raw_db.size, dtype=np.bool_)

    def scatter_of(values_db: FloatArray) -> FloatArray:
        return CONTRAST_SHARE * filled_in(scatter_about_trend(curve.frequency_hz, values_db), np.isfinite(values_db))

    own_way = np.hypot(scatter_of(product_db), error_db)
    shared = own_way if curve.order is None else np.hypot(scatter_of(product_db - there_db), error_db)
    return Parts(
        raw_db=raw_db,
        product_db=product_db,
        there_db=there_db,
        roughness=Roughness(raw_db=scatter_of(np.where(calm, raw_db, np.nan)), source_db=(own_way, shared)),
    )


def all_rises(curve: DistortionCurve, parts: Parts, *, gap_octaves: float) -> Rises:
    """The rises of a curve and its parts."""
    stack = np.array([curve.relative_db, parts.raw_db, curve.fundamental_db, parts.product_db, parts.there_db])
    relative, raw, fundamental, product, there = rises(curve.frequency_hz, stack, gap_octaves=gap_octaves)
    return Rises(
        relative_db=relative,
        raw_db=raw,
        fundamental_db=fundamental,
        product_db=product,
        there_db=there,
        roughness=parts.roughness,
    )


def filled_in(scatter_db: FloatArray, known: BoolArray) -> FloatArray:
    """Scatter at rows that did not count, from those to either side that did."""
    if not np.any(known):
        return np.full_like(scatter_db, np.inf)
    row = np.arange(scatter_db.size)
    return np.asarray(np.interp(row, row[known], scatter_db[known]))


def split_at(curve: DistortionCurve, found: Rises, centre_hz: float, *, way: Way = UNKNOWN_WAY) -> Split | None:
    """The rise at the row nearest to `centre_hz` and its parts; None where the curve has too few readings about it.

    way   out, as everything but this place tells it
    """
    row = int(np.argmin(np.abs(np.log(curve.frequency_hz / centre_hz))))
    if not np.isfinite(found.raw_db[row]):
        return None
    margin_db = float(curve.relative_db[row] - curve.floor_db[row])
    return Split(
        frequency_hz=float(curve.frequency_hz[row]),
        rise_db=float(found.relative_db[row]),
        raw_rise_db=float(found.raw_db[row]),
        fundamental_db=-float(found.fundamental_db[row]),
        product_db=float(found.product_db[row]),
        response_there_db=float(found.there_db[row]),
        margin_db=margin_db,
        rise_scatter_db=float(found.roughness.raw_db[row]),
        source_scatter_db=(
            float(found.roughness.source_db[0][row]),
            float(found.roughness.source_db[1][row]),
        ),
        way=way,
    )


def clear_rows(curve: DistortionCurve, *, by_db: float = CLEAR_DB) -> BoolArray:
    """Rows `(rows,)` whose readings stand that far above their floor; none where no floor is known."""
    with np.errstate(invalid="ignore"):
        return np.asarray(curve.relative_db >= curve.floor_db + by_db)


def way_of(curve: DistortionCurve, parts: Parts, *, away_from_hz: float | None = None) -> Way:
    """By which way the product leaves, as this curve alone tells it; rows near `away_from_hz` do not count."""
    if curve.order is None:
        return OWN_WAY
    curves_db = np.array([curve.fundamental_db, parts.there_db, parts.product_db])
    curves_db = np.where(clear_rows(curve), curves_db, np.nan)
    return way_out(curve.order, curve.frequency_hz, curves_db, away_from_hz=away_from_hz)
