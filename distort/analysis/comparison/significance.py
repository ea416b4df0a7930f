"""Whether two measurements differ, where, and what can be excluded.

Every curve is looked at in third octaves, for broad changes in noise, and in twelfths, for narrow ones. The difference
of two readings in a band, over its standard deviation, is Student's t: deviations of noise are those of `uncertainty`,
which the tests check, and known as well as the silence was long; the scatter of takes as well as there are takes.

Hundreds of bands are looked at, so some differ by chance at any fixed limit. A change is called significant when
Holm's step-down rule (Scand. J. Statist. 6, 1979) keeps the chance of any false one in the whole comparison under 5 %;
it holds however bands, levels and orders hang together.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import scipy

from distort.analysis.common.quantities import CHANGE, CHANGE_OF_MULTITONE, RESPONSE, Quantity
from distort.analysis.common.statistics import DB_PER_NEPER_OF_POWER, TWO_SIDED_95
from distort.analysis.compression.take_scatter import TakeScatter, take_scatter

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

ALPHA = 0.05
"""Chance of any false change in a comparison."""

BROAD_OCTAVES, NARROW_OCTAVES = 1.0 / 3.0, 1.0 / 12.0

LEAST_NAMED_RESPONSE_DB = 0.1
"""A smaller change of response or compression is never called one: noise intervals of a quiet recording are some
thousandths of a decibel, and air, heat and cables move more than that (common practice, no source)."""
LEAST_NAMED_DISTORTION_DB = 0.5
OF_RESPONSE = (RESPONSE, CHANGE, CHANGE_OF_MULTITONE)

WELL_READ = 3.0
"""Of the median interval: one band beside a hum must not hide what all others exclude."""

OF_SWEEP_RESPONSE = (RESPONSE, CHANGE)
SCATTERS_NAMED = 3.0
"""A change of these must exceed so many times the scatter of the repeated reference (common practice, no source)."""


@dataclass(frozen=True, kw_only=True)
class Curve:
    """One quantity of one side at one level, `(rows,)` each."""

    quantity: Quantity
    level_db_spl: float
    octaves: float
    """Width of the band that each row stands for."""
    frequency_hz: FloatArray
    value_db: FloatArray
    noise_variance: FloatArray
    """What noise leaves to `value_db`, dB squared; NaN where no noise was recorded."""
    noise_freedom: FloatArray
    """Degrees of freedom behind `noise_variance`: how well the noise itself is known."""
    replicates_db: FloatArray | None
    """`(replicates, rows)`: each take, or each set-up, alone; None where there is one."""
    clear: BoolArray
    """Far enough above its floor that the variance above holds."""

    @property
    def count(self) -> int:
        """How many replicates `value_db` is the mean of."""
        return 1 if self.replicates_db is None else int(self.replicates_db.shape[0])


@dataclass(frozen=True, kw_only=True)
class Difference:
    """B less A for one quantity at one level, `(rows,)` each; NaN where one of both has no clear reading."""

    quantity: Quantity
    level_db_spl: float
    octaves: float
    frequency_hz: FloatArray
    difference_db: FloatArray
    uncertainty_db: FloatArray
    """Half-width of the 95 % interval of each row for itself."""
    together_db: FloatArray
    """The same, wide enough that all rows of this curve together lie inside with 95 %."""
    probability: FloatArray
    """How probable so large a difference is where nothing changed, before any correction."""
    significant: BoolArray
    """After correction for everything in the comparison, and no smaller than `least_named_db`."""
    least_named_db: FloatArray
    """A smaller change is not called one; see `least_named_db`, and what repeats of the reference show."""

    @property
    def judged(self) -> BoolArray:
        """Rows where both sides can be read and their scatter is known."""
        return np.isfinite(self.probability)

    @property
    def well_read(self) -> BoolArray:
        """Rows that are judged and not much less certain than most: what is excluded is stated for these."""
        if not self.judged.any():
            return self.judged
        return np.asarray(self.judged & (self.together_db <= WELL_READ * np.median(self.together_db[self.judged])))

    @property
    def excluded_db(self) -> float:
        """No row that is well read changed by more than this (95 % for all of them together); NaN where none is."""
        reach = np.abs(self.difference_db) + self.together_db
        return float(np.max(reach[self.well_read])) if self.judged.any() else float("nan")


@dataclass(frozen=True, kw_only=True)
class _Raw:
    """A difference before it is judged against all others."""

    a: Curve
    difference_db: FloatArray
    deviation_db: FloatArray
    freedom: FloatArray
    probability: FloatArray


def compare(
    a: Sequence[Curve],
    b: Sequence[Curve],
    *,
    calibration_db: float = 0.0,
    repeats: Sequence[tuple[Curve, Curve]] = (),
) -> tuple[Difference, ...]:
    """Differences of all curves that both sides have, in the order of `a`.

    calibration_db   half-width of the 95 % interval of the level of A's calibration against B's; it moves the response
                     alone, and all of it together
    repeats          the response at the reference level and the same played again after a rest, of either side: no
                     change of the response is named that is under three times the scatter they show

    Raises ValueError when a side has a curve twice, or two that belong together have other rows.
    """
    others = {_key(curve): curve for curve in b}
    if len(others) != len(b) or len({_key(curve) for curve in a}) != len(a):
        raise ValueError("a side holds one curve twice")
    pairs = [(one, others[_key(one)]) for one in a if _key(one) in others]
    for one, other in pairs:
        if not np.array_equal(one.frequency_hz, other.frequency_hz):
            raise ValueError(f"{one.quantity}: the two sides have different rows")
    scatters = _scatters(pairs)
    raw = [
        _raw(one, other, scatter=scatters[one.quantity, one.octaves], calibration_db=calibration_db)
        for one, other in pairs
    ]
    accepted = holm([each.probability for each in raw], ALPHA)
    shown_db = _shown_by_repeats(repeats)
    return tuple(_judged(each, beyond, shown_db) for each, beyond in zip(raw, accepted, strict=True))


def holm(probabilities: Sequence[FloatArray], alpha: float) -> list[BoolArray]:
    """Which of all probabilities stay under `alpha` by Holm's rule; NaN is none, and not counted.

    The k-th smallest of m must not exceed alpha / (m - k + 1); the first that does ends it.
    """
    if not probabilities:
        return []
    joined = np.concatenate([np.ravel(each) for each in probabilities])
    order = np.argsort(joined)[: int(np.isfinite(joined).sum())]  # NaN is sorted to the end
    limits = alpha / np.arange(order.size, 0, -1)
    kept = np.logical_and.accumulate(joined[order] <= limits)
    accepted = np.zeros(joined.size, dtype=np.bool_)
    accepted[order[kept]] = True
    return np.split(accepted, np.cumsum([each.size for each in probabilities])[:-1])


def pooled_freedom(total: FloatArray, parts: Sequence[tuple[FloatArray, FloatArray]]) -> FloatArray:
    """Degrees of freedom of a sum of variances, `total` `(rows,)`, of independent parts `(variance, freedom)`.

    `total^2 / sum(variance^2 / freedom)`: Welch and Satterthwaite. Parts without a value count as known.
    """
    share = np.sum([np.nan_to_num(np.square(variance) / freedom) for variance, freedom in parts], axis=0)
    return np.asarray(np.where(share > 0, np.square(total) / np.where(share > 0, share, 1.0), np.inf))


def least_named_db(quantity: Quantity) -> float:
    """The smallest change of a quantity that is called one."""
    return LEAST_NAMED_RESPONSE_DB if quantity in OF_RESPONSE else LEAST_NAMED_DISTORTION_DB


def _key(curve: Curve) -> tuple[Quantity, float, float]:
    return curve.quantity, curve.level_db_spl, curve.octaves


def _scatters(pairs: Iterable[tuple[Curve, Curve]]) -> dict[tuple[Quantity, float], TakeScatter]:
    """Scatter of the replicates of each quantity, pooled over the levels of both sides."""
    of_quantity: dict[tuple[Quantity, float], list[Curve]] = {}
    for pair in pairs:
        of_quantity.setdefault((pair[0].quantity, pair[0].octaves), []).extend(pair)
    return {
        key: take_scatter(
            curves[0].frequency_hz,
            [(curve.replicates_db, curve.noise_variance / DB_PER_NEPER_OF_POWER**2) for curve in curves],
        )
        for key, curves in of_quantity.items()
    }


def _raw(a: Curve, b: Curve, *, scatter: TakeScatter, calibration_db: float) -> _Raw:
    noise = a.noise_variance + b.noise_variance
    between = scatter.excess * (1.0 / a.count + 1.0 / b.count)
    if scatter.freedom > 0:  # replicates scatter by noise too, so it is in there where nobody recorded a silence
        noise = np.nan_to_num(noise)
    of_level = np.square(calibration_db / TWO_SIDED_95) if a.quantity == RESPONSE else 0.0
    total = noise + between + of_level
    parts = [(one.noise_variance, one.noise_freedom) for one in (a, b)]
    freedom = pooled_freedom(total, [*parts, (between, np.full(between.shape, float(max(scatter.freedom, 1))))])
    clear = a.clear & b.clear
    difference_db = np.where(clear, b.value_db - a.value_db, np.nan)
    deviation_db = np.where(clear, np.sqrt(total), np.nan)
    with np.errstate(divide="ignore", invalid="ignore"):  # no noise at all: any difference is one
        ratio = np.where(difference_db == 0.0, 0.0, np.abs(difference_db) / deviation_db)
    probability = 2.0 * scipy.stats.t.sf(ratio, freedom)
    return _Raw(
        a=a,
        difference_db=difference_db,
        deviation_db=deviation_db,
        freedom=freedom,
        probability=np.where(np.isfinite(deviation_db), probability, np.nan),
    )


def _shown_by_repeats(repeats: Sequence[tuple[Curve, Curve]]) -> dict[float, FloatArray]:
    """Three standard deviations of a difference, as repeats of the reference scatter; by width of the band."""
    shown: dict[float, FloatArray] = {}
    for octaves in {first.octaves for first, _ in repeats}:
        pairs = [pair for pair in repeats if pair[0].octaves == octaves]
        levels = [
            (
                np.array([np.where(first.clear & again.clear, one.value_db, np.nan) for one in (first, again)]),
                # the noise of the mean of both, relative to the squared power
                (first.noise_variance + again.noise_variance) / (4.0 * DB_PER_NEPER_OF_POWER**2),
            )
            for first, again in pairs
        ]
        excess = take_scatter(pairs[0][0].frequency_hz, levels).excess
        shown[octaves] = SCATTERS_NAMED * np.sqrt(2.0 * excess)
    return shown


def _judged(raw: _Raw, accepted: BoolArray, shown_db: dict[float, FloatArray]) -> Difference:
    count = max(int(np.isfinite(raw.probability).sum()), 1)
    least: FloatArray = np.full_like(raw.difference_db, least_named_db(raw.a.quantity))
    if raw.a.quantity in OF_SWEEP_RESPONSE and raw.a.octaves in shown_db:
        least = np.maximum(least, shown_db[raw.a.octaves])
    with np.errstate(invalid="ignore"):
        named = np.abs(raw.difference_db) >= least
    return Difference(
        quantity=raw.a.quantity,
        level_db_spl=raw.a.level_db_spl,
        octaves=raw.a.octaves,
        frequency_hz=raw.a.frequency_hz,
        difference_db=raw.difference_db,
        uncertainty_db=scipy.stats.t.isf(0.5 * ALPHA, raw.freedom) * raw.deviation_db,
        together_db=scipy.stats.t.isf(0.5 * ALPHA / count, raw.freedom) * raw.deviation_db,
        probability=raw.probability,
        significant=accepted & named,
        least_named_db=least,
    )
