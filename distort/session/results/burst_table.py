"""The result of tone bursts as the columns of burst.csv, and back."""

from collections.abc import Mapping
from typing import Any

import numpy as np
import numpy.typing as npt

from distort.analysis.burst import ORDERS
from distort.analysis.burst_series.result import BurstCurves, BurstResult
from distort.analysis.common.curves import LevelUnit
from distort.session.files.names import format_level

UNITS: tuple[LevelUnit, ...] = ("db_spl", "dbfs")

OF_A_LEVEL = "compression_db_"
"""Begins the name of a column of each level."""


def burst_columns(result: BurstResult) -> Mapping[str, npt.ArrayLike]:
    """A row a band; after the columns of the result those of every level: peak, compression, orders."""
    columns: dict[str, npt.ArrayLike] = {
        "frequency_hz": result.frequency_hz,
        f"peak_{result.unit}": result.peak_db,
        "ended_by": np.array(result.ended_by),
        "compression_db": result.compression_db,
        **{f"h{order}_db": row for order, row in zip(ORDERS, result.harmonics_db, strict=True)},
        **{f"h{order}_floor_db": row for order, row in zip(ORDERS, result.floor_db, strict=True)},
        "level_db_spl": result.level_db_spl,
    }
    for level in result.levels:
        name = f"{format_level(level.level_db_spl)}dB"
        columns[f"peak_{result.unit}_{name}"] = level.peak_db
        columns[f"{OF_A_LEVEL}{name}"] = level.compression_db
        columns |= {f"h{order}_db_{name}": row for order, row in zip(ORDERS, level.harmonics_db, strict=True)}
    return columns


def burst_of(columns: Mapping[str, Any]) -> BurstResult:
    """The result that has these columns; orders and levels that an older version did not write are not known.

    Raises KeyError for a column that is missing, ValueError for a row of no level, or a column of none.
    """
    if np.any(without := np.isnan(columns["level_db_spl"])):
        raise ValueError(f"the row of {columns['frequency_hz'][without][0]:g} Hz says no level_db_spl")
    unit = UNITS[0] if f"peak_{UNITS[0]}" in columns else UNITS[1]
    names = [name.removeprefix(OF_A_LEVEL) for name in columns if name.startswith(OF_A_LEVEL)]
    return BurstResult(
        frequency_hz=columns["frequency_hz"],
        unit=unit,
        peak_db=columns[f"peak_{unit}"],
        ended_by=columns["ended_by"],
        compression_db=columns["compression_db"],
        harmonics_db=np.stack([_order(columns, f"h{order}_db", order) for order in ORDERS]),
        floor_db=np.stack([_order(columns, f"h{order}_floor_db", order) for order in ORDERS]),
        level_db_spl=columns["level_db_spl"],
        levels=tuple(
            BurstCurves(
                level_db_spl=float(name.removesuffix("dB")),
                peak_db=columns[f"peak_{unit}_{name}"],
                compression_db=columns[f"{OF_A_LEVEL}{name}"],
                harmonics_db=np.stack([columns[f"h{order}_db_{name}"] for order in ORDERS]),
            )
            for name in names
        ),
    )


OLD_ORDERS = 5
"""The highest order that every version wrote."""


def _order(columns: Mapping[str, Any], name: str, order: int) -> Any:
    if order > OLD_ORDERS and name not in columns:
        return np.full_like(columns["frequency_hz"], np.nan)
    return columns[name]
