"""Whether the bursts on record tell how loud the next one will be."""

from collections.abc import Sequence

from distort.capture.bursts.so_far import BURST
from distort.errors import CalibrationError, UsageError
from distort.recording.takes import Takes
from distort.session.recordings.stored import Recording

SAME_DRIVE_DB = 0.05
"""Drives of one level that are so near are the same: far under what a ceiling is known by."""


def require_judgeable(recordings: Sequence[Recording], *, level_of_full_scale_db: float) -> None:
    """Raises CalibrationError or UsageError where a burst in use cannot be held against the ceiling, or says nothing of
    what the next would give: nobody knows its gain, its volume, or its level had another drive.

    level_of_full_scale_db   nominal level of a drive of 0 dBFS, as the next one will be played
    """
    bursts: Takes = [one for one in recordings if _in_use(one)]
    for one in bursts:
        path, sidecar = one.files.audio_path, one.sidecar
        if sidecar.calibration is None:
            raise CalibrationError(
                f"{path} was saved without a calibration, so nobody knows how loud it was, and nothing louder is "
                f"played: if no gain changed since, say so with `distort calibrate {one.files.session.root} "
                f"--apply-to-earlier`"
            )
        if sidecar.turned_db != bursts[0].sidecar.turned_db or sidecar.turned_db is None:
            raise UsageError(
                f"how far the volume was turned for {path} is not known, or differs from the other bursts, so nothing "
                f"louder is played: reject it, and bring it in again with --playback-change-db 0 where nothing was "
                f"turned"
            )
        now_dbfs = sidecar.level_db_spl - level_of_full_scale_db
        if abs(sidecar.stimulus.drive_dbfs - now_dbfs) > SAME_DRIVE_DB:
            raise UsageError(
                f"{path} was played at {sidecar.stimulus.drive_dbfs:.1f} dBFS, and its level would be played at "
                f"{now_dbfs:.1f} dBFS now, so it does not tell how loud the next burst is, and nothing louder is "
                f"played: put the levels and [safety] max_drive_dbfs of session.toml back as they were, or reject the "
                f"bursts and begin anew"
            )


def _in_use(recording: Recording) -> bool:
    return recording.sidecar.stimulus_name == BURST and recording.sidecar.rejected is None
