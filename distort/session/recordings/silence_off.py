"""Recordings of a condition's silence with the loudspeaker switched off: silence/<condition>/off[_takeN], each with its
sidecar. They hold no stimulus and have no level, so they lie beside recordings/, not in it."""

import dataclasses
import shutil
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import numpy.typing as npt

from distort.errors import SessionError
from distort.session.audio.audio_file import read_audio
from distort.session.audio.original import Original
from distort.session.audio.plain_copy import copier
from distort.session.calibration.in_force import CalibrationInForce
from distort.session.files.atomic import make_folder, staged
from distort.session.files.folder import SessionFolder
from distort.session.files.hashing import is_sha256, sha256_of_file
from distort.session.files.json_fields import later, read_json, write_json
from distort.session.files.moments import now_utc
from distort.session.files.names import MOST_TAKES, check_condition
from distort.session.files.silences import FOLDER, OFF, conditions_with_silence, silence_paths, take_of
from distort.session.recordings.sidecar import reason_words, require_same_file
from distort.system import remove_if_allowed


@dataclass(frozen=True, kw_only=True)
class Moved:
    """A condition that a silence was taken for."""

    named: str
    """As commands took it: "desk/off"."""
    reason: str
    """The tester's, in a few words."""
    date: str
    """Of the mending: ISO 8601, UTC."""


@dataclass(frozen=True, kw_only=True)
class SilenceSidecar:
    """All that is known of one recording of silence. Raises ValueError for what cannot be."""

    condition: str
    sample_rate: int
    """Of the recording, Hz."""
    channel: int
    """Of the file, counted from 1."""
    seconds: float
    calibration: CalibrationInForce | None
    distance_m: float
    """From the loudspeaker to the microphone, as the plan said when it was brought in."""
    date: str
    """When it was brought in: ISO 8601, UTC."""
    device: str
    recording_sha256: str
    original: Original
    rejected: str | None = None
    """Why the user rejected it; None: they did not."""

    moved: tuple[Moved, ...] = field(default=(), metadata=later(only_if_said=True))
    """Conditions that it was taken for before, the oldest first."""

    def __post_init__(self) -> None:
        try:
            check_condition(self.condition)
        except SessionError as error:
            raise ValueError(str(error)) from error
        if self.sample_rate < 1 or self.channel < 1:
            raise ValueError("sample_rate and channel must be at least 1")
        if not is_sha256(self.recording_sha256):
            raise ValueError("recording_sha256 is not a SHA-256")


@dataclass(frozen=True, kw_only=True)
class SilenceOff:
    """One such recording on disk; sound is read when it is asked for."""

    audio_path: Path
    sidecar: SilenceSidecar

    @property
    def sidecar_path(self) -> Path:
        """Beside it."""
        return self.audio_path.with_suffix(".json")

    @property
    def named(self) -> str:
        """As commands take it: "desk/off_take2"."""
        return f"{self.sidecar.condition}/{self.audio_path.stem}"

    @property
    def in_session(self) -> str:
        """The audio file's name relative to the session, with `/`."""
        return f"{FOLDER}/{self.sidecar.condition}/{self.audio_path.name}"

    def samples(self) -> npt.NDArray[np.float64]:
        """float64 `(n,)`, full scale 1, at `sidecar.sample_rate`. Raises SessionError when the file is not the one that
        was brought in, RecordingError when it cannot be read."""
        require_same_file(self.audio_path, self.sidecar.recording_sha256, self.sidecar_path)
        return read_audio(self.audio_path, channel=self.sidecar.channel)[0]


def load_silences(folder: SessionFolder, condition: str) -> tuple[SilenceOff, ...]:
    """Those of a condition, rejected ones too, by take. Raises SessionError when one has no sidecar that can be
    trusted."""
    check_condition(condition)
    found = []
    for path in silence_paths(folder, condition):
        sidecar = read_json(path.with_suffix(".json"), SilenceSidecar)
        if sidecar.condition != condition:
            raise SessionError(f"{path.with_suffix('.json')} speaks of condition {sidecar.condition}: move it away")
        found.append(SilenceOff(audio_path=path, sidecar=sidecar))
    return tuple(found)


def all_silences(folder: SessionFolder) -> tuple[SilenceOff, ...]:
    """Those of all conditions. Raises SessionError as `load_silences` does."""
    return tuple(one for name in conditions_with_silence(folder) for one in load_silences(folder, name))


def bring_in_silence(
    folder: SessionFolder, source: Path, sidecar: SilenceSidecar, *, keep_metadata: bool
) -> SilenceOff:
    """Copy the sound of the audio file `source` into the session, as its next take; the hash is set here.

    Raises SessionError when the folder does not allow it, RecordingError when `source` is no recording.
    """
    suffix, write = copier(source, keep_metadata=keep_metadata)
    return _save(folder, sidecar, suffix, write)


def _save(folder: SessionFolder, sidecar: SilenceSidecar, suffix: str, write: Callable[[Path], None]) -> SilenceOff:
    """Audio under a temporary name, then the sidecar, then the audio's own name, as other recordings are saved."""
    path = folder.inside(FOLDER, sidecar.condition, _next_stem(folder, sidecar.condition) + suffix)
    make_folder(path.parent)
    with staged(path, replace=False) as temporary:
        write(temporary)
        complete = dataclasses.replace(sidecar, recording_sha256=sha256_of_file(temporary))
        write_json(path.with_suffix(".json"), complete)
    return SilenceOff(audio_path=path, sidecar=complete)


def reject_silence(recording: SilenceOff, reason: str) -> None:
    """Mark it as rejected. Raises SessionError for a reason that says nothing."""
    why = reason_words(recording.sidecar_path, reason, what="rejected")
    write_json(recording.sidecar_path, dataclasses.replace(recording.sidecar, rejected=why))


def move_silence(folder: SessionFolder, recording: SilenceOff, sidecar: SilenceSidecar, reason: str) -> SilenceOff:
    """Give it to the condition of `sidecar`, in which it was really made: the copy first, so that a kill loses nothing.

    Raises SessionError for a reason that says nothing, or when the folder does not allow it."""
    why = reason_words(recording.sidecar_path, reason, what="relabelled")
    source = recording.audio_path
    require_same_file(source, recording.sidecar.recording_sha256, recording.sidecar_path)
    was = Moved(named=recording.named, reason=why, date=now_utc())
    sidecar = dataclasses.replace(sidecar, moved=(*recording.sidecar.moved, was))
    moved = _save(folder, sidecar, source.suffix, lambda path: _copied(source, path))
    remove_if_allowed(source)
    remove_if_allowed(recording.sidecar_path)
    return moved


def silence_called(folder: SessionFolder, named: str) -> SilenceOff | None:
    """The one that a tester calls `named`, such as "desk/off"; None: none is called so."""
    return next((one for one in all_silences(folder) if one.named == named), None)


def _next_stem(folder: SessionFolder, condition: str) -> str:
    take = 1 + max((take_of(one.audio_path.stem) for one in load_silences(folder, condition)), default=0)
    if take > MOST_TAKES:
        raise SessionError(f"silence/{condition} has {MOST_TAKES} takes already: move some away")
    return OFF if take == 1 else f"{OFF}_take{take}"


def _copied(source: Path, path: Path) -> None:
    shutil.copyfile(source, path)
