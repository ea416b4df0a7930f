"""What a recording of a sweep holds beyond its tenth order: the part of the impulse response before it.

Order n arrives `L ln n` before the fundamental, so what sounded at the frequency nu while the sweep passed f stands at
`-L ln(nu / f)`: all that comes before `-L ln 10.5` lies higher than 10.5 f, whatever f is.
"""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from distort.analysis.sweep.deconvolution import Deconvolved
from signals.sweep import Sweep
from signals.tapers import rise

FloatArray = npt.NDArray[np.float64]

BEYOND_ORDER, EDGE = 10.5, 1.08
"""Nothing below this many times the frequency of the sweep, all from `EDGE` times that: half an order above the tenth,
and before the arrival of the eleventh."""

LOWEST_HZ, HIGHEST_HZ = 28.0, 16000.0
"""Of the sweep, and of what sounds: no earlier part is kept than where the highest sounds while the lowest is
played."""

FADE_S = 0.02
"""At the early end, where only noise stands."""


@dataclass(frozen=True, kw_only=True, eq=False)
class BeyondOrders:
    """The part of one recording's impulse response that comes before its orders."""

    sweep: Sweep
    """At 0 dBFS."""
    impulse: npt.NDArray[np.float32]
    """`(samples,)`; single precision, because what is strong is not in it."""
    first_s: float
    """Time of its first sample re the arrival of the fundamental."""
    drive_dbfs: float
    """Of the sweep as it was played."""


def beyond_orders(deconvolved: Deconvolved) -> BeyondOrders:
    """Cut it out of an impulse response."""
    sweep = deconvolved.filter.sweep
    rate = sweep.sample_rate
    first = math.floor(deconvolved.arrival - sweep.rate_s * math.log(HIGHEST_HZ / LOWEST_HZ) * rate)
    end = math.ceil(deconvolved.arrival - sweep.rate_s * math.log(BEYOND_ORDER) * rate)
    n_fft = deconvolved.impulse.size
    first = max(first, end - n_fft)
    piece = np.take(deconvolved.impulse, np.arange(first, end), mode="wrap").astype(np.float32)
    edge = max(round(sweep.rate_s * math.log(EDGE) * rate), 1)
    fade = max(round(FADE_S * rate), 1)
    piece[-edge:] *= rise(np.arange(edge, 0, -1) / edge).astype(np.float32)
    piece[:fade] *= rise(np.arange(fade) / fade).astype(np.float32)
    return BeyondOrders(
        sweep=sweep,
        impulse=piece,
        first_s=(first - deconvolved.arrival) / rate,
        drive_dbfs=deconvolved.drive_dbfs,
    )
