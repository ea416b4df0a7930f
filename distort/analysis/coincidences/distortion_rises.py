"""Where distortion curves rise: at an anomaly, where n f meets one, or alone."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
import scipy

from distort.analysis.coincidences.causes import LEAST_NAMED_DB, cause_of_rise, source_db, worth_weighing
from distort.analysis.coincidences.contrast import GAPS_OCTAVES, gap_for
from distort.analysis.coincidences.faults import OPEN_CAUSES, Anomaly, Cause, Evidence
from distort.analysis.coincidences.looked_at import Finding, Looked, calm_rows, finding
from distort.analysis.coincidences.split import (
    DistortionCurve,
    Parts,
    Rises,
    Split,
    all_rises,
    clear_rows,
    parts_of,
    split_at,
    way_of,
)
from distort.analysis.coincidences.standing_out import standing_out
from distort.analysis.coincidences.trend import rows_per_octave
from distort.analysis.coincidences.way_out import Way

FloatArray = npt.NDArray[np.float64]

LEAST_ROWS = 16

ALONE_DB = 6.0
ALONE_TIMES = 4.2
"""A rise without an anomaly must be this prominent, and this many times as much as nine in ten other tops and dips of
its curve: nothing else speaks for it. Of ripple alone 1 curve in 200 has one (measured)."""

ALONE_TIMES_EITHER_WAY = 3.2
"""The same where the way out is not known, and the product has to stand out with it and without."""

READ_DB = 3.0
"""Tops and dips this far above the floor show how much the curve moves otherwise; nearer, noise does."""

BESIDE_OCTAVES = 1.0 / 12.0
"""The tops of two curves that are further apart are not the same."""

ALONE_FROM_OTHERS_OCTAVES = 1.0 / 3.0

SURE = 0.9
"""From this probability on a way out counts as known."""


@dataclass(frozen=True, kw_only=True, eq=False)
class _Curve:
    """A curve, its parts and its rises."""

    curve: DistortionCurve
    parts: Parts
    of_gap: dict[float, Rises]
    way: Way
    """As the whole of this curve tells it."""


def distortion_rises(looked: Looked) -> list[Finding]:
    """All rises of all curves with their causes; several may lie at one place."""
    read = [_read(looked, curve) for curve in looked.distortion if np.sum(np.isfinite(curve.relative_db)) >= LEAST_ROWS]
    odds: dict[float, float] = defaultdict(float)
    for one in read:
        odds[one.curve.level] += _odds(one)
    return [each for one in read for each in _of_curve(looked, one, others_odds=odds[one.curve.level] - _odds(one))]


def _odds(one: _Curve) -> float:
    return 0.0 if one.curve.order is None else one.way.odds


def _read(looked: Looked, curve: DistortionCurve) -> _Curve:
    calm = calm_rows(looked, curve.frequency_hz, orders=(1, curve.order or 1))
    parts = parts_of(curve, looked.response_hz, looked.response_db, calm=calm)
    gaps = {gap_for(anomaly.width_octaves) for anomaly in looked.anomalies} | {GAPS_OCTAVES[0]}
    of_gap = {gap: all_rises(curve, parts, gap_octaves=gap) for gap in gaps}
    return _Curve(curve=curve, parts=parts, of_gap=of_gap, way=way_of(curve, parts))


def _of_curve(looked: Looked, one: _Curve, *, others_odds: float) -> list[Finding]:
    curve, found = one.curve, []
    for anomaly in looked.anomalies:
        rises = one.of_gap[gap_for(anomaly.width_octaves)]
        for anomaly_at in sorted({1, curve.order or 1}):
            place_hz = anomaly.frequency_hz / anomaly_at
            split = split_at(curve, rises, place_hz)
            if split is None or not worth_weighing(split):
                continue
            way = way_of(curve, one.parts, away_from_hz=place_hz).together(others_odds)
            split = replace(split, way=way)
            judged = _judged(looked, curve, split, anomaly=anomaly, anomaly_at=anomaly_at)
            found += [judged] if judged is not None else []
    places_hz = [each.coincidence.frequency_hz for each in found if each.coincidence.cause not in OPEN_CAUSES]
    way = one.way.together(others_odds)
    return found + _alone(looked, one, way=way, places_hz=places_hz)


def _judged(
    looked: Looked, curve: DistortionCurve, split: Split, *, anomaly: Anomaly, anomaly_at: int
) -> Finding | None:
    """What rises at one anomaly; None where nothing does, or where its cause is not this anomaly."""
    weighed = cause_of_rise(split)
    if weighed is None:
        return None
    cause: Cause = weighed.cause
    if cause == "weak-fundamental" and not (anomaly_at == 1 and anomaly.kind == "dip"):
        return None
    if cause == "response-peak" and not (anomaly_at == curve.order and anomaly.kind == "peak"):
        return None
    if cause in ("weak-fundamental", "response-peak") and anomaly.elsewhere == "filled-in":
        cause = "room"
    made_db = source_db(split, weighed.alpha)
    evidence = Evidence(
        rise_db=split.raw_rise_db if cause == "noise" else split.rise_db,
        rise_uncertainty_db=1.96 * split.rise_scatter_db,
        fundamental_db=split.fundamental_db,
        way_out_db=None if curve.order is None else weighed.alpha * split.response_there_db,
        source_db=made_db,
        shared_way=split.way.found,
        margin_db=split.margin_db if np.isfinite(split.margin_db) else None,
        free_field_db=anomaly.elsewhere_db,
    )
    return finding(
        looked,
        curve,
        cause,
        evidence,
        frequency_hz=anomaly.frequency_hz / anomaly_at,
        strength=max(evidence.rise_db, made_db if cause == "made-here" else 0.0),
        anomaly=anomaly,
        anomaly_at=anomaly_at,
    )


def _alone(looked: Looked, one: _Curve, *, way: Way, places_hz: Sequence[float]) -> list[Finding]:
    """Rises that stand out of what the source makes, where nothing is decided yet; a sum of orders has none."""
    if one.curve.quantity == "thd":
        return []
    curve, rises = one.curve, one.of_gap[GAPS_OCTAVES[0]]
    f = curve.frequency_hz
    alpha = float(way.shared_probability >= SURE)
    made_db = rises.product_db - alpha * rises.there_db
    stands = (made_db >= LEAST_NAMED_DB) & (rises.fundamental_db < LEAST_NAMED_DB)  # else at a peak, or a corner
    prominence_db = np.where(stands, _least_prominence(looked, one, way), 0.0)
    for place_hz in places_hz:
        prominence_db = np.where(np.abs(np.log2(f / place_hz)) < ALONE_FROM_OTHERS_OCTAVES, 0.0, prominence_db)
    found = []
    while np.any(prominence_db > 0.0):
        row = int(np.argmax(prominence_db))
        anomaly, anomaly_at = _anomaly_near(looked, float(f[row]), curve.order or 1)
        evidence = Evidence(
            rise_db=float(rises.relative_db[row]),
            rise_uncertainty_db=1.96 * float(one.parts.roughness.raw_db[row]),
            fundamental_db=-float(rises.fundamental_db[row]),
            way_out_db=None if curve.order is None else alpha * float(rises.there_db[row]),
            source_db=float(made_db[row]),
            shared_way=way.found,
            margin_db=_finite(float(curve.relative_db[row] - curve.floor_db[row])),
        )
        found.append(
            finding(
                looked,
                curve,
                "made-here",
                evidence,
                frequency_hz=float(f[row]),
                strength=float(made_db[row]),
                anomaly=anomaly,
                anomaly_at=anomaly_at,
            )
        )
        prominence_db = np.where(np.abs(np.log2(f / f[row])) < ALONE_FROM_OTHERS_OCTAVES, 0.0, prominence_db)
    return found


def _anomaly_near(looked: Looked, frequency_hz: float, order: int) -> tuple[Anomaly | None, int]:
    """The dip or peak that half reaches n f or f, and n or 1; none: None and 1."""
    for factor in sorted({order, 1}, reverse=True):
        for anomaly in looked.anomalies:
            if anomaly.low_hz <= factor * frequency_hz <= anomaly.high_hz:
                return anomaly, factor
    return None, 1


def _least_prominence(looked: Looked, one: _Curve, way: Way) -> FloatArray:
    """Prominence `(rows,)` of the tops of what the source makes that stand out clearly; else 0.

    That is the product, or the product less its way out; both have to stand out where the way is not known.
    """
    curve, product_db = one.curve, one.parts.product_db
    valid = curve.frequency_hz >= looked.lowest_valid_hz
    usable, clear = valid & clear_rows(curve, by_db=READ_DB), valid & clear_rows(curve)
    shared = way.shared_probability
    candidates = [product_db] if shared < SURE else []
    candidates += [product_db - one.parts.there_db] if shared > 1.0 - SURE else []
    least_times = ALONE_TIMES if len(candidates) == 1 else ALONE_TIMES_EITHER_WAY
    beside = 2 * round(BESIDE_OCTAVES * rows_per_octave(curve.frequency_hz)) + 1
    smallest, own = np.full(product_db.size, np.inf), np.zeros(product_db.size)
    for values in candidates:
        prominence_db, times = standing_out(curve.frequency_hz, values, usable)
        own = np.where(clear & (prominence_db >= ALONE_DB) & (times >= least_times), prominence_db, 0.0)
        smallest = np.minimum(smallest, scipy.ndimage.maximum_filter1d(own, beside))
    return np.where(own > 0.0, smallest, 0.0)  # at the tops of the last: the product less its way out, if that counts


def _finite(value: float) -> float | None:
    return value if np.isfinite(value) else None
