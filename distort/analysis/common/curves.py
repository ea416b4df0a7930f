"""What the analysis hands on: curves over the frequency grid, each quantity with its unit in its name.

Every array has one value a grid row, `(rows,)`; NaN means "not measurable here". `*_db` of an order is re the
fundamental. `unit` says what `level_db`, `fundamental_db` and `noise_db` of a response are referred to: "db_spl" is
dB re 20 uPa referred to 1 m, "dbfs" is dB re digital full scale (AES17), where no calibration is known.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from distort.analysis.common.sums import known_sum
from signals.levels import db_to_power, power_to_db

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]
LevelUnit = Literal["db_spl", "dbfs"]


@dataclass(frozen=True, kw_only=True)
class Response:
    """Level and phase of the fundamental at one drive."""

    frequency_hz: FloatArray
    level_db: FloatArray
    phase_deg: FloatArray
    """Wrapped to -180 ... 180, after removing `delay_s`."""
    noise_db: FloatArray
    """Noise floor of `level_db`, same reference; NaN where no silence was recorded."""
    unit: LevelUnit
    delay_s: float
    lowest_valid_hz: float
    """Below it the window or gate is too short for the reading to hold."""


@dataclass(frozen=True, kw_only=True)
class Order:
    """One harmonic order against the frequency of the excitation."""

    order: int
    relative_db: FloatArray
    """Re the fundamental, noise power removed."""
    noise_db: FloatArray
    """Noise floor, re the fundamental."""
    leak_db: FloatArray
    """Predicted reverberation of the next order in this order's window, re the fundamental."""
    chain_db: FloatArray
    """Distortion of the electronics and the microphone, re the fundamental, where known."""
    bias_db: FloatArray
    """Estimate of what the sweep's speed adds to `relative_db` (from the short sweep)."""
    uncertainty_db: FloatArray
    """Half-width of the 95 % interval about `relative_db` that holds the steady answer: noise, windows, leak, the
    sweep's speed where a short sweep shows it, and what takes differ by (`sweep.intervals`)."""
    noise_uncertainty_db: FloatArray
    """What it would be if noise were all."""
    level_db: FloatArray
    """Absolute level, unit as that of the set."""
    equivalent_input_db: FloatArray
    """Referred back to the input through the linear response of the reference level."""
    doubtful: BoolArray
    """Under 10 dB above the noise floor, or no floor known, under 25 dB above the leak, where the sweep is too fast, or
    below the lowest frequency at which the fundamental holds: read with care."""


@dataclass(frozen=True, kw_only=True)
class Harmonics:
    """All separated orders at one drive, and their sums."""

    frequency_hz: FloatArray
    fundamental_db: FloatArray
    unit: LevelUnit
    thd_db: FloatArray
    """r.m.s. sum of the orders re the fundamental."""
    thd_percent: FloatArray
    thd_total_percent: FloatArray
    """r.m.s. sum of the orders re the r.m.s. sum of fundamental and orders."""
    thd_orders: npt.NDArray[np.int64]
    """How many orders were in the sum at this row."""
    residual_db: FloatArray
    """What is neither fundamental nor a separated order, re the fundamental."""
    orders: tuple[Order, ...]
    """Orders 2, 3, ... in ascending order."""

    @property
    def thd_noise_db(self) -> FloatArray:
        """Noise floor of `thd_db`: r.m.s. sum of the orders' noise floors; NaN where no order has one."""
        floors = np.array([order.noise_db for order in self.orders]).reshape(-1, self.frequency_hz.size)
        return power_to_db(known_sum(db_to_power(floors)))
