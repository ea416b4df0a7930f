"""Harmonic curves: each order re the fundamental, absolute and as equivalent input, and their sums.

For an excitation at f, `P_n(f)` is the level of the component at n f. Re the fundamental: `D_n = P_n - P_1`. THD re the
fundamental is the r.m.s. sum of D_2 ... D_N; re the total it is divided by the r.m.s. sum with the fundamental in it
(IEC 60268-5 and -21, from memory).

Equivalent input, the product as it would have to be fed in, re the input (IEC 60268-21, from memory):

    I_n(f) = P_n(f) - (H(n f) - H(f)) - (H(f) + d)  =  P_n(f) - H(n f) - d

with H the response at the lowest level and d the difference of the drives, both in dB. The input at f is what a
loudspeaker that does not compress would give, H(f) + d; the fundamental as measured has lost what it compresses. It
holds where f and n f leave the loudspeaker the same way, so not across a crossover.
"""

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from distort.analysis.common.caution import CLEAR_OF_CHAIN_DB, CLEAR_OF_LEAK_DB, caution, near_noise
from distort.analysis.common.curves import BoolArray, Harmonics, LevelUnit, Order, Response
from distort.analysis.common.grid import ROWS_PER_OCTAVE
from distort.analysis.common.log_frequency import over_log_frequency
from distort.analysis.common.sums import known_sum
from distort.analysis.sweep.readings import Reading
from distort.analysis.sweep.uncertainty import interval_db
from signals.levels import power_to_db

FloatArray = npt.NDArray[np.float64]

STEADY_BIAS_DB = 0.3
STEADY_WITHIN_OCTAVES = 0.25
"""A bias larger than this, this near, says that the sweep rushes past a resonance: the bias no longer falls as 1/T
there and beats from row to row, so it cannot be taken off (found on resonances of Q 5 at 60 Hz)."""


def harmonics(
    found: Sequence[Reading],
    *,
    frequency_hz: FloatArray,
    residual: FloatArray,
    level_offset_db: float,
    unit: LevelUnit,
    lowest_valid_hz: float,
    linear: Response | None = None,
    driven_db: FloatArray | float = 0.0,
    short: Sequence[Reading] | None = None,
) -> Harmonics:
    """Curves from the readings of orders 1 ... N; the interval of an order is that of its noise.

    found              readings on `frequency_hz` `(rows,)`
    residual           what no order explains, power re the fundamental, `(rows,)`
    level_offset_db    what turns a power per squared stimulus amplitude into `unit`: drive plus calibration plus
                       distance
    lowest_valid_hz    below it the fundamental does not hold, and nothing that is stated re it
    linear             response at the lowest level, for the equivalent input; None leaves that empty
    driven_db          by how much the input is above that of `linear`, dB, one number or `(rows,)`
    short              readings of the sweep of half the length at the same drive; None leaves the bias empty
    """
    fundamental = found[0].power
    orders = tuple(
        _order(
            found,
            number,
            frequency_hz,
            level_offset_db,
            lowest_valid_hz=lowest_valid_hz,
            product_path_db=None if linear is None else _at_product(linear, number, frequency_hz) + driven_db,
            short=short,
        )
        for number in range(2, len(found) + 1)
    )
    ratios = np.array([reading.power / fundamental for reading in found[1:]]).reshape(len(found) - 1, frequency_hz.size)
    total = known_sum(ratios)
    return Harmonics(
        frequency_hz=frequency_hz,
        fundamental_db=power_to_db(fundamental) + level_offset_db,
        unit=unit,
        thd_db=power_to_db(total),
        thd_percent=100.0 * np.sqrt(total),
        thd_total_percent=100.0 * np.sqrt(total / (1.0 + total)),
        thd_orders=np.asarray(np.sum(np.isfinite(ratios), axis=0), dtype=np.int64),
        residual_db=power_to_db(residual),
        orders=orders,
    )


def _order(
    found: Sequence[Reading],
    number: int,
    frequency_hz: FloatArray,
    level_offset_db: float,
    *,
    lowest_valid_hz: float,
    product_path_db: FloatArray | None,
    short: Sequence[Reading] | None,
) -> Order:
    own, fundamental = found[number - 1], found[0]
    relative_db = power_to_db(own.power / fundamental.power)
    noise_db = power_to_db(own.noise / fundamental.power)
    leak_db = power_to_db(own.leak / fundamental.power)
    bias_db = _bias_db(relative_db, number, short)
    noise_uncertainty_db = interval_db(own.variance + fundamental.variance)
    level_db = relative_db + power_to_db(fundamental.power) + level_offset_db
    return Order(
        order=number,
        relative_db=relative_db,
        noise_db=noise_db,
        leak_db=leak_db,
        chain_db=np.full_like(relative_db, np.nan),
        bias_db=bias_db,
        uncertainty_db=noise_uncertainty_db,
        noise_uncertainty_db=noise_uncertainty_db,
        level_db=level_db,
        equivalent_input_db=np.full_like(level_db, np.nan) if product_path_db is None else level_db - product_path_db,
        doubtful=doubtful_rows(
            relative_db,
            noise_db=noise_db,
            leak_db=leak_db,
            bias_db=bias_db,
            noise_uncertainty_db=noise_uncertainty_db,
            invalid=frequency_hz < lowest_valid_hz,
        ),
    )


def doubtful_rows(
    relative_db: FloatArray,
    *,
    noise_db: FloatArray,
    leak_db: FloatArray,
    bias_db: FloatArray,
    noise_uncertainty_db: FloatArray,
    invalid: BoolArray,
    chain_db: FloatArray | None = None,
) -> BoolArray:
    """Which rows of an order are to be read with care, from its own columns, `(rows,)` each. NaN marks nothing, but for
    noise: where no floor is known, every reading is.

    chain_db  what electronics and microphone may make; None where nothing is known of them
    invalid   rows below the lowest frequency at which the fundamental holds: `relative_db` is stated re it
    """
    floors = [(leak_db, CLEAR_OF_LEAK_DB)]
    if chain_db is not None:
        floors.append((chain_db, CLEAR_OF_CHAIN_DB))
    near = near_noise(relative_db, noise_db) | caution(relative_db, *floors)
    return np.asarray(invalid | near | _rushed(bias_db, noise_uncertainty_db))


def _bias_db(relative_db: FloatArray, number: int, short: Sequence[Reading] | None) -> FloatArray:
    """`D_n(T / 2) - D_n(T)`: the error of the sweep's speed falls as 1/T, so this is what is left of it at T."""
    if short is None or number > len(short):
        return np.full_like(relative_db, np.nan)
    return np.asarray(power_to_db(short[number - 1].power / short[0].power) - relative_db)


def _rushed(bias_db: FloatArray, noise_uncertainty_db: FloatArray) -> BoolArray:
    """Rows near a bias that is large, and larger than noise explains: there the sweep is too fast."""
    explained = np.maximum(STEADY_BIAS_DB, 2.0 * np.nan_to_num(noise_uncertainty_db))
    large = np.nan_to_num(np.abs(bias_db)) > explained
    reach = round(STEADY_WITHIN_OCTAVES * ROWS_PER_OCTAVE)
    return np.convolve(large, np.ones(2 * reach + 1))[reach : reach + large.size] > 0.5


def _at_product(linear: Response, number: int, frequency_hz: FloatArray) -> FloatArray:
    """H(n f), `(rows,)`; NaN where n f lies beyond it."""
    return over_log_frequency(number * frequency_hz, linear.frequency_hz, linear.level_db, outside=np.nan)
