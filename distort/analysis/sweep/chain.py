"""What electronics and microphone distort by themselves, as bounds on how much of an order may be theirs.

Electronics: their orders, recorded without a loudspeaker, re their fundamental. What the output side adds at n f leaves
by the loudspeaker like any tone there, so that its share can be larger by the response at n f over that at f; what the
input side adds is not. The larger of both is the bound.

Microphone: a data sheet gives the level at which its distortion is some per cent. Below it the second order re the
fundamental falls by 1 dB a dB, the third by 2 dB, the n-th by n - 1 (common practice, no source): the bound lets any
order be all of that per cent at the limit.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from distort.analysis.common.curves import Harmonics, Response
from distort.analysis.common.log_frequency import over_log_frequency
from distort.analysis.common.sums import known_sum
from distort.analysis.sweep.harmonics import doubtful_rows
from distort.analysis.sweep.readings import Reading
from signals.levels import db_to_power, distance_gain_db, power_to_db

FloatArray = npt.NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class MicrophoneLimit:
    """Up to which level a microphone stays under a stated distortion."""

    max_db_spl: float
    percent: float
    """Its total harmonic distortion there."""
    distance_m: float
    """From the loudspeaker: levels are those at 1 m."""


def electronics_bound_db(found: Sequence[Reading], number: int, response: Response | None) -> FloatArray:
    """Bound on the order `number` from the electronics' own readings of orders 1 ..., `(rows,)`, dB re the fundamental.

    response   of the loudspeaker, on the same rows; None leaves the way out of account

    A reading below its noise counts as that noise: no less is known. NaN where the order was not read.
    """
    if number > len(found):
        return np.full_like(found[0].power, np.nan)
    own, fundamental = found[number - 1], found[0]
    power = np.fmax(own.power, own.noise)
    relative_db = power_to_db(power / fundamental.power)
    if response is None:
        return np.asarray(relative_db)
    hz = response.frequency_hz
    at_product_db = over_log_frequency(number * hz, hz, response.level_db, outside=np.nan)
    lift_db = np.nan_to_num(at_product_db - response.level_db)
    return np.asarray(relative_db + np.maximum(lift_db, 0.0))


def microphone_bound_db(number: int, level_db_spl: FloatArray, limit: MicrophoneLimit) -> FloatArray:
    """Bound on the order `number` where the fundamental has `level_db_spl` at 1 m, `(rows,)`, dB re the fundamental."""
    at_limit_db = 20.0 * np.log10(limit.percent / 100.0)
    below_db = level_db_spl - distance_gain_db(limit.distance_m) - limit.max_db_spl
    return np.asarray(at_limit_db + (number - 1) * below_db)


def with_chain(found: Harmonics, bounds_db: Mapping[int, Sequence[FloatArray]], *, lowest_valid_hz: float) -> Harmonics:
    """`found` with the power sum of each order's `bounds_db`, `(rows,)` each, as its `chain_db`, and marked by it."""
    orders = []
    for order in found.orders:
        powers = [db_to_power(bound) for bound in bounds_db.get(order.order, ())]
        if not powers:
            orders.append(order)
            continue
        chain_db = np.where(np.isfinite(order.relative_db), power_to_db(known_sum(powers)), np.nan)
        doubtful = doubtful_rows(
            order.relative_db,
            noise_db=order.noise_db,
            leak_db=order.leak_db,
            chain_db=chain_db,
            bias_db=order.bias_db,
            noise_uncertainty_db=order.noise_uncertainty_db,
            invalid=found.frequency_hz < lowest_valid_hz,
        )
        orders.append(replace(order, chain_db=chain_db, doubtful=doubtful))
    return replace(found, orders=tuple(orders))
