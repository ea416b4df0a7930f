"""How far both sides rise at the place of a fault that only one of them lists.

What is listed must clear a limit, so a fault may drop off a list by a hair; the curves tell more.
"""

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from distort.analysis.anomalies.anomaly import Anomaly
from distort.analysis.anomalies.contrast import gap_for, rises
from distort.analysis.common.quantities import RESPONSE, Quantity, from_findings
from distort.analysis.comparison.significance import NARROW_OCTAVES, Curve
from distort.analysis.findings.finding import Finding

FloatArray = npt.NDArray[np.float64]

NEAR_OCTAVES = 1.0 / 6.0
"""A reading further away than half of the widest band that is compared says nothing about a place."""

Sides = tuple[Sequence[Curve], Sequence[Curve]]
"""Curves of A and of B, under the same levels."""


def at_anomaly(sides: Sides, anomaly: Anomaly) -> tuple[float, float] | None:
    """How far both responses rise at a dip or peak, dB, at the lowest level that both have; None: not to be read."""
    of_a, of_b = ({one.level_db_spl for one in side if one.quantity == RESPONSE} for side in sides)
    if not of_a & of_b:
        return None
    return _rises(sides, RESPONSE, min(of_a & of_b), anomaly.frequency_hz, gap_octaves=gap_for(anomaly.width_octaves))


def at_finding(sides: Sides, finding: Finding) -> tuple[float, float] | None:
    """How far the quantity of its leading row rises at a finding in A and in B, dB; None: not to be read.

    A broad change is stated as it is, and not against flanks.
    """
    row = finding.leading_row
    if row is None:
        return None
    quantity = from_findings(row.quantity)
    place = (quantity, row.level_db_spl, row.frequency_hz)
    if quantity.name == "change" and finding.broad:
        return _values(sides, *place)
    octaves = float(np.log2(finding.places[0].high_hz / finding.places[0].low_hz))
    return _rises(sides, *place, gap_octaves=gap_for(octaves))


def _finest(curves: Sequence[Curve], quantity: Quantity, level_db_spl: float) -> Curve | None:
    """The one in the narrowest bands."""
    found = [one for one in curves if (one.quantity, one.level_db_spl) == (quantity, level_db_spl)]
    return min(found, key=lambda one: one.octaves, default=None)


def _both(sides: Sides, quantity: Quantity, level_db_spl: float) -> tuple[FloatArray, FloatArray, float] | None:
    """Rows in Hz, clear readings `(2, rows)`, and the width of their bands in octaves."""
    a, b = (_finest(curves, quantity, level_db_spl) for curves in sides)
    if a is None or b is None or a.octaves != b.octaves:
        return None
    return a.frequency_hz, np.array([np.where(one.clear, one.value_db, np.nan) for one in (a, b)]), a.octaves


def _rises(
    sides: Sides, quantity: Quantity, level_db_spl: float, frequency_hz: float, *, gap_octaves: float
) -> tuple[float, float] | None:
    both = _both(sides, quantity, level_db_spl)
    if both is None or both[2] > NARROW_OCTAVES:  # third octaves do not show what is narrow
        return None
    rows_hz, values_db, _ = both
    a_db, b_db = rises(rows_hz, values_db, gap_octaves=gap_octaves)[:, _nearest(rows_hz, frequency_hz)]
    return (float(a_db), float(b_db)) if np.isfinite(a_db) else None  # rises of both are known, or of neither


def _values(sides: Sides, quantity: Quantity, level_db_spl: float, frequency_hz: float) -> tuple[float, float] | None:
    both = _both(sides, quantity, level_db_spl)
    if both is None:
        return None
    known = np.all(np.isfinite(both[1]), axis=0)
    rows_hz, values_db = both[0][known], both[1][:, known]
    if rows_hz.size == 0:
        return None
    row = _nearest(rows_hz, frequency_hz)
    if abs(np.log2(rows_hz[row] / frequency_hz)) > NEAR_OCTAVES:
        return None
    return float(values_db[0, row]), float(values_db[1, row])


def _nearest(rows_hz: FloatArray, frequency_hz: float) -> int:
    return int(np.argmin(np.abs(np.log(rows_hz / frequency_hz))))
