"""How far a curve stands out at every row against its flanks, and how far it does so elsewhere, by ripple alone.

    contrast = median of the core - value at the centre of the line through the medians of both flanks

A median gives way to a neighbour that fills less than half of a flank; where either flank has too few readings (the end
of a band, of an order, of the noise) there is no contrast, and nothing is said.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from distort.analysis.anomalies.trend import rows_per_octave

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

GAPS_OCTAVES = (0.15, 0.3, 0.55)
"""Flanks begin this far from the centre: for narrow, ordinary and broad places."""

FLANK_OCTAVES = 0.5
"""And reach so much further."""

LEAST_FLANK_ROWS = 5
"""On either side: half of what a flank of the grid holds, nearly."""

SCATTER_OCTAVES = 2.0
"""Reach of the scatter either side; ripple changes along the axis."""

OWN_OCTAVES = 0.6
"""Rows this near have the place in their core or in most of a flank."""

LEAST_SCATTER_ROWS = 10
"""Fewer on a side say nothing of a scatter."""

ONE_SIDED = 1.3
"""Own choice: of one side alone nobody knows which way the ripple grows."""

COUNTED_SHARE, NORMAL_AT_COUNTED = 0.7, 1.036
"""The median would take a curve with a few tall tops for a calm one, a standard deviation the tops for ripple."""

LEAST_SCATTER_DB = 0.35
"""No order of a room is calmer than this between its places (own choice: keeps a smooth curve from making much of
little)."""


def gap_for(width_octaves: float) -> float:
    """Which gap suits something that wide at half of its height: the flanks must lie beyond it."""
    return min(GAPS_OCTAVES, key=lambda gap: abs(gap - 0.9 * width_octaves))


@dataclass(frozen=True, kw_only=True, eq=False)
class Flanks:
    """Core and flanks of every window, `(curves, rows)` each; NaN where there are too few readings."""

    centre_db: FloatArray
    left_db: FloatArray
    right_db: FloatArray
    line_db: FloatArray
    """Of the line through both flanks, at the centre."""

    @property
    def contrast_db(self) -> FloatArray:
        """Centre less line."""
        return np.asarray(self.centre_db - self.line_db)

    @property
    def beyond_both_db(self) -> FloatArray:
        """How far the centre lies beyond both flanks, signed; 0 where it lies between them, as on a step or a knee."""
        above = self.centre_db - np.maximum(self.left_db, self.right_db)
        below = self.centre_db - np.minimum(self.left_db, self.right_db)
        return np.where(above > 0.0, above, np.where(below < 0.0, below, 0.0 * above))


def flanks(frequency_hz: FloatArray, curves_db: FloatArray, *, gap_octaves: float) -> Flanks:
    """Core and flanks of `curves_db` `(curves, rows)`, rows evenly spaced in log frequency."""
    per_octave = rows_per_octave(frequency_hz)
    near = max(round(gap_octaves * per_octave), 2)
    far = near + max(round(FLANK_OCTAVES * per_octave), LEAST_FLANK_ROWS)
    core = 1 if gap_octaves * per_octave >= 3.0 else 0
    padded = np.pad(curves_db, ((0, 0), (far, far)), constant_values=np.nan)
    around = np.lib.stride_tricks.sliding_window_view(padded, 2 * far + 1, axis=1)
    place = np.arange(-far, far + 1)
    left_at, left_db = _median(around, place, place <= -near)
    right_at, right_db = _median(around, place, place >= near)
    _, centre_db = _median(around, place, np.abs(place) <= core, least=1)
    with np.errstate(invalid="ignore", divide="ignore"):
        line_db = (left_db * right_at - right_db * left_at) / (right_at - left_at)
    centre_db = np.where(np.isfinite(curves_db), centre_db, np.nan)
    return Flanks(centre_db=centre_db, left_db=left_db, right_db=right_db, line_db=line_db)


def contrasts(frequency_hz: FloatArray, curves_db: FloatArray, *, gap_octaves: float) -> FloatArray:
    """Contrasts `(curves, rows)` of `curves_db` of that shape."""
    return flanks(frequency_hz, curves_db, gap_octaves=gap_octaves).contrast_db


def _median(
    around: FloatArray, place: npt.NDArray[np.int64], rows: BoolArray, *, least: int = LEAST_FLANK_ROWS
) -> tuple[FloatArray, FloatArray]:
    """Mean place and median value of the readings among some rows of each window; NaN for fewer than `least`."""
    values = around[..., rows]
    known = np.isfinite(values)
    count = np.sum(known, axis=-1)
    ordered = np.sort(values, axis=-1)  # NaN are sorted last
    middle = np.maximum(count - 1, 0)
    low, high = (
        np.take_along_axis(ordered, each[..., None], axis=-1)[..., 0] for each in (middle // 2, (middle + 1) // 2)
    )
    enough = count >= least
    at = np.sum(known * place[rows], axis=-1) / np.maximum(count, 1)
    return at, np.where(enough, 0.5 * (low + high), np.nan)


def ripple_at(
    frequency_hz: FloatArray, contrast_db: FloatArray, row: int, *, calm: BoolArray, least_db: float = LEAST_SCATTER_DB
) -> FloatArray:
    """Standard deviation of contrasts `(..., rows)` by ripple at `row`, `(...)`: between those of the calm rows below
    it and above it.

    calm   rows at no listed place; too few of them on a side: all count there

    Ripple grows towards one end of the axis or the other, so both sides count alike, in dB of their own: the geometric
    mean. Where one side has no rows, the other stands for both, and counts for more; infinity where both have none.
    """
    octaves = np.log2(frequency_hz / frequency_hz[row])
    below, above = (
        _side_db(contrast_db[..., near], calm[near], least_db)
        for near in ((sign * octaves >= OWN_OCTAVES) & (sign * octaves <= SCATTER_OCTAVES) for sign in (-1.0, 1.0))
    )
    both = np.isfinite(below) & np.isfinite(above)
    return np.where(both, np.sqrt(below * above), ONE_SIDED * np.minimum(below, above))


def _side_db(contrast_db: FloatArray, calm: BoolArray, least_db: float) -> FloatArray:
    """The deviation on one side, `(...)` of `(..., rows)`; infinity where too few rows are known."""
    counted = _counted(contrast_db, calm)
    enough = counted.sum(axis=-1) >= LEAST_SCATTER_ROWS
    if not enough.any():
        return np.full(enough.shape, np.inf)
    return np.where(enough, np.maximum(least_db, _deviation_db(contrast_db, counted)), np.inf)


def _counted(contrast_db: FloatArray, calm: BoolArray) -> BoolArray:
    """Which rows count of each curve: the calm ones, or all where too few of them are known."""
    known = np.isfinite(contrast_db)
    enough = (known & calm).sum(axis=-1) >= LEAST_SCATTER_ROWS
    return np.asarray(known & (calm | ~enough[..., np.newaxis]))


def _deviation_db(contrast_db: FloatArray, counted: BoolArray) -> FloatArray:
    """Standard deviation of a normal variable that keeps seven in ten as near to 0 as these, `(...)` of
    `(..., rows)`."""
    ordered = np.sort(np.where(counted, np.abs(contrast_db), np.inf), axis=-1)
    place = (COUNTED_SHARE * np.maximum(counted.sum(axis=-1) - 1, 0)).astype(np.int64)
    kept_db = ordered.reshape(-1, ordered.shape[-1])[np.arange(place.size), place.ravel()]
    return np.asarray(kept_db.reshape(place.shape) / NORMAL_AT_COUNTED)


def ripple_db(frequency_hz: FloatArray, contrast_db: FloatArray, *, calm: BoolArray, least_db: float) -> FloatArray:
    """The same at every row, from all calm rows of the curve, `(rows,)`."""
    counted = _counted(contrast_db, calm)
    if not np.any(counted):
        return np.full_like(contrast_db, np.inf)
    return np.full_like(contrast_db, max(least_db, float(_deviation_db(contrast_db, counted))))
