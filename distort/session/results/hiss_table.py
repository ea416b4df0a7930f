"""Hiss as the columns of hiss.csv, and back.

Where no calibration is known the columns of level have `dbfs` instead of `db_spl` in their names.
"""

from collections.abc import Mapping
from typing import Any

import numpy.typing as npt

from distort.analysis.hiss import HissResult
from distort.session.results.result_files import UNITS


def hiss_columns(result: HissResult) -> Mapping[str, npt.ArrayLike]:
    """A row a third octave; `hiss` and its uncertainty are made of the others, and stand there for readers."""
    unit = result.unit
    return {
        "frequency_hz": result.frequency_hz,
        f"on_{unit}": result.on_db,
        f"off_{unit}": result.off_db,
        f"hiss_{unit}": result.hiss_db,
        f"floor_{unit}": result.floor_db,
        "uncertainty_db": result.uncertainty_db,
        f"error_{unit}": result.error_db,
        f"tones_{unit}": result.tones_db,
    }


def hiss_of_columns(columns: Mapping[str, Any]) -> HissResult:
    """The result that has these columns. Raises KeyError for one that is missing."""
    unit = next((each for each in UNITS if f"on_{each}" in columns), UNITS[0])
    return HissResult(
        frequency_hz=columns["frequency_hz"],
        unit=unit,
        on_db=columns[f"on_{unit}"],
        off_db=columns[f"off_{unit}"],
        floor_db=columns[f"floor_{unit}"],
        error_db=columns[f"error_{unit}"],
        tones_db=columns[f"tones_{unit}"],
    )
