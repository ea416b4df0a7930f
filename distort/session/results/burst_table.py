"""The result of tone bursts as the columns of burst.csv, and back."""

from collections.abc import Mapping
from typing import Any

import numpy as np
import numpy.typing as npt

from distort.analysis.burst import ORDERS, BurstResult
from distort.analysis.common.curves import LevelUnit

UNITS: tuple[LevelUnit, ...] = ("db_spl", "dbfs")


def burst_columns(result: BurstResult) -> Mapping[str, npt.ArrayLike]:
    """A row a band."""
    return {
        "frequency_hz": result.frequency_hz,
        f"peak_{result.unit}": result.peak_db,
        "ended_by": np.array(result.ended_by),
        "compression_db": result.compression_db,
        **{f"h{order}_db": row for order, row in zip(ORDERS, result.harmonics_db, strict=True)},
        **{f"h{order}_floor_db": row for order, row in zip(ORDERS, result.floor_db, strict=True)},
        "level_db_spl": result.level_db_spl,
    }


def burst_of(columns: Mapping[str, Any]) -> BurstResult:
    """The result that has these columns. Raises KeyError for one that is missing, ValueError for a row of no level."""
    if np.any(without := np.isnan(columns["level_db_spl"])):
        raise ValueError(f"the row of {columns['frequency_hz'][without][0]:g} Hz says no level_db_spl")
    unit = UNITS[0] if f"peak_{UNITS[0]}" in columns else UNITS[1]
    return BurstResult(
        frequency_hz=columns["frequency_hz"],
        unit=unit,
        peak_db=columns[f"peak_{unit}"],
        ended_by=columns["ended_by"],
        compression_db=columns["compression_db"],
        harmonics_db=np.stack([columns[f"h{order}_db"] for order in ORDERS]),
        floor_db=np.stack([columns[f"h{order}_floor_db"] for order in ORDERS]),
        level_db_spl=columns["level_db_spl"],
    )
