"""The time windows that cut one order out of a deconvolved sweep.

With `gap(n) = L ln((n + 1) / n)`, the time between the arrivals of orders n + 1 and n, the window of order n opens
0.45 gap(n) before its arrival and closes 0.6 gap(n - 1) after it (order 1: 0.6 L ln 2), or at the time gate if that is
sooner. Both edges are raised cosines; between them the window is flat. In periods of the component that it measures it
is about as long for every order: at 20 Hz, in the default sweep, it opens 8 (order 1) to 11 periods (order 10) before
the arrival, and closes 11 (order 1) or 22 (order 2) to 16 periods (order 10) after it.
"""

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from distort.errors import AnalysisError
from signals.sweep import Sweep
from signals.tapers import rise

FloatArray = npt.NDArray[np.float64]

BEFORE_SHARE, AFTER_SHARE = 0.45, 0.6
RISE_SHARE, FALL_SHARE = 0.7, 0.5
"""Shares of the time before and after the arrival that the edges take."""

SHORTEST_GAP_S = 0.03
"""Orders closer together than this run into each other: a loudspeaker's own decay takes about as long."""


def gap_s(sweep: Sweep, order: int) -> float:
    """Seconds between the arrivals of order `order + 1` and `order`: `L ln((n + 1) / n)`; `L ln 2` for order 0."""
    return sweep.rate_s * math.log((order + 1) / order) if order > 0 else sweep.rate_s * math.log(2.0)


def most_orders(sweep: Sweep) -> int:
    """How many orders can be told apart in `sweep`; 0 when not even the fundamental stands alone."""
    return math.floor(1.0 / math.expm1(SHORTEST_GAP_S / sweep.rate_s))


def require_orders(sweep: Sweep, orders: int) -> None:
    """Raises AnalysisError when the sweep is too short to tell `orders` apart, and says how long a sweep would do."""
    if orders < 1:
        raise AnalysisError(f"at least one order must be asked for, not {orders}")
    if gap_s(sweep, orders) < SHORTEST_GAP_S:
        turns = math.ceil(sweep.start_hz * SHORTEST_GAP_S / math.log((orders + 1) / orders))  # f1 L stays whole
        needed_s = turns / sweep.start_hz * math.log(sweep.stop_hz / sweep.start_hz)
        raise AnalysisError(
            f"{orders} orders cannot be told apart in a sweep of {sweep.duration_s:.2f} s "
            f"(at most {most_orders(sweep)}): "
            f"play one of at least {math.ceil(10 * needed_s) / 10:.1f} s, or ask for fewer orders"
        )


@dataclass(frozen=True, kw_only=True)
class OrderWindow:
    """One window, in seconds before and after the arrival of its order."""

    order: int
    before_s: float
    after_s: float

    def at(self, time_s: FloatArray) -> FloatArray:
        """Its value, 0 to 1, at times relative to the arrival, elementwise."""
        opening = rise((time_s + self.before_s) / (RISE_SHARE * self.before_s))
        return np.asarray(opening * rise((self.after_s - time_s) / (FALL_SHARE * self.after_s)))


def order_window(sweep: Sweep, order: int, *, gate_s: float | None = None) -> OrderWindow:
    """The window of one order, closed `gate_s` after the arrival where that is sooner than its own end."""
    after_s = AFTER_SHARE * gap_s(sweep, order - 1)
    return OrderWindow(
        order=order,
        before_s=BEFORE_SHARE * gap_s(sweep, order),
        after_s=after_s if gate_s is None else min(after_s, gate_s),
    )


@lru_cache(maxsize=256)
def window_samples(window: OrderWindow, sample_rate: int) -> tuple[int, FloatArray]:
    """Samples before the arrival, and the window's values on whole samples; kept, every recording has the same ones.

    The arrival is taken as a whole sample: half a sample does not matter to edges of hundreds of them.
    """
    before, after = math.ceil(window.before_s * sample_rate), math.ceil(window.after_s * sample_rate)
    shape = window.at(np.arange(-before, after + 1) / sample_rate)
    shape.setflags(write=False)
    return before, shape


@lru_cache(maxsize=256)
def window_energy(window: OrderWindow, sample_rate: int) -> float:
    """Sum of the squared window, in samples."""
    return float(np.sum(np.square(window_samples(window, sample_rate)[1])))


@dataclass(frozen=True, kw_only=True)
class Cut:
    """A windowed piece of an impulse response, `(samples,)`."""

    samples: FloatArray
    first_s: float
    """Time of the first sample, seconds from the arrival (negative: before it), fractions of a sample included."""


def cut(impulse: FloatArray, window: OrderWindow, *, arrival: float, sample_rate: int) -> Cut:
    """Cut `window` out of a circular `impulse` about `arrival` (samples, may be negative and fractional)."""
    before, shape = window_samples(window, sample_rate)
    first = round(arrival) - before
    start = first % impulse.size
    if start + shape.size <= impulse.size:
        piece = impulse[start : start + shape.size] * shape
    else:
        piece = np.take(impulse, np.arange(start, start + shape.size), mode="wrap") * shape
    return Cut(samples=piece, first_s=(first - arrival) / sample_rate)
