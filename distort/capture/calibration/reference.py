"""What turns a recording's dBFS into dB SPL at 1 m."""

from distort.analysis.sweep.sweeps import Reference
from distort.session.recordings.sidecar import CalibrationInForce
from signals.levels import distance_gain_db, spl_of_full_scale


def reference_of(calibration: CalibrationInForce | None, distance_m: float) -> Reference:
    """SPL of full scale plus the gain of the distance (far field); without a calibration plain dBFS."""
    if calibration is None:
        return Reference()
    full_scale = spl_of_full_scale(
        calibrator_dbfs=calibration.calibrator_dbfs, calibrator_db_spl=calibration.calibrator_db_spl
    )
    return Reference(offset_db=full_scale + distance_gain_db(distance_m), unit="db_spl")
