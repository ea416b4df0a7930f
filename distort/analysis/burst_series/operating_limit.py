"""The operating limit for bursts: up to which level compression and distortion keep their limits in every band."""

from dataclasses import dataclass

import numpy as np

from distort.analysis.burst_series.result import BurstResult
from distort.analysis.burst_series.steps import NOISE


@dataclass(frozen=True, kw_only=True)
class BurstLimit:
    """The highest level at which every band keeps its limits. Unlike that of multitones and music, which is a level
    that was played (`level_limits.LevelLimit`), it lies where a limit was met between two."""

    level_db_spl: float
    """Nominal. Where `ended_by` is None they hold at least up to here: of some band nothing louder was played."""
    ended_by: str | None
    """The limit that is met first: "compression", "h2", ...; None: none was met."""
    frequency_hz: float | None = None
    """The band in which it is met."""


def burst_operating_limit(result: BurstResult) -> BurstLimit | None:
    """The lowest level at which a band met a limit. Where a band was kept from more before that (ceiling, drive, no
    level above), the limits are known to hold everywhere only up to there, and nothing ended it. None where every band
    stands in noise."""
    heard = np.array([one != NOISE for one in result.ended_by])
    if not heard.any():
        return None
    levels = np.where(heard, result.level_db_spl, np.inf)
    first = int(np.argmin(np.where(result.limited, levels - 1e-9, levels)))  # of two alike the one that met a limit
    met = bool(result.limited[first])
    return BurstLimit(
        level_db_spl=float(levels[first]),
        ended_by=result.ended_by[first] if met else None,
        frequency_hz=float(result.frequency_hz[first]) if met else None,
    )
