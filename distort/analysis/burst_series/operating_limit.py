"""The operating limit for bursts: up to which level compression and distortion keep their limits in every band."""

import numpy as np

from distort.analysis.burst_series.result import BurstResult
from distort.analysis.burst_series.steps import NOISE
from distort.analysis.common.operating_limit import OperatingLimit


def burst_operating_limit(result: BurstResult) -> OperatingLimit | None:
    """The lowest level at which a band met a limit. Where a band was kept from more before that (ceiling, drive, no
    level above), the limits are known to hold everywhere only up to there, and nothing ended it. None where every band
    stands in noise."""
    heard = np.array([one != NOISE for one in result.ended_by])
    if not heard.any():
        return None
    levels = np.where(heard, result.level_db_spl, np.inf)
    first = int(np.argmin(np.where(result.limited, levels - 1e-9, levels)))  # of two alike the one that met a limit
    met = bool(result.limited[first])
    return OperatingLimit(
        stimulus="burst",
        level_db_spl=float(levels[first]),
        ended_by=result.ended_by[first] if met else None,
        frequency_hz=float(result.frequency_hz[first]) if met else None,
    )
