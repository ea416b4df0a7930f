"""A calibrator's recording that was brought in as if it held a stimulus."""

from pathlib import Path

import numpy as np
import numpy.typing as npt

from distort.capture.calibration.calibrator import calibrator_level
from distort.errors import CalibrationError, RecordingError
from signals.levels import rms_dbfs

FloatArray = npt.NDArray[np.float64]

LEAST_SHARE = 0.5
"""Of the file that the steady tone holds; no stimulus stays at 250 or 1000 Hz for so long."""

LEAST_DBFS = -80.0
"""A calibrator's tone stands far above a microphone's noise, which is louder than this."""

ANY_DB_SPL = 94.0
"""What the calibrator's level is does not matter here: only its tone is looked for."""


def or_a_calibrator(
    error: RecordingError, samples: FloatArray, sample_rate: int, *, source: Path, session: Path
) -> RecordingError:
    """`error`, or one that says that `samples` `(n,)` of the file `source` are a calibrator's tone, where they are."""
    if rms_dbfs(samples) < LEAST_DBFS:
        return error
    try:
        found = calibrator_level(samples, sample_rate=sample_rate, db_spl=ANY_DB_SPL)
    except CalibrationError:
        return error  # no calibrator's tone: the answer to the question, not a fault
    first_s, end_s = found.steady_s
    if (end_s - first_s) * sample_rate < LEAST_SHARE * samples.size:
        return error
    return RecordingError(
        f"{source} holds no stimulus but a steady tone of {found.frequency_hz:.0f} Hz at {found.calibrator_dbfs:.1f} "
        f"dBFS, as a sound calibrator makes. To calibrate with it: distort calibrate {session} --spl LEVEL --from "
        f"{source}, with the level that stands on the calibrator"
    )
