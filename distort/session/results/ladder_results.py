"""Compression over the ladder of levels, on disk: a table a source, and the octaves with their words in findings."""

from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import numpy as np
import numpy.typing as npt

from distort.analysis.compression.curves import BandRange, Compression, InputOutput, LevelChange, OctaveLevels, Repeated
from distort.analysis.compression.sweep_lag import SweepLag
from distort.errors import SessionError
from distort.session.files.csv_table import read_table, write_table
from distort.session.files.names import format_level

FloatArray = npt.NDArray[np.float64]

_COLUMNS = {"": "change_db", "_corrected": "corrected_db", "_uncertainty": "uncertainty_db", "_bias": "bias_db"}
"""What a column is called after `change_<L>db`, and which field of the level it holds."""

Source = Literal["sweep", "multitone"]
"""What the levels were compared with. Two stimuli of equal drive are two operating points: their curves never mix."""


@dataclass(frozen=True, kw_only=True)
class CompressionFound:
    """What findings.json holds of one source."""

    source: Source
    level_db_spl: tuple[float, ...]
    """Nominal, the reference level first."""
    drive_dbfs: tuple[float, ...]
    """As played, turned volume included."""
    repeated: Repeated
    includes_heating: bool
    octaves: tuple[OctaveLevels, ...]
    ranges: tuple[BandRange, ...]
    """Words, onset and highest levels, one an octave, in the order of `octaves`."""
    lags: tuple[SweepLag, ...]
    """How far the sweep's speed moves the change, one a level; empty for multitones."""


@dataclass(frozen=True, kw_only=True)
class ChangeCurves:
    """What a compression table holds, `(rows,)` each; NaN: not measurable."""

    source: Source
    frequency_hz: FloatArray
    levels: tuple[LevelChange, ...]
    """The reference level first."""
    drift_db: FloatArray
    """Last rested repeat of the reference less its first time."""

    @property
    def level_db_spl(self) -> tuple[float, ...]:
        """Nominal, the reference level first."""
        return tuple(one.level_db_spl for one in self.levels)

    @property
    def change_db(self) -> FloatArray:
        """`(levels, rows)`"""
        return np.array([one.change_db for one in self.levels])

    @property
    def uncertainty_db(self) -> FloatArray:
        """Of the changes, `(levels, rows)`."""
        return np.array([one.uncertainty_db for one in self.levels])


def curves_of(found: Compression, source: Source) -> ChangeCurves:
    """The curves of an analysed ladder, as they are written and drawn."""
    return ChangeCurves(source=source, frequency_hz=found.frequency_hz, levels=found.levels, drift_db=found.drift_db)


def compression_found(
    found: Compression, source: Source, *, table: InputOutput, ranges: tuple[BandRange, ...], lags: tuple[SweepLag, ...]
) -> CompressionFound:
    """What findings.json holds of an analysed ladder."""
    return CompressionFound(
        source=source,
        level_db_spl=tuple(level.level_db_spl for level in found.levels),
        drive_dbfs=tuple(level.drive_dbfs for level in found.levels),
        repeated=found.repeated,
        includes_heating=found.includes_heating,
        octaves=table.octaves,
        ranges=ranges,
        lags=lags,
    )


def write_changes(path: Path, curves: ChangeCurves) -> None:
    """Write compression_<source>.csv. Raises SessionError when the folder does not allow it."""
    columns: dict[str, npt.ArrayLike] = {"frequency_hz": curves.frequency_hz}
    for one in curves.levels:
        for suffix, field in _COLUMNS.items():
            columns[f"change_{format_level(one.level_db_spl)}db{suffix}"] = getattr(one, field)
    write_table(path, {**columns, "drift_db": curves.drift_db})


def read_changes(path: Path, found: CompressionFound) -> ChangeCurves:
    """What `write_changes` wrote for `found`. Raises SessionError when the table is missing or another's."""
    table = read_table(path)

    def level_change(level: float) -> LevelChange:
        own = {field: table[f"change_{format_level(level)}db{suffix}"] for suffix, field in _COLUMNS.items()}
        return LevelChange(level_db_spl=level, **own)

    try:
        return ChangeCurves(
            source=found.source,
            frequency_hz=table["frequency_hz"],
            levels=tuple(map(level_change, found.level_db_spl)),
            drift_db=table["drift_db"],
        )
    except KeyError as error:
        raise SessionError(f"{path} lacks the column {error}: run `distort analyze` again") from error
