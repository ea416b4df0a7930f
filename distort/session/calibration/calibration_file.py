"""microphone.json: what `distort calibrate` found, and from what; closing.json: what it found after the work."""

from dataclasses import dataclass, field
from pathlib import Path

from distort.errors import SessionError, shown
from distort.session.audio.original import ELSEWHERE, Original
from distort.session.calibration.in_force import CalibrationInForce
from distort.session.files.hashing import is_sha256
from distort.session.files.json_fields import later, read_json, write_json
from signals.levels import spl_of_full_scale


@dataclass(frozen=True, kw_only=True)
class MicrophoneCalibration:
    """Level of the microphone channel. Raises ValueError when its parts contradict one another.

    calibrator_dbfs     what the calibrator's tone read (AES17)
    calibrator_db_spl   what the calibrator gives
    frequency_hz        of its tone, as found
    file, sha256        the calibrator recording, relative to the session, and its hash
    date, device        ISO 8601 UTC; what recorded it
    spl_of_full_scale   dB SPL of a recording at 0 dBFS: calibrator_db_spl - calibrator_dbfs
    original            the file that it was read from, of which `file` keeps the sound; None: it was heard live
    """

    calibrator_dbfs: float
    calibrator_db_spl: float
    frequency_hz: float
    file: str
    sha256: str
    date: str
    device: str
    spl_of_full_scale: float
    original: Original | None = field(default=None, metadata=later())

    def __post_init__(self) -> None:
        self.in_force()  # raises for levels that none can have
        expected = spl_of_full_scale(calibrator_dbfs=self.calibrator_dbfs, calibrator_db_spl=self.calibrator_db_spl)
        if abs(expected - self.spl_of_full_scale) > 1e-3:  # what a hand that shortens the decimals may leave
            raise ValueError(f"spl_of_full_scale is {self.spl_of_full_scale:g}, its parts say {expected:g}")
        if not is_sha256(self.sha256):
            raise ValueError(f"{shown(self.sha256)} is not a SHA-256")

    @property
    def live(self) -> bool:
        """Whether this program heard the calibrator itself."""
        return not self.device.startswith(ELSEWHERE)

    def in_force(self) -> CalibrationInForce:
        """The part of it that goes into sidecars."""
        return CalibrationInForce(
            calibrator_dbfs=self.calibrator_dbfs, calibrator_db_spl=self.calibrator_db_spl, sha256=self.sha256
        )


CLOSING_FILE = "closing.json"

STEADY_DAY_DB = 0.5
"""Calibrations before and after a series of measurements should agree this well (ISO 3744, from memory)."""


@dataclass(frozen=True, kw_only=True)
class ClosingCalibration:
    """The calibrator read once more after the work. Raises ValueError when its parts contradict one another."""

    closing: MicrophoneCalibration
    opening: MicrophoneCalibration
    """The calibration that was in force, and stays so."""
    drift_db: float
    """By how much one sound pressure read higher at the end than at the beginning."""

    def __post_init__(self) -> None:
        expected_db = self.opening.spl_of_full_scale - self.closing.spl_of_full_scale
        if abs(expected_db - self.drift_db) > 1e-3:  # what a hand that shortens the decimals may leave
            raise ValueError(f"drift_db is {self.drift_db:g}, its parts say {expected_db:g}")

    @property
    def steady(self) -> bool:
        """Whether the day's levels can be trusted."""
        return abs(self.drift_db) <= STEADY_DAY_DB


def write_closing(path: Path, closing: ClosingCalibration) -> None:
    """Write calibration/closing.json. Raises SessionError when the folder does not allow it."""
    write_json(path, closing)


def read_closing(path: Path) -> ClosingCalibration | None:
    """What `write_closing` wrote; None when nobody has closed yet. Raises SessionError for what cannot be trusted."""
    return read_json(path, ClosingCalibration) if path.exists() else None


def write_calibration(path: Path, calibration: MicrophoneCalibration) -> None:
    """Write calibration/microphone.json. Raises SessionError when the folder does not allow it."""
    write_json(path, calibration)


def read_calibration(path: Path) -> MicrophoneCalibration | None:
    """The calibration in `path`; None when there is no such file: nobody has calibrated yet.

    Raises SessionError when the file is there and cannot be read or trusted.
    """
    if not path.exists():
        if path.is_symlink():
            raise SessionError(f"{path} is a link to a file that is missing")
        return None
    return read_json(path, MicrophoneCalibration)
