"""What a loudspeaker does to a piece of music as the columns of programme.csv, and back."""

from collections.abc import Mapping
from typing import Any

import numpy as np
import numpy.typing as npt

from distort.analysis.programme import ProgrammeLevel, ProgrammeResult
from distort.session.files.names import format_level

FIELDS = {
    "change_db": "change_db",
    "coherence": "coherence",
    "remainder_db": "remainder_db",
    "floor_db": "floor_db",
    "over_by_excitation_db": "excitation_db",
    "over_by_schroeder_db": "schroeder_db",
}
"""Columns before the level's name, and fields of a level."""

LATER = frozenset({"over_by_excitation_db", "over_by_schroeder_db"})
"""Columns that older tables lack: then nothing of it is known."""


def programme_columns(result: ProgrammeResult) -> Mapping[str, npt.ArrayLike]:
    """A row a third octave, six columns a level: `change_db_96dB`, `coherence_96dB`, ..."""
    columns: dict[str, npt.ArrayLike] = {"frequency_hz": result.frequency_hz}
    for level in result.levels:
        for column, name in FIELDS.items():
            columns[f"{column}_{format_level(level.level_db_spl)}dB"] = getattr(level, name)
    return columns


def programme_of_columns(columns: Mapping[str, Any]) -> ProgrammeResult:
    """The result that has these columns. Raises KeyError for one that is missing, ValueError for a name that holds no
    level."""
    names = [name.removeprefix("coherence_") for name in columns if name.startswith("coherence_")]
    unknown = np.full(np.size(columns["frequency_hz"]), np.nan)

    def column(name: str, level: str) -> Any:
        return columns.get(f"{name}_{level}", unknown) if name in LATER else columns[f"{name}_{level}"]

    levels = [
        ProgrammeLevel(
            level_db_spl=float(level.removesuffix("dB")), **{field: column(one, level) for one, field in FIELDS.items()}
        )
        for level in names
    ]
    return ProgrammeResult(frequency_hz=columns["frequency_hz"], levels=tuple(levels))
