"""Gives the calibration in force to recordings that were saved before it, on the tester's word that no gain changed."""

import dataclasses
from collections.abc import Sequence

from distort.errors import CalibrationError
from distort.session.calibration.calibration_file import read_calibration
from distort.session.files.folder import SessionFolder
from distort.session.files.moments import now_utc
from distort.session.recordings.mended import AppliedAfterwards
from distort.session.recordings.sidecar import write_sidecar
from distort.session.recordings.stored import Recording, load_recordings


def uncalibrated(folder: SessionFolder) -> tuple[Recording, ...]:
    """Every recording of the session that was saved without a calibration. Raises SessionError as loading does."""
    return tuple(
        one
        for condition in folder.conditions_recorded()
        for one in load_recordings(folder, condition)
        if one.sidecar.calibration is None
    )


def apply_to_earlier(folder: SessionFolder) -> Sequence[Recording]:
    """Give the calibration in force to every recording that has none; gives them as they are now.

    Their sidecars keep that it came later. Those that have a calibration keep theirs. Raises CalibrationError when the
    session has none, SessionError as loading and writing do; after a kill, the same again goes on.
    """
    calibration = read_calibration(folder.calibration_path())
    if calibration is None:
        raise CalibrationError(f"{folder.root} has no calibration to apply: say --spl, and put the calibrator on")
    given = []
    for one in uncalibrated(folder):
        stated = AppliedAfterwards(date=now_utc(), calibrated=calibration.date)
        sidecar = dataclasses.replace(one.sidecar, calibration=calibration.in_force(), applied_afterwards=stated)
        write_sidecar(one.files.sidecar_path, sidecar)
        given.append(dataclasses.replace(one, sidecar=sidecar))
    return given
