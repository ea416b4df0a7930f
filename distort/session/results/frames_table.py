"""What frames say as the columns of frames.csv, and back."""

from collections.abc import Mapping
from typing import Any

import numpy as np
import numpy.typing as npt

from distort.analysis.frames.reading import AFTER_S, SHARES, FrameReading, FramesLevel, FramesResult
from distort.session.files.names import format_level

FIELDS = (
    "compression_db",
    "uncertainty_db",
    "instantaneous_db",
    "limiter_db",
    "either_db",
    "heat_db",
    "split_uncertainty_db",
)

SECONDS = {"attack_ms": "attack_s", "release_ms": "release_s"}
"""Columns in milliseconds, and the fields that they hold in seconds."""

IN_TEST = tuple(f"gain_in_test_{index + 1}of{len(SHARES)}_db" for index in range(len(SHARES)))
AFTER = tuple(f"gain_{1000.0 * after_s:.0f}ms_after_db" for after_s in AFTER_S)


def frames_columns(result: FramesResult) -> Mapping[str, npt.ArrayLike]:
    """A row a frequency; of each level as many columns: `compression_db_96dB`, ..."""
    columns: dict[str, npt.ArrayLike] = {"frequency_hz": result.frequency_hz}
    for level in result.levels:
        mark = f"{format_level(level.level_db_spl)}dB"
        for name in FIELDS:
            columns[f"{name}_{mark}"] = np.array([getattr(one, name) for one in level.readings])
        for name, field in SECONDS.items():
            columns[f"{name}_{mark}"] = 1000.0 * np.array([getattr(one, field) for one in level.readings])
        for index, name in enumerate(IN_TEST):
            columns[f"{name}_{mark}"] = np.array([one.gain_in_test_db[index] for one in level.readings])
        for index, name in enumerate(AFTER):
            columns[f"{name}_{mark}"] = np.array([one.gain_after_db[index] for one in level.readings])
    return columns


def frames_of_columns(columns: Mapping[str, Any]) -> FramesResult:
    """The result that has these columns. Raises KeyError for one that is missing, ValueError for a name that holds no
    level."""
    first = f"{FIELDS[0]}_"
    marks = [name.removeprefix(first) for name in columns if name.startswith(first)]
    rows = range(len(columns["frequency_hz"]))
    return FramesResult(
        frequency_hz=columns["frequency_hz"],
        levels=tuple(
            FramesLevel(
                level_db_spl=float(mark.removesuffix("dB")),
                readings=tuple(_reading(columns, mark, row) for row in rows),
            )
            for mark in marks
        ),
    )


def _reading(columns: Mapping[str, Any], mark: str, row: int) -> FrameReading:
    return FrameReading(
        **{name: float(columns[f"{name}_{mark}"][row]) for name in FIELDS},
        **{field: float(columns[f"{name}_{mark}"][row]) / 1000.0 for name, field in SECONDS.items()},
        gain_in_test_db=np.array([columns[f"{name}_{mark}"][row] for name in IN_TEST]),
        gain_after_db=np.array([columns[f"{name}_{mark}"][row] for name in AFTER]),
    )
