"""The piece of music or speech that [programme] file of a plan names: read once, mixed to one channel."""

from dataclasses import replace
from functools import lru_cache
from pathlib import Path

import numpy as np
import numpy.typing as npt
import soundfile

from distort.errors import PlanError, RecordingError, SessionError
from distort.session.audio.audio_file import STEPS_24_BIT, blocks, opened, require_sound
from distort.session.files.folder import SessionFolder
from signals import SignalError, hold_samples
from signals.sampled_programme import LONGEST_S, SHORTEST_S, TRIAL_DRIVE_DBFS, SampledProgramme, from_samples

FloatArray = npt.NDArray[np.float64]


def piece_of_file(
    root: Path, file: str, *, sample_rate: int, drive_dbfs: float, lowest_hz: float | None
) -> SampledProgramme:
    """The piece in `file` of the session in `root`, as it is played at `sample_rate` and `drive_dbfs`.

    Raises PlanError when it is missing, no audio, too short, too long or silent, and SignalError when its peak would
    pass full scale.
    """
    try:
        path = SessionFolder(root).inside(file)
        status = path.stat()
        samples_sha256, given_rate = _held(path, status.st_size, status.st_mtime_ns)
        quiet = from_samples(
            samples_sha256,
            given_rate=given_rate,
            sample_rate=sample_rate,
            drive_dbfs=TRIAL_DRIVE_DBFS,
            lowest_hz=lowest_hz,
        )
    except OSError as error:
        raise PlanError(
            f"{root / file} is missing, the music of [programme] in session.toml: bring it there, or leave the section "
            f"out"
        ) from error
    except (RecordingError, SessionError, SignalError) as error:
        raise PlanError(f"[programme] file: {error}") from error
    return replace(quiet, drive_dbfs=drive_dbfs)


def piece_at(path: Path, *, sample_rate: int, lowest_hz: float | None) -> SampledProgramme:
    """The piece in any file, at a low drive. Raises RecordingError for a file that is no music that can be played."""
    samples, given_rate = read_mixed(path)
    try:
        return from_samples(
            hold_samples(samples),
            given_rate=given_rate,
            sample_rate=sample_rate,
            drive_dbfs=TRIAL_DRIVE_DBFS,
            lowest_hz=lowest_hz,
        )
    except SignalError as error:
        raise RecordingError(f"{path}: {error}") from error


@lru_cache(maxsize=4)
def _held(path: Path, size: int, changed_ns: int) -> tuple[str, int]:
    """Hold the samples of a file; their SHA-256 and rate. Size and time of change tell whether it is still the same."""
    samples, rate = read_mixed(path)
    return hold_samples(samples), rate


def read_mixed(path: Path) -> tuple[FloatArray, int]:
    """The mean of all channels of an audio file as float64 `(n,)`, in steps of 24 bits, and its sample rate.

    So a file of one channel and 24 bits holds the very same. What passes full scale, as floating point can, is halved
    until it does not. Raises RecordingError as `opened` does, and for a piece that is too short or too long.
    """
    with opened(path) as file:
        seconds = file.frames / file.samplerate
        if not SHORTEST_S <= seconds <= LONGEST_S:
            raise RecordingError(
                f"{path} lasts {seconds:.1f} s: "
                f"cut out {SHORTEST_S:g} to {LONGEST_S:g} s of it, to be played at every level"
            )
        try:
            mixed = np.concatenate([np.mean(block, axis=1) for block in blocks(path, file)])
        except soundfile.SoundFileError as error:
            raise RecordingError(f"{path} is truncated or damaged: copy it again") from error
        rate = int(file.samplerate)
        if mixed.size < file.frames:
            raise RecordingError(f"{path} is truncated: it promises {file.frames} samples and holds {mixed.size}")
    require_sound(mixed, what=str(path))
    while np.max(np.abs(mixed)) > 1.0 - 1.0 / STEPS_24_BIT:
        mixed = mixed / 2.0
    return np.asarray(np.rint(mixed * STEPS_24_BIT) / STEPS_24_BIT), rate
