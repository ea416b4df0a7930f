"""The calibration that a recording was made under, and what it makes of dBFS."""

from dataclasses import dataclass

from distort.analysis.sweep.sweeps import Reference
from signals.levels import distance_gain_db, spl_of_full_scale

LARGEST_DB = 400.0
"""Either way: no level, drive or turn of a volume comes near it, and what is computed from it stays a number."""


@dataclass(frozen=True, kw_only=True)
class CalibrationInForce:
    """The calibration that turns this recording's dBFS into dB SPL, as it was when the recording was made.

    Raises ValueError for levels that none can have.
    """

    calibrator_dbfs: float
    calibrator_db_spl: float
    sha256: str
    """Of the calibrator recording it was read from."""

    def __post_init__(self) -> None:
        check_size("calibrator_dbfs", self.calibrator_dbfs, LARGEST_DB)
        check_size("calibrator_db_spl", self.calibrator_db_spl, LARGEST_DB)


def check_size(name: str, value: float | None, largest: float) -> None:
    """Raises ValueError, naming the field, for a size that nothing can have; None passes."""
    if value is not None and abs(value) > largest:
        raise ValueError(f"{name} is {value:g}, beyond {largest:g}")


def reference_of(calibration: CalibrationInForce | None, distance_m: float) -> Reference:
    """SPL of full scale plus the gain of the distance (far field); without a calibration plain dBFS."""
    if calibration is None:
        return Reference()
    full_scale = spl_of_full_scale(
        calibrator_dbfs=calibration.calibrator_dbfs, calibrator_db_spl=calibration.calibrator_db_spl
    )
    return Reference(offset_db=full_scale + distance_gain_db(distance_m), unit="db_spl")
