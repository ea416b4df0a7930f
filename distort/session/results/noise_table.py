"""Noise that comes with level as the columns of noise.csv, and back.

Where no calibration is known the columns of absolute level have `dbfs` instead of `db_spl` in their names.
"""

from collections.abc import Mapping
from typing import Any

import numpy.typing as npt

from distort.analysis.common.curves import LevelUnit
from distort.analysis.level_noise import NoiseLevel, NoiseResult
from distort.session.files.names import format_level
from distort.session.results.result_files import UNITS

GROWTH, GROWTH_UNCERTAINTY = "growth_db_per_db", "growth_uncertainty_db_per_db"


def noise_columns(result: NoiseResult) -> Mapping[str, npt.ArrayLike]:
    """A row a third octave, three columns a level: `noise_db_spl_96dB`, `floor_db_spl_96dB`, `uncertainty_db_96dB`."""
    columns: dict[str, npt.ArrayLike] = {
        "frequency_hz": result.frequency_hz,
        f"silence_{result.unit}": result.silence_db,
        GROWTH: result.growth_db_per_db,
        GROWTH_UNCERTAINTY: result.growth_uncertainty_db_per_db,
    }
    for level in result.levels:
        for field, column in _fields(result.unit).items():
            columns[f"{column}_{format_level(level.level_db_spl)}dB"] = getattr(level, field)
    return columns


def noise_of_columns(columns: Mapping[str, Any]) -> NoiseResult:
    """The result that has these columns. Raises KeyError for one that is missing, ValueError for a name that holds no
    level."""
    unit = next((each for each in UNITS if f"silence_{each}" in columns), UNITS[0])
    first = "uncertainty_db_"
    names = [name.removeprefix(first) for name in columns if name.startswith(first)]
    return NoiseResult(
        frequency_hz=columns["frequency_hz"],
        unit=unit,
        silence_db=columns[f"silence_{unit}"],
        growth_db_per_db=columns[GROWTH],
        growth_uncertainty_db_per_db=columns[GROWTH_UNCERTAINTY],
        levels=tuple(
            NoiseLevel(
                level_db_spl=float(name.removesuffix("dB")),
                **{field: columns[f"{column}_{name}"] for field, column in _fields(unit).items()},
            )
            for name in names
        ),
    )


def _fields(unit: LevelUnit) -> Mapping[str, str]:
    """Field of a level, and what its column is called before the level."""
    return {"noise_db": f"noise_{unit}", "floor_db": f"floor_{unit}", "uncertainty_db": "uncertainty_db"}
