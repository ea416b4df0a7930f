"""Sets the level of a session's microphone channel, and keeps the recording that it was read from."""

from collections.abc import Callable
from dataclasses import dataclass
from itertools import chain, count
from pathlib import Path

import numpy as np
import numpy.typing as npt

from distort.capture.calibration.calibrator import CalibratorReading, calibrator_level
from distort.errors import CalibrationError
from distort.session.audio.audio_file import read_audio, write_audio
from distort.session.audio.original import Original, elsewhere, original_of
from distort.session.audio.plain_copy import copier
from distort.session.calibration.calibration_file import (
    CLOSING_FILE,
    ClosingCalibration,
    MicrophoneCalibration,
    read_calibration,
    write_calibration,
    write_closing,
)
from distort.session.files.atomic import make_folder, staged
from distort.session.files.folder import SessionFolder
from distort.session.files.hashing import sha256_of_file
from distort.session.files.moments import now_utc
from distort.session.files.names import format_level

SAME_AS_LAST_DB = 1.0
"""Two calibrations of one chain at one gain agree within some tenths; 1 dB is a gain that was touched, or 94 and 114
dB mixed up (common practice, no source)."""

Ask = Callable[[str], bool]
"""Put a question to whoever sits at the terminal; True: go on."""


@dataclass(frozen=True, kw_only=True)
class _Heard:
    """What heard a calibrator, and from which file that is known."""

    device: str
    original: Original | None = None


def calibrate_from_file(
    folder: SessionFolder,
    source: Path,
    *,
    db_spl: float,
    channel: int | None = None,
    replace: bool = False,
    ask: Ask | None = None,
    keep_metadata: bool = False,
) -> CalibratorReading:
    """Read the calibrator's tone in the audio file `source`, copy its sound into calibration/, write microphone.json.

    db_spl    what the calibrator gives
    keep_metadata   keep the file byte for byte, and its name; else its samples alone
    replace   ask nothing: take it although it looks implausible, or lies more than 1 dB from the last calibration
    ask       answers those two questions; without it they are refusals

    Raises RecordingError when the file cannot be read, CalibrationError when it does not set a level, or when a
    question was not answered with yes. What was calibrated before then stays in force.
    """
    reading = _read_file(source, db_spl=db_spl, channel=channel)
    if not replace:
        _require_agreed(folder, reading, ask)
    kept = _copy_in(folder, source, f"calibrator_{format_level(db_spl)}dB", keep_metadata=keep_metadata)
    _write(folder, kept, reading, db_spl=db_spl, heard=_from_file(source, keep_metadata=keep_metadata))
    return reading


def calibrate_from_samples(
    folder: SessionFolder,
    samples: npt.NDArray[np.float64],
    sample_rate: int,
    *,
    db_spl: float,
    device: str,
    replace: bool = False,
    ask: Ask | None = None,
) -> CalibratorReading:
    """The same from samples `(n,)`, full scale 1, that `device` heard; they are kept as 24-bit FLAC."""
    reading = calibrator_level(samples, sample_rate=sample_rate, db_spl=db_spl)
    if not replace:
        _require_agreed(folder, reading, ask)
    kept = _free_name(folder, f"calibrator_{format_level(db_spl)}dB", ".flac")
    write_audio(kept, samples, sample_rate)
    _write(folder, kept, reading, db_spl=db_spl, heard=_Heard(device=device))
    return reading


def close_from_file(
    folder: SessionFolder,
    source: Path,
    *,
    db_spl: float,
    channel: int | None = None,
    keep_metadata: bool = False,
) -> tuple[CalibratorReading, ClosingCalibration]:
    """Read the calibrator once more after the work, and keep in calibration/closing.json how far the level drifted.

    The calibration in force is left as it is. A closing read again replaces closing.json; its recordings are all kept.

    Raises CalibrationError when the session has no calibration to compare with, and as `calibrate_from_file` does.
    """
    opening = require_opening(folder)
    reading = _read_file(source, db_spl=db_spl, channel=channel)
    kept = _copy_in(folder, source, f"closing_{format_level(db_spl)}dB", keep_metadata=keep_metadata)
    heard = _from_file(source, keep_metadata=keep_metadata)
    return reading, _close(folder, opening, kept, reading, db_spl=db_spl, heard=heard)


