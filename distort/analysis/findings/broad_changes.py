"""Bands in which the output as a whole falls short of the drive, or leads it."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from distort.analysis.common.statistics import TWO_SIDED_95
from distort.analysis.findings.evidence import ChangeCurve
from distort.analysis.findings.local_changes import CALMEST_DB, LocalChange

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

LEAST_CHANGE_DB = 0.5
LEAST_SPREADS = 4.0
LEAST_OCTAVES = 1.0 / 3.0

JOINED_OCTAVES = 0.5
"""Stretches nearer to each other are one, as are those between which only a place of the same sign lies."""


@dataclass(frozen=True, kw_only=True, eq=False)
class BroadChange:
    """A stretch of the axis whose change is of one sign."""

    curve: ChangeCurve
    """Of the level that shows it most."""
    low_hz: float
    high_hz: float
    row: int
    """Where the change is largest."""
    from_level_db_spl: float
    """The lowest level that shows it there beyond its interval."""

    @property
    def change_db(self) -> float:
        """The largest, as the table has it."""
        return float(self.curve.change_db[self.row])

    @property
    def interval_db(self) -> float:
        """Half-width of its 95 % interval: noise, and how well two runs agree, which no loudspeaker does better."""
        return float(np.hypot(self.curve.uncertainty_db[self.row], TWO_SIDED_95 * CALMEST_DB))

    @property
    def frequency_hz(self) -> float:
        """Where it is largest."""
        return float(self.curve.frequency_hz[self.row])


def broad_changes(
    changes: Sequence[ChangeCurve], local: Sequence[LocalChange], *, lowest_valid_hz: float
) -> list[BroadChange]:
    """All of them, of one stimulus; one a stretch, at the level that shows it most."""
    found: list[BroadChange] = []
    for curve in sorted(changes, key=lambda each: -each.level_db_spl):
        for sign in (-1.0, 1.0):
            for low_hz, high_hz, row in _stretches(curve, sign, local, lowest_valid_hz):
                if any(_overlap(one, low_hz, high_hz) and sign * one.change_db > 0.0 for one in found):
                    continue
                from_level = _lowest_level(changes, float(curve.frequency_hz[row]), sign)
                found.append(
                    BroadChange(curve=curve, low_hz=low_hz, high_hz=high_hz, row=row, from_level_db_spl=from_level)
                )
    return found


def _stretches(
    curve: ChangeCurve, sign: float, local: Sequence[LocalChange], lowest_valid_hz: float
) -> list[tuple[float, float, int]]:
    """Ends in Hz and the row of the largest change."""
    f, sigma_db = curve.frequency_hz, curve.uncertainty_db / TWO_SIDED_95
    with np.errstate(invalid="ignore"):
        large = sign * curve.change_db >= np.maximum(LEAST_CHANGE_DB, LEAST_SPREADS * sigma_db)
    large &= f >= lowest_valid_hz
    of_places = np.zeros(f.size, dtype=np.bool_)
    for one in local:
        of_places |= (f >= one.low_hz) & (f <= one.high_hz) & (sign * one.excess_db > 0.0)
    large &= ~of_places
    edges = np.flatnonzero(np.diff(np.concatenate([[False], large, [False]]).astype(np.int8)))
    runs = [[int(first), int(end) - 1] for first, end in zip(edges[::2], edges[1::2], strict=True)]
    joined: list[list[int]] = []
    for run in runs:
        if joined and _is_one(f, of_places, joined[-1][1], run[0]):
            joined[-1][1] = run[1]
        else:
            joined.append(run)
    found = []
    for first, last in joined:
        if np.log2(f[last] / f[first]) < LEAST_OCTAVES:
            continue
        rows = np.arange(first, last + 1)
        rows = rows[np.isfinite(sigma_db[rows])]  # places within it as well: "up to" is said of all of it
        found.append((float(f[first]), float(f[last]), int(rows[np.argmax(sign * curve.change_db[rows])])))
    return found


def _is_one(frequency_hz: FloatArray, of_places: BoolArray, last: int, first: int) -> bool:
    """Whether the stretch that ends at row `last` goes on with the one that begins at row `first`."""
    near = np.log2(frequency_hz[first] / frequency_hz[last]) < JOINED_OCTAVES
    return bool(near or np.all(of_places[last + 1 : first]))


def _overlap(one: BroadChange, low_hz: float, high_hz: float) -> bool:
    return low_hz <= one.high_hz and high_hz >= one.low_hz


def _lowest_level(changes: Sequence[ChangeCurve], at_hz: float, sign: float) -> float:
    shows = []
    for one in changes:
        row = int(np.argmin(np.abs(np.log(one.frequency_hz / at_hz))))
        if sign * one.change_db[row] > max(0.1, float(np.nan_to_num(one.uncertainty_db[row], nan=np.inf))):
            shows.append(one.level_db_spl)
    return min(shows)
