"""What strikes, rubs or blows as the columns of impulsive.csv, and back."""

from collections.abc import Mapping
from typing import Any

import numpy as np
import numpy.typing as npt

from distort.analysis.impulsive.impulsive import CONFIRMED, NOTHING, ImpulsiveLevel, ImpulsiveResult
from distort.session.files.folder import format_level

FIELDS = ("z", "regularity", "unevenness", "spread", "alarm")


def impulsive_columns(result: ImpulsiveResult) -> Mapping[str, npt.ArrayLike]:
    """A row a sixth octave, five columns a level: `z_96dB`, `regularity_96dB`, ..., `alarm_96dB`."""
    columns: dict[str, npt.ArrayLike] = {"frequency_hz": result.frequency_hz}
    for level in result.levels:
        for name in FIELDS:
            columns[f"{name}_{format_level(level.level_db_spl)}dB"] = getattr(level, name)
    return columns


def impulsive_of_columns(columns: Mapping[str, Any]) -> ImpulsiveResult:
    """The result that has these columns. Raises KeyError for one that is missing, ValueError for what none can hold."""
    names = [name.removeprefix("z_") for name in columns if name.startswith("z_")]
    return ImpulsiveResult(frequency_hz=columns["frequency_hz"], levels=tuple(_level(name, columns) for name in names))


def _level(name: str, columns: Mapping[str, Any]) -> ImpulsiveLevel:
    alarm = columns[f"alarm_{name}"]
    if not np.all(np.isin(alarm, range(NOTHING, CONFIRMED + 1))):
        raise ValueError(f"alarm_{name} must be {NOTHING} to {CONFIRMED}")
    return ImpulsiveLevel(
        level_db_spl=float(name.removesuffix("dB")),
        z=columns[f"z_{name}"],
        regularity=columns[f"regularity_{name}"],
        unevenness=columns[f"unevenness_{name}"],
        spread=columns[f"spread_{name}"],
        alarm=alarm.astype(np.int64),
    )