def close_from_samples(
    folder: SessionFolder, samples: npt.NDArray[np.float64], sample_rate: int, *, db_spl: float, device: str
) -> tuple[CalibratorReading, ClosingCalibration]:
    """The same from samples `(n,)`, full scale 1, that `device` heard; they are kept as 24-bit FLAC."""
    opening = require_opening(folder)
    reading = calibrator_level(samples, sample_rate=sample_rate, db_spl=db_spl)
    kept = _free_name(folder, f"closing_{format_level(db_spl)}dB", ".flac")
    write_audio(kept, samples, sample_rate)
    return reading, _close(folder, opening, kept, reading, db_spl=db_spl, heard=_Heard(device=device))


def questions(folder: SessionFolder, reading: CalibratorReading) -> tuple[str, ...]:
    """What a person should answer before `reading` becomes the calibration of the session, a sentence each."""
    last = read_calibration(folder.calibration_path())
    if last is None:
        return reading.warnings
    moved_db = reading.spl_of_full_scale - last.spl_of_full_scale
    if abs(moved_db) <= SAME_AS_LAST_DB:
        return reading.warnings
    return (
        *reading.warnings,
        f"Full scale would stand for {reading.spl_of_full_scale:.1f} dB SPL, {abs(moved_db):.1f} dB "
        f"{'more' if moved_db > 0 else 'less'} than in the calibration of {last.date}: was the input gain turned, or "
        f"the calibrator's level another?",
    )


def require_opening(folder: SessionFolder) -> MicrophoneCalibration:
    """The calibration that a closing is compared with. Raises CalibrationError when there is none."""
    opening = read_calibration(folder.calibration_path())
    if opening is None:
        raise CalibrationError(
            f"{folder.root} has no calibration to hold a check after the work against: leave --post-check out"
        )
    return opening


def _close(
    folder: SessionFolder,
    opening: MicrophoneCalibration,
    kept: Path,
    reading: CalibratorReading,
    *,
    db_spl: float,
    heard: _Heard,
) -> ClosingCalibration:
    closing = ClosingCalibration(
        closing=_calibration(folder, kept, reading, db_spl=db_spl, heard=heard),
        opening=opening,
        drift_db=opening.spl_of_full_scale - reading.spl_of_full_scale,
    )
    write_closing(folder.calibration_path(CLOSING_FILE), closing)
    return closing


def _require_agreed(folder: SessionFolder, reading: CalibratorReading, ask: Ask | None) -> None:
    asked = " ".join(questions(folder, reading))
    if not asked:
        return
    if ask is None:
        raise CalibrationError(f"{asked} If it is right all the same, say --replace.")
    if not ask(asked):
        raise CalibrationError(f"Nothing was changed: the calibration of {folder.root} is as it was.")


def _read_file(source: Path, *, db_spl: float, channel: int | None) -> CalibratorReading:
    samples, sample_rate = read_audio(source, channel=channel)
    return calibrator_level(samples, sample_rate=sample_rate, db_spl=db_spl)


def _from_file(source: Path, *, keep_metadata: bool) -> _Heard:
    device = elsewhere(named=source.name if keep_metadata else None)
    return _Heard(device=device, original=original_of(source, kept=keep_metadata))


def _copy_in(folder: SessionFolder, source: Path, stem: str, *, keep_metadata: bool) -> Path:
    suffix, write = copier(source, keep_metadata=keep_metadata)
    kept = _free_name(folder, stem, suffix)
    with staged(kept, replace=False) as temporary:
        write(temporary)
    return kept


def _free_name(folder: SessionFolder, stem: str, suffix: str) -> Path:
    """Where the calibrator recording goes: an earlier one, which earlier recordings rest on, is never overwritten."""
    make_folder(folder.calibration_path().parent)
    names = chain([stem], (f"{stem}_{number}" for number in count(2)))
    return next(path for name in names if not (path := folder.calibration_path(name + suffix)).exists())


def _write(folder: SessionFolder, kept: Path, reading: CalibratorReading, *, db_spl: float, heard: _Heard) -> None:
    calibration = _calibration(folder, kept, reading, db_spl=db_spl, heard=heard)
    write_calibration(folder.calibration_path(), calibration)


def _calibration(
    folder: SessionFolder, kept: Path, reading: CalibratorReading, *, db_spl: float, heard: _Heard
) -> MicrophoneCalibration:
    return MicrophoneCalibration(
        calibrator_dbfs=reading.calibrator_dbfs,
        calibrator_db_spl=db_spl,
        frequency_hz=reading.frequency_hz,
        file=kept.relative_to(folder.root).as_posix(),
        sha256=sha256_of_file(kept),
        date=now_utc(),
        device=heard.device,
        spl_of_full_scale=reading.spl_of_full_scale,
        original=heard.original,
    )
