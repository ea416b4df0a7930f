"""Where the change with level stands out of its own neighbourhood, beyond its interval."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from distort.analysis.anomalies.trend import rows_per_octave
from distort.analysis.common.statistics import TWO_SIDED_95
from distort.analysis.findings.contrasts import GAPS_OCTAVES, flanks, ripple_db
from distort.analysis.findings.evidence import ChangeCurve

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

LEAST_CHANGE_DB = 0.2
"""A smaller one is not listed: nobody could tell it from how well two runs agree (own choice)."""

LEAST_SPREADS = 5.0
"""Of 300 sessions, each with four levels of 240 rows, under one reaches this by noise that is normal."""

CALMEST_DB = 0.03
"""Two runs never agree better than this between neighbouring rows (own choice)."""

LEAST_ROWS_PER_OCTAVE = 8.0
"""Coarser rows step over a dip and show its flanks."""

APART_OCTAVES = 1.0 / 4.0

MOST_OCTAVES = 0.8
"""Wider is no place but a band."""


@dataclass(frozen=True, kw_only=True, eq=False)
class LocalChange:
    """One place where the change stands out."""

    curve: ChangeCurve
    """Of the level at which it stands out most clearly."""
    row: int
    excess_db: float
    """Beyond both flanks."""
    sigma_db: float
    low_hz: float
    high_hz: float
    """Where half of the excess is left."""

    @property
    def frequency_hz(self) -> float:
        """Of the row."""
        return float(self.curve.frequency_hz[self.row])

    @property
    def change_db(self) -> float:
        """The change itself, as its table has it."""
        return float(self.curve.change_db[self.row])

    @property
    def flank_db(self) -> float:
        """The change beside the place."""
        return self.change_db - self.excess_db

    @property
    def interval_db(self) -> float:
        """Half-width of the 95 % interval of the excess."""
        return TWO_SIDED_95 * self.sigma_db


@dataclass(frozen=True, kw_only=True, eq=False)
class _Excess:
    """Of one curve and gap, `(rows,)`."""

    curve: ChangeCurve
    excess_db: FloatArray
    sigma_db: FloatArray


def local_changes(changes: Sequence[ChangeCurve], *, lowest_valid_hz: float) -> list[LocalChange]:
    """All places, the clearest first; each once, at the level and gap that show it best."""
    found: list[LocalChange] = []
    for curve in changes:
        if rows_per_octave(curve.frequency_hz) < LEAST_ROWS_PER_OCTAVE:
            continue
        for gap in GAPS_OCTAVES:
            found += _of_curve(_excess(curve, gap), lowest_valid_hz)
    kept: list[LocalChange] = []
    for one in sorted(found, key=lambda each: -abs(each.excess_db) / each.sigma_db**0.5):
        if not any(_one_place(one, other) for other in kept):
            kept.append(one)
    return kept


def _one_place(one: LocalChange, other: LocalChange) -> bool:
    """Whether they are near, or of one sign and the centre of one lies within the other: what stands out at one level
    about 47 Hz and a level higher about 60 Hz is one place that moves."""
    if abs(np.log2(one.frequency_hz / other.frequency_hz)) < APART_OCTAVES:
        return True
    within = one.low_hz <= other.frequency_hz <= one.high_hz or other.low_hz <= one.frequency_hz <= other.high_hz
    return bool(within and one.excess_db * other.excess_db > 0.0)


def _excess(curve: ChangeCurve, gap_octaves: float) -> _Excess:
    f = curve.frequency_hz
    stack = np.array([curve.change_db, curve.change_db + curve.bias_db])
    both = flanks(f, stack, gap_octaves=gap_octaves)
    excess_db = both.beyond_both_db[0]
    calm: BoolArray = np.abs(np.nan_to_num(both.contrast_db[0])) < LEAST_CHANGE_DB
    ripple = ripple_db(f, both.contrast_db[0], calm=calm, least_db=CALMEST_DB)
    speed = 0.5 * np.nan_to_num(both.contrast_db[1] - both.contrast_db[0])
    sigma_db = np.sqrt(ripple**2 + (np.nan_to_num(curve.uncertainty_db) / TWO_SIDED_95) ** 2 + speed**2)
    unknown = ~np.isfinite(curve.uncertainty_db)  # without a noise floor nothing says what the scatter is
    return _Excess(curve=curve, excess_db=np.where(unknown, np.nan, excess_db), sigma_db=sigma_db)


def _of_curve(found: _Excess, lowest_valid_hz: float) -> list[LocalChange]:
    f, size = found.curve.frequency_hz, np.nan_to_num(np.abs(found.excess_db))
    clear = (size >= np.maximum(LEAST_CHANGE_DB, LEAST_SPREADS * found.sigma_db)) & (f >= lowest_valid_hz)
    places = []
    for row in map(int, np.flatnonzero(clear)):
        if size[row] < max(size[row - 1], size[row + 1]):  # beside an end of the axis there are no flanks, so no excess
            continue
        low_hz, high_hz = _half(found.curve, row, float(found.excess_db[row]))
        if np.log2(high_hz / low_hz) > MOST_OCTAVES:
            continue
        places.append(
            LocalChange(
                curve=found.curve,
                row=row,
                excess_db=float(found.excess_db[row]),
                sigma_db=float(found.sigma_db[row]),
                low_hz=low_hz,
                high_hz=high_hz,
            )
        )
    return places


def _half(curve: ChangeCurve, row: int, excess_db: float) -> tuple[float, float]:
    """Where half of the excess is left on either side."""
    f, gone = curve.frequency_hz, np.sign(excess_db) * (curve.change_db[row] - curve.change_db) > 0.5 * abs(excess_db)
    below, above = np.flatnonzero(gone[:row]), np.flatnonzero(gone[row:])
    low = int(below[-1]) if below.size else 0
    high = row + int(above[0]) if above.size else f.size - 1
    return float(f[low]), float(f[high])
