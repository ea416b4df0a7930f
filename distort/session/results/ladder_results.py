"""Compression over the ladder of levels, on disk: a table a source, and the octaves with their words in findings."""

from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import numpy as np
import numpy.typing as npt

from distort.analysis.compression.curves import BandRange, Compression, InputOutput, OctaveLevels, Repeated
from distort.analysis.compression.sweep_lag import SweepLag
from distort.errors import SessionError
from distort.session.files.csv_table import read_table, write_table
from distort.session.files.names import format_level

FloatArray = npt.NDArray[np.float64]

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
    """What a compression table holds: `(levels, rows)` each, the reference level first; NaN: not measurable."""

    source: Source
    frequency_hz: FloatArray
    level_db_spl: tuple[float, ...]
    change_db: FloatArray
    corrected_db: FloatArray
    uncertainty_db: FloatArray
    bias_db: FloatArray
    drift_db: FloatArray
    """`(rows,)`: last rested repeat of the reference less its first time."""


def curves_of(found: Compression, source: Source) -> ChangeCurves:
    """The curves of an analysed ladder, as they are written and drawn."""
    return ChangeCurves(
        source=source,
        frequency_hz=found.frequency_hz,
        level_db_spl=tuple(level.level_db_spl for level in found.levels),
        change_db=np.array([level.change_db for level in found.levels]),
        corrected_db=np.array([level.corrected_db for level in found.levels]),
        uncertainty_db=np.array([level.uncertainty_db for level in found.levels]),
        bias_db=np.array([level.bias_db for level in found.levels]),
        drift_db=found.drift_db,
    )


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
    for index, level in enumerate(curves.level_db_spl):
        name = f"change_{format_level(level)}db"
        columns[name] = curves.change_db[index]
        columns[f"{name}_corrected"] = curves.corrected_db[index]
        columns[f"{name}_uncertainty"] = curves.uncertainty_db[index]
        columns[f"{name}_bias"] = curves.bias_db[index]
    write_table(path, {**columns, "drift_db": curves.drift_db})


def read_changes(path: Path, found: CompressionFound) -> ChangeCurves:
    """What `write_changes` wrote for `found`. Raises SessionError when the table is missing or another's."""
    table = read_table(path)

    def rows(suffix: str) -> FloatArray:
        return np.array([table[f"change_{format_level(level)}db{suffix}"] for level in found.level_db_spl])

    try:
        return ChangeCurves(
            source=found.source,
            frequency_hz=table["frequency_hz"],
            level_db_spl=found.level_db_spl,
            change_db=rows(""),
            corrected_db=rows("_corrected"),
            uncertainty_db=rows("_uncertainty"),
            bias_db=rows("_bias"),
            drift_db=table["drift_db"],
        )
    except KeyError as error:
        raise SessionError(f"{path} lacks the column {error}: run `distort analyze` again") from error
