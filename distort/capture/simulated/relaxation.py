"""Waveform relaxation: the whole signal at once, pass after pass, until nothing moves."""

from collections.abc import Callable

import numpy as np
import numpy.typing as npt

from distort.errors import RecordingError

FloatArray = npt.NDArray[np.float64]

MEMORY = 4
"""How many earlier passes the extrapolation looks back to."""


def not_settled(detail: str) -> RecordingError:
    """The error of a woofer that finds no motion for its drive."""
    return RecordingError(
        f"the simulated woofer did not settle ({detail}): it is driven far beyond what it can do; lower the drive"
    )


def settle(
    one_pass: Callable[[FloatArray], FloatArray], start: FloatArray, *, scale: FloatArray, tolerance: float, passes: int
) -> FloatArray:
    """Solve `w = one_pass(w)`, `w` of shape `(rows, n)`, from `start`.

    The change of each pass is extrapolated over the last few passes (Anderson mixing: the combination of them whose
    residual is least; D. G. Anderson, J. ACM 12, 1965), which also tames what plain repetition would drive apart.
    `scale` `(rows,)` weighs the rows. Settled when no value changes by more than `tolerance` times its row's scale.
    Raises RecordingError when that is not reached within `passes`.
    """
    point = start
    points: list[FloatArray] = []
    residuals: list[FloatArray] = []
    change = np.inf
    for _ in range(passes):
        residual = one_pass(point) - point
        change = float(np.max(np.max(np.abs(residual), axis=1) / scale))
        if change <= tolerance:
            return np.asarray(point + residual)
        if not np.isfinite(change):
            break
        points = [*points[-MEMORY:], point]
        residuals = [*residuals[-MEMORY:], residual]
        point = _extrapolated(points, residuals, scale)
    raise not_settled(f"last change {change:.1e} of its range")


def _extrapolated(points: list[FloatArray], residuals: list[FloatArray], scale: FloatArray) -> FloatArray:
    """The next point from the last `(rows, n)` points and their residuals, newest last."""
    newest = residuals[-1]
    if len(points) == 1:
        return np.asarray(points[-1] + newest)
    weights = 1.0 / scale**2
    steps = [newest - residual for residual in residuals[:-1]]
    count = len(steps)
    normal = np.empty((count, count))
    right = np.empty(count)
    for row in range(count):
        right[row] = _inner(steps[row], newest, weights)
        for column in range(row + 1):
            normal[row, column] = normal[column, row] = _inner(steps[row], steps[column], weights)
    shares = np.linalg.lstsq(normal, right, rcond=1e-12)[0]  # steps may be parallel
    following = points[-1] + newest
    for share, point, residual in zip(shares, points[:-1], residuals[:-1], strict=True):
        following = following - share * ((points[-1] + newest) - (point + residual))
    return np.asarray(following)


def _inner(first: FloatArray, second: FloatArray, weights: FloatArray) -> float:
    return float(np.einsum("ij,ij,i->", first, second, weights))
