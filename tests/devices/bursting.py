"""A loudspeaker without memory, y = A tanh(x / A), in white noise: what a burst of it says is known in closed form."""

from collections.abc import Callable

import numpy as np
import scipy

from distort.analysis.common.burst_limits import BurstLimits
from distort.capture.devices.guard import Guard
from tests.devices.scaled import ScaledLoudspeaker


class SaturatingLoudspeaker(ScaledLoudspeaker):
    """Everything that is played passes `shape` (of the digital signal, full scale 1), then noise is added."""

    def __init__(self, *, saturates_at: float, noise: float = 1e-6) -> None:
        super().__init__(noise=noise)
        self.saturates_at = saturates_at

    def shape(self, played: np.ndarray) -> np.ndarray:
        return self.saturates_at * np.tanh(played / self.saturates_at)

    def play_and_record(self, playback: np.ndarray, *, sample_rate: int, guard: Guard | None = None) -> np.ndarray:
        heard = super().play_and_record(self.shape(playback), sample_rate=sample_rate, guard=guard)
        self.played[-1] = playback
        return heard


PHASES = 2.0 * np.pi * (np.arange(96) + 0.5) / 96
COSINES = np.array([np.cos(order * PHASES) for order in range(1, 9)]) / PHASES.size
MOMENTS = (np.arange(120) + 0.5) / 120
"""Evenly over a burst of unit length."""
ENVELOPE = 0.5 - 0.5 * np.cos(2.0 * np.pi * MOMENTS)

CRITERIA_ORDERS = (2, 3, 4, 5, 6, 7, 8)


def order_amplitudes(shape: Callable[[np.ndarray], np.ndarray], amplitude: float) -> np.ndarray:
    """Amplitudes of orders 1 to 8 of a burst of that amplitude through a curve without memory, at each moment of its
    envelope, `(moments, 8)`: Fourier coefficients over one period (midpoint rule: exact for fewer harmonics)."""
    return np.asarray(2.0 * shape(amplitude * ENVELOPE[:, np.newaxis] * np.cos(PHASES)) @ COSINES.T)


def energies(shape: Callable[[np.ndarray], np.ndarray], amplitude: float) -> np.ndarray:
    """Mean power of each order of such a burst, `(8,)`."""
    return np.asarray(np.mean(np.square(order_amplitudes(shape, amplitude)), axis=0) / 2.0)


def excess_db(
    shape: Callable[[np.ndarray], np.ndarray], drive_dbfs: float, limits: BurstLimits, *, reference_dbfs: float
) -> dict[str, float]:
    """By how much each limit is passed at a drive, in closed form."""
    loud = energies(shape, 10.0 ** (drive_dbfs / 20.0))
    quiet = energies(shape, 10.0 ** (reference_dbfs / 20.0))
    lost_db = drive_dbfs - reference_dbfs - 10.0 * np.log10(loud[0] / quiet[0])
    orders_db = 10.0 * np.log10(np.maximum(loud[1:] / loud[0], 1e-30)) - limits.of_orders(CRITERIA_ORDERS)
    named = {f"h{order}": float(over) for order, over in zip(CRITERIA_ORDERS, orders_db, strict=True)}
    return {"compression": float(lost_db - limits.compression_db), **named}


def met_at_db(
    saturates_at: float, limits: BurstLimits, *, full_scale_db_spl: float, reference_db_spl: float = 70.0
) -> tuple[float, str]:
    """The nominal level at which `A tanh(x / A)` meets its first limit, by halving, and which that is."""

    def over(level_db: float) -> dict[str, float]:
        return excess_db(
            lambda x: saturates_at * np.tanh(x / saturates_at),
            level_db - full_scale_db_spl,
            limits,
            reference_dbfs=reference_db_spl - full_scale_db_spl,
        )

    level_db = scipy.optimize.brentq(lambda level: max(over(level).values()), reference_db_spl, reference_db_spl + 40.0)
    said = over(level_db)
    return float(level_db), max(said, key=lambda what: said[what])
