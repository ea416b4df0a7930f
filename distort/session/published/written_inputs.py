"""The inputs of a session as commands wrote them: each file is held against what a record of the session says of it.

Audio is known by its SHA-256, which sidecars and calibrations state, and JSON by holding exactly what its kind must.
What is merely called like an input is the user's own and stays out; what was written and is another by now is refused.
"""

from collections.abc import Iterator, Sequence
from pathlib import Path

from distort.errors import SessionError
from distort.session.audio.audio_file import opened
from distort.session.audio.kinds import begins_as_audio
from distort.session.calibration.calibration_file import CLOSING_FILE, read_calibration, read_closing
from distort.session.calibration.drive_file import read_sensitivity
from distort.session.calibration.response_file import read_response_file
from distort.session.files.folder import PLAN_FILE, SessionFolder
from distort.session.files.hashing import sha256_of_file
from distort.session.plan.keys import Plan
from distort.session.recordings.reel_file import QUIET_REEL_FILE, read_passed
from distort.session.recordings.sampled_stimuli import path_of_samples
from distort.session.recordings.sidecar import require_same_file
from distort.session.recordings.silence_off import all_silences
from distort.session.recordings.stored import Recording, load_recording
from distort.session.results.inputs import FileHash, calibration_files, name_in
from signals import sampled

Written = tuple[Path, str]
"""A file and its SHA-256."""


def written_inputs(folder: SessionFolder, plan: Plan) -> tuple[FileHash, ...]:
    """Every input of the session, sorted by name.

    Raises SessionError when one is missing, leads out of the session, or is not what was written, RecordingError for a
    loopback that is no audio.
    """
    recordings = [
        load_recording(files)
        for condition in folder.conditions_recorded()
        for files in folder.recordings(condition)
        if files.has_sidecar
    ]
    found = [
        _as_it_is(folder.inside(PLAN_FILE)),
        *_named_in(folder, plan),
        *(written for one in recordings for written in _recorded(folder, one)),
        *_silences(folder),
        *_calibration(folder, recordings),
    ]
    hashes = {name_in(folder, path): digest for path, digest in found}
    return tuple(FileHash(file=name, sha256=hashes[name]) for name in sorted(hashes))


def _as_it_is(path: Path) -> Written:
    return path, sha256_of_file(path)


def _named_in(folder: SessionFolder, plan: Plan) -> Iterator[Written]:
    """The responses that session.toml names; the user's own, and meant to be shown."""
    if plan.microphone.response_file is not None:
        path = folder.inside(plan.microphone.response_file)
        read_response_file(path)
        yield _as_it_is(path)
    for name in plan.analysis.response_files:
        path = folder.inside(name)
        read_response_file(path, named_by="[analysis] response_files", of_microphone=False)
        yield _as_it_is(path)


def _recorded(folder: SessionFolder, recording: Recording) -> Iterator[Written]:
    """A recording with its sidecar, the sweep made elsewhere that it holds, and its loopback."""
    files, sidecar = recording.files, recording.sidecar
    require_same_file(files.audio_path, sidecar.recording_sha256, files.sidecar_path)
    yield files.audio_path, sidecar.recording_sha256
    yield _as_it_is(files.sidecar_path)
    if sampled(sidecar.stimulus) is not None:
        path = path_of_samples(folder, sidecar)
        require_same_file(path, sidecar.stimulus_sha256, files.sidecar_path)
        yield path, sidecar.stimulus_sha256
    loopback = files.loopback_path
    if loopback.is_file() and not loopback.is_symlink():  # no record states its hash, so it must be the file itself
        with opened(loopback):
            yield _as_it_is(loopback)


def _silences(folder: SessionFolder) -> Iterator[Written]:
    """Recordings with the loudspeaker switched off, with their sidecars."""
    for one in all_silences(folder):
        require_same_file(one.audio_path, one.sidecar.recording_sha256, one.sidecar_path)
        yield one.audio_path, one.sidecar.recording_sha256
        yield _as_it_is(one.sidecar_path)


def _calibration(folder: SessionFolder, recordings: Sequence[Recording]) -> Iterator[Written]:
    """What calibration/ holds: what was found, and the calibrator as it was recorded for any of it."""
    closing = read_closing(folder.calibration_path(CLOSING_FILE))
    found = [read_calibration(folder.calibration_path()), *((closing.opening, closing.closing) if closing else ())]
    stated = {one.file: one.sha256 for one in found if one is not None}
    in_force = {one.sidecar.calibration.sha256 for one in recordings if one.sidecar.calibration is not None}
    for path in calibration_files(folder):
        if path.suffix == ".json":
            _require_found(folder, path)
            yield _as_it_is(path)
            continue
        digest = sha256_of_file(path) if begins_as_audio(path) else ""
        if digest in in_force | set(stated.values()):
            yield path, digest
        elif name_in(folder, path) in stated:
            raise SessionError(f"{path} is not the recording that the calibration was read from: its SHA-256 differs")


def _require_found(folder: SessionFolder, path: Path) -> None:
    """Raise SessionError when a JSON file in calibration/ is not what its name says."""
    if path.name.startswith("drive"):
        read_sensitivity(path)
    elif path.name == QUIET_REEL_FILE:
        read_passed(folder)
    # the other two have been read
