"""The 95 % interval of an order: how far the steady answer may lie from the reading.

The steady answer is what tones that stand for long would read, averaged in power over the smoothing's width. With

    e    reading less steady answer, dB
    g    what the windows are known to add, and v what noise, leak and takes scatter (`window_errors`), dB and dB^2
    b    D_n of the short sweep less D_n of the long one, less what the windows of both are known to add
    v'   what noise, leak and takes scatter in the short sweep
    k    share of b that is the long sweep's: the error of a sweep's speed falls as 1/L, so k = L' / (L - L')
    t    mean square, over a quarter of an octave to either side, of what b holds beyond v + v': the speed's part

b is the speed's part s / k, and the scatter of both sweeps; e is g + s + the scatter of the long one. So, of normal
variables (conditional mean and variance, as any textbook of statistics has them):

    m = g + b (k t - v) / (t + v + v')
    u = k^2 t + v - (k t - v)^2 / (t + v + v') + (SPEED_UNSURE k b t / (t + v + v'))^2 + (GATE_UNSURE g)^2

Without a short sweep m = g and u = v + (GATE_UNSURE g)^2: the speed is then not in the interval.
The reading is not moved by m. The half-width h is what holds 95 % of a normal variable of mean m and variance u:

    Phi((h - m) / sqrt(u)) - Phi((-h - m) / sqrt(u)) = 0.95

Own; checked in the tests against steady answers that are known (tests/test_intervals.py).
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
import scipy

from distort.analysis.common.curves import Harmonics
from distort.analysis.common.statistics import ONE_SIDED_95, TWO_SIDED_95
from distort.analysis.sweep.window_errors import OrderErrors, mean_nearby

FloatArray = npt.NDArray[np.float64]

SPEED_UNSURE = 0.15
"""Share of the speed's part that its own second order moves: found where nothing else moves a reading, between 60 Hz
and 3 kHz, on filters of Q up to 3 before a curve; a larger one makes wider intervals near resonances."""

GATE_UNSURE = 0.3
"""Share of what the windows are known to add that is not sure: an order need not be spread over the smoothing's width
as the fundamental is. Half or twice of it moves no share of intervals that hold by more than a hundredth."""


@dataclass(frozen=True, kw_only=True)
class ShortSweep:
    """What a second, shorter sweep at the same drive says of orders 2 ... of the long one."""

    difference_db: Sequence[FloatArray]
    """Each order re its fundamental, short less long, `(rows,)`; NaN where the short sweep has none."""
    errors: Sequence[OrderErrors]
    part: float
    """k of the module's formulas."""


def with_intervals(found: Harmonics, errors: Sequence[OrderErrors], short: ShortSweep | None) -> Harmonics:
    """`found` with the interval of every order; where the noise is not known it stays NaN.

    errors   of orders 2 ... N
    short    may hold fewer orders; None: no short sweep was played
    """
    totals = []
    for place, own in enumerate(errors):
        total = replace(own, variance=own.variance + own.later_variance + np.square(GATE_UNSURE * own.shift_db))
        if short is not None and place < len(short.errors):
            total = _with_speed(own, total, short.errors[place], short.difference_db[place], part=short.part)
        totals.append(total)
    if not totals:
        return found
    widths_db = half_width_db(np.array([one.shift_db for one in totals]), np.array([one.variance for one in totals]))
    orders = zip(found.orders, widths_db, strict=True)
    return replace(found, orders=tuple(replace(order, uncertainty_db=width_db) for order, width_db in orders))


def _with_speed(
    own: OrderErrors, total: OrderErrors, short: OrderErrors, difference_db: FloatArray, *, part: float
) -> OrderErrors:
    """`total` with what the short sweep says of the sweep's speed, where it says anything."""
    bias_db = difference_db - (short.shift_db - own.shift_db)
    scatter = own.variance + short.variance
    speed = np.maximum(mean_nearby(np.square(bias_db) - scatter), 0.0)
    whole = speed + scatter
    with np.errstate(invalid="ignore", divide="ignore"):
        gain = np.where(whole > 0, (part * speed - own.variance) / whole, 0.0)
        unsure_db = np.where(whole > 0, SPEED_UNSURE * part * bias_db * speed / whole, 0.0)
    variance = total.variance + part**2 * speed - np.square(gain) * whole
    known = np.isfinite(bias_db) & np.isfinite(variance)
    return replace(
        total,
        shift_db=np.where(known, total.shift_db + gain * bias_db, total.shift_db),
        variance=np.where(known, np.maximum(variance, 0.0) + np.square(unsure_db), total.variance),
    )


def half_width_db(shift_db: FloatArray, variance: FloatArray) -> FloatArray:
    """Half-width h about 0 that holds 95 % of a normal variable of mean `shift_db`, elementwise; NaN for NaN.

    It lies between |m| + 1.64 s and |m| + 1.96 s (one tail, two tails): bisected there.
    """
    mean, deviation = np.abs(shift_db), np.sqrt(variance)
    low, high = mean + ONE_SIDED_95 * deviation, mean + TWO_SIDED_95 * deviation
    scale = np.where(deviation > 0, deviation, 1.0)
    for _ in range(20):  # to a millionth of the deviation
        middle = 0.5 * (low + high)
        held = scipy.special.ndtr((middle - mean) / scale) - scipy.special.ndtr((-middle - mean) / scale)
        low, high = np.where(held < 0.95, middle, low), np.where(held < 0.95, high, middle)
    return np.asarray(0.5 * (low + high))
