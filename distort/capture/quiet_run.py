"""The quiet run: how loud the loudspeaker is for a given drive, found once and from below.

`drive_L = L - S` with S the power mean of the response over the plan's band, in dB SPL at 1 m for a drive of 0 dBFS.
The level is reached by extrapolation from a quiet sweep, never by chasing the SPL upwards, which drives a limiter hard.
"""

import numpy as np

import signals
from distort.analysis.response import band_mean_db
from distort.analysis.sweeps import Settings, SweepTake, read_sweep, sweep_response
from distort.capture.device import Device
from distort.capture.playing_takes import play_and_examine
from distort.capture.reference import reference_of
from distort.errors import RecordingError
from distort.session.calibration_file import MicrophoneCalibration
from distort.session.drive_file import Sensitivity
from distort.session.plan import Plan
from distort.session.plan_reading import sweep_stimulus
from distort.session.sidecar import now_utc

QUIET_DRIVE_DBFS = -46.0
"""Far below any level that is measured, and well above room noise for a loudspeaker of common sensitivity."""

SMOOTHING_OCTAVES = 1.0 / 6.0


def find_sensitivity(device: Device, plan: Plan, calibration: MicrophoneCalibration, *, condition: str) -> Sensitivity:
    """Play a quiet sweep and say what the loudspeaker would give at 0 dBFS if it stayed as it is.

    Raises RecordingError when the quiet sweep is twice not found in what was recorded.
    """
    sweep = sweep_stimulus(plan, drive_dbfs=QUIET_DRIVE_DBFS, short=True)
    reel = signals.framed(sweep)
    what = "the quiet sweep"
    try:
        played = play_and_examine(device, reel, what=what)
    except RecordingError:
        played = play_and_examine(device, reel, what=what)
    take = SweepTake(samples=played.samples, start=played.examined.alignment.stimulus_start)
    read = read_sweep([take], sweep, Settings(orders=1, smoothing_octaves=SMOOTHING_OCTAVES))
    response = sweep_response(read, reference_of(calibration.in_force(), plan.setup.distance_m))
    measured = response.level_db[np.isfinite(response.level_db)]
    return Sensitivity(
        db_spl=band_mean_db(response, plan.levels.band_hz) - QUIET_DRIVE_DBFS,
        highest_db_spl=float(np.max(measured)) - QUIET_DRIVE_DBFS,
        quiet_drive_dbfs=QUIET_DRIVE_DBFS,
        condition=condition,
        device=device.name,
        simulated=device.simulated,
        date=now_utc(),
    )
