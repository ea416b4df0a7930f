"""Where a distortion curve rises: at an anomaly, where n f meets one, or alone."""

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from distort.analysis.coincidences.causes import cause_of_rise, source_db
from distort.analysis.coincidences.contrast import GAPS_OCTAVES, gap_for
from distort.analysis.coincidences.faults import Anomaly, Cause, Evidence
from distort.analysis.coincidences.looked_at import Finding, Looked, calm_rows, finding
from distort.analysis.coincidences.split import (
    CLEAR_DB,
    DistortionCurve,
    Parts,
    Rises,
    Split,
    all_rises,
    parts_of,
    split_at,
)
from distort.analysis.coincidences.trend import detrended

FloatArray = npt.NDArray[np.float64]

LEAST_ROWS = 16

ALONE_SCATTERS = 5.0
ALONE_DB = 4.0
"""A rise without an anomaly must stand out further: nothing else speaks for it."""

ALONE_FROM_OTHERS_OCTAVES = 1.0 / 3.0


def distortion_rises(looked: Looked, curve: DistortionCurve) -> list[Finding]:
    """All rises of one curve with their causes; several may lie at one place."""
    if np.sum(np.isfinite(curve.relative_db)) < LEAST_ROWS:
        return []
    calm = calm_rows(looked, curve.frequency_hz, orders=(1, curve.order or 1))
    parts = parts_of(curve, looked.response_hz, looked.response_db, calm=calm)
    of_gap = {
        gap: all_rises(curve, parts, gap_octaves=gap)
        for gap in {gap_for(anomaly.width_octaves) for anomaly in looked.anomalies} | {GAPS_OCTAVES[0]}
    }
    found = []
    for anomaly in looked.anomalies:
        rises = of_gap[gap_for(anomaly.width_octaves)]
        for anomaly_at in sorted({1, curve.order or 1}):
            split = split_at(curve, rises, anomaly.frequency_hz / anomaly_at)
            if split is None:
                continue
            one = _judged(looked, curve, split, anomaly=anomaly, anomaly_at=anomaly_at)
            found += [one] if one is not None else []
    places_hz = [one.coincidence.frequency_hz for one in found]
    return found + _alone(looked, curve, parts, rises=of_gap[GAPS_OCTAVES[0]], places_hz=places_hz)


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


def _alone(
    looked: Looked, curve: DistortionCurve, parts: Parts, *, rises: Rises, places_hz: Sequence[float]
) -> list[Finding]:
    """Rises that the source makes where no anomaly is near, neither at f nor at n f."""
    f, made = curve.frequency_hz, rises.product_db
    clear = ~(curve.relative_db < curve.floor_db + CLEAR_DB) & np.isfinite(made) & (f >= looked.lowest_valid_hz)
    if not np.any(clear):
        return []
    standing = np.where(clear, _least_standing(curve, parts), 0.0)
    for place_hz in places_hz:
        standing = np.where(np.abs(np.log2(f / place_hz)) < ALONE_FROM_OTHERS_OCTAVES, 0.0, standing)
    found = []
    while np.any(standing > 0.0):
        row = int(np.argmax(standing))
        evidence = Evidence(
            rise_db=float(rises.relative_db[row]),
            rise_uncertainty_db=1.96 * float(parts.roughness.raw_db[row]),
            fundamental_db=-float(rises.fundamental_db[row]),
            source_db=float(made[row]),
            margin_db=_finite(float(curve.relative_db[row] - curve.floor_db[row])),
        )
        found.append(
            finding(
                looked,
                curve,
                "made-here",
                evidence,
                frequency_hz=float(f[row]),
                strength=float(standing[row]),
                anomaly=None,
            )
        )
        standing = np.where(np.abs(np.log2(f / f[row])) < ALONE_FROM_OTHERS_OCTAVES, 0.0, standing)
    return found


def _least_standing(curve: DistortionCurve, parts: Parts) -> FloatArray:
    """How far the curve stands out of its trend where reading, product and product less the way out all do; else 0.

    A dip of the fundamental, or a peak at n f, is no rise alone.
    """
    f = curve.frequency_hz
    smallest = np.full(f.size, np.inf)
    for values in (curve.relative_db, parts.product_db, parts.product_db - parts.there_db):
        if not np.any(smallest):
            break
        against = detrended(f, values)
        enough = against.deviation_db >= np.maximum(ALONE_DB, ALONE_SCATTERS * against.scatter_db)
        smallest = np.minimum(smallest, np.where(enough, against.deviation_db, 0.0))
    return smallest


def _finite(value: float) -> float | None:
    return value if np.isfinite(value) else None
