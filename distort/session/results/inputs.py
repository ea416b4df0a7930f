"""Which files of a session its results rest on, by the names that commands give them, and what they hold now.

They are session.toml and what it names, the recordings and the calibration; stimuli are made again from the sidecars,
and sweeps that were made elsewhere are among the files. `written_inputs` tells whether they are what was written.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from distort.session.files.folder import AUDIO_SUFFIXES, LOOPBACK, SessionFolder
from distort.session.files.hashing import sha256_of_file
from distort.session.files.names import MADE_ELSEWHERE, parse_stem
from distort.session.files.silences import conditions_with_silence, silence_paths
from distort.session.plan.keys import Plan

_CALIBRATION = re.compile(
    r"(microphone|closing|quiet_reel|drive|drive_found_[0-9T]+)\.json|"
    r"(calibrator|closing)_[0-9.]+dB(_[0-9]+)?\.(wav|flac)"
)
"""Files that `calibrate`, `measure` and `add` write into calibration/."""


@dataclass(frozen=True, kw_only=True)
class FileHash:
    """One file, relative to the folder that is spoken of, with `/`, and its SHA-256."""

    file: str
    sha256: str


def input_names(folder: SessionFolder, plan: Plan) -> list[str]:
    """Names of the inputs, sorted; a file that the plan names is among them, there or not.

    Raises SessionError when a folder of the session leads out of it, or one recording is there twice.
    """
    named = [plan.microphone.response_file, *plan.analysis.response_files]
    return sorted({*(Path(name).as_posix() for name in named if name is not None), *names_found(folder)})


def names_found(folder: SessionFolder) -> set[str]:
    """Names of the inputs but for what the plan names. Raises SessionError as `input_names` does."""
    return {folder.plan_path.name, *(name_in(folder, path) for path in _measured(folder))}


def hashes_of(folder: SessionFolder, names: list[str]) -> tuple[FileHash, ...]:
    """Files of the session and their hashes. Raises SessionError when one is missing, or leads out of it."""
    return tuple(FileHash(file=name, sha256=sha256_of_file(folder.inside(name))) for name in names)


def name_in(folder: SessionFolder, path: Path) -> str:
    """The name of a file of the session, relative to it."""
    return path.relative_to(folder.root).as_posix()


def calibration_files(folder: SessionFolder) -> tuple[Path, ...]:
    """Files in calibration/ that are called as commands call them. Raises SessionError when it leads out."""
    return tuple(path for path in folder.files_in("calibration") if _CALIBRATION.fullmatch(path.name))


def _measured(folder: SessionFolder) -> Iterator[Path]:
    """Recordings and silences with their sidecars, sweeps made elsewhere, loopbacks, calibrations; no other file of the
    user's."""
    for condition in folder.conditions_recorded():
        for files in folder.recordings(condition):
            yield files.audio_path
            if files.has_sidecar:
                yield files.sidecar_path
        for path in folder.files_in(LOOPBACK, condition):
            if path.suffix in AUDIO_SUFFIXES and parse_stem(path.stem) is not None:
                yield path
    for path in folder.files_in("stimuli"):
        if path.name.startswith(MADE_ELSEWHERE) and path.suffix in AUDIO_SUFFIXES:
            yield path
    for condition in conditions_with_silence(folder):
        for path in silence_paths(folder, condition):
            yield from (path, path.with_suffix(".json"))
    yield from calibration_files(folder)
