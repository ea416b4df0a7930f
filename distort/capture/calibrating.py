"""Sets the level of a session's microphone channel, and keeps the recording that it was read from."""

import shutil
from itertools import chain, count
from pathlib import Path

import numpy as np
import numpy.typing as npt

from distort.capture.calibration import CalibratorReading, calibrator_level
from distort.errors import CalibrationError
from distort.session.atomic import make_folder, staged
from distort.session.audio import read_audio, write_audio
from distort.session.calibration_file import MicrophoneCalibration, read_calibration, write_calibration
from distort.session.folder import SessionFolder
from distort.session.hashing import sha256_of_file
from distort.session.names import format_level
from distort.session.sidecar import now_utc


def calibrate_from_file(
    folder: SessionFolder, source: Path, *, db_spl: float, channel: int | None = None, replace: bool = False
) -> CalibratorReading:
    """Read the calibrator's tone in the audio file `source`, copy it into calibration/ and write microphone.json.

    db_spl    what the calibrator gives
    replace   replace a calibration that is there, and take one that looks implausible

    Raises RecordingError when the file cannot be read, CalibrationError when it does not set a level, when the session
    has a calibration already, or when full scale would stand for an implausible level, the last two unless `replace`.
    """
    _require_new(folder, replace)
    samples, sample_rate = read_audio(source, channel=channel)
    reading = calibrator_level(samples, sample_rate=sample_rate, db_spl=db_spl)
    if reading.warnings and not replace:
        raise CalibrationError(f"{' '.join(reading.warnings)} If it is right all the same, say --replace.")
    kept = _free_name(folder, db_spl, source.suffix.lower())
    with staged(kept, replace=False) as temporary:
        shutil.copyfile(source, temporary)
    _write(folder, kept, reading, db_spl=db_spl, device=f"recorded elsewhere ({source.name})")
    return reading


def calibrate_from_samples(
    folder: SessionFolder,
    samples: npt.NDArray[np.float64],
    sample_rate: int,
    *,
    db_spl: float,
    device: str,
    replace: bool = False,
) -> CalibratorReading:
    """The same from samples `(n,)`, full scale 1, that `device` heard; they are kept as 24-bit FLAC."""
    _require_new(folder, replace)
    reading = calibrator_level(samples, sample_rate=sample_rate, db_spl=db_spl)
    kept = _free_name(folder, db_spl, ".flac")
    write_audio(kept, samples, sample_rate)
    _write(folder, kept, reading, db_spl=db_spl, device=device)
    return reading


def _free_name(folder: SessionFolder, db_spl: float, suffix: str) -> Path:
    """Where the calibrator recording goes: an earlier one, which earlier recordings rest on, is never overwritten."""
    stem = f"calibrator_{format_level(db_spl)}dB"
    make_folder(folder.calibration_path().parent)
    names = chain([stem], (f"{stem}_{number}" for number in count(2)))
    return next(path for name in names if not (path := folder.calibration_path(name + suffix)).exists())


def _require_new(folder: SessionFolder, replace: bool) -> None:
    there = read_calibration(folder.calibration_path())
    if there is not None and not replace:
        raise CalibrationError(
            f"{folder.root} is calibrated already ({there.calibrator_db_spl:g} dB SPL read "
            f"{there.calibrator_dbfs:.2f} dBFS on {there.date}): say --replace to replace that"
        )


def _write(folder: SessionFolder, kept: Path, reading: CalibratorReading, *, db_spl: float, device: str) -> None:
    calibration = MicrophoneCalibration(
        calibrator_dbfs=reading.calibrator_dbfs,
        calibrator_db_spl=db_spl,
        frequency_hz=reading.frequency_hz,
        file=kept.relative_to(folder.root).as_posix(),
        sha256=sha256_of_file(kept),
        date=now_utc(),
        device=device,
        spl_of_full_scale=reading.spl_of_full_scale,
    )
    write_calibration(folder.calibration_path(), calibration)
