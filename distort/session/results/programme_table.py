"""What a loudspeaker does to a piece of music as the columns of programme.csv, and back."""

from collections.abc import Mapping
from typing import Any

import numpy.typing as npt

from distort.analysis.programme import ProgrammeLevel, ProgrammeResult
from distort.session.files.names import format_level

FIELDS = ("change_db", "coherence", "remainder_db", "floor_db")


def programme_columns(result: ProgrammeResult) -> Mapping[str, npt.ArrayLike]:
    """A row a third octave, four columns a level: `change_db_96dB`, `coherence_96dB`, ..."""
    columns: dict[str, npt.ArrayLike] = {"frequency_hz": result.frequency_hz}
    for level in result.levels:
        for name in FIELDS:
            columns[f"{name}_{format_level(level.level_db_spl)}dB"] = getattr(level, name)
    return columns


def programme_of_columns(columns: Mapping[str, Any]) -> ProgrammeResult:
    """The result that has these columns. Raises KeyError for one that is missing, ValueError for a name that holds no
    level."""
    names = [name.removeprefix("coherence_") for name in columns if name.startswith("coherence_")]
    levels = [
        ProgrammeLevel(level_db_spl=float(name.removesuffix("dB")), **{one: columns[f"{one}_{name}"] for one in FIELDS})
        for name in names
    ]
    return ProgrammeResult(frequency_hz=columns["frequency_hz"], levels=tuple(levels))
