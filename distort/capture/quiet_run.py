"""The quiet run: how loud the loudspeaker is for a given drive, found once and from below.

`drive_L = L - S` with S the power mean of the response over the plan's band, in dB SPL at 1 m for a drive of 0 dBFS.
The level is reached by extrapolation from a quiet sweep, never by chasing the SPL upwards, which drives a limiter hard.
"""

import math
from dataclasses import replace

import numpy as np

import signals
from distort.analysis.microphone import MicrophoneResponse
from distort.analysis.response import band_mean_db
from distort.analysis.sweeps import Settings, SweepTake, read_sweep, sweep_response
from distort.capture.device import Device
from distort.capture.playing_takes import play_and_examine
from distort.capture.reference import reference_of
from distort.errors import PlanError, RecordingError
from distort.session.calibration_file import MicrophoneCalibration
from distort.session.drive_file import Sensitivity
from distort.session.plan import Plan
from distort.session.plan_reading import sweep_stimulus
from distort.session.sidecar import now_utc

QUIET_DRIVE_DBFS = -46.0
"""Far below any level that is measured, and well above room noise for a loudspeaker of common sensitivity."""

SMOOTHING_OCTAVES = 1.0 / 6.0


def find_sensitivity(
    device: Device,
    plan: Plan,
    calibration: MicrophoneCalibration,
    *,
    condition: str,
    microphone: MicrophoneResponse | None = None,
) -> Sensitivity:
    """Play a quiet sweep and say what the loudspeaker would give at 0 dBFS if it stayed as it is.

    `microphone` is taken out of the level; for the ceiling the louder reading counts, with it or without, so that what
    lies outside its range is not forgotten.

    Raises RecordingError when the quiet sweep is twice not found in what was recorded, PlanError when the band that
    sets the drive has no reading, or the microphone's response does not reach it.
    """
    sweep = sweep_stimulus(plan, drive_dbfs=QUIET_DRIVE_DBFS, short=True)
    reel = signals.framed(sweep)
    what = "the quiet sweep"
    try:
        played = play_and_examine(device, reel, what=what)
    except RecordingError:
        played = play_and_examine(device, reel, what=what)
    take = SweepTake(samples=played.samples, start=played.examined.alignment.stimulus_start)
    reference = reference_of(calibration.in_force(), plan.setup.distance_m)
    settings = Settings(orders=1, smoothing_octaves=SMOOTHING_OCTAVES)
    as_heard = sweep_response(read_sweep([take], sweep, settings), reference)
    in_air = as_heard
    if microphone is not None:
        in_air = sweep_response(read_sweep([take], sweep, replace(settings, microphone=microphone)), reference)
    band_db = band_mean_db(in_air, plan.levels.band_hz)
    if math.isnan(band_db):
        low_hz, high_hz = plan.levels.band_hz
        heard = "" if microphone is None else ", and that the microphone's response file covers"
        raise PlanError(
            f"the response has no reading in [levels] band_hz, {low_hz:g} to {high_hz:g} Hz, so no level can be set: "
            f"take a band that the sweep covers, between 20 Hz and 20 kHz{heard}"
        )
    both_db = np.concatenate([as_heard.level_db, in_air.level_db])
    measured = both_db[np.isfinite(both_db)]
    return Sensitivity(
        db_spl=band_db - QUIET_DRIVE_DBFS,
        highest_db_spl=float(np.max(measured)) - QUIET_DRIVE_DBFS,
        quiet_drive_dbfs=QUIET_DRIVE_DBFS,
        spl_of_full_scale=calibration.spl_of_full_scale,
        distance_m=plan.setup.distance_m,
        low_hz=plan.levels.band_hz[0],
        high_hz=plan.levels.band_hz[1],
        condition=condition,
        device=device.name,
        simulated=device.simulated,
        date=now_utc(),
    )
