"""Which files of a session its results rest on, and their hashes.

They are session.toml and what it names, the recordings and the calibration; stimuli are made again from the sidecars,
and sweeps that were made elsewhere are among the files.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from distort.session.files.folder import AUDIO_SUFFIXES, SessionFolder
from distort.session.files.hashing import sha256_of_file
from distort.session.files.names import parse_stem
from distort.session.plan.keys import Plan
from distort.session.recordings.sampled_stimuli import MADE_ELSEWHERE


@dataclass(frozen=True, kw_only=True)
class FileHash:
    """One file, relative to the folder that is spoken of, with `/`, and its SHA-256."""

    file: str
    sha256: str


def inputs_of(folder: SessionFolder, plan: Plan) -> tuple[FileHash, ...]:
    """Every input of the session, by name. Raises SessionError when one is missing, or leads out of it."""
    return hashes_of(folder, input_names(folder, plan))


def input_names(folder: SessionFolder, plan: Plan) -> list[str]:
    """Names of the inputs, sorted; a file that the plan names is among them, there or not.

    Raises SessionError when a folder of the session leads out of it, or one recording is there twice.
    """
    return sorted(set(_names(folder, plan)))


def hashes_of(folder: SessionFolder, names: list[str]) -> tuple[FileHash, ...]:
    """Files of the session and their hashes. Raises SessionError when one is missing, or leads out of it."""
    return tuple(FileHash(file=name, sha256=sha256_of_file(folder.inside(name))) for name in names)


def _names(folder: SessionFolder, plan: Plan) -> Iterator[str]:
    yield folder.plan_path.name
    if plan.microphone.response_file is not None:
        yield Path(plan.microphone.response_file).as_posix()
    yield from (Path(name).as_posix() for name in plan.analysis.response_files)
    yield from (path.relative_to(folder.root).as_posix() for path in _measured(folder))


def _measured(folder: SessionFolder) -> Iterator[Path]:
    """Recordings with their sidecars, sweeps made elsewhere, loopbacks, calibrations; no other file of the user's."""
    for condition in folder.conditions_recorded():
        for files in folder.recordings(condition):
            yield files.audio_path
            if files.has_sidecar:
                yield files.sidecar_path
    for path in folder.inside("stimuli").glob(f"{MADE_ELSEWHERE}*"):
        if path.suffix in AUDIO_SUFFIXES:
            yield path
    for path in folder.inside("loopback").glob("*/*"):
        if path.suffix in AUDIO_SUFFIXES and parse_stem(path.stem) is not None:
            yield path
    for path in folder.inside("calibration").glob("*"):
        if path.suffix in {*AUDIO_SUFFIXES, ".json"} and not path.name.startswith("."):
            yield path
