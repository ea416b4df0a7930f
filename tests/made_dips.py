"""Dips before anything is known of them, and fits to them, for tests of what is made of both."""

import numpy as np

from distort.analysis.anomalies.comb_shapes import CombFit
from distort.analysis.anomalies.dip_shapes import SecondOrderFit
from distort.analysis.anomalies.fine_response import FineResponse
from distort.analysis.anomalies.outstanding import Found
from distort.analysis.anomalies.trend import Detrended

ROWS_HZ = 100.0 * 2.0 ** (np.arange(6 * 48 + 1) / 48.0)
"""48 an octave, 100 to 6,400 Hz."""

FINE = FineResponse(
    frequency_hz=ROWS_HZ, level_db=np.linspace(0.0, 1.0, ROWS_HZ.size), phase_rad=None, smoothing_octaves=0.02
)

POLES = SecondOrderFit(frequency_hz=1010.0, frequency_uncertainty_hz=4.0, q=5.0, q_uncertainty=0.5, residual_db=0.5)


def comb(number: int = 1, delay_s: float = 5e-4, reflection: float = 0.6, **other: float) -> CombFit:
    """The dip of that number of a comb, on its exact place."""
    given = {"frequency_uncertainty_hz": 6.0, "depth_uncertainty_db": 0.7, "residual_db": 0.3} | other
    return CombFit(
        delay_s=delay_s,
        number=number,
        frequency_hz=(number - 0.5) / delay_s,
        reflection=reflection,
        depth_db=20.0 * float(np.log10(1.0 - reflection)),
        **given,
    )


def dip_at(hz: float, deviation_db: float = -8.0) -> Found:
    """A dip, or a peak, a seventh of an octave wide."""
    return Found(deviation_db < 0.0, hz, deviation_db, hz / 1.05, hz * 1.05)


def against(deviation_db: np.ndarray, scatter_db: np.ndarray | float = 0.5) -> Detrended:
    """Rows that deviate so from a trend of nought."""
    return Detrended(
        frequency_hz=ROWS_HZ,
        deviation_db=deviation_db,
        trend_db=np.zeros(ROWS_HZ.size),
        scatter_db=np.broadcast_to(np.asarray(scatter_db, dtype=float), ROWS_HZ.shape),
    )
